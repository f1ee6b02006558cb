"""Measures by range in plain words: "toe length over 3 1/2 inches", "between 82 and 84 mm"."""

from collections.abc import Sequence
from dataclasses import dataclass

from handsfree.errors import HandsfreeError
from handsfree.finding.days import FIRST_YEAR, LAST_YEAR
from handsfree.finding.numbers import UNITS, Numbers
from handsfree.finding.question import Amount
from handsfree.grammar.grammar import Grammar
from handsfree.grammar.wording import number_with_unit
from handsfree.records.units import Angle, Kind, Length, Quantity, Weight, kind_of, quantity

OVER = (("more", "than"), ("greater", "than"), ("longer", "than"), ("over",), ("above",))
UNDER = (("less", "than"), ("shorter", "than"), ("under",), ("below",))
LEAST = (("at", "least"), ("no", "less", "than"))
MOST = (("at", "most"), ("up", "to"), ("no", "more", "than"))
EXACTLY = (("exactly",), ("equal", "to"))

COUNTS = ("nails",)
NAIL_WORDS = ("nails", "pulled", "driven", "drove", "lost")
SCALES = {"lameness": "lameness grade", "laminitis": "laminitis grade"} | {
    "body_condition": "body condition"
}
LENGTHS_OF_MARKS = {"below_hairline": "below the hairline", "extent": "long"}
HALF_OF_LAST = {"mm": 0.5, "cm": 0.25, "in": 1 / 32, "hands": 0.05} | dict.fromkeys(
    ("deg", "kg", "lb"), 0.5
)
"""A number said without "over" or "under" means this much about it: half of what a rule, a
gauge or a tape is read to (common practice, no source)."""

_NAMES = {Length: "mm, cm or inches", Angle: "degrees", Weight: "kg or lb"}


@dataclass(frozen=True)
class Range:
    """Numbers as typed, before it is known what they are of. `length`: words taken."""

    length: int
    unit: str | None
    low: float | None
    high: float | None
    with_low: bool = True
    with_high: bool = True
    compared: bool = True
    """Said with "over", "between" …; else it is a bare number."""
    of: str | None = None
    """What the words about it say it is of: nails, below_hairline, extent, a scale."""

    @property
    def exact(self) -> bool:
        """Whether one number was said, not a range."""
        return self.low is not None and self.low == self.high


class Ranges:
    """Reads ranges."""

    def __init__(self, numbers: Numbers) -> None:
        self._numbers = numbers

    def read(self, words: Sequence[str], at: int) -> Range | None:
        """The range at a place, None where there is none."""
        if words[at] == "between":
            return self._between(words, at)
        for signs, (with_it, above) in (
            *((s, (False, True)) for s in OVER),
            *((s, (False, False)) for s in UNDER),
            *((s, (True, True)) for s in LEAST),
            *((s, (True, False)) for s in MOST),
        ):
            if tuple(words[at : at + len(signs)]) == signs:
                one = self._one(words, at + len(signs))
                if one is None or _is_year(one):
                    continue
                length, value, unit, of = one
                low, high = (value, None) if above else (None, value)
                return Range(length + len(signs), unit, low, high, with_it, with_it, True, of)
        skip = next((len(s) for s in EXACTLY if tuple(words[at : at + len(s)]) == s), 0)
        one = self._one(words, at + skip)
        if one is None or (one[2] is None and one[3] is None and not skip):
            return None if one is None else self._bare(words, at, one)
        length, value, unit, of = one
        return Range(length + skip, unit, value, value, compared=bool(skip), of=of)

    def _bare(
        self, words: Sequence[str], at: int, one: tuple[int, float, str | None, str | None]
    ) -> Range | None:
        """A number without a unit says something after "grade", "body condition" and the like."""
        before = words[at - 1] if at else ""
        if before in ("grade", "condition", "count", "lameness", "laminitis", *NAIL_WORDS):
            name = {"condition": "body_condition", "count": "nails"}.get(before, before)
            name = "nails" if name in NAIL_WORDS else name
            of = name if name in (*SCALES, *COUNTS) else None
            return Range(one[0], None, one[1], one[1], compared=False, of=of)
        return None

    def _between(self, words: Sequence[str], at: int) -> Range | None:
        low = self._one(words, at + 1)
        middle = at + 1 + low[0] if low else len(words)
        if low is None or words[middle : middle + 1] not in (["and"], ["to"]):
            return None
        high = self._one(words, middle + 1)
        if high is None or _is_year(high):
            return None
        values = sorted((low[1], high[1]))
        unit = high[2] or low[2]
        if low[2] is not None and low[2] != unit:
            first, second = of_unit(low[1], low[2]), of_unit(high[1], high[2] or "")
            if type(first) is not type(second):
                raise HandsfreeError(f"between {low[2]} and {unit}: say both in one unit")
            values = sorted((first.to(unit or ""), high[1]))
        length = middle + 1 + high[0] - at
        return Range(length, unit, values[0], values[1], of=high[3] or low[3])

    def _one(
        self, words: Sequence[str], at: int
    ) -> tuple[int, float, str | None, str | None] | None:
        """Words taken, number, unit, and what it is of where the words after it say so."""
        part = self._numbers.inches(words, at)
        number = part or self._numbers.read(words, at)
        if number is None:
            return None
        value, length = number
        unit = "in" if part else UNITS.get(words[at + length]) if at + length < len(words) else None
        length += unit is not None and part is None
        rest = [w for w in words[at + length : at + length + 3] if w != "the"]
        if rest[:1] in (["nail"], ["nails"]) and unit is None:
            return length + 1, value, None, "nails"
        if rest[:1] == ["below"] and rest[1:2] in (["hairline"], ["coronet"]):
            skip = 3 if words[at + length + 1] == "the" else 2
            return length + skip, value, unit, "below_hairline"
        if unit and rest[:1] and rest[0] in ("long", "wide", "across", "deep"):
            return length + 1, value, unit, "extent"
        if not unit and rest[:1] == ["lameness"]:
            return length, value, None, "lameness"
        return length, value, unit, None


def _is_year(one: tuple[int, float, str | None, str | None]) -> bool:
    _, value, unit, of = one
    return unit is None and of is None and FIRST_YEAR <= value <= LAST_YEAR


def amount(found: Range, quantities: Sequence[str], grammar: Grammar) -> Amount:
    """The range of these quantities, or of all that have its unit where there is none.

    Raises HandsfreeError, a question to the user, where a unit is missing or of another kind.
    """
    wanted = (found.of,) if found.of else tuple(quantities)
    names = {w.id: w.forms[0] for w in grammar.table if w.slot == "quantity"}
    shown_of = [
        names.get(q) or SCALES.get(q) or LENGTHS_OF_MARKS.get(q) or q.replace("_", " ")
        for q in wanted
    ]
    if not wanted:
        if found.unit is None:
            raise HandsfreeError(
                f"{_shown(found)} of what? name a measure, as 'toe length over 80 mm'"
            )
        kind = type(quantity(0, found.unit))
        wanted = tuple(q for q in names if kind_of(q) is kind)
        shown_of = ["any " + {Length: "length", Angle: "angle", Weight: "weight"}[kind]]
    bare = [q for q in wanted if q in (*COUNTS, *SCALES)]
    if bare and found.unit is not None:
        raise HandsfreeError(f"{shown_of[0]} has no unit, {_shown(found)} has one: leave it out")
    unit = found.unit
    if not bare:
        kinds = {Length if q in LENGTHS_OF_MARKS else kind_of(q) for q in wanted}
        if unit is None:
            if kinds != {Angle}:
                kind = next(k for k in (Length, Weight, Angle) if k in kinds)
                raise HandsfreeError(
                    f"{' or '.join(shown_of)} {_shown(found)} of what? say {_units(kind, wanted)}"
                )
            unit = "deg"
        if kinds != {type(quantity(0, unit))}:
            kind = next(iter(kinds))
            raise HandsfreeError(
                f"{' or '.join(shown_of)} is in {_units(kind, wanted)}, not in "
                f"{ {'deg': 'degrees', 'in': 'inches'}.get(unit, unit) }"
            )
    shown = " or ".join(shown_of)
    return _typed(found, unit, wanted, shown)


def _units(kind: Kind, quantities: Sequence[str]) -> str:
    """The units to say; hands are of heights."""
    if kind is Length and set(quantities) == {"height"}:
        return "mm, cm, inches or hands"
    return _NAMES[kind]


def _typed(found: Range, unit: str | None, wanted: tuple[str, ...], shown: str) -> Amount:
    def bound(value: float | None, more: int) -> Quantity | float | None:
        if value is None or unit is None:
            return value
        typed = of_unit(value, unit)
        about = quantity(HALF_OF_LAST[unit], unit).amount if found.exact else 0.0
        return type(typed)(typed.amount + more * about)

    text = f"{shown} {_shown(found, unit)}"
    low, high = bound(found.low, -1), bound(found.high, 1)
    return Amount(wanted, text, low, high, found.with_low, found.with_high)


def of_unit(value: float, unit: str) -> Quantity:
    """A number and its unit, typed. Raises HandsfreeError for what is no number of hands."""
    try:
        return quantity(value, unit)
    except ValueError as error:
        raise HandsfreeError(str(error)) from None


def _shown(found: Range, unit: str | None = None) -> str:
    sign = unit or found.unit
    low, high = (number_with_unit(value, sign) for value in (found.low, found.high))
    if found.exact:
        return low
    if found.low is not None and found.high is not None:
        return f"{low} to {high}"
    if found.low is not None:
        return f"{'at least' if found.with_low else 'over'} {low}"
    return f"{'at most' if found.with_high else 'under'} {high}"
