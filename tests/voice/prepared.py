"""A measure whose hearings are given, so that what is made of them can be tested by itself."""

from collections.abc import Mapping, Sequence

import numpy as np

from handsfree.engines.base import Clip, HeardWord, Hearing, Hypothesis
from handsfree.engines.confidence import load as load_confidence
from handsfree.engines.together import NEURAL, SPHINX
from handsfree.grammar.grammar import Grammar, load
from handsfree.voice.measure import Heard, Measure
from handsfree.voice.phrases import Phrase, read_phrases

GRAMMAR: Grammar = load()
PHRASES: Sequence[Phrase] = read_phrases(GRAMMAR)


def alone(text: str, margin: float = 3.0, free: str | None = None, engine: str = SPHINX) -> Heard:
    """One listener heard this, so well."""
    words = tuple(HeardWord(word) for word in text.split())
    hypotheses = (Hypothesis(words, 0.0),) if words else ()
    return Heard([Hearing(engine, hypotheses, margin, margin > 0.2, free)], None, None)


def talk(text: str) -> Heard:
    """The neural listener alone wrote this and took it for no sentence."""
    return alone("", -5.0, text, NEURAL)


class Prepared(Measure):
    """`heard` by warp and number of the phrase, `well` how well phrases fit, likewise."""

    def __init__(
        self,
        heard: Mapping[float, Mapping[int, Heard]],
        well: Mapping[float, Sequence[float]] | None = None,
    ) -> None:
        super().__init__(GRAMMAR, load_confidence(), ())
        self._given, self._well = heard, well or {}
        self.by_clip: dict[int, int] = {}

    @property
    def can_warp(self) -> bool:
        return bool(self._well)

    def clips(self, numbers: Sequence[int]) -> dict[int, Clip]:
        """A clip for each of these numbers; the sound is of no matter."""
        made = {number: Clip(np.zeros(1, np.float32), None, 0.0, 1.0) for number in numbers}
        self._clips += made.values()
        self.by_clip |= {id(clip): number for number, clip in made.items()}
        return made

    def hear_warped(self, clips: Sequence[Clip], warp: float) -> list[Heard]:
        return [self._given[warp][self.by_clip[id(clip)]] for clip in clips]

    def fits(self, clips: Sequence[Clip], texts: Sequence[str], warp: float) -> list[float]:
        return list(self._well[warp])
