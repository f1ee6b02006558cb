"""When a mark will have grown down to the ground, where the next trim takes it out."""

from dataclasses import dataclass
from datetime import date

from handsfree.records.entries import Finding
from handsfree.records.units import DAYS_PER_MONTH, Length
from handsfree.sums.grown import is_some
from handsfree.sums.growth import BIRTH_RING_DAYS, CURTIS, Rate, shifted
from handsfree.sums.history import Age, History, Stage, measures
from handsfree.sums.ranges import DateRange
from handsfree.sums.sources import CantSay, Source

GROW_DOWN = Source(
    "Lungwitz & Adams",
    "Lungwitz & Adams 1897: grow-down of the toe 11–13 months, side walls (about the modern "
    "quarter) 6–8, quarters (about the modern heel) 3–5.",
)
MONTHS_DOWN = {"toe": (11, 12, 13), "quarter": (6, 7, 8), "heel": (3, 4, 5)}


@dataclass(frozen=True)
class Wall:
    """The length of the wall at a place, as last measured."""

    quantity: str
    length: Length
    on: date
    unit: str
    stage: Stage


@dataclass(frozen=True)
class Forward:
    """When a mark reaches the ground: by the wall's length, or by published months.

    `wall` is what was reckoned with, None where the months of `place` were. `assumed` says what
    had to be taken for granted; `source` is of the months.
    """

    reach: DateRange
    place: str
    wall: Wall | None
    months: tuple[int, int, int] | None
    source: Source | None
    assumed: str | None


def forward(
    history: History,
    about: Finding,
    below: Length,
    seen_on: date,
    at_hairline: DateRange,
    rate: Rate,
) -> Forward | CantSay:
    """When the mark reaches the ground.

    Days from the sighting = (wall length - distance) / rate, with the toe length (at the heel
    the heel length) last measured, after the trim if that was said: a shod foot is trimmed to
    that length again, so the mark goes when it has come so far. Else, and at the quarter, whose
    wall is not measured, from the day at the hairline on the months of Lungwitz & Adams: toe
    11–13, side walls (≈ quarter) 6–8, quarters (≈ heel) 3–5. For foals 145 ± 15 days at the toe
    (Curtis 2014). Never before the day it was seen.
    """
    last = history.last.on if history.last else seen_on
    wall = wall_length(history, about, last)
    return to_ground(
        below, about.zone, rate, seen_on, at_hairline, history.horse.age(seen_on), wall
    )


def to_ground(
    below: Length,
    zone: str | None,
    rate: Rate,
    seen_on: date,
    at_hairline: DateRange,
    age: Age,
    wall: Wall | None,
) -> Forward | CantSay:
    """As `forward`, for a distance without records; `wall` None: by the published months."""
    place = zone if zone in MONTHS_DOWN else "toe"
    assumed = (
        None if zone in MONTHS_DOWN else "its place round the foot was not said: taken as the toe"
    )
    if wall is not None and place != "quarter":
        rest = Length(max(wall.length.mm - below.mm, 0.0))
        soonest, middle, latest = (
            shifted(seen_on, growth.days_for(rest))
            for growth in (rate.fast, rate.middle, rate.slow)
        )
        return Forward(DateRange(soonest, middle, latest), place, wall, None, None, assumed)
    if age is Age.FOAL:
        if place != "toe":
            return CantSay(f"no time is published for a foal's {place} to grow down")
        reach = _after(at_hairline, BIRTH_RING_DAYS, seen_on)
        return Forward(reach, place, None, None, CURTIS, "as the birth ring goes down")
    months = MONTHS_DOWN[place]
    soon, mid, late = (each * DAYS_PER_MONTH for each in months)
    reach = _after(at_hairline, (soon, mid, late), seen_on)
    return Forward(reach, place, None, months, GROW_DOWN, assumed)


def wall_length(
    history: History, about: Finding, until: date, longest: bool = False
) -> Wall | None:
    """The wall's length where the mark is, as last measured up to a day: at the heel the heel's
    if it was measured, elsewhere the toe's. After the trim, or (`longest`) whichever is longer.
    """
    if about.limb is None:
        return None
    names = ["heel_length"] if about.zone == "heel" else ["toe_length"]
    if about.zone == "heel" and longest:
        names.append("toe_length")
    for name in names:
        sides = [about.side, None] if about.side else [None, "lateral", "medial"]
        for side in sides:
            found = [
                Wall(name, m.value, m.on, m.unit, m.stage)
                for m in measures(history.until(until), name, about.limb, side)
                if isinstance(m.value, Length) and is_some(m.value)
            ]
            if not found:
                continue
            of_day = [w for w in found if w.on == found[-1].on]
            return max(of_day, key=lambda w: w.length) if longest else of_day[-1]
    return None


def _after(origin: DateRange, days: tuple[float, float, float], seen_on: date) -> DateRange:
    soonest, middle, latest = days
    return DateRange(
        max(shifted(origin.earliest, soonest), seen_on),
        max(shifted(origin.likeliest, middle), seen_on),
        max(shifted(origin.latest, latest), seen_on),
    )
