"""One mark seen again and again: which sightings belong together, as horn carries it down."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from handsfree.records.entries import Finding
from handsfree.records.units import Growth, Length
from handsfree.sums.history import History, findings

READING = Length(1.0)
"""How far off one reading of a rule on a hoof is taken to be (common practice, no source)."""


@dataclass(frozen=True)
class Sighting:
    """A mark as it was noted on one day, so far below the hairline along the wall."""

    on: date
    below: Length
    finding: Finding


MarkKey = tuple[str | None, str | None, str | None, str | None]


def key(finding: Finding) -> MarkKey:
    """What makes two findings the same mark: limb, term, zone and side."""
    return (finding.limb, finding.term, finding.zone, finding.side)


def follow(
    history: History, slow: Growth, middle: Growth, limb: str | None = None
) -> list[tuple[Sighting, ...]]:
    """Every mark with a distance below the hairline, each as its sightings in order of time.

    A sighting is of a mark seen before if limb, term, zone and side agree and horn could have
    carried it there: it has not moved up, and even at `slow` it had left the hairline before
    the mark was first seen. Of several such marks it is the one nearest to where growth at
    `middle` would have brought it. Two distances said on one day are two marks, unless they are
    one reading apart at most; then the last counts.
    """
    marks: list[list[Sighting]] = []
    for today in _days(history, limb):
        pairs = sorted(
            (_miss(mark[-1], seen, middle), at, which)
            for at, mark in enumerate(marks)
            for which, seen in enumerate(today)
            if _may_be(mark, seen, slow)
        )
        joined: dict[int, int] = {}
        for _, at, which in pairs:
            if at not in joined.values() and which not in joined:
                joined[which] = at
        for which, seen in enumerate(today):
            if which in joined:
                marks[joined[which]].append(seen)
            else:
                marks.append([seen])
    return [tuple(mark) for mark in marks]


def usable(below: Length) -> bool:
    """Whether the number is a distance at all."""
    return math.isfinite(below.mm) and below.mm >= 0


def _days(history: History, limb: str | None) -> Iterator[list[Sighting]]:
    by_day: dict[date, list[Sighting]] = {}
    for on, finding in findings(history, limb):
        if finding.below_hairline_mm is None:
            continue
        seen = Sighting(on, Length(finding.below_hairline_mm), finding)
        of_day = by_day.setdefault(on, [])
        for at, other in enumerate(of_day):
            again = abs(other.below.mm - seen.below.mm) <= READING.mm
            if again and key(other.finding) == key(finding):
                of_day[at] = seen
                break
        else:
            of_day.append(seen)
    yield from by_day.values()


def _may_be(mark: list[Sighting], seen: Sighting, slow: Growth) -> bool:
    last = mark[-1]
    if key(last.finding) != key(seen.finding):
        return False
    if not (usable(last.below) and usable(seen.below)):
        return False
    # Two readings, each of which may be off.
    if seen.below.mm < last.below.mm - 2 * READING.mm:
        return False
    return slow.days_for(seen.below) >= (seen.on - mark[0].on).days


def _miss(last: Sighting, seen: Sighting, middle: Growth) -> float:
    expected = last.below + middle.in_days((seen.on - last.on).days)
    return abs(seen.below.mm - expected.mm)
