"""What every recognizer takes and gives: one small protocol."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

SAMPLE_RATE = 16_000
"""Hz; every clip handed to a listener has this rate."""

Sound = NDArray[np.float32]
"""Mono samples, shape (n,), full scale −1..1, at SAMPLE_RATE."""


def pcm16(sound: Sound) -> bytes:
    """16-bit little-endian samples, as recognizers and detectors take them; no number is silence.

    What is beyond full scale is held at it.
    """
    finite = np.nan_to_num(sound, nan=0.0, posinf=1.0, neginf=-1.0)
    return (np.clip(finite, -1.0, 1.0) * 32767).astype("<i2").tobytes()


@dataclass(frozen=True)
class Clip:
    """One stretch of speech cut from a recording.

    `raw` is the sound as recorded (mono, 16 kHz); `clean` the same stretch after the
    denoiser, same length, or None where no denoiser is installed. `start_s` and
    `end_s` are seconds from the start of the recording. `goes_on` marks the rest of
    speech that was too long for one clip.
    """

    raw: Sound
    clean: Sound | None
    start_s: float
    end_s: float
    goes_on: bool = False


@dataclass(frozen=True)
class HeardWord:
    """A recognised word; times in seconds from the start of the clip, None if unknown.

    `sureness` is the engine's own 0..1 figure for the word, None where it has none.
    """

    text: str
    start_s: float | None = None
    end_s: float | None = None
    sureness: float | None = None


@dataclass(frozen=True)
class Hypothesis:
    """One way to hear a clip. `score` is the engine's own, higher is better."""

    words: tuple[HeardWord, ...]
    score: float

    @property
    def text(self) -> str:
        """The words in one line."""
        return " ".join(word.text for word in self.words)


@dataclass(frozen=True)
class Dictated:
    """Words written freely. `score` is the listener's own, by sound and words, higher is better;
    `fit` by the sound alone, as those of hypotheses; `margin` that less the fit of decoding free of
    all words; `said` how likely the words are, natural log for each."""

    words: tuple[str, ...]
    score: float
    fit: float
    margin: float
    said: float

    @property
    def text(self) -> str:
        """The words in one line."""
        return " ".join(self.words)


@dataclass(frozen=True)
class Hearing:
    """What one listener made of one clip.

    `hypotheses` are best first and may be empty. `margin` says how well the best one
    fits compared with decoding free of the grammar (in the engine's own unit, higher is
    better); `accepted` is false when the margin shows speech that is no sentence of the
    grammar. `free_text` is what a free decoding heard, where the engine has one. `again`
    says that the listener would like a second, slower try (see PatientListener). `dictated`
    are ways to write it down free of the grammar's sentences, best first, where the listener
    was not content with those; `free_score` is what their scores are to be compared with.
    """

    engine: str
    hypotheses: tuple[Hypothesis, ...]
    margin: float
    accepted: bool
    free_text: str | None = None
    again: bool = False
    dictated: tuple[Dictated, ...] = ()


class Listener(Protocol):
    """A recognizer that is ready to hear clips with one grammar."""

    name: str

    def hear(self, clip: Clip) -> Hearing:
        """Recognise one clip. Never raises for odd sound (empty, silent, clipped)."""
        ...


@runtime_checkable
class ScoringListener(Listener, Protocol):
    """A listener that can say how well sentences fit which another listener heard."""

    def score(self, clip: Clip, sentences: Sequence[str]) -> tuple[float, ...]:
        """A figure for each sentence (words separated by spaces), higher is better, in the
        listener's own unit; −inf where it cannot be said so. Never raises for odd sound."""
        ...


@runtime_checkable
class PatientListener(Listener, Protocol):
    """A listener that can answer at once, and better when given more time.

    `hear` is both: the quick answer, or the patient one where that is needed.
    """

    def hear_quickly(self, clip: Clip) -> Hearing:
        """The first answer; `again` says whether a patient one may differ."""
        ...

    def hear_patiently(self, clip: Clip, quick: Hearing) -> Hearing:
        """The better of the quick answer and a slower one."""
        ...
