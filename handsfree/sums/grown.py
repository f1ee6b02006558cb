"""How much horn grew between two visits, as this horse's own records show it."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise

from handsfree.records.entries import Measurement, Work
from handsfree.records.limbs import LIMBS
from handsfree.records.units import Growth, Length
from handsfree.sums.diary import shod_between
from handsfree.sums.history import CUTS, SETS, Age, History, Measured, Stage, measures
from handsfree.sums.sightings import READING, follow, usable

SHORTEST_DAYS = 14
"""Over fewer days the readings' error is as large as the growth."""

BY_TOE, BY_MARK = "toe length", "a mark seen again"

Bounds = Callable[[Age], tuple[Growth, Growth]]
"""The slowest and the fastest growth of an age class that is taken for growth at all."""


@dataclass(frozen=True)
class GrowthInterval:
    """Growth between two visits. `left_out` says why it is not counted, None if it is.

    `shod` tells of a toe's interval; a bare foot also wears, so that its toe shows less growth.
    """

    limb: str | None
    start: date
    end: date
    grown: Length
    by: str
    shod: bool | None = None
    left_out: str | None = None

    @property
    def days(self) -> int:
        """Days between the two readings."""
        return (self.end - self.start).days

    @property
    def growth(self) -> Growth:
        """Growth as read."""
        return Growth(self.grown.mm / self.days)

    @property
    def error(self) -> Growth:
        """What two readings, each ±1 mm (common practice), may put it off: root of the squares."""
        return Growth(math.sqrt(2) * READING.mm / self.days)


def intervals(
    history: History, bounds: Bounds, slow: Growth, middle: Growth, limb: str | None = None
) -> list[GrowthInterval]:
    """All that can be compared, also what is left out; of all feet or of one.

    Toe length after one visit's trim against before the next one's, and marks seen again, told
    apart by growth at `slow` and `middle` (see `sightings.follow`).
    """
    return list(_intervals(history, bounds, slow, middle, limb))


def _intervals(
    history: History, bounds: Bounds, slow: Growth, middle: Growth, limb: str | None
) -> Iterator[GrowthInterval]:
    for each in [limb] if limb else LIMBS:
        for side in _sides(history, each):
            yield from _of_toe(history, each, side, bounds)
    for mark in follow(history, slow, middle, limb):
        for first, then in pairwise(mark):
            if usable(first.below):
                where = first.finding.limb
                grown = then.below - first.below
                between = GrowthInterval(where, first.on, then.on, grown, BY_MARK)
                yield _judged(history, between, bounds)


def _sides(history: History, limb: str) -> list[str | None]:
    entries = [entry for visit in history.visits for entry in visit.entries]
    said = [e for e in entries if isinstance(e, Measurement) and e.quantity == "toe_length"]
    return list(dict.fromkeys(e.side for e in said if e.limb == limb))


def _of_toe(
    history: History, limb: str, side: str | None, bounds: Bounds
) -> Iterator[GrowthInterval]:
    by_day: dict[date, list[Measured]] = {}
    for each in measures(history, "toe_length", limb, side):
        by_day.setdefault(each.on, []).append(each)
    days = sorted(by_day)
    for start, end in pairwise(days):
        left = _of_stage(by_day[start], Stage.AFTER)
        found = _of_stage(by_day[end], Stage.BEFORE)
        if left is None or found is None:
            continue
        shod = shod_between(history, limb, start, end)
        grown = found - left
        interval = GrowthInterval(limb, start, end, grown, BY_TOE, shod)
        if not (is_some(left) and is_some(found)):
            yield replace(interval, left_out="not a length")
        elif _worked_between(history, limb, start, end):
            yield replace(interval, left_out="worked on between the two readings")
        else:
            yield _judged(history, interval, bounds)


def _of_stage(of_day: list[Measured], wanted: Stage) -> Length | None:
    for stage in (wanted, Stage.UNTOUCHED):
        for each in of_day:
            if each.stage is stage and isinstance(each.value, Length):
                return each.value
    return None


def _worked_between(history: History, limb: str, start: date, end: date) -> bool:
    return any(
        isinstance(entry, Work) and entry.limb in (limb, None) and entry.action in CUTS | SETS
        for visit in history.visits
        if start < visit.on < end
        for entry in visit.entries
    )


def _judged(history: History, interval: GrowthInterval, bounds: Bounds) -> GrowthInterval:
    if interval.days < SHORTEST_DAYS:
        return replace(interval, left_out="too few days")
    slowest, fastest = bounds(history.horse.age(interval.end))
    if not math.isfinite(interval.grown.mm):
        return replace(interval, left_out="not a length")
    if interval.grown.mm < 0:
        return replace(interval, left_out="shorter than before")
    if interval.growth < slowest:
        return replace(interval, left_out="too little for growth")
    if interval.growth > fastest:
        return replace(interval, left_out="too much for growth")
    return interval


def is_some(length: Length) -> bool:
    """Whether the number is a length of a thing at all."""
    return math.isfinite(length.mm) and length.mm > 0
