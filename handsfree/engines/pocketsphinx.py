"""PocketSphinx held to the grammar: a search through exactly the allowed sentences.

The acceptor becomes a finite-state grammar, so nothing outside it can be answered; a
second, free decoding into phones tells how much better the sound would be explained
without the grammar, which is what shows talk that belongs to none of its sentences.
"""

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from handsfree.engines.base import (
    SAMPLE_RATE,
    Clip,
    HeardWord,
    Hearing,
    Hypothesis,
    Sound,
    pcm16,
)
from handsfree.engines.speaker import NO_WARP
from handsfree.errors import EngineError
from handsfree.grammar.acceptor import Acceptor, from_sentences

NO_MARGIN = -20.0
"""The margin of a clip in which nothing was found; finite, and below any real one."""

_SEARCH_LIMITS = {"beam": 1e-64, "wbeam": 1e-40, "pbeam": 1e-64, "topn": 8}
_SHORTEST_S = 0.1
SHORT_S = 2.0
"""Clips up to this length hold the short words that a denoiser may take away (with the padding
around them); where somebody waits, longer ones, mostly talk, are heard once. No source."""
_FRAME_S = 0.01
_NAT = 1024 * math.log(1.0001)
"""One unit of PocketSphinx's scores in natural log: base 1.0001, shifted right by 10 bits."""
_LANGUAGE_WEIGHT = 6.5
"""Power of a word's probability, as PocketSphinx takes it when it compiles a grammar itself."""
_WHOLE_ALLOWANCE = 1.2
"""How much worse the sound around the words may fit than the words themselves."""
_ALTERNATIVE = re.compile(r"\(\d+\)$")
_GARBAGE = "__"
"""Starts the made-up words of one phone each that stand for free speech."""
_GARBAGE_PROBABILITY = 0.03
_ONLY = "only"
"""The search for one sentence."""
_PHONES = tuple(
    "AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH "
    "UH UW V W Y Z ZH".split()
)

Arc = tuple[int, int, float] | tuple[int, int, float, str]


@dataclass(frozen=True)
class _Segment:
    """A stretch of a decoding: frames `first` up to `end`, score in natural log."""

    word: str
    first: int
    end: int
    score: float


def unknown_words(words: Iterable[str]) -> set[str]:
    """Which of these words PocketSphinx's own dictionary has no pronunciation for."""
    import pocketsphinx

    path = pocketsphinx.get_model_path("en-us/cmudict-en-us.dict")
    missing = set(words)
    with open(path, encoding="utf-8") as lines:
        for line in lines:
            missing.discard(line.split(" ", 1)[0])
    return missing


class PocketSphinxListener:
    """Hears clips with one acceptor at a time; one instance per thread.

    The margin of a hearing is the natural log of the score from its first to its last
    word less that of the free phones there, per frame of 10 ms, and at most
    `_WHOLE_ALLOWANCE` above the same figure for the whole clip: so neither quiet around
    a short word tells against it, nor is a word picked out of the middle of talk. A clip
    is accepted from `accept_margin` up.
    """

    name = "pocketsphinx"

    def __init__(
        self,
        acceptor: Acceptor,
        pronunciations: Mapping[str, Sequence[str]],
        *,
        accept_margin: float = 0.2,
        open_word: str | None = "remark",
        raw_up_to_s: float = math.inf,
        warp: float = NO_WARP,
    ) -> None:
        """Load the acoustic model that comes with PocketSphinx and take the grammar.

        `pronunciations` gives words as phones of the CMU dictionary ("P AE S T ER N"),
        one entry for each way to say them; they add to what PocketSphinx's own
        dictionary has. After `open_word`, where it ends a sentence, any speech may
        follow. Clips longer than `raw_up_to_s` are not heard a second time without the
        denoiser. `warp` stretches the filters over frequency for the length of the speaker's
        throat (Lee and Rose 1996): above 1 for one shorter than the model's speakers had.
        Raises EngineError when PocketSphinx is missing, a pronunciation is wrong or words
        of the acceptor have none (all are named).
        """
        try:
            import pocketsphinx
        except ImportError as error:
            raise EngineError(
                "PocketSphinx is not installed: `pip install pocketsphinx`"
            ) from error
        self.accept_margin = accept_margin
        self._open_word, self._raw_up_to_s = open_word, raw_up_to_s
        self._free: dict[bytes, list[_Segment]] = {}
        # compallsen: scores are relative to the best sound model computed in each frame.
        # Unless all are computed, each search has its own yardstick and the two decodings
        # cannot be compared.
        limits = (
            _SEARCH_LIMITS if warp == NO_WARP else _SEARCH_LIMITS | {"warp_params": f"{warp:g}"}
        )
        self._decoder: Any = pocketsphinx.Decoder(
            lm=None, bestpath=False, compallsen=True, loglevel="FATAL", **limits
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
        """Recognise one clip; the sentence of each way to hear it, the better one first.

        The denoised sound is heard first; where that is no sentence, the sound as it is may
        be one, since denoising takes short words away from quiet recordings. Alternatives
        from inside one search are not given: its lattice takes a second or more in noise.
        """
        if clip.clean is None:
            return self._hear(clip.raw)
        denoised = self._hear(clip.clean)
        if denoised.accepted or len(clip.raw) > self._raw_up_to_s * SAMPLE_RATE:
            return denoised
        as_it_is = self._hear(clip.raw)
        best, other = sorted((as_it_is, denoised), key=lambda hearing: -hearing.margin)
        known = {hypothesis.text for hypothesis in best.hypotheses}
        more = tuple(h for h in other.hypotheses if h.text not in known)
        return replace(best, hypotheses=best.hypotheses + more)

    def score(self, clip: Clip, sentences: Sequence[str]) -> tuple[float, ...]:
        """The margin of each sentence as if it were the only one, on the denoised sound.

        −inf where a word has no pronunciation or the sound does not reach its end.
        """
        sound = clip.raw if clip.clean is None else clip.clean
        pcm = pcm16(sound)
        if len(sound) < _SHORTEST_S * SAMPLE_RATE or not any(pcm):
            return (-math.inf,) * len(sentences)
        free = self._phones(pcm)
        return tuple(self._score_one(pcm, free, sentence.split()) for sentence in sentences)

    def _score_one(self, pcm: bytes, free: Sequence[_Segment], words: Sequence[str]) -> float:
        if not words or any(self._decoder.lookup_word(word) is None for word in words):
            return -math.inf
        arcs = list(_arcs(from_sentences([words]), len(words) + 1, None))
        self._decoder.add_fsg(_ONLY, self._decoder.create_fsg(_ONLY, 0, len(words) + 1, arcs))
        path = self._decode(_ONLY, pcm)
        assert self._grammar is not None
        self._decoder.activate_search(self._grammar)
        self._decoder.remove_search(_ONLY)
        own = [segment for segment in path if not _is_filler(segment.word)]
        return _whole_margin(path, free, own) if own else -math.inf

    def _hear(self, sound: Sound) -> Hearing:
        nothing = Hearing(self.name, (), NO_MARGIN, False)
        pcm = pcm16(sound)
        if len(sound) < _SHORTEST_S * SAMPLE_RATE or not any(pcm):
            return nothing
        assert self._grammar is not None
        path = self._decode(self._grammar, pcm)
        words = [segment for segment in path if not _is_filler(segment.word)]
        if not words:
            return nothing
        free = self._phones(pcm)
        own = [word for word in words if not word.word.startswith(_GARBAGE)]
        margin = _whole_margin(path, free, own)
        heard = tuple(
            HeardWord(
                _ALTERNATIVE.sub("", word.word),
                word.first * _FRAME_S,
                word.end * _FRAME_S,
                self._sureness(word, free),
            )
            for word in own
        )
        score = sum(segment.score for segment in path)
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
        # Forgets the clip before, so that a clip is heard the same whatever came first.
        decoder.reinit_feat()
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

    def _phones(self, pcm: bytes) -> list[_Segment]:
        """The free decoding; that of the last few sounds is kept for `score`."""
        if pcm not in self._free:
            while len(self._free) > 1:
                del self._free[next(iter(self._free))]
            self._free[pcm] = self._decode("phones", pcm)
        return self._free[pcm]

    def _sureness(self, word: _Segment, free: Sequence[_Segment]) -> float:
        """The word's own margin squeezed into 0..1; a half at `accept_margin`."""
        margin = _margin([word], free, word.first, word.end)
        return 1.0 / (1.0 + math.exp(min(50.0, self.accept_margin - margin)))


def _whole_margin(
    path: Sequence[_Segment], free: Sequence[_Segment], own: Sequence[_Segment]
) -> float:
    """The margin from the first to the last of the words, bounded by that of the whole clip."""
    return min(
        _margin(path, free, own[0].first, own[-1].end),
        _margin(path, free, 0, path[-1].end) + _WHOLE_ALLOWANCE,
    )


def _margin(path: Iterable[_Segment], free: Iterable[_Segment], first: int, end: int) -> float:
    """How much better, per frame, the path scores than the free phones in these frames."""
    return (_score(path, first, end) - _score(free, first, end)) / max(1, end - first)


def _score(path: Iterable[_Segment], first: int, end: int) -> float:
    """The score of a stretch of a path; a segment partly inside counts in proportion."""
    total = 0.0
    for segment in path:
        shared = min(end, segment.end) - max(first, segment.first)
        if shared > 0:
            total += segment.score * shared / (segment.end - segment.first)
    return total


def _arcs(acceptor: Acceptor, final: int, open_word: str | None) -> Iterable[Arc]:
    """The acceptor as PocketSphinx's arcs, with one final state reached by empty moves.

    All moves out of a state are equally probable, which makes a sentence of many words
    chosen among many dearer than a short one. Arcs built one by one are not weighted by
    PocketSphinx, so the power is taken here.
    """
    open_at = {
        state
        for state, arcs in enumerate(acceptor.arcs)
        if open_word is not None and arcs.get(open_word) in acceptor.finals
    }
    for state, arcs in enumerate(acceptor.arcs):
        ends = state in acceptor.finals
        weight = max(1, len(arcs) + ends) ** -_LANGUAGE_WEIGHT
        for word, target in arcs.items():
            yield (state, target, weight, word)
        if state in open_at and open_word is not None:
            yield (state, final + 1, weight, open_word)
        if ends:
            yield (state, final, weight)
    if open_at:
        for phone in _PHONES:
            yield (final + 1, final + 1, _GARBAGE_PROBABILITY, _GARBAGE + phone)
        yield (final + 1, final, 1.0)


def _is_filler(word: str) -> bool:
    """Silence, noise and empty moves, which are no words: "", "<sil>", "[NOISE]", "(NULL)"."""
    return not word or word[0] in "<[(+"
