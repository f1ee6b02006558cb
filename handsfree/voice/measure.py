"""The readings of one speaker, heard by the recognizers as they are and warped, each only once."""

import math
from collections.abc import Callable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field

from handsfree.engines.base import (
    Clip,
    Hearing,
    Listener,
    PatientListener,
    ScoringListener,
)
from handsfree.engines.choose import pocketsphinx_for
from handsfree.engines.confidence import Confidence
from handsfree.engines.speaker import NO_WARP, shifted
from handsfree.engines.together import SPHINX, Room, Scores, Together, Verdict
from handsfree.grammar.grammar import Grammar
from handsfree.voice.outcome import Outcome, outcome_of
from handsfree.voice.phrases import Phrase


@dataclass(frozen=True)
class Heard:
    """What the listeners made of one reading, before it is weighed."""

    hearings: Sequence[Hearing]
    room: Room | None
    scores: Scores | None

    @property
    def texts(self) -> tuple[str, ...]:
        """All that any of them heard, in its words."""
        free = [hearing.free_text for hearing in self.hearings if hearing.free_text]
        return (*free, *(each.text for h in self.hearings for each in h.hypotheses))


@dataclass(frozen=True)
class Offer:
    """The best answer of a reading: its case, its log odds as installed (natural), the bounds of
    what the case may come to (0..1), and whether it is what was read."""

    case: str
    log_odds: float
    lowest: float
    highest: float
    right: bool


class _Noting(Together):
    """Notes what was weighed last, so that it can be weighed again otherwise."""

    noted: Heard | None = None

    def weigh(
        self, hearings: Sequence[Hearing], room: Room | None = None, scores: Scores | None = None
    ) -> Verdict:
        self.noted = Heard(hearings, room, scores)
        return super().weigh(hearings, room, scores)


class _Once:
    """A listener that is asked only once of each clip; the clips must outlive it."""

    def __init__(self, ear: Listener) -> None:
        self.name, self._ear = ear.name, ear
        self._known: dict[tuple[str, int], Hearing] = {}

    def hear(self, clip: Clip) -> Hearing:
        return self._kept("hear", clip, self._ear.hear)

    def _kept(self, how: str, clip: Clip, hear: Callable[[Clip], Hearing]) -> Hearing:
        key = how, id(clip)
        if key not in self._known:
            self._known[key] = hear(clip)
        return self._known[key]


class _OncePatient(_Once):
    """The same of a listener that may be given more time."""

    def __init__(self, ear: PatientListener) -> None:
        super().__init__(ear)
        self._patient = ear

    def hear_quickly(self, clip: Clip) -> Hearing:
        return self._kept("quickly", clip, self._patient.hear_quickly)

    def hear_patiently(self, clip: Clip, quick: Hearing) -> Hearing:
        return self._kept("patiently", clip, lambda clip: self._patient.hear_patiently(clip, quick))


@dataclass
class Measure:
    """Hears readings as they would be heard under the horse. Close it to end the listeners.

    `told` is given a line for what takes long.
    """

    grammar: Grammar
    confidence: Confidence
    ears: Sequence[Listener]
    told: Callable[[str], None] = lambda line: None
    _heard: dict[tuple[float, int], Heard] = field(default_factory=dict, init=False)
    _clips: list[Clip] = field(default_factory=list, init=False)

    def __post_init__(self) -> None:
        self._ears = [ear if ear.name == SPHINX else _once(ear) for ear in self.ears]
        self._together = _Noting(self._ears, self.grammar, live=True, confidence=self.confidence)

    def close(self) -> None:
        """End threads and processes of the listeners."""
        self._together.close()

    @property
    def can_warp(self) -> bool:
        """Whether the listener whose filters can be warped is among them."""
        return any(ear.name == SPHINX for ear in self.ears)

    def is_speech(self, clip: Clip) -> bool:
        """Whether any listener found words in it."""
        return self.verdict(self.hear(clip)).speech

    def hear(self, clip: Clip) -> Heard:
        """Hear a reading by the listeners as they are installed."""
        return self._hear(clip, NO_WARP, self._together)

    def hear_warped(self, clips: Sequence[Clip], warp: float) -> list[Heard]:
        """Hear readings with this warp, in their order."""
        if warp == NO_WARP:
            return [self.hear(clip) for clip in clips]
        if any((warp, id(clip)) not in self._heard for clip in clips):
            self.told(f"hearing them with the filters at {warp:g} ...")
            # Together may hear the next clip before every listener is done with the last one.
            apart = len(self.ears) > 1
            sphinx = pocketsphinx_for(self.grammar, warp, live=True, apart=apart)
            ears = [sphinx if ear.name == SPHINX else ear for ear in self._ears]
            together = _Noting(ears, self.grammar, live=True, confidence=self.confidence)
            with closing(together):
                return [self._hear(clip, warp, together) for clip in clips]
        return [self._heard[warp, id(clip)] for clip in clips]

    def fits(self, clips: Sequence[Clip], texts: Sequence[str], warp: float) -> list[float]:
        """How well each text fits its clip with this warp, as if it were the only sentence.

        In PocketSphinx's margin (natural log a frame over free phones); −inf where not at all.
        """
        sphinx = pocketsphinx_for(self.grammar, warp, live=True)
        assert isinstance(sphinx, ScoringListener)
        return [sphinx.score(c, [text])[0] for c, text in zip(clips, texts, strict=True)]

    def verdict(
        self,
        heard: Heard,
        shift: Mapping[str, float] | None = None,
        grammar: Grammar | None = None,
    ) -> Verdict:
        """What comes of a reading with this shift, and with this grammar's lessons."""
        confidence = shifted(self.confidence, shift) if shift else self.confidence
        weighing = Together((), grammar or self.grammar, live=True, confidence=confidence)
        return weighing.weigh(heard.hearings, heard.room, heard.scores)

    def outcome(
        self, phrase: Phrase, heard: Heard, shift: Mapping[str, float] | None = None
    ) -> Outcome:
        """How the reading of a phrase came out with this shift."""
        return outcome_of(phrase, self.verdict(heard, shift))

    def offer(self, phrase: Phrase, heard: Heard) -> Offer | None:
        """The likeliest answer of a reading; None where nobody had one, or none is weighed."""
        if self.verdict(heard).is_remark:
            return None
        offers: list[Offer] = []
        for each in self._together.candidates(heard.hearings, heard.room, heard.scores):
            case = self.confidence.cases.get(each.case)
            if case is not None:
                parts = self.confidence.because(each.case, each.known)
                log_odds = case.base + math.fsum(parts.values())
                right = each.vote.meaning == phrase.meaning
                offers.append(Offer(each.case, log_odds, case.lowest, case.highest, right))
        return max(offers, key=lambda offer: offer.log_odds, default=None)

    def _hear(self, clip: Clip, warp: float, together: _Noting) -> Heard:
        key = warp, id(clip)
        if key not in self._heard:
            together.hear(clip)
            assert together.noted is not None
            self._heard[key] = together.noted
            self._clips.append(clip)  # so that no other clip is ever given its id
        return self._heard[key]


def _once(ear: Listener) -> Listener:
    return _OncePatient(ear) if isinstance(ear, PatientListener) else _Once(ear)
