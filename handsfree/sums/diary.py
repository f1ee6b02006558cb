"""What was going on with a foot between two visits: shod or bare, and what was noted."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from handsfree.records.entries import (
    Entry,
    Finding,
    Nails,
    Remark,
    ScaleGrade,
    Shoe,
    Work,
    is_absent,
)
from handsfree.sums.history import DayVisit, History

MOST_NOTED = 3

SERIOUS = frozenset(
    "nail_prick nail_bind puncture abscess lameness heat bounding_pulse raised_pulse swelling cut "
    "bruise corn tender overreach brushing lost_shoe sprung_shoe shifted_shoe loose_shoe "
    "laminitis keratoma".split()
)
"""What most often goes with a mark in the horn (common practice, no source)."""


@dataclass(frozen=True)
class NotedOn:
    """An entry and the day of its visit."""

    on: date
    entry: Entry


@dataclass(frozen=True)
class Interval:
    """A stretch between consecutive visits; `start` None: before the first visit of the log.

    `shod` is None where the records do not tell. `noted` is of the visits at both ends, of the
    last one only what was found.
    """

    start: date | None
    end: date
    shod: bool | None
    noted: tuple[NotedOn, ...]
    likeliest: bool


def diary(
    history: History, about: Finding, earliest: date, likeliest: date, latest: date
) -> tuple[Interval, ...]:
    """The intervals between visits that the days from `earliest` to `latest` touch.

    The day of a visit belongs to the interval that it ends. `about` is the mark itself: its own
    sightings are not told again.
    """
    ends = [visit.on for visit in history.visits]
    starts: list[date | None] = [None, *ends[:-1]]
    return tuple(
        Interval(
            start,
            end,
            shod_between(history, about.limb, start, end),
            _noted(history, about, start, end),
            likeliest=_within(start, likeliest, end),
        )
        for start, end in zip(starts, ends, strict=True)
        if earliest <= end and (start is None or start < latest)
    )


def shod_between(history: History, limb: str | None, start: date | None, end: date) -> bool | None:
    """Whether the foot wore a shoe between the two visits; None where no record tells.

    It did if a shoe was put on or nails driven at the last visit that tells, up to `start`; it
    was bare if it was left barefoot or the shoe pulled then. Else what was taken off or found
    at `end` tells (nails pulled, shoe pulled or reset, a sprung shoe).
    """
    state: bool | None = None
    for visit in history.visits:
        if start is not None and visit.on <= start:
            left = _left(visit, limb)
            state = state if left is None else left
    if state is None:
        state = next((_came(v, limb) for v in history.visits if v.on == end), None)
    return state


def _left(visit: DayVisit, limb: str | None) -> bool | None:
    """How the visit left the foot. What is said late counts as well as what is said in order."""
    actions = _actions(visit, limb)
    if "barefoot" in actions:
        return False
    if actions & {"new_shoe", "shoe_reset", "driven"}:
        return True
    return False if actions & {"shoe_pulled", "lost_shoe"} else None


def _came(visit: DayVisit, limb: str | None) -> bool | None:
    signs = {"shoe_pulled", "shoe_reset", "pulled", "lost", "left_in", "in_shoe"}
    signs |= {"lost_shoe", "sprung_shoe", "shifted_shoe", "loose_shoe"}
    return True if _actions(visit, limb) & signs else None


def _actions(visit: DayVisit, limb: str | None) -> set[str | None]:
    return {
        entry.term if isinstance(entry, Finding) else entry.action
        for entry in visit.entries
        if isinstance(entry, Work | Nails | Finding) and entry.limb == limb and not is_absent(entry)
    }


def _within(start: date | None, day: date, end: date) -> bool:
    return (start is None or start < day) and day <= end


def _noted(history: History, about: Finding, start: date | None, end: date) -> tuple[NotedOn, ...]:
    found = [
        NotedOn(visit.on, entry)
        for visit in history.visits
        if visit.on in (start, end)
        for entry in _of_limb(visit, about)
        # What was found at the end came of the interval, what was done then did not.
        if visit.on == start or isinstance(entry, Finding | Remark | Nails)
    ]
    best = sorted(found, key=lambda n: -_weight(n.entry, about))[:MOST_NOTED]
    return tuple(sorted(best, key=lambda n: n.on))


def _of_limb(visit: DayVisit, about: Finding) -> Iterator[Entry]:
    told: set[Entry] = set()
    for entry in visit.entries:
        own = isinstance(entry, Finding) and (
            (entry.limb, entry.term, entry.zone, entry.side)
            == (about.limb, about.term, about.zone, about.side)
            and entry.below_hairline_mm is not None
        )
        if not own and entry not in told and _weight(entry, about) > 0:
            told.add(entry)
            yield entry


def _weight(entry: Entry, about: Finding) -> int:
    """How much an entry may have to do with the mark; 0: nothing."""
    if is_absent(entry):
        return 0
    if isinstance(entry, Finding):
        if isinstance(entry.scale_grade, ScaleGrade):
            # Lame or footsore, not fat or thin; often said of the horse and not of a foot.
            lame = entry.scale_grade.scale != "body_condition"
            return 4 if lame and entry.limb in (about.limb, None) else 0
        if entry.limb != about.limb or entry.term == "clear":
            return 0
        near = (entry.zone == about.zone) + (entry.side is not None and entry.side == about.side)
        return (4 if entry.term in SERIOUS else 2) + near
    if getattr(entry, "limb", None) != about.limb:
        return 0
    match entry:
        case Shoe() | Work(action="new_shoe" | "shoe_reset" | "barefoot"):
            return 2
        case Nails(action="lost"):
            return 2
        case Remark(text=text):
            return 1 if text else 0
        case _:
            return 0
