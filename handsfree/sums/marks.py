"""When a mark in the wall was at the hairline, and when it will be trimmed out."""

from dataclasses import dataclass
from datetime import date
from statistics import median

from handsfree.records.entries import Finding
from handsfree.records.units import Length
from handsfree.sums.diary import Interval, diary
from handsfree.sums.forward import Forward, forward, wall_length
from handsfree.sums.growth import (
    FULL,
    Rate,
    birth_ring_at_ground,
    published,
    rate_for,
    shifted,
)
from handsfree.sums.history import DAYS_OF_A_FOAL, Age, History, findings
from handsfree.sums.mark_lines import lines as lines
from handsfree.sums.ranges import DateRange
from handsfree.sums.sightings import READING, Sighting, follow, key, usable
from handsfree.sums.sources import CantSay
from handsfree.sums.wording import said_in

ON_THE_WALL = frozenset({"toe", "quarter", "heel", "wall", "clip", "coronary_band"})
"""Places that the wall carries down; a mark whose place was not said is taken to be in the wall."""

LONGEST_WALL = FULL[1].in_days(13 * 365.25 / 12)
"""The fastest growth (1/2 in a month) over the longest grow-down (13 months), both of Lungwitz &
Adams: no wall is longer."""

TERMS_TO_DATE = frozenset({"bruise", "growth_ring", "abscess", "cut", "crack"})
"""Findings that leave a mark in the wall (common practice, no source)."""


@dataclass(frozen=True)
class MarkDate:
    """A mark, when it was at the hairline, what was going on then, and when it will be out.

    `below` and `seen_on` are of the latest sighting. `agree` is false where no day suits all
    sightings; the range then takes in all of theirs. `unit` is the one the distance was said in.
    """

    limb: str | None
    term: str | None
    zone: str | None
    side: str | None
    below: Length
    seen_on: date
    sightings: tuple[Sighting, ...]
    rate: Rate
    range: DateRange | CantSay
    agree: bool
    diary: tuple[Interval, ...]
    forward: Forward | CantSay
    birth_ring: DateRange | None
    notes: tuple[str, ...]
    unit: str
    today: date


@dataclass(frozen=True)
class Undated:
    """A finding that may be dated once its distance below the hairline is measured."""

    on: date
    finding: Finding
    why: CantSay


def date_mark(below: Length, zone: str | None, rate: Rate, seen_on: date) -> DateRange | CantSay:
    """When horn that is now so far below the hairline was at the hairline.

    Days = distance along the wall / rate: likeliest by `rate.middle`, earliest by `rate.slow`,
    latest by `rate.fast`. At the hairline means fresh: likeliest and latest are then the day
    itself (common practice, no source). A distance under 1 mm counts as 1 mm for the earliest
    day, as a rule is read no closer; with the horse's own rate that 1 mm is reckoned in both
    ways, with a published one it is lost in its range. Growth is equal round the foot
    (Kolstrung 2012), so the place decides only whether there is a wall to measure along.
    """
    why = _no_date(below, zone)
    if why is not None:
        return CantSay(why)
    off = READING.mm if rate.own else 0.0
    furthest = Length(max(below.mm + off, READING.mm))
    nearest = Length(max(below.mm - off, 0.0))
    usual = None
    if rate.usual is not None:
        usual = (
            shifted(seen_on, -rate.usual[0].days_for(below)),
            shifted(seen_on, -rate.usual[1].days_for(below)),
        )
    return DateRange(
        shifted(seen_on, -rate.slow.days_for(furthest)),
        shifted(seen_on, -rate.middle.days_for(below)),
        shifted(seen_on, -rate.fast.days_for(nearest)),
        usual,
    )


def dated(history: History, today: date, limb: str | None = None) -> list[MarkDate]:
    """Every mark that was noted with a distance below the hairline, latest sighting first."""
    past = history.until(today)
    adults = published(Age.ADULT)
    rates: dict[date, Rate] = {}
    marks = []
    for seen in follow(past, adults.slow, adults.middle, limb):
        for sighting in seen:
            if sighting.on not in rates:
                rates[sighting.on] = _rate(past, sighting.on, today)
        marks.append(_mark(past, seen, rates, today))
    return sorted(marks, key=lambda m: m.seen_on, reverse=True)


def undated(history: History, today: date, limb: str | None = None) -> list[Undated]:
    """Marks in the wall whose distance below the hairline was never said; the latest of each."""
    last: dict[object, tuple[date, Finding]] = {}
    measured = set()
    for on, finding in findings(history.until(today), limb):
        if finding.below_hairline_mm is not None:
            measured.add(key(finding))
        elif finding.term in TERMS_TO_DATE and finding.zone in ON_THE_WALL | {None}:
            last[key(finding)] = (on, finding)
    why = CantSay("its distance below the hairline was not said")
    return [Undated(on, finding, why) for k, (on, finding) in last.items() if k not in measured]


def birth_ring(history: History) -> DateRange | CantSay:
    """When the birth ring is at the ground (Curtis 2014: 145 ± 15 days after birth)."""
    if history.horse.born is None:
        return CantSay("the day of birth is not in the log")
    if not history.horse.born_exactly:
        return CantSay("only the year of birth is in the log")
    return DateRange(*birth_ring_at_ground(history.horse.born))


def _rate(history: History, on: date, today: date) -> Rate:
    """The rate for a mark seen on a day: by all that is known today, for the age it had then."""
    same_age = history.horse.age(on) is history.horse.age(today)
    return rate_for(history, today) if same_age else rate_for(history, on)


def _mark(
    history: History, seen: tuple[Sighting, ...], rates: dict[date, Rate], today: date
) -> MarkDate:
    last = seen[-1]
    about = last.finding
    rate = rates[last.on]
    found = _range(history, seen, rates)
    span, agree = found if isinstance(found, tuple) else (found, True)
    notes: tuple[str, ...] = ()
    noted: tuple[Interval, ...] = ()
    ahead: Forward | CantSay = CantSay("the mark itself cannot be dated")
    if isinstance(span, DateRange):
        notes = _notes(history, span, last.on)
        noted = diary(history, about, span.earliest, span.likeliest, span.latest)
        ahead = forward(history, about, last.below, last.on, span, rate)
    ring = birth_ring(history) if about.term == "growth_ring" else None
    is_foal = history.horse.age(last.on) is Age.FOAL
    return MarkDate(
        about.limb,
        about.term,
        about.zone,
        about.side,
        last.below,
        last.on,
        seen,
        rate,
        span,
        agree,
        noted,
        ahead,
        ring if isinstance(ring, DateRange) and is_foal else None,
        notes,
        said_in(last.below),
        today,
    )


def _range(
    history: History, seen: tuple[Sighting, ...], rates: dict[date, Rate]
) -> tuple[DateRange, bool] | CantSay:
    """The days that suit every sighting; those of all sightings where none suits."""
    ranges: list[DateRange] = []
    for each in seen:
        why = _too_long(history, each)
        if why is not None:
            return CantSay(why)
        one = date_mark(each.below, each.finding.zone, rates[each.on], each.on)
        if isinstance(one, CantSay):
            return one
        ranges.append(one)
    earliest, latest = max(r.earliest for r in ranges), min(r.latest for r in ranges)
    agree = earliest <= latest
    if not agree:
        earliest, latest = min(r.earliest for r in ranges), max(r.latest for r in ranges)
    middle = date.fromordinal(round(median(r.likeliest.toordinal() for r in ranges)))
    likeliest = min(max(middle, earliest), latest)
    usual = None
    known = [r.usual for r in ranges if r.usual is not None]
    if agree and len(known) == len(ranges):
        first, last = max(u[0] for u in known), min(u[1] for u in known)
        usual = (first, last) if first <= last else None
    return DateRange(earliest, likeliest, latest, usual), agree


def _no_date(below: Length, zone: str | None) -> str | None:
    if zone is not None and zone not in ON_THE_WALL:
        return f"the {zone.replace('_', ' ')} is not carried down by the wall's growth"
    if not usable(below):
        return "that is no distance below the hairline"
    if below > LONGEST_WALL:
        return (
            f"{below.mm:.0f} mm is longer than any wall grows ({LONGEST_WALL.mm:.0f} mm, "
            "Lungwitz & Adams): was it measured right?"
        )
    return None


def _too_long(history: History, seen: Sighting) -> str | None:
    """Further down than the wall is long: a slip of one of the two numbers."""
    wall = wall_length(history, seen.finding, seen.on, longest=True)
    if wall is None or seen.below.mm <= wall.length.mm + 2 * READING.mm:
        return None
    what = wall.quantity.replace("_", " ")
    return (
        f"{seen.below.mm:.0f} mm below the hairline is further than the {what} of "
        f"{wall.length.mm:.0f} mm measured on {wall.on.isoformat()}: which of them is wrong?"
    )


def _notes(history: History, span: DateRange, seen_on: date) -> tuple[str, ...]:
    born = history.horse.born
    if born is None:
        return ()
    if span.earliest < born <= seen_on:
        return ("the earliest is before its birth: that horn was there when it was born",)
    grown_up = shifted(born, DAYS_OF_A_FOAL)
    if span.earliest < grown_up <= seen_on:
        return ("part of it grew while it was a foal, and faster: it may be later",)
    return ()
