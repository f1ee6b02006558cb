"""What is known of one horse, visit by visit: all that the sums are done from."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from handsfree.records.entries import Entry, Finding, Measurement, Work
from handsfree.records.units import Quantity, quantity

DAYS_OF_A_FOAL = 365
"""Until this age a horse is taken for a foal here (common practice, no source)."""


class Age(StrEnum):
    """Age class, as far as the growth of horn is concerned."""

    FOAL = "foal"
    ADULT = "adult"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class HorseFacts:
    """What is known of the horse itself.

    `kind` is heavy, riding or None, `breed` as the user wrote it; `born` is the day, or the
    first of January where only the year is known (`born_exactly` is then false).
    """

    name: str
    kind: str | None = None
    breed: str | None = None
    born: date | None = None
    born_exactly: bool = False

    def age(self, on: date) -> Age:
        """The age class on a day."""
        if self.born is None:
            return Age.UNKNOWN
        return Age.FOAL if (on - self.born).days < DAYS_OF_A_FOAL else Age.ADULT


@dataclass(frozen=True)
class Noted:
    """One entry that counts. `doubtful`: not surely heard and not confirmed since.

    `status` is heard or confirmed, `by` who gave it that, `confidence` how surely it was heard
    (None: typed), `heard` the words it was made of.
    """

    entry: Entry
    doubtful: bool = False
    id: str | None = None
    status: str = "confirmed"
    confidence: float | None = None
    heard: str | None = None
    by: str | None = None


@dataclass(frozen=True)
class DayVisit:
    """All that was noted of the horse on one day, in the order it was said.

    `unreadable` counts the notes besides that this version cannot read.
    """

    on: date
    notes: tuple[Noted, ...]
    unreadable: int = 0

    @property
    def entries(self) -> tuple[Entry, ...]:
        """What was surely heard or confirmed; the sums take nothing else."""
        return tuple(n.entry for n in self.notes if not n.doubtful)

    @property
    def doubtful(self) -> tuple[Entry, ...]:
        """What is still to be confirmed."""
        return tuple(n.entry for n in self.notes if n.doubtful)


@dataclass(frozen=True)
class History:
    """A horse and its visits, oldest first, one for each day."""

    horse: HorseFacts
    visits: tuple[DayVisit, ...]

    def until(self, day: date) -> "History":
        """Without what came after this day."""
        return History(self.horse, tuple(v for v in self.visits if v.on <= day))

    def plus(self, day: date, notes: Sequence[Noted]) -> "History":
        """With what was noted on a day besides; a visit of that day becomes one with it."""
        earlier = [note for v in self.visits if v.on == day for note in v.notes]
        unreadable = sum(v.unreadable for v in self.visits if v.on == day)
        others = [v for v in self.visits if v.on != day]
        whole = DayVisit(day, (*earlier, *notes), unreadable)
        visits = sorted([*others, whole], key=lambda v: v.on)
        return History(self.horse, tuple(visits))

    @property
    def unreadable(self) -> int:
        """Notes of all visits that this version cannot read."""
        return sum(visit.unreadable for visit in self.visits)

    @property
    def last(self) -> DayVisit | None:
        """The latest visit."""
        return self.visits[-1] if self.visits else None


class Stage(StrEnum):
    """When in a visit a foot was measured."""

    BEFORE = "before the trim"
    AFTER = "after the trim"
    UNTOUCHED = "no trim that day"
    """Nothing was done to the foot that day: the measure is of before and after alike."""
    UNSAID = "before or after the trim was not said"
    """Work was done, and one number said; it is of no use for growth."""


CUTS = frozenset({"trimmed"})
SETS = frozenset(
    "new_shoe shoe_reset shoe_pulled barefoot rasped flare_dressed toe_dressed hot_fitted "
    "resected".split()
)
"""Work in the course of which a foot is usually trimmed without a word about it (common
practice, no source)."""


@dataclass(frozen=True)
class Measured:
    """One measurement of a history, typed. `unit` is the one that was said."""

    on: date
    limb: str | None
    side: str | None
    quantity: str
    value: Quantity
    unit: str
    stage: Stage


def measures(
    history: History,
    quantity_id: str,
    limb: str | None = None,
    side: str | None = None,
) -> list[Measured]:
    """The sure measurements of a quantity, in order of time; of the horse where `limb` is None.

    `side` must be the one said (None: none was). Of numbers for one stage of one day the last
    counts: what is said again is said better.
    """
    found: list[Measured] = []
    for visit in history.visits:
        of_day: dict[Stage, Measured] = {}
        for each in _of_day(visit, quantity_id, limb, side):
            of_day[each.stage] = each
        order = (Stage.BEFORE, Stage.UNTOUCHED, Stage.UNSAID, Stage.AFTER)
        found += [of_day[stage] for stage in order if stage in of_day]
    return found


def typed(entry: Measurement) -> tuple[Quantity, str] | None:
    """A measurement's value and the unit it was said in; None where it lacks one of them.

    The unit may be none of that quantity (an angle in inches, `units.kind_of`): who reckons
    with it must look, so that it can say what was wrong.
    """
    if entry.value is None or entry.unit is None:
        return None
    try:
        return quantity(entry.value, entry.unit), entry.unit
    except ValueError:
        return None


def _of_day(
    visit: DayVisit, quantity_id: str, limb: str | None, side: str | None
) -> Iterator[Measured]:
    said: list[tuple[int, Quantity, str]] = []
    for at, entry in enumerate(visit.entries):
        if isinstance(entry, Measurement) and (value := typed(entry)) is not None:
            about = (entry.quantity, entry.limb, entry.side)
            said += [(at, *value)] if about == (quantity_id, limb, side) else []
    stages = _stages(visit.entries, limb, [at for at, _, _ in said])
    for (_, value_said, unit), stage in zip(said, stages, strict=True):
        yield Measured(visit.on, limb, side, quantity_id, value_said, unit, stage)


def _stages(entries: Sequence[Entry], limb: str | None, places: list[int]) -> list[Stage]:
    """The stage of each measurement of one quantity, by its place among the entries."""
    if limb is None:
        return [Stage.UNTOUCHED] * len(places)
    work = [
        (at, entry.action)
        for at, entry in enumerate(entries)
        if isinstance(entry, Work) and entry.limb == limb
    ]
    cut = next((at for at, action in work if action in CUTS), None)
    if cut is not None:
        return [Stage.BEFORE if at < cut else Stage.AFTER for at in places]
    if not any(action in SETS for _, action in work):
        return [Stage.UNTOUCHED] * len(places)
    if len(places) < 2:
        return [Stage.UNSAID] * len(places)
    return [Stage.BEFORE, *[Stage.AFTER] * (len(places) - 1)]


def findings(history: History, limb: str | None = None) -> list[tuple[date, Finding]]:
    """The sure findings in order of time; only those of `limb`, if given.

    What was said not to be there is none of them.
    """
    return [
        (visit.on, entry)
        for visit in history.visits
        for entry in visit.entries
        if isinstance(entry, Finding) and not entry.denied and limb in (None, entry.limb)
    ]
