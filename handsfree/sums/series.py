"""Every measure of a history as a series over the visits."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

from handsfree.records.entries import Measurement
from handsfree.records.units import Quantity, fits
from handsfree.sums.history import History, Measured, Stage, measures
from handsfree.sums.seen import LIMBS
from handsfree.sums.slopes import Slope, theil_sen
from handsfree.sums.sources import CantSay

SERIES = {
    Stage.BEFORE: (Stage.BEFORE, Stage.UNTOUCHED),
    Stage.AFTER: (Stage.UNTOUCHED, Stage.AFTER),
    Stage.UNSAID: (Stage.UNSAID,),
}
"""Which numbers stand in one series: those of before and after a trim never do."""


@dataclass(frozen=True)
class Difference:
    """The latest measure less the one before it, and the days between."""

    by: Quantity
    since: date
    days: int


@dataclass(frozen=True)
class MeasureTrack:
    """One measure of one foot (of the horse where `limb` is None), at one stage of the visits.

    `points` oldest first, at most one a day; `left_out` what is no such measure (zero,
    negative, an angle for a length). `stage` UNTOUCHED: no work was ever noted with it. `unit`
    is the one last said for the quantity, on whatever foot.
    """

    quantity: str
    limb: str | None
    side: str | None
    stage: Stage
    points: tuple[Measured, ...]
    unit: str
    last_change: Difference | None
    left_out: tuple[Measured, ...] = ()

    @cached_property
    def slope(self) -> Slope | CantSay:
        """Its change a month. Reckoned when it is asked for: it loads a large library."""
        typed = type(self.points[0].value)
        days, amounts = [m.on for m in self.points], [m.value.amount for m in self.points]
        return theil_sen(days, amounts, typed)


def measure_tracks(
    history: History, limb: str | None = None, quantity: str | None = None
) -> list[MeasureTrack]:
    """Every measure of a history; of one limb or quantity, if given. Foot by foot.

    A measure of before a trim stands with those of visits without a trim, and so does one of
    after a trim; the two are never in one series.
    """
    history = replace(history, visits=tuple(sorted(history.visits, key=lambda v: v.on)))
    tracks: list[MeasureTrack] = []
    units: dict[str, tuple[date, str]] = {}
    for name, foot, side in _measured(history, quantity):
        said = measures(history, name, foot, side)
        good = [m for m in said if is_one(m)]
        bad = tuple(m for m in said if not is_one(m))
        last = max((m.on for m in good), default=date.min)
        if good and (name not in units or units[name][0] <= last):
            units[name] = last, good[-1].unit
        if limb in (None, foot):
            tracks += [_track(stage, points, bad) for stage, points in _series(good)]
    return [replace(track, unit=units[track.quantity][1]) for track in tracks]


def no_measures(history: History, limb: str | None = None) -> list[Measured]:
    """What was said of a quantity of which no number at all can be one (zero, negative, an
    angle for a length): it makes no track."""
    found: list[Measured] = []
    for name, foot, side in _measured(history, None):
        said = measures(history, name, foot, side)
        if limb in (None, foot) and not any(is_one(m) for m in said):
            found += said
    return found


def _measured(history: History, quantity: str | None) -> list[tuple[str, str | None, str | None]]:
    """What was measured: (quantity, limb, side), foot by foot, first measured first."""
    found = dict.fromkeys(
        (entry.quantity, entry.limb, entry.side)
        for visit in history.visits
        for entry in visit.entries
        if isinstance(entry, Measurement)
        and entry.quantity is not None
        and (quantity is None or entry.quantity == quantity)
    )
    named = [(q, foot, side) for q, foot, side in found if q is not None]
    return sorted(named, key=lambda each: LIMBS.index(each[1]) if each[1] in LIMBS else len(LIMBS))


def is_one(measured: Measured) -> bool:
    """Whether a number can be such a measure at all."""
    value = measured.value
    return fits(measured.quantity, value) and math.isfinite(value.amount) and value.amount > 0


def _series(said: Sequence[Measured]) -> Iterator[tuple[Stage, tuple[Measured, ...]]]:
    if said and all(m.stage is Stage.UNTOUCHED for m in said):
        yield Stage.UNTOUCHED, tuple(said)
        return
    cut = {m.stage for m in said} & {Stage.BEFORE, Stage.AFTER}
    for stage, stages in SERIES.items():
        if stage in {m.stage for m in said}:
            yield stage, tuple(m for m in said if m.stage in stages)
    untouched = tuple(m for m in said if m.stage is Stage.UNTOUCHED)
    if untouched and not cut:
        yield Stage.UNTOUCHED, untouched


def _track(
    stage: Stage, points: tuple[Measured, ...], left_out: tuple[Measured, ...]
) -> MeasureTrack:
    first, last = points[0], points[-1]
    change = None
    if len(points) > 1:
        before = points[-2]
        by = type(last.value)(last.value.amount - before.value.amount)
        change = Difference(by, before.on, (last.on - before.on).days)
    about = (first.quantity, first.limb, first.side)
    return MeasureTrack(*about, stage, points, last.unit, change, left_out)
