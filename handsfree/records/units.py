"""Lengths as said, in millimetres.

1 inch = 25.4 mm exactly (international yard and pound agreement of 1959).
"""

MM_PER_UNIT = {"mm": 1.0, "cm": 10.0, "in": 25.4}


def to_mm(value: float, unit: str) -> float:
    """Convert a length in mm, cm or in to mm, rounded to a hundredth of a millimetre.

    Raises ValueError for a unit that is no length.
    """
    if unit not in MM_PER_UNIT:
        raise ValueError(f"{unit!r} is no unit of length (mm, cm, in)")
    return round(value * MM_PER_UNIT[unit], 2)
