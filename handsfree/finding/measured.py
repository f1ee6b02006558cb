"""Which of the words say what a number is of."""

from collections.abc import Callable, Mapping, Sequence

from handsfree.finding.amounts import LENGTHS_OF_MARKS, SCALES, Range, amount
from handsfree.finding.question import Amount
from handsfree.finding.vocabulary import Trade
from handsfree.grammar.grammar import Grammar

Meant = dict[tuple[str, ...], list[Trade]]
"""Trade words by what an entry has only one of."""

_MARK = "below_hairline"


def measured(
    meant: Mapping[tuple[str, ...], list[Trade]], ranges: Sequence[Range], grammar: Grammar
) -> tuple[Amount | None, Meant]:
    """The measure that is asked for, and the words that are not said with it already.

    Raises HandsfreeError, a question to the user, where it cannot be told of what a number is.
    """
    if ranges:
        of = _of(meant, ranges[0])
        asked = amount(ranges[0], of, grammar)
        left = _but(dict(meant), ("quantity",), lambda _: True)
        if any(q in SCALES for q in asked.quantities):
            left = _but(left, ("term",), lambda t: bool(set(t.of("term")) & set(SCALES)))
        if asked.quantities == ("nails",):
            left = _but(left, ("kind",), lambda t: t.of("kind") == ("nails",))
        if of == ("toe_length",) and ("quantity",) not in meant:
            left = _but(left, ("zone",), lambda _: True)
        return asked, left
    if any(t.of("quantity") == (_MARK,) for t in meant.get(("quantity",), ())):
        # The index has no word for it: what counts is that there is such a length.
        asked = Amount((_MARK,), LENGTHS_OF_MARKS[_MARK])
        return asked, _but(dict(meant), ("quantity",), lambda t: t.of("quantity") == (_MARK,))
    return None, dict(meant)


def _but(meant: Meant, slot: tuple[str, ...], gone: Callable[[Trade], bool]) -> Meant:
    """Without those words of a slot."""
    rest = [trade for trade in meant.pop(slot, ()) if not gone(trade)]
    return {**meant, slot: rest} if rest else meant


def _of(meant: Mapping[tuple[str, ...], list[Trade]], number: Range) -> tuple[str, ...]:
    """The quantities a range is of."""
    words = [trade for trades in meant.values() for trade in trades]

    def ids(slot: str) -> list[str]:
        return [id for trade in words for id in trade.of(slot)]

    if ids("quantity"):
        return tuple(dict.fromkeys(ids("quantity")))
    if number.unit is None and ("nails" in ids("kind") or ids("nail")):
        return ("nails",)
    if number.unit is None and set(ids("term")) & set(SCALES):
        return tuple(term for term in ids("term") if term in SCALES)
    # "toe three inches" is said for the toe's length.
    if not ids("term") and ids("zone") == ["toe"] and number.unit in ("mm", "cm", "in"):
        return ("toe_length",)
    return ()
