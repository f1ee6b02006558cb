"""PocketSphinx held to the grammar: a search through exactly the allowed sentences.

The acceptor becomes a finite-state grammar, so nothing outside it can be answered; a
second, free decoding into phones tells how much better the sound would be explained
without the grammar, which is what shows talk that belongs to none of its sentences.
"""

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from handsfree.engines.base import SAMPLE_RATE, Clip, Hearing, HeardWord, Hypothesis, Sound
from handsfree.errors import EngineError
from handsfree.grammar.acceptor import Acceptor

NO_MARGIN = -20.0
"""The margin of a clip in which nothing was found; finite, and below any real one."""

_SEARCH_LIMITS = {"beam": 1e-64, "wbeam": 1e-40, "pbeam": 1e-64, "topn": 8}
_SHORTEST_S = 0.1
_FRAME_S = 0.01
_NAT = 1024 * math.log(1.0001)
"""One unit of PocketSphinx's scores in natural log: base 1.0001, shifted right by 10 bits."""
_ALTERNATIVE = re.compile(r"\(\d+\)$")
_GARBAGE = "__"
"""Starts the made-up words of one phone each that stand for free speech."""
_GARBAGE_WEIGHT = 0.3
_PHONES = (
    "AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH "
    "UH UW V W Y Z ZH"
).split()

Arc = tuple[int, int, float] | tuple[int, int, float, str]


@dataclass(frozen=True)
class _Segment:
    """A stretch of a decoding: frames `first` up to `end`, score in natural log."""

    word: str
    first: int
    end: int
    score: float


class PocketSphinxListener:
    """Hears clips with one acceptor at a time; one instance per thread.

    The margin of a hearing is the natural log of the sentence's score minus that of the
    free phones, per frame of 10 ms; a clip is accepted from `accept_margin` up.
    """

    name = "pocketsphinx"

    def __init__(
        self,
        acceptor: Acceptor,
        pronunciations: Mapping[str, Sequence[str]],
        *,
        accept_margin: float = -0.6,
        open_word: str | None = "remark",
    ) -> None:
        """Load the acoustic model that comes with PocketSphinx and take the grammar.

        `pronunciations` gives words as phones of the CMU dictionary ("P AE S T ER N"),
        one entry for each way to say them; they add to what PocketSphinx's own
        dictionary has. After `open_word`, where it is a sentence by itself, any speech
        may follow. Raises EngineError when PocketSphinx is missing, a pronunciation is
        wrong or words of the acceptor have none (all are named).
        """
        try:
            import pocketsphinx
        except ImportError as error:
            raise EngineError(
                "PocketSphinx is not installed: `pip install pocketsphinx`"
            ) from error
        self.accept_margin = accept_margin
        self._open_word = open_word
        # compallsen: scores are relative to the best sound model computed in each frame.
        # Unless all are computed, each search has its own yardstick and the two decodings
        # cannot be compared.
        self._decoder: Any = pocketsphinx.Decoder(
            lm=None, bestpath=False, compallsen=True, loglevel="FATAL", **_SEARCH_LIMITS
        )
        self._log = self._decoder.get_logmath().log
        self._add_pronunciations(pronunciations)
        phones = pocketsphinx.get_model_path("en-us/en-us-phone.lm.bin")
        self._decoder.add_allphone_file("phones", phones)
        self._grammar: str | None = None
        self._grammars = 0
        self.set_acceptor(acceptor)

    def set_acceptor(self, acceptor: Acceptor) -> None:
        """Hear these sentences from now on; call it between clips only.

        Raises EngineError naming every word without a pronunciation; the sentences
        before stay in force then.
        """
        lookup = self._decoder.lookup_word
        missing = sorted(word for word in acceptor.vocabulary if lookup(word) is None)
        if missing:
            raise EngineError(
                f"no pronunciation for: {', '.join(missing)}; add them to the pronunciations"
            )
        name = f"grammar{self._grammars}"
        final = len(acceptor.arcs)
        arcs = list(_arcs(acceptor, final, self._open_word))
        try:
            fsg = self._decoder.create_fsg(name, acceptor.start, final, arcs)
            self._decoder.add_fsg(name, fsg)
        except (RuntimeError, ValueError) as error:
            raise EngineError(f"PocketSphinx refused the grammar: {error}") from error
        self._grammars += 1
        if self._grammar is not None:
            self._decoder.activate_search(name)
            self._decoder.remove_search(self._grammar)
        self._grammar = name

    def hear(self, clip: Clip) -> Hearing:
        """Recognise one clip, denoised where it is; one hypothesis at most."""
        sound = clip.raw if clip.clean is None else clip.clean
        nothing = Hearing(self.name, (), NO_MARGIN, False)
        if len(sound) < _SHORTEST_S * SAMPLE_RATE or not np.any(sound):
            return nothing
        pcm = _pcm(sound)
        assert self._grammar is not None
        path = self._decode(self._grammar, pcm)
        words = [segment for segment in path if not _is_filler(segment.word)]
        if not words:
            return nothing
        free = self._decode("phones", pcm)
        frames = max(1, self._decoder.n_frames())
        score = sum(segment.score for segment in path)
        margin = (score - sum(segment.score for segment in free)) / frames
        heard = tuple(
            HeardWord(
                _ALTERNATIVE.sub("", word.word),
                word.first * _FRAME_S,
                word.end * _FRAME_S,
                self._sureness(word, free),
            )
            for word in words
            if not word.word.startswith(_GARBAGE)
        )
        return Hearing(self.name, (Hypothesis(heard, score),), margin, margin >= self.accept_margin)

    def _add_pronunciations(self, pronunciations: Mapping[str, Sequence[str]]) -> None:
        for phone in _PHONES:
            self._decoder.add_word(_GARBAGE + phone, phone, False)
        for word, variants in pronunciations.items():
            for phones in variants:
                self._add(word, " ".join(phones.split()))

    def _add(self, word: str, phones: str) -> None:
        name, number = word, 1
        while (known := self._decoder.lookup_word(name)) is not None:
            if known == phones:
                return
            number += 1
            name = f"{word}({number})"
        try:
            self._decoder.add_word(name, phones, False)
        except RuntimeError as error:
            raise EngineError(
                f"the pronunciation of {word!r} is no sequence of CMU phones: {phones!r}"
            ) from error

    def _decode(self, search: str, pcm: bytes) -> list[_Segment]:
        """The best path through one search; empty where it reached no end."""
        decoder = self._decoder
        decoder.activate_search(search)
        decoder.start_utt()
        decoder.process_raw(pcm, full_utt=True)
        decoder.end_utt()
        if decoder.hyp() is None:
            return []
        # The figures come as exp of PocketSphinx's own; log gives back the whole number.
        return [
            _Segment(
                segment.word or "",
                segment.start_frame,
                segment.end_frame + 1,
                (self._log(segment.ascore) + self._log(segment.lscore)) * _NAT,
            )
            for segment in decoder.seg()
        ]

    def _sureness(self, word: _Segment, free: Sequence[_Segment]) -> float:
        """The word's own margin against the phones in its frames, squeezed into 0..1."""
        rival = 0.0
        for phone in free:
            shared = min(word.end, phone.end) - max(word.first, phone.first)
            if shared > 0:
                rival += phone.score * shared / (phone.end - phone.first)
        margin = (word.score - rival) / max(1, word.end - word.first)
        return 1.0 / (1.0 + math.exp(min(50.0, self.accept_margin - margin)))


def _arcs(acceptor: Acceptor, final: int, open_word: str | None) -> Iterable[Arc]:
    """The acceptor as PocketSphinx's arcs, with one final state reached by empty moves."""
    for state, arcs in enumerate(acceptor.arcs):
        for word, target in arcs.items():
            yield (state, target, 1.0, word)
        if state in acceptor.finals:
            yield (state, final, 1.0)
    start = acceptor.arcs[acceptor.start]
    if open_word is not None and start.get(open_word) in acceptor.finals:
        loop = final + 1
        yield (acceptor.start, loop, 1.0, open_word)
        for phone in _PHONES:
            yield (loop, loop, _GARBAGE_WEIGHT, _GARBAGE + phone)
        yield (loop, final, 1.0)


def _is_filler(word: str) -> bool:
    """Silence, noise and empty moves, which are no words: "", "<sil>", "[NOISE]", "(NULL)"."""
    return not word or word[0] in "<[(+"


def _pcm(sound: Sound) -> bytes:
    finite = np.nan_to_num(sound, nan=0.0, posinf=1.0, neginf=-1.0)
    return (np.clip(finite, -1.0, 1.0) * 32767).astype("<i2").tobytes()
