"""Numbers that are asked about: a slip of the tongue or the ear more likely than a measure.

The ranges are wide on purpose. A number outside is questioned, never refused: they describe
what is met with, from a pony to a Shire, not what is healthy.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from handsfree.grammar.wording import number_with_unit
from handsfree.records.entries import Entry, Finding, Measurement, Nails, Plan
from handsfree.records.units import HANDS, INCHES_PER_HAND, UNITS, hands_and_inches
from handsfree.visit.nails import USUAL_MOST

FEWEST_WEEKS, MOST_WEEKS = 1, 14
"""Weeks to the next visit: 4 to 14 possible, 6 to 10 usual (equimed.com); sooner to look
after a bad foot (common practice, no source)."""


LONGEST_MARK_MM = 300.0
"""Longest wound or crack on a foot or leg that is not asked about (common practice, no
source)."""


@dataclass(frozen=True)
class Range:
    """What is usual for a quantity: (least, most) of a riding and of a heavy horse.

    Lengths in mm, angles in degrees, weights in kg. `source` is what the range rests on; how
    wide it is drawn about that is common practice, no source.
    """

    quantity: str
    riding: tuple[float, float]
    heavy: tuple[float, float]
    source: str

    def of(self, kind: str | None) -> tuple[float, float]:
        """The range of a kind of horse; of both together where the kind is not known."""
        if kind == "riding":
            return self.riding
        if kind == "heavy":
            return self.heavy
        return min(self.riding[0], self.heavy[0]), max(self.riding[1], self.heavy[1])


_PRACTICE = "common practice, no source"
_SHOES = "generic US shoe sizes 00 to 9: 4 1/2 x 5 1/4 to 7 7/8 x 9 in"
_JENSEN = "Jensen et al. 2019 (366 and 640 kg); heavy: worked cases to Catalano et al."

RANGES = {
    r.quantity: r
    for r in (
        Range(
            "toe_length",
            (63.5, 114.3),
            (76.2, 152.4),
            "7.6 to 8.9 cm for 360 to 575 kg (common practice, no source); heavy: the same",
        ),
        Range("hoof_angle", (40, 65), (40, 65), "about 50 fore, 55 hind in anatomy texts"),
        Range("heel_angle", (30, 65), (30, 65), "within 5 of the toe's, less where under-run"),
        Range("pastern_angle", (40, 70), (40, 70), "parallel to the hoof (Adams and Stashak)"),
        Range(
            "heel_height", (15, 60), (20, 90), "a third of the toe's height or more (Dyson 2011)"
        ),
        Range("heel_length", (15, 80), (20, 110), _PRACTICE),
        Range("hoof_width", (75, 170), (115, 240), f"{_SHOES}; Stachurska et al. 2011"),
        Range("hoof_length", (85, 195), (125, 260), _SHOES),
        Range("coronary_circumference", (220, 480), (350, 700), _PRACTICE),
        Range("sole_depth", (4, 25), (5, 35), _PRACTICE),
        Range("wall_thickness", (4, 20), (6, 25), "half the web of the shoe (Lungwitz and Adams)"),
        Range("frog_width", (20, 90), (30, 130), "Turner 1992: 67% of its length or more"),
        Range("frog_length", (45, 150), (60, 200), "Turner 1992; within the foot's length"),
        Range("heart_girth", (900, 2300), (1700, 2800), f"166 to 204 cm, {_JENSEN}"),
        Range("body_length", (800, 2200), (1500, 2600), f"158 to 185 cm, {_JENSEN}"),
        Range("height", (700, 1900), (1450, 2150), _PRACTICE),
        Range("neck_girth", (450, 1400), (800, 1800), "120 to 125 cm, worked cases to Catalano"),
        Range("weight", (80, 800), (450, 1300), _JENSEN),
    )
}


def unlikely_unit(entries: Iterable[Entry]) -> str | None:
    """Why the unit of one of these is doubtful: it was not said, and the one that was taken makes
    an unusual number of it. None where none is."""
    for entry in entries:
        if isinstance(entry, Measurement) and entry.unit_inferred and (asked := question(entry)):
            return f"the unit was not said, {asked}"
    return None


def question(entry: Entry, kind: str | None = None) -> str | None:
    """What to ask about an entry's number, None where nothing is odd.

    `kind` of the horse: 'heavy', 'riding' or None where nobody said.
    """
    match entry:
        case Measurement(quantity=str(quantity), value=value, unit=str(unit)) if value is not None:
            return _measured(quantity, value, unit, kind)
        case Nails(count=count) if count is not None and count > USUAL_MOST:
            return f"{count} nails: is that right? seldom more than {USUAL_MOST}"
        case Plan(weeks=weeks) if weeks is not None and not FEWEST_WEEKS <= weeks <= MOST_WEEKS:
            usual = f"{FEWEST_WEEKS} to {MOST_WEEKS}"
            return f"{weeks} weeks: is that right? usual {usual}"
        case Finding():
            return _lengths(entry, kind)
        case _:
            return None


def _measured(quantity: str, value: float, unit: str, kind: str | None) -> str | None:
    known = RANGES.get(quantity)
    if known is None or unit not in UNITS:
        return None
    of = UNITS[unit]
    least, most = known.of(kind)
    name = quantity.replace("_", " ")
    said = number_with_unit(value, unit)
    try:
        if least <= of.of(value, unit).amount <= most:
            return None
    except ValueError as error:
        return f"{name} {said}: is that right? {error}"
    low, high = _shown(of(least).to(unit), unit), _shown(of(most).to(unit), unit)
    return f"{name} {said}: is that right? usual {low} to {number_with_unit(float(high), unit)}"


def _shown(value: float, unit: str) -> str:
    """A limit as a round number of its unit."""
    if unit == HANDS:
        whole, inches = hands_and_inches(value)
        return f"{whole + round(inches) // INCHES_PER_HAND}"
    step = {"in": 0.25, "cm": 0.5, "lb": 10.0}.get(unit, 1.0)
    return f"{round(value / step) * step:g}"


def _lengths(entry: Finding, kind: str | None) -> str | None:
    """No mark lies further down than the toe is long."""
    most = RANGES["toe_length"].of(kind)[1]
    below, extent = entry.below_hairline_mm, entry.extent_mm
    if below is not None and not 0 < below <= most:
        return f"{below:g} mm below the hairline: is that right? the longest toes are {most:.0f} mm"
    if extent is not None and not 0 < extent <= LONGEST_MARK_MM:
        return f"{extent:g} mm long: is that right? seldom more than {LONGEST_MARK_MM:.0f}"
    return None
