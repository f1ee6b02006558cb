"""The nails of each foot, from visit to visit.

The counting within one visit is that of `handsfree.visit.nails`; here the visits are joined.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from handsfree.records.entries import Entry, Finding, Nails, Work
from handsfree.records.limbs import LIMBS
from handsfree.sums.history import History
from handsfree.sums.sources import CantSay
from handsfree.visit import nails
from handsfree.visit.nails import FEWEST_OF_A_SHOE, SHOE_OFF, SHOE_ON, NailCount


@dataclass(frozen=True)
class FootDay:
    """The nails of one foot at one visit.

    `after`: nails in the shoe when the visit ended; None where it cannot be said. `inside`,
    `outside`: nails driven with the side said. `doubtful`: notes of this foot's nails or shoe
    that are not surely heard and are left out until they are confirmed.
    """

    on: date
    limb: str
    count: NailCount
    after: int | None
    inside: int | None
    outside: int | None
    doubtful: int = 0


@dataclass(frozen=True)
class Missing:
    """Nails of one foot and day that nobody has spoken of.

    `latest`: no later visit speaks of this foot's nails. `perhaps_found`: the later visit at
    which as many more came out of the foot than were in its shoe. `doubtful` as in FootDay.
    """

    on: date
    limb: str
    nails: int
    known: int
    latest: bool
    perhaps_found: date | None = None
    doubtful: int = 0

    @property
    def open(self) -> bool:
        """Whether nothing since may be the missing nails."""
        return self.perhaps_found is None


@dataclass(frozen=True)
class Pattern:
    """How a foot is usually nailed: `nails` at `times` of `shoeings`.

    `inside` and `outside` are the commonest pair where both sides were said, else None.
    """

    limb: str
    nails: int
    times: int
    shoeings: int
    inside: int | None = None
    outside: int | None = None


def _concerns(entry: Entry) -> bool:
    match entry:
        case Nails():
            return True
        case Work(action=action):
            return action in SHOE_OFF | SHOE_ON
        case Finding(term="lost_shoe", denied=False):
            return True
        case _:
            return False


def _walk(history: History) -> tuple[list[FootDay], dict[str, int]]:
    """All foot days in order of time, and the nails in each shoe at the end."""
    known: dict[str, int] = {}
    days: list[FootDay] = []
    for visit in history.visits:
        counts = nails.count(visit.entries, known)
        after = nails.in_shoe_after(visit.entries, known)
        unsure = Counter(e.limb for e in visit.doubtful if e.limb and _concerns(e))
        if unsure:
            # What a doubtful note would change cannot be said before it is confirmed.
            perhaps = nails.in_shoe_after([n.entry for n in visit.notes], known)
            after = {limb: n for limb, n in after.items() if perhaps.get(limb) == n}
        spoken_of = {e.limb for e in visit.entries if e.limb and _concerns(e)} | set(unsure)
        for limb in sorted(spoken_of, key=place):
            one = counts.get(limb, NailCount(limb, known.get(limb), 0, 0, 0, 0))
            inside, outside = _sides(visit.entries, limb, one)
            days.append(
                FootDay(visit.on, limb, one, after.get(limb), inside, outside, unsure[limb])
            )
        known = after
    return days, known


def place(limb: str) -> tuple[int, str]:
    """Sorting key: front feet before hind feet, left before right."""
    return (LIMBS.index(limb) if limb in LIMBS else len(LIMBS), limb)


def _sides(entries: Sequence[Entry], limb: str, total: NailCount) -> tuple[int | None, int | None]:
    """Nails driven inside and outside; None where no side, or not every number, was said."""
    driven: dict[str, int | None] = {}
    for entry in entries:
        if entry.limb != limb:
            continue
        match entry:
            case Work(action=action) if action in SHOE_OFF:
                driven = {}
            case Finding(term="lost_shoe", denied=False):
                driven = {}
            case Nails(action="driven", side=str(side), count=number):
                before = driven.get(side, 0)
                if number is None or number < 0 or before is None:
                    driven[side] = None
                else:
                    driven[side] = before + number
    inside, outside = driven.get("medial"), driven.get("lateral")
    if total.driven is None or (inside or 0) + (outside or 0) > total.driven:
        # Some were drawn again, and nobody said on which side.
        return None, None
    return inside, outside


def ledger(history: History) -> dict[str, list[FootDay]]:
    """Limb → its visits at which something was said of its nails or its shoe, oldest first."""
    found: dict[str, list[FootDay]] = {}
    for day in _walk(history)[0]:
        found.setdefault(day.limb, []).append(day)
    return {limb: found[limb] for limb in sorted(found, key=place)}


def in_shoes(history: History) -> dict[str, int]:
    """Limb → nails now in its shoe: what is to be counted at the next visit.

    0: it is bare. A limb of which it cannot be said is left out.
    """
    known = _walk(history)[1]
    return {limb: known[limb] for limb in sorted(known, key=place)}


def missing(history: History) -> list[Missing]:
    """Nails not accounted for, of all visits, oldest first.

    A nail the more than there were at a later visit of the same foot may be the one that was
    missing; that is said (`perhaps_found`), and the entry stays in the list.
    """
    found: list[Missing] = []
    for days in ledger(history).values():
        latest = max(day.on for day in days)
        for at, day in enumerate(days):
            short = day.count.unaccounted
            if short is None or short <= 0 or day.count.known is None:
                continue
            later = next(
                (
                    each.on
                    for each in days[at + 1 :]
                    if each.count.unaccounted is not None and each.count.unaccounted <= -short
                ),
                None,
            )
            found.append(
                Missing(
                    day.on,
                    day.limb,
                    short,
                    day.count.known,
                    day.on == latest,
                    later,
                    day.doubtful,
                )
            )
    return sorted(found, key=lambda each: (each.on, place(each.limb)))


def _shoeings(days: Sequence[FootDay]) -> list[tuple[FootDay, int]]:
    """The days on which a whole set was driven, and how many nails were in at the end.

    Hunting 1895: no shoe has fewer than four nail holes; less than that mends a shoe.
    """
    sets: list[tuple[FootDay, int]] = []
    for day in days:
        driven = day.count.driven
        if driven is None or driven < FEWEST_OF_A_SHOE or day.doubtful:
            continue
        number = driven if day.after is None else day.after
        if number >= FEWEST_OF_A_SHOE:
            sets.append((day, number))
    return sets


def usual_pattern(history: History, limb: str) -> Pattern | CantSay:
    """How many nails are usually driven into this foot; of equally common numbers the latest."""
    return pattern_of(ledger(history).get(limb, []), limb)


def pattern_of(days: Sequence[FootDay], limb: str) -> Pattern | CantSay:
    """As usual_pattern, of the days of one foot."""
    sets = _shoeings(days)
    if not sets:
        return CantSay("no visit says how many nails were driven for a whole shoe")
    numbers = Counter(number for _, number in reversed(sets))
    usual, times = numbers.most_common(1)[0]
    pairs = Counter(
        (day.inside, day.outside)
        for day, number in reversed(sets)
        if number == usual
        and day.inside is not None
        and day.outside is not None
        and day.inside + day.outside == number
    )
    inside, outside = pairs.most_common(1)[0][0] if pairs else (None, None)
    return Pattern(limb, usual, times, len(sets), inside, outside)
