"""Recognizers fitted to one speaker: his throat's length, and how often he is heard right."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from handsfree.engines.confidence import Confidence

NO_WARP = 1.0
"""The frequency warp of a speaker of whom nothing is known."""


@dataclass(frozen=True)
class Speaker:
    """What was fitted to one speaker.

    `warp` is PocketSphinx's frequency warp (1: none). `shift` is added to the natural log odds of
    each case of confidence.toml that it names.
    """

    warp: float = NO_WARP
    shift: Mapping[str, float] = field(default_factory=dict)


def shifted(confidence: Confidence, shift: Mapping[str, float]) -> Confidence:
    """The same weights with each case's log odds moved; a case that is not there is left out.

    The bounds of a case stay: they say how much can be known, which no speaker changes.
    """
    cases = {
        name: replace(case, base=case.base + shift.get(name, 0.0))
        for name, case in confidence.cases.items()
    }
    return Confidence(cases)
