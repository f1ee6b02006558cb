"""Robust slopes: how much a number changes in a month, with an interval."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

from handsfree.records.units import DAYS_PER_MONTH, Quantity
from handsfree.sums.sources import CantSay, Source

THEIL_SEN = Source(
    "Theil 1950, Sen 1968",
    "H. Theil, Nederl. Akad. Wetensch. Proc. 53, 1950; P. K. Sen, J. Am. Stat. Assoc. 63, 1968, "
    "pp. 1379-1389; computed by scipy.stats.theilslopes",
)
CONFIDENCE = 0.95
FEWEST = 3
"""Points under which no slope is told: two always lie on a line."""


@dataclass(frozen=True)
class Slope:
    """A change per month of 30.44 days and its interval, typed like what was measured.

    `confidence` is 0.95, or less where so few points allow no more.
    """

    per_month: Quantity | float
    low: Quantity | float
    high: Quantity | float
    points: int
    confidence: float
    source: Source = THEIL_SEN

    @property
    def clear(self) -> bool:
        """Whether the interval leaves out "no change"."""
        return amount(self.low) > 0 or amount(self.high) < 0


def amount(value: Quantity | float) -> float:
    """The bare number, of a quantity in its own unit (mm, deg, kg)."""
    return float(value) if isinstance(value, int | float) else value.amount


def confidence_of(points: int) -> float:
    """How sure an interval from so many points can be, at most 0.95.

    With three or four points even the interval from the least to the greatest slope of all
    pairs is missed by chance where all n! orders are equally likely and the two monotone ones
    fall outside: 1 - 2/n!, that is 0.67 and 0.92 (Kendall's tau, after Sen 1968).
    """
    return min(CONFIDENCE, 1 - 2 / math.factorial(min(points, 20)))


def theil_sen(
    days: Sequence[date],
    amounts: Sequence[float],
    typed: Callable[[float], Quantity | float] = float,
) -> Slope | CantSay:
    """The median of the slopes of all pairs, per month, with its 95 % interval.

    Theil 1950 for the slope, Sen 1968 for the interval; `typed` makes a quantity of a bare
    number. CantSay under three points of different days.
    """
    if len(set(days)) < FEWEST:
        return CantSay(f"a slope needs {FEWEST} days and there {_are(len(set(days)))}")
    from scipy.stats import theilslopes

    first = min(days)
    months = [(day - first).days / DAYS_PER_MONTH for day in days]
    found = theilslopes(list(amounts), months, CONFIDENCE)
    middle, low, high = (float(found[at]) for at in (0, 2, 3))
    return Slope(typed(middle), typed(low), typed(high), len(days), confidence_of(len(days)))


def _are(number: int) -> str:
    return {0: "is none", 1: "is one"}.get(number, "are two")
