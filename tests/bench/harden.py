"""Teach the neural listener's encoder to hear in noise what it hears in quiet. Needs jax, optax.

    python tests/bench/harden.py --keep FOLDER --noise FOLDER --people FOLDER --minutes 30 --write

The model as it comes hears a clean sound with long silence after it: what its encoder then says,
and what its decoder makes of that, is the target (distillation, Hinton et al. 2015). The same
encoder with small changes (low-rank ones to its large matrices, Hu et al. 2021) hears the sound in
noise with a second of silence after it, and the changes are learnt that bring it nearest. What is
said is known of half the sounds and only tells at which words the decoder is watched. `--write`
keeps the changes in handsfree/engines/hardened.npz. What it is taught with, and what is held out,
stands in harden_sounds.py and in RESULTS.md.
"""

import argparse
import pickle
import queue
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import harden_model as model
import harden_sounds
import jax
import jax.numpy as jnp
import noisy_material as material
import numpy as np
import optax

from handsfree.engines import neural, whisper_loading
from handsfree.engines.base import SAMPLE_RATE, Sound
from handsfree.engines.whisper_features import log_mel
from handsfree.engines.whisper_model import find_model, read_weights
from handsfree.grammar import load

OUT = Path(__file__).parents[2] / "handsfree/engines/hardened.npz"
BATCH = 8
ROOMS = (150, 200, 280)
"""Encoder frames a batch may have; sounds of like length go together."""
TARGET_FRAMES = 600
"""Frames of 20 ms the teacher hears: 12 s, most of it silence."""
TOP = 48
"""Likeliest next tokens of the teacher that are kept; the rest counts as one."""
MOST_TOKENS = 26
WORDS_WEIGHT = 0.5
"""Of what the decoder makes of it, beside what the encoder says."""
QUIET, LOUDEST_DB, SOFTEST_DB = 0.12, -4.0, 22.0
"""Share of sounds taught without noise; signal over noise of the others (dB, speech band)."""
NOISES = {
    "steady": 0.3,
    "rasp": 0.2,
    "real": 0.25,
    "hammer": 0.08,
    "wind": 0.07,
    "fan": 0.05,
    "murmur": 0.05,
}


@dataclass
class Lesson:
    """A clean sound with the teacher's answer to it; `tokens` is empty where no words are known."""

    sound: Sound
    frames: int
    encoded: np.ndarray
    tokens: list[int]
    likely: np.ndarray
    chances: np.ndarray


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--keep", type=Path, required=True, help="folder for the clean sounds")
    parser.add_argument("--noise", type=Path, help="folder of real noises")
    parser.add_argument("--people", type=Path, help="folder of recordings of real people")
    parser.add_argument("--share", type=float, default=1.0, help="share of the sounds")
    parser.add_argument("--minutes", type=float, default=30.0, help="of teaching")
    parser.add_argument("--rate", type=float, default=1.5e-3, help="learning rate")
    parser.add_argument("--go-on", action="store_true", help=f"from what {OUT.name} holds")
    parser.add_argument("--write", action="store_true", help=f"write {OUT.name}")
    options = parser.parse_args()
    weights = read_weights(find_model().path / "model.bin")
    heads = int(weights["encoder/num_heads"]), int(weights["decoder/num_heads"])
    tree = model.frozen(weights, "")
    lessons = _kept_lessons(tree, heads, options)
    changes = _teach(lessons, tree, heads, material.Shed(options.noise), options)
    if options.write:
        _write(changes, OUT)


def _kept_lessons(
    tree: model.Tree, heads: tuple[int, int], options: argparse.Namespace
) -> list[Lesson]:
    """Made and heard by the teacher once; later runs only learn."""
    options.keep.mkdir(parents=True, exist_ok=True)
    path = options.keep / "lessons.pkl"
    if not path.exists():
        sounds = list(harden_sounds.clean_sounds(load(), options.people, 1, options.share))
        with path.open("wb") as file:
            pickle.dump(list(_lessons(sounds, tree, heads)), file)
    lessons: list[Lesson] = pickle.loads(path.read_bytes())
    print(f"{len(lessons)} lessons")
    return lessons


def _lessons(
    sounds: list[harden_sounds.Clean], tree: model.Tree, heads: tuple[int, int]
) -> Iterator[Lesson]:
    listener = whisper_loading.load(harden=False)
    opening = listener.tokens.opening(neural.DEFAULT_PROMPT, listener.decoder.positions // 2)
    encode = jax.jit(partial(model.encode, heads=heads[0]))
    decode = jax.jit(partial(model.decode, heads=heads[1], first=len(opening) - 1))
    for some in (sounds[at : at + BATCH] for at in range(0, len(sounds), BATCH)):
        mel = np.stack([log_mel(s.sound, 80, 30.0)[:, : 2 * TARGET_FRAMES].T for s in some])
        frames = jnp.full(len(some), TARGET_FRAMES)
        encoded = encode(tree, mel, frames)
        words = [
            [t for word in s.words or () for t in listener.tokens.word(word)][: MOST_TOKENS - 1]
            for s in some
        ]
        given = np.full((len(some), len(opening) + MOST_TOKENS - 1), listener.tokens.end)
        for row, tokens in enumerate(words):
            given[row, : len(opening) + len(tokens)] = opening + tokens
        logs = decode(tree, jnp.asarray(given), encoded, frames)
        best, likely = jax.lax.top_k(logs, TOP)
        for row, s in enumerate(some):
            room = len(s.sound) // 320 + 50
            yield Lesson(
                s.sound,
                room,
                np.asarray(encoded[row, :room], np.float16),
                words[row],
                np.asarray(likely[row], np.int32),
                np.exp(np.asarray(best[row], np.float32)),
            )


class Shop:
    """Noises to mix with, made once and cut anywhere."""

    def __init__(self, shed: material.Shed, seed: int) -> None:
        self._rng = np.random.default_rng(seed)
        self._made: dict[str, list[np.ndarray]] = {}
        n = 40 * SAMPLE_RATE
        for name in NOISES:
            if name == "steady":
                tilts = np.linspace(0.0, 2.0, 9)
                made = [
                    np.asarray(material.noises.shaped(n, SAMPLE_RATE, self._rng, tilt, low))
                    for tilt in tilts
                    for low in (20.0, 200.0)
                ]
            elif name == "real":
                made = (
                    [material.whole(p).astype(np.float64) for p in shed.files_of(material.TUNING)]
                    if shed.files
                    else []
                )
            else:
                maker = material.noises.MAKERS[name]
                made = [np.asarray(maker(n, SAMPLE_RATE, self._rng)) for _ in range(3)]
            if made:
                self._made[name] = made

    def noisy(self, clean: Sound) -> Sound:
        """`clean` in some noise at some level, now and then with another microphone's colour."""
        rng = self._rng
        speech = clean.astype(np.float64)
        if rng.random() < 0.3:
            speech = _coloured(speech, rng.uniform(-0.35, 0.35))
        power = material.noises.speech_power(speech, SAMPLE_RATE)
        if rng.random() < QUIET:
            kind, snr_db = "steady", rng.uniform(25.0, 45.0)
        else:
            names = list(self._made)
            share = np.array([NOISES[name] for name in names])
            kind = str(rng.choice(names, p=share / share.sum()))
            snr_db = rng.uniform(LOUDEST_DB, SOFTEST_DB)
        pool = self._made[kind]
        noise = pool[rng.integers(len(pool))]
        noise = np.resize(np.roll(noise, -int(rng.integers(len(noise)))), len(speech))
        mixed = speech + material.noises.scale_to_snr(noise, SAMPLE_RATE, power, snr_db)
        mixed *= 10 ** (rng.uniform(-8.0, 6.0) / 20)
        return np.clip(mixed, -1.0, 1.0).astype(np.float32)


def _coloured(sound: np.ndarray, tilt: float) -> np.ndarray:
    hz = np.maximum(np.fft.rfftfreq(len(sound), 1 / SAMPLE_RATE), 80.0)
    return np.asarray(np.fft.irfft(np.fft.rfft(sound) * (hz / 1000.0) ** tilt, len(sound)))


def _batches(lessons: list[Lesson], shop: Shop, opening: list[int], end: int) -> Iterator[Any]:
    """Endless batches of sounds of like length, shuffled anew each time round."""
    rng = np.random.default_rng(3)
    while True:
        groups: dict[tuple[int, bool], list[Lesson]] = {}
        for at in rng.permutation(len(lessons)):
            lesson = lessons[at]
            room = next((r for r in ROOMS if lesson.frames <= r), None)
            if room is None:
                continue
            some = groups.setdefault((room, bool(lesson.tokens)), [])
            some.append(lesson)
            if len(some) == BATCH:
                yield _batch(some, room, shop, opening, end)
                some.clear()


def _batch(some: list[Lesson], room: int, shop: Shop, opening: list[int], end: int) -> Any:
    mel = np.zeros((BATCH, 2 * room, 80), np.float32)
    target = np.zeros((BATCH, room, some[0].encoded.shape[1]), np.float32)
    tokens = np.full((BATCH, len(opening) + MOST_TOKENS - 1), end)
    count = np.zeros(BATCH, np.int32)
    for row, lesson in enumerate(some):
        heard = log_mel(shop.noisy(lesson.sound), 80, 1.0)[:, : 2 * lesson.frames].T
        mel[row, : len(heard)] = heard
        target[row, : lesson.frames] = lesson.encoded
        tokens[row, : len(opening) + len(lesson.tokens)] = opening + lesson.tokens
        count[row] = len(lesson.tokens) + 1 if lesson.tokens else 0
    return (
        mel,
        np.array([lesson.frames for lesson in some]),
        target,
        tokens,
        count,
        np.stack([lesson.likely for lesson in some]),
        np.stack([lesson.chances for lesson in some]),
    )


def _loss(
    changes: model.Tree,
    tree: model.Tree,
    batch: Any,
    heads: tuple[int, int],
    first: int,
    with_words: bool,
) -> tuple[jax.Array, tuple[Any, Any]]:
    """What the encoder says apart from the target (mean square), and the decoder (nats a token)."""
    mel, frames, target, tokens, count, likely, chances = batch
    encoded = model.encode(model.changed(tree, changes), mel, frames, heads[0])
    inside = jnp.arange(target.shape[1])[None] < frames[:, None]
    apart = jnp.square(encoded - target).mean(-1)
    sound = (apart * inside).sum() / inside.sum()
    if not with_words:
        return sound, (sound, jnp.nan)
    logs = model.decode(tree, tokens, encoded, frames, heads[1], first)
    said = jnp.arange(logs.shape[1])[None] < count[:, None]
    picked = jnp.take_along_axis(logs, likely, axis=-1)
    rest = jnp.log1p(-jnp.minimum(jnp.exp(picked).sum(-1), 1 - 1e-6))
    left = 1 - chances.sum(-1)
    crossed = -(chances * picked).sum(-1) - left * rest
    own = -(chances * jnp.log(chances + 1e-9)).sum(-1) - left * jnp.log(left + 1e-9)
    words = ((crossed - own) * said).sum() / jnp.maximum(said.sum(), 1)
    return sound + WORDS_WEIGHT * words, (sound, words)


def _teach(
    lessons: list[Lesson],
    tree: model.Tree,
    heads: tuple[int, int],
    shed: material.Shed,
    options: argparse.Namespace,
) -> model.Tree:
    listener = whisper_loading.load(harden=False)
    opening = listener.tokens.opening(neural.DEFAULT_PROMPT, listener.decoder.positions // 2)
    feed: queue.Queue[Any] = queue.Queue(4)

    def fill() -> None:
        for batch in _batches(lessons, Shop(shed, 11), opening, listener.tokens.end):
            feed.put(batch)

    threading.Thread(target=fill, daemon=True).start()
    encoder = {n: w for n, w in tree.items() if n.startswith("encoder/")}
    changes = _read(OUT) if options.go_on else model.fresh_changes(encoder, 5)

    def rate(share: float) -> jax.Array:
        """Grows for a fiftieth of the time, then falls by half a cosine."""
        grown = jnp.minimum(1.0, 50 * share)
        return options.rate * grown * 0.5 * (1 + jnp.cos(jnp.pi * share))

    rule = optax.chain(optax.clip_by_global_norm(1.0), optax.scale_by_adam(b2=0.99))
    state = rule.init(changes)
    graded = jax.value_and_grad(_loss, has_aux=True)

    @partial(jax.jit, static_argnums=4)
    def step(changes: Any, state: Any, batch: Any, rate: Any, with_words: bool) -> Any:
        (_, parts), slopes = graded(changes, tree, batch, heads, len(opening) - 1, with_words)
        moves, state = rule.update(slopes, state)
        changes = jax.tree.map(lambda c, m: c - rate * m, changes, moves)
        return changes, state, parts

    started, seen, shown = time.monotonic(), 0, []
    while (share := (time.monotonic() - started) / 60 / options.minutes) < 1:
        batch = feed.get()
        changes, state, parts = step(changes, state, batch, rate(share), bool(batch[4].any()))
        shown.append([float(p) for p in parts])
        seen += 1
        if seen % 50 == 0:
            sound, words = np.nanmean(shown[-50:], axis=0)
            print(f"{share:4.0%} step {seen}: encoder {sound:.3f}, words {words:.3f}", flush=True)
        if seen % 400 == 0 and options.write:
            _write(changes, OUT)
    return changes


def _write(changes: model.Tree, path: Path) -> None:
    """The changes as float16, low-rank pairs as NAME:down and NAME:up."""
    flat = {}
    for name, change in changes.items():
        parts = change if isinstance(change, dict) else {"": change}
        for part, value in parts.items():
            flat[f"{name}:{part}".rstrip(":")] = np.asarray(value, np.float16)
    np.savez_compressed(path, **flat)
    print(f"{path}: {path.stat().st_size // 1024} kB")


def _read(path: Path) -> model.Tree:
    """What `_write` kept."""
    tree: model.Tree = {}
    with np.load(path) as parts:
        for key in parts.files:
            name, _, part = key.partition(":")
            value = jnp.asarray(parts[key], jnp.float32)
            if part:
                tree.setdefault(name, {})[part] = value
            else:
                tree[name] = value
    return tree


if __name__ == "__main__":
    main()
