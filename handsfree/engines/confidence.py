"""How likely it is that an utterance was heard right, from what the listeners know of it.

One logistic sum for each case (the listeners agree, they differ, one listens alone): a base, and
for each feature a weight times how far its value is from the typical one. Weights and bounds are
in `confidence.toml`, fitted by `tests/bench/fit_confidence.py`; nothing here knows what a feature
means.
"""

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from handsfree.errors import EngineError

FILE = Path(__file__).with_name("confidence.toml")

_FIELDS = ("weight", "typical", "low", "high")


@dataclass(frozen=True)
class Feature:
    """What one feature does. A value is taken at least as `low` and at most as `high`; where
    it is not known it counts as `typical`, that is not at all. `weight` is in natural log of
    the odds for each unit of the feature."""

    weight: float
    typical: float
    low: float
    high: float

    def adds(self, value: float | None) -> float:
        """What a value adds to the log odds."""
        if value is None or math.isnan(value):
            return 0.0
        return self.weight * (min(self.high, max(self.low, value)) - self.typical)


@dataclass(frozen=True)
class Case:
    """The log odds (natural) where all is typical, what features add to them, and the bounds of
    what may come out: so few sounds were wrong in some cases that more could not be known."""

    base: float
    lowest: float
    highest: float
    features: Mapping[str, Feature]


@dataclass(frozen=True)
class Confidence:
    """All cases of one file."""

    cases: Mapping[str, Case]

    def of(self, case: str, known: Mapping[str, float | None]) -> float:
        """The probability, 0..1, that it is right. KeyError for a case that is not there."""
        chosen = self.cases[case]
        log_odds = chosen.base + sum(self.because(case, known).values())
        odds = 1.0 / (1.0 + math.exp(-min(50.0, max(-50.0, log_odds))))
        return min(chosen.highest, max(chosen.lowest, odds))

    def because(self, case: str, known: Mapping[str, float | None]) -> dict[str, float]:
        """What each feature added to the log odds, the weightiest first."""
        features = self.cases[case].features
        parts = {name: feature.adds(known.get(name)) for name, feature in features.items()}
        return dict(sorted(parts.items(), key=lambda part: -abs(part[1])))


@cache
def load(path: Path = FILE) -> Confidence:
    """Read such a file. Raises EngineError naming file, case and feature where it is wrong."""
    try:
        with path.open("rb") as file:
            table = tomllib.load(file)
    except OSError as error:
        raise EngineError(f"{path}: cannot be read: {error.strerror}") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise EngineError(f"{path}: is no TOML: {error}") from error
    if not table:
        raise EngineError(f"{path}: holds no case")
    return Confidence({name: _case(path, name, row) for name, row in table.items()})


def _case(path: Path, name: str, row: Any) -> Case:
    where = f"{path}: [{name}]"
    if not isinstance(row, dict):
        raise EngineError(f"{where} is no table")
    base, lowest, highest = (_number(where, row, key) for key in ("base", "lowest", "highest"))
    if not 0.0 <= lowest <= highest <= 1.0:
        raise EngineError(f"{where} lowest and highest must be in order and within 0..1")
    rows = {key: value for key, value in row.items() if key not in ("base", "lowest", "highest")}
    return Case(base, lowest, highest, {key: _feature(where, key, rows[key]) for key in rows})


def _feature(where: str, key: str, row: Any) -> Feature:
    at = f"{where} {key}"
    if not isinstance(row, dict) or set(row) != set(_FIELDS):
        raise EngineError(f"{at} needs just {', '.join(_FIELDS)}")
    weight, typical, low, high = (_number(at, row, field) for field in _FIELDS)
    if low > high:
        raise EngineError(f"{at}: low is above high")
    return Feature(weight, typical, low, high)


def _number(where: str, row: Mapping[str, Any], key: str) -> float:
    value = row.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise EngineError(f"{where} {key} is no number")
    return float(value)
