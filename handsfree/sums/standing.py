"""What was said of a finding on one day, and how it stands against the time before."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from handsfree.records.entries import MORE_IS_WORSE, ScaleGrade
from handsfree.records.units import Length
from handsfree.sums.slopes import Slope, theil_sen
from handsfree.sums.sources import CantSay

GRADES = ("slight", "mild", "moderate", "severe")
"""In the order of grammar/words.csv, least first."""


class State(StrEnum):
    """How a finding stands at its last sighting."""

    BETTER = "better"
    SAME = "same"
    WORSE = "worse"
    NEW = "new"
    GONE = "gone"
    UNKNOWN = "unknown"


class Basis(StrEnum):
    """What a state rests on."""

    GRADE = "the grade said"
    EXTENT = "the extent"
    SCALE = "the scale"
    SAID = "what was said"
    CLEAR = "clear said"


@dataclass(frozen=True)
class Sighting:
    """What was said of a finding on one day. `side_said` is false where it was left out."""

    on: date
    grade: str | None = None
    age: str | None = None
    trend: str | None = None
    extent: Length | None = None
    below_hairline: Length | None = None
    scale_grade: ScaleGrade | None = None
    side_said: bool = True


@dataclass(frozen=True)
class Standing:
    """A state, what it rests on, and what speaks against it."""

    state: State
    rests_on: Basis | None = None
    against: tuple[Basis, ...] = ()


def compare(before: Sighting, after: Sighting) -> Standing:
    """Better, same or worse, by the first of these that tells a difference.

    The grade said (slight < mild < moderate < severe), the extent to a millimetre, the grade
    on one scale, the trend said. Those that tell the contrary are named.
    """
    by = [(basis, sign) for basis in Basis if (sign := _sign(basis, before, after)) is not None]
    if not by:
        return Standing(State.UNKNOWN)
    basis, sign = next(((b, s) for b, s in by if s), by[0])
    state = (State.BETTER, State.SAME, State.WORSE)[sign + 1]
    return Standing(state, basis, tuple(b for b, s in by if s * sign < 0))


def _sign(basis: Basis, before: Sighting, after: Sighting) -> int | None:
    """1 for worse, 0 for the same, -1 for better; None where it tells nothing."""
    if basis is Basis.SAID:
        return {"better": -1, "same": 0, "worse": 1}.get(after.trend or "")
    if basis is Basis.SCALE and _scale(before) != _scale(after):
        return None
    values = [worth(basis, each) for each in (before, after)]
    if values[0] is None or values[1] is None:
        return None
    return (values[1] > values[0]) - (values[1] < values[0])


def _scale(sighting: Sighting) -> str | None:
    return sighting.scale_grade.scale if sighting.scale_grade else None


def worth(basis: Basis, sighting: Sighting) -> float | None:
    """How bad a sighting is by one basis, as a number; None where that was not said."""
    match basis:
        case Basis.GRADE if sighting.grade in GRADES:
            return GRADES.index(sighting.grade) + 1
        case Basis.EXTENT if sighting.extent is not None:
            return float(round(sighting.extent.mm))
        case Basis.SCALE if sighting.scale_grade and sighting.scale_grade.scale in MORE_IS_WORSE:
            return sighting.scale_grade.value
        case _:
            return None


def trend(seen: tuple[Sighting, ...]) -> tuple[Slope | CantSay, Basis | None]:
    """The slope of the extent, else of the scale, else of the grades in words counted 1 to 4."""
    for basis in (Basis.EXTENT, Basis.SCALE, Basis.GRADE):
        points = [(s, value) for s in seen if (value := worth(basis, s)) is not None]
        typed = Length if basis is Basis.EXTENT else float
        days, amounts = [s.on for s, _ in points], [value for _, value in points]
        slope = theil_sen(days, amounts, typed)
        if isinstance(slope, Slope):
            return slope, basis
    return CantSay("nothing with a number or grade was said on three days"), None
