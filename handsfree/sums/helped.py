"""Before and after a change of shoe or work on a foot, side by side. Never its cause."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date

from handsfree.records.entries import Shoe, Work
from handsfree.records.units import Quantity
from handsfree.sums.history import DayVisit, History, Measured, Stage
from handsfree.sums.seen import LIMBS, FindingTrack
from handsfree.sums.seen import finding_tracks as _finding_tracks
from handsfree.sums.series import MeasureTrack, measure_tracks
from handsfree.sums.standing import Sighting, Standing, State, compare

NOT_A_CAUSE = "before and after, not a cause"
MADE_BY_WORK = frozenset({"new_shoe", "packed", "barefoot"})
"""Work that leaves a foot otherwise than it was. The rest (trimmed, shoe pulled, rasped,
clinched, the same shoe reset) are steps of every shoeing (common practice, no source)."""
KNOWN_FIRST = frozenset({"size", "section"})
"""What every shoe has: said for the first time it is no change, only another value is."""


@dataclass(frozen=True)
class Clear:
    """The place was said to be clear, or (`denied`) the finding said not to be there."""

    on: date
    denied: bool = False


@dataclass(frozen=True)
class Silent:
    """The foot had notes, but none of this."""

    on: date


Record = Sighting | Measured | Clear | Silent


@dataclass(frozen=True)
class Pair:
    """The records of one thing before and after a change, oldest first.

    `outcome` compares the last before with the last after; it is a difference for a measure, a
    standing for a finding, None where there is nothing to compare.
    """

    about: FindingTrack | MeasureTrack
    before: tuple[Record, ...]
    after: tuple[Record, ...]
    outcome: Standing | Quantity | None


@dataclass(frozen=True)
class Comparison:
    """What was recorded of a foot before and after a change of its shoe or of the work done.

    `along_with` was changed the same day, so that nobody can tell the two apart; `until` is the
    day of the next change of that foot: what came after it is not counted here.
    """

    change: Shoe | Work
    limb: str
    since: date
    along_with: tuple[Shoe | Work, ...]
    until: date | None
    pairs: tuple[Pair, ...]

    @property
    def before(self) -> tuple[Pair, ...]:
        """The pairs of which there is something from before."""
        return tuple(pair for pair in self.pairs if pair.before)

    @property
    def after(self) -> tuple[Pair, ...]:
        """The pairs of which there is something from after."""
        return tuple(pair for pair in self.pairs if pair.after)


def interventions(history: History, limb: str | None = None) -> list[Comparison]:
    """Every change of shoe or work of a history (of one limb, if given), foot by foot.

    A change is a shoe's property (item and detail) or a work that the foot did not have when
    its shoe or work was last noted; on its first such day nothing is a change.
    """
    history = replace(history, visits=tuple(sorted(history.visits, key=lambda v: v.on)))
    found: list[Comparison] = []
    for foot in LIMBS:
        if foot is None or limb not in (None, foot):
            continue
        days = [(v.on, made) for v, made in _changes(history.visits, foot) if made]
        if not days:
            continue
        tracks: list[FindingTrack | MeasureTrack] = list(_finding_tracks(history, foot))
        tracks += measure_tracks(history, foot)
        for at, (on, made) in enumerate(days):
            start = days[at - 1][0] if at else None
            end = days[at + 1][0] if at + 1 < len(days) else None
            pairs = tuple(p for t in tracks if (p := _pair(t, start, on, end)) is not None)
            for each in made:
                others = tuple(other for other in made if other != each)
                found.append(Comparison(each, foot, on, others, end, pairs))
    return found


def _changes(
    visits: Iterable[DayVisit], limb: str
) -> Iterator[tuple[DayVisit, tuple[Shoe | Work, ...]]]:
    """What was changed on the foot at each visit at which its shoe or work was noted."""
    shoe: dict[str, set[str | None]] = {}
    work: set[str | None] | None = None
    for at, (visit, items, acts) in enumerate(_noted(visits, limb)):
        shod = tuple(item for item in items if at and _is_new(item, shoe))
        done = tuple(
            act
            for act in acts
            if work is not None and act.action in MADE_BY_WORK and act.action not in work
        )
        yield visit, (*shod, *done)
        now = {act.action for act in acts}
        if "barefoot" in now:
            shoe = {}
        elif "new_shoe" in now and items:
            # A new shoe that was described has what was said of it, and what every shoe has.
            shoe = {item: details for item, details in shoe.items() if item in KNOWN_FIRST}
        for name_of in {str(item.item) for item in items}:
            shoe[name_of] = {item.detail for item in items if item.item == name_of}
        work = now or work


def _noted(
    visits: Iterable[DayVisit], limb: str
) -> Iterator[tuple[DayVisit, tuple[Shoe, ...], tuple[Work, ...]]]:
    """The visits at which shoe or work of the foot was noted, with both; nothing twice."""
    for visit in visits:
        of_foot = dict.fromkeys(e for e in visit.entries if e.limb == limb)
        items = tuple(e for e in of_foot if isinstance(e, Shoe) and e.item)
        acts = tuple(e for e in of_foot if isinstance(e, Work) and e.action)
        if items or acts:
            yield visit, items, acts


def _is_new(item: Shoe, had: dict[str, set[str | None]]) -> bool:
    details = had.get(str(item.item))
    if details is None:
        return item.item not in KNOWN_FIRST
    return item.detail not in details


def _pair(
    track: FindingTrack | MeasureTrack, start: date | None, on: date, end: date | None
) -> Pair | None:
    """The records between the change before and this one, and between this and the next.

    What is found on the day of a change is of before it, but for measures taken after the trim;
    a measure of that day of which neither was said is of neither.
    """
    before: list[Record] = []
    after: list[Record] = []
    for record in _records(track):
        then = record.on
        made_after = isinstance(record, Measured) and record.stage is Stage.AFTER
        unsaid = isinstance(record, Measured) and record.stage is Stage.UNSAID
        if then in (start, on, end) and unsaid:
            continue
        if _between(then, start, on, made_after):
            before.append(record)
        elif _between(then, on, end, made_after):
            after.append(record)
    told = [r for r in (*before, *after) if not isinstance(r, Silent)]
    return Pair(track, tuple(before), tuple(after), _outcome(before, after)) if told else None


def _between(day: date, start: date | None, end: date | None, made_after: bool) -> bool:
    """After the change of `start`, up to that of `end`."""
    later = start is None or (day >= start if made_after else day > start)
    sooner = end is None or (day < end if made_after else day <= end)
    return later and sooner


def _records(track: FindingTrack | MeasureTrack) -> list[Record]:
    if isinstance(track, MeasureTrack):
        return list(track.points)
    clear = [Clear(day, day in track.denied) for day in track.looked_clear]
    silent = [Silent(day) for day in track.not_mentioned]
    return sorted([*track.seen, *clear, *silent], key=lambda record: record.on)


def _outcome(before: list[Record], after: list[Record]) -> Standing | Quantity | None:
    earlier = [r for r in before if not isinstance(r, Silent)]
    later = [r for r in after if not isinstance(r, Silent)]
    if not earlier or not later:
        return None
    match earlier[-1], later[-1]:
        case Measured() as one, Measured() as other:
            return type(other.value)(other.value.amount - one.value.amount)
        case Sighting() as seen, Sighting() as again:
            return compare(seen, again)
        case Sighting(), Clear():
            return Standing(State.GONE)
        case Clear(), Sighting():
            return Standing(State.NEW)
        case _:
            return None
