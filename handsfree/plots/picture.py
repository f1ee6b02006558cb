"""What a picture shows: one measure of a horse over the visits, a panel for each foot."""

import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from statistics import median

from handsfree.records.units import DAYS_PER_MONTH, reckoned_in
from handsfree.sums.change import slope_line
from handsfree.sums.history import Measured, Stage
from handsfree.sums.seen import LIMBS
from handsfree.sums.series import MeasureTrack
from handsfree.sums.slopes import Slope, amount
from handsfree.sums.wording import Words

STAGES = (Stage.BEFORE, Stage.AFTER, Stage.UNTOUCHED, Stage.UNSAID)
Panel = tuple[str | None, str | None]
"""A limb (None: the horse) and a side."""


@dataclass(frozen=True)
class Picture:
    """One measure of a horse over the visits, all in one unit."""

    horse: str
    quantity: str
    unit: str
    tracks: tuple[MeasureTrack, ...]

    @property
    def panels(self) -> list[Panel]:
        """(limb, side) in order; all four feet, in their places, where there are several."""
        limbs = {t.limb for t in self.tracks}
        sides = sorted({t.side for t in self.tracks}, key=lambda s: (s is not None, s or ""))
        feet = [limb for limb in LIMBS if limb is not None]
        if len(limbs & set(feet)) < 2:
            feet = [limb for limb in feet if limb in limbs]
        shown = [(limb, side) for side in sides for limb in feet]
        return shown + [(None, side) for side in sides if None in limbs]

    def of(self, panel: Panel) -> list[MeasureTrack]:
        """The tracks of one panel."""
        return [t for t in self.tracks if (t.limb, t.side) == panel]

    @property
    def points(self) -> list[Measured]:
        """All points."""
        return [point for track in self.tracks for point in track.points]

    def value(self, point: Measured) -> float:
        """A point in the unit of the picture."""
        return point.value.to(self.unit)

    @property
    def days(self) -> tuple[int, int]:
        """First and last day with a little room, as ordinals."""
        days = [point.on.toordinal() for point in self.points]
        room = max(3, round((max(days) - min(days)) * 0.06))
        return min(days) - room, max(days) + room

    @property
    def span(self) -> tuple[float, float]:
        """Least and greatest value with a little room: one axis for all panels."""
        values = [self.value(point) for point in self.points]
        room = (max(values) - min(values)) * 0.08 or abs(values[0]) * 0.05
        return min(values) - room, max(values) + room

    @property
    def stages(self) -> list[Stage]:
        """The stages there are points of."""
        return [stage for stage in STAGES if any(p.stage is stage for p in self.points)]


def picture(horse: str, tracks: Sequence[MeasureTrack]) -> Picture:
    """The tracks of one quantity as a picture, in the unit last said.

    Raises ValueError for no tracks and for those of several quantities.
    """
    if len({track.quantity for track in tracks}) != 1:
        raise ValueError("a picture is of one quantity")
    unit = reckoned_in(tracks[0].unit)
    return Picture(_printable(horse), tracks[0].quantity, unit, tuple(tracks))


def _printable(text: str) -> str:
    """Without control characters and halves of surrogate pairs, which XML has no place for."""
    return "".join(
        c if unicodedata.category(c) not in ("Cc", "Cs", "Cn") else "\N{REPLACEMENT CHARACTER}"
        for c in text
    )


@dataclass(frozen=True)
class Trend:
    """A line through the middle of a series, in the unit shown: slopes are for a day."""

    day: float
    value: float
    slope: float
    low: float
    high: float

    def at(self, day: float, slope: float) -> float:
        """The value on a day (an ordinal) by one of the slopes."""
        return self.value + slope * (day - self.day)


def trend(shown: Picture, track: MeasureTrack) -> Trend | None:
    """The trend of a series; None where there is none."""
    if not isinstance(track.slope, Slope):
        return None
    slope = track.slope
    # A slope has no offset, so what turns 1 unit of the typed value into the unit shown does.
    typed = type(track.points[0].value)
    per_day = [
        typed(amount(each)).to(shown.unit) / DAYS_PER_MONTH
        for each in (slope.per_month, slope.low, slope.high)
    ]
    at = median(point.on.toordinal() for point in track.points)
    return Trend(at, median(shown.value(point) for point in track.points), *per_day)


def title_of(panel: Panel, words: Words) -> str:
    """What stands over a panel: "LH", "LH, inside", "horse"."""
    limb, side = panel
    return ", ".join(part for part in (limb or "horse", words.word("side", side)) if part)


def heading(shown: Picture, words: Words) -> str:
    """ "Bramble: toe length (mm)"."""
    unit = "°" if shown.unit == "deg" else shown.unit
    return f"{shown.horse}: {words.word('quantity', shown.quantity)} ({unit})"


def description(shown: Picture, words: Words) -> Iterator[str]:
    """The picture in words, for who does not see it."""
    yield f"{heading(shown, words)}, by foot and visit."
    for panel in shown.panels:
        tracks = shown.of(panel)
        title = title_of(panel, words)
        if not tracks:
            yield f"{title}: not measured."
        for track in tracks:
            stage = "" if track.stage is Stage.UNTOUCHED else f", {track.stage.value}"
            told = "; ".join(
                f"{words.day(p.on)} {words.measure(p.value, shown.unit)}" for p in track.points
            )
            yield f"{title}{stage}: {told}. {slope_line(track.slope, shown.unit, words)}."
