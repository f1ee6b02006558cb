"""Lengths, angles, weights and growth, each a type of its own, so that no number hides its unit.

1 inch = 25.4 mm and 1 lb = 0.45359237 kg exactly (international yard and pound agreement of
1959). A hand is 4 inches. Heights in hands are written as they are said: 16.1 is sixteen hands
and one inch, 16.15 sixteen hands and an inch and a half; there is no 16.4.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

MM_PER_UNIT = {"mm": 1.0, "cm": 10.0, "in": 25.4}
HANDS = "hands"
INCHES_PER_HAND = 4
KG_PER_LB = 0.45359237
KG_PER_UNIT = {"kg": 1.0, "lb": KG_PER_LB}
DAYS_PER_WEEK = 7.0
DAYS_PER_MONTH = 365.25 / 12


@dataclass(frozen=True, order=True)
class Length:
    """A length, in mm."""

    mm: float

    @classmethod
    def of(cls, value: float, unit: str) -> Self:
        """A length said in mm, cm, in or hands. Raises ValueError for another unit, and for
        what is no number of hands (16.5)."""
        if unit == HANDS:
            return cls(_inches_of(value) * MM_PER_UNIT["in"])
        if unit not in MM_PER_UNIT:
            raise ValueError(f"{unit!r} is no unit of length (mm, cm, in, hands)")
        return cls(value * MM_PER_UNIT[unit])

    def to(self, unit: str) -> float:
        """The bare number in mm, cm or in; in hands as it is written, to 0.01 inch."""
        if unit == HANDS:
            return _in_hands(self.mm / MM_PER_UNIT["in"])
        return self.mm / MM_PER_UNIT[unit]

    @property
    def amount(self) -> float:
        """The bare number in mm."""
        return self.mm

    def __add__(self, other: "Length") -> "Length":
        return Length(self.mm + other.mm)

    def __sub__(self, other: "Length") -> "Length":
        return Length(self.mm - other.mm)

    def __mul__(self, factor: float) -> "Length":
        return Length(self.mm * factor)

    def __truediv__(self, other: "Length") -> float:
        return self.mm / other.mm


@dataclass(frozen=True, order=True)
class Angle:
    """An angle, in degrees."""

    deg: float

    @classmethod
    def of(cls, value: float, unit: str) -> Self:
        """An angle said in degrees (unit "deg"). Raises ValueError for another unit."""
        if unit != "deg":
            raise ValueError(f"{unit!r} is no unit of angle (deg)")
        return cls(value)

    def to(self, unit: str) -> float:
        """The bare number in degrees."""
        return type(self).of(self.deg, unit).deg

    @property
    def amount(self) -> float:
        """The bare number in degrees."""
        return self.deg

    def __sub__(self, other: "Angle") -> "Angle":
        return Angle(self.deg - other.deg)


@dataclass(frozen=True, order=True)
class Weight:
    """A weight (of a horse), in kg."""

    kg: float

    @classmethod
    def of(cls, value: float, unit: str) -> Self:
        """A weight said in kg or lb. Raises ValueError for another unit."""
        if unit not in KG_PER_UNIT:
            raise ValueError(f"{unit!r} is no unit of weight (kg, lb)")
        return cls(value * KG_PER_UNIT[unit])

    def to(self, unit: str) -> float:
        """The bare number in kg or lb."""
        return self.kg / KG_PER_UNIT[unit]

    @property
    def amount(self) -> float:
        """The bare number in kg."""
        return self.kg

    def __sub__(self, other: "Weight") -> "Weight":
        return Weight(self.kg - other.kg)


@dataclass(frozen=True, order=True)
class Growth:
    """How fast horn grows, in mm a day."""

    mm_per_day: float

    @classmethod
    def weekly(cls, length: Length) -> Self:
        """So much a week."""
        return cls(length.mm / DAYS_PER_WEEK)

    @classmethod
    def monthly(cls, length: Length) -> Self:
        """So much a month of 30.44 days (a twelfth of 365.25)."""
        return cls(length.mm / DAYS_PER_MONTH)

    @property
    def mm_per_week(self) -> float:
        """The bare number in mm a week."""
        return self.mm_per_day * DAYS_PER_WEEK

    def days_for(self, length: Length) -> float:
        """Days in which so much grows. Raises ZeroDivisionError where nothing grows."""
        return length.mm / self.mm_per_day

    def in_days(self, days: float) -> Length:
        """How much grows in so many days."""
        return Length(self.mm_per_day * days)


def hands_and_inches(value: float) -> tuple[int, float]:
    """The whole hands and the inches of a number of hands: 16.1 is (16, 1.0).

    Raises ValueError for what is none: negative, or four inches and more after the point.
    """
    if not (math.isfinite(value) and value >= 0):
        raise ValueError(f"{value:g} is no number of hands")
    whole = int(value)
    inches = round((value - whole) * 10, 4)
    if inches >= INCHES_PER_HAND:
        raise ValueError(
            f"{value:g} is no number of hands: after the point stand inches, 0 to 3 of them"
        )
    return whole, inches


def _inches_of(hands: float) -> float:
    whole, inches = hands_and_inches(hands)
    return whole * INCHES_PER_HAND + inches


def _in_hands(inches: float) -> float:
    whole, rest = divmod(round(abs(inches), 2), INCHES_PER_HAND)
    written = round(whole + rest / 10, 3)
    return -written if inches < 0 else written


def reckoned_in(unit: str) -> str:
    """The unit for sums, differences and drawings of what was said in a unit: a number of hands
    is no decimal, so inches stand for it."""
    return "in" if unit == HANDS else unit


Quantity = Length | Angle | Weight
Kind = type[Length] | type[Angle] | type[Weight]

UNITS: Mapping[str, Kind] = {
    **dict.fromkeys((*MM_PER_UNIT, HANDS), Length),
    "deg": Angle,
    **dict.fromkeys(KG_PER_UNIT, Weight),
}
"""Every unit a number may be said in, and what it measures."""

_LENGTHS = (
    *("toe_length", "heel_height", "heel_length", "hoof_width", "hoof_length"),
    *("coronary_circumference", "sole_depth", "wall_thickness", "frog_width", "frog_length"),
    *("heart_girth", "body_length", "height", "neck_girth"),
)
QUANTITIES: Mapping[str, Kind] = {
    **dict.fromkeys(_LENGTHS, Length),
    **dict.fromkeys(("hoof_angle", "heel_angle", "pastern_angle"), Angle),
    "weight": Weight,
}
"""Every quantity that is measured, and what it is; a test compares it with the table of words."""


def kind_of(quantity_id: str) -> Kind:
    """What a quantity is: a length, an angle or a weight. Raises ValueError for an unknown one."""
    if quantity_id not in QUANTITIES:
        raise ValueError(f"{quantity_id!r} is no quantity that is measured")
    return QUANTITIES[quantity_id]


def fits(quantity_id: str, value: Quantity) -> bool:
    """Whether a quantity is given in such units; False for an unknown one."""
    return isinstance(value, QUANTITIES.get(quantity_id, ()))


def quantity(value: float, unit: str) -> Quantity:
    """A number with the unit that was said, typed.

    Raises ValueError for an unknown unit, and for what is no number of hands.
    """
    if unit not in UNITS:
        raise ValueError(f"{unit!r} is no unit ({', '.join(UNITS)})")
    return UNITS[unit].of(value, unit)


def to_mm(value: float, unit: str) -> float:
    """Convert a length in mm, cm or in to mm, rounded to a hundredth of a millimetre.

    Raises ValueError for a unit that is no length.
    """
    return round(Length.of(value, unit).mm, 2)
