"""Nails over the visits in words, and what to bring for the next shoeing.

The ledger itself (`ledger`, `missing`, `usual_pattern`, `in_shoes`) is that of
`handsfree.sums.nailed`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from handsfree.records.entries import Shoe
from handsfree.sums.history import History
from handsfree.sums.nailed import (
    FootDay,
    Missing,
    Pattern,
    in_shoes,
    ledger,
    missing,
    pattern_of,
    place,
    usual_pattern,
)
from handsfree.sums.sources import PRACTICE, CantSay, Source
from handsfree.sums.wording import Words, count
from handsfree.visit.nails import USUAL_MOST

__all__ = [
    "Bring",
    "FootDay",
    "Missing",
    "Pattern",
    "bring_lines",
    "in_shoes",
    "ledger",
    "lines",
    "missing",
    "missing_lines",
    "pattern_lines",
    "question_lines",
    "to_bring",
    "total_nails",
    "usual_pattern",
]

NEVER_MORE = Source("19th-century texts", "never more than 8 nails in a foot")
ACCOUNTED = Source("", "every pulled nail is accounted for", PRACTICE)
ORDER = "find the nail"
CAUTION = (
    "one that is not found may be in the foot or on the ground, and any object in the sole or "
    "frog is an emergency for the vet"
)


@dataclass(frozen=True)
class Bring:
    """What one foot wore last, to be brought again.

    `shoes`: size, section and the other properties said last, `on` the latest day of them;
    `nails` usually driven. `bare`: it was left without a shoe, and nothing need be brought.
    """

    limb: str
    shoes: tuple[Shoe, ...]
    on: date | None
    nails: int | None
    bare: bool = False


def to_bring(history: History) -> list[Bring]:
    """Per foot of which anything is known: the shoe said last and the nails usually driven.

    Size and section are those said last; of the other properties all that were said on the
    latest day on which any was.
    """
    days, known = ledger(history), in_shoes(history)
    shoes: dict[str, list[tuple[date, Shoe]]] = {}
    for visit in history.visits:
        for entry in visit.entries:
            if isinstance(entry, Shoe) and entry.limb is not None:
                shoes.setdefault(entry.limb, []).append((visit.on, entry))
    found: list[Bring] = []
    for limb in sorted({*days, *shoes}, key=place):
        pattern = pattern_of(days.get(limb, []), limb)
        said = shoes.get(limb, [])
        last = said[-1][0] if said else None
        found.append(
            Bring(
                limb,
                _last_said(said),
                last,
                pattern.nails if isinstance(pattern, Pattern) else None,
                bare=known.get(limb) == 0,
            )
        )
    return [b for b in found if b.shoes or b.nails is not None or b.bare]


def _last_said(said: Sequence[tuple[date, Shoe]]) -> tuple[Shoe, ...]:
    kept: list[Shoe] = []
    for item in ("size", "section"):
        kept += [shoe for _, shoe in said if shoe.item == item][-1:]
    last = said[-1][0] if said else None
    others = [s for on, s in said if on == last and s.item not in ("size", "section")]
    return tuple(dict.fromkeys([*kept, *others]))


def total_nails(bring: Sequence[Bring]) -> int:
    """Nails for all feet that are shod and of which the usual number is known."""
    return sum(b.nails or 0 for b in bring if not b.bare)


def bring_lines(bring: Sequence[Bring], words: Words) -> list[str]:
    """What to bring, feet that need the same together, and the nails of all in one line."""
    alike: dict[str, list[str]] = {}
    for each in bring:
        parts = ["bare at the last visit"] if each.bare else [words.entry(s) for s in each.shoes]
        if each.nails is not None and not each.bare:
            parts.append(count(words, each.nails, "nail"))
        alike.setdefault(", ".join(parts), []).append(words.limb(each.limb))
    lines = [f"{' '.join(limbs)}: {needed}" for needed, limbs in alike.items()]
    if total := total_nails(bring):
        lines.append(f"{count(words, total, 'nail')} in all")
    return lines


def lines(history: History, words: Words) -> list[str]:
    """What is in each shoe and usual, what is missing, and what is to be asked."""
    return [
        *pattern_lines(history, words),
        *missing_lines(missing(history), words),
        *question_lines(history, words),
    ]


def pattern_lines(history: History, words: Words) -> list[str]:
    """For each foot the nails to count at the next visit, and the pattern used."""
    said: list[str] = []
    now = in_shoes(history)
    for limb, days in ledger(history).items():
        number, pattern = now.get(limb), pattern_of(days, limb)
        if number is None:
            there = "nails in it now: can't say"
        else:
            there = f"{count(words, number, 'nail')} in it now" if number else "bare"
        if number != 0 or isinstance(pattern, Pattern):
            there += f"; {_pattern_words(pattern, words)}"
        said.append(f"{words.limb(limb)}: {there}")
    return said


def _pattern_words(pattern: Pattern | CantSay, words: Words) -> str:
    if isinstance(pattern, CantSay):
        return f"usual number: {pattern}"
    text = (
        f"usually {words.number(pattern.nails)} (at {words.number(pattern.times)} of "
        f"{count(words, pattern.shoeings, 'shoeing')})"
    )
    if pattern.inside is None or pattern.outside is None:
        return text
    return f"{text}, {words.number(pattern.inside)} inside, {words.number(pattern.outside)} outside"


def missing_lines(found: Sequence[Missing], words: Words) -> list[str]:
    """One line for each foot and day with nails not accounted for, and the caution once."""
    said: list[str] = []
    for each in found:
        text = (
            f"{words.limb(each.limb)}, {words.day(each.on)}: {words.number(each.nails)} of "
            f"{count(words, each.known, 'nail')} not accounted for"
        )
        if each.perhaps_found is not None:
            text += f"; perhaps found on {words.day(each.perhaps_found)}, when more came out"
        elif each.doubtful:
            text += "; a doubtful note of that foot is not counted until it is confirmed"
        said.append(text)
    if any(each.open for each in found):
        said.append(f"{words.plain(f'{ORDER}: {CAUTION}')} ({ACCOUNTED})")
    return said


def question_lines(history: History, words: Words) -> list[str]:
    """What is odd about the numbers of a visit: asked, never refused."""
    said: list[str] = []
    for days in ledger(history).values():
        left_with: int | None = None
        for day in days:
            said += _questions(day, left_with, words)
            left_with = day.after
    return said


def _questions(day: FootDay, left_with: int | None, words: Words) -> list[str]:
    where, one = f"{words.limb(day.limb)}, {words.day(day.on)}", day.count
    said: list[str] = []
    if one.unaccounted is not None and one.unaccounted < 0 and one.known is not None:
        out = count(words, one.known - one.unaccounted, "nail")
        said.append(f"{where}: {out} out of {words.number(one.known)}, is that right?")
    # What the visit before left in the shoe was asked about when it was driven.
    known = None if one.known == left_with else one.known
    # More pulled than a shoe holds is asked about where nobody said how many were in it.
    pulled = one.pulled if one.known is None else None
    for number, what in ((known, "in the shoe"), (pulled, "pulled"), (one.driven, "driven")):
        if number is not None and number > USUAL_MOST:
            said.append(
                f"{where}: {count(words, number, 'nail')} {what}, is that right? never more "
                f"than {words.number(USUAL_MOST)} ({words.plain(str(NEVER_MORE))})"
            )
    return said
