"""Teach the neural listener's encoder to hear in noise what it hears in quiet. Needs torch.

    python tests/bench/harden.py --keep FOLDER --noise FOLDER --people FOLDER --minutes 30 --write

The model as it comes hears a clean sound with long silence after it: what its encoder then says,
and what its decoder makes of that, is the target (distillation, Hinton et al. 2015). The same
encoder with small changes (low-rank ones to its large matrices, Hu et al. 2021) hears the sound in
noise with a second of silence after it, and the changes are learnt that bring it nearest. Where
what was said is known, its words count as well. `--write` keeps the changes in
handsfree/engines/hardened.npz. What it is taught with, and what is held out, stands in
harden_sounds.py and in RESULTS.md.
"""

import argparse
import queue
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import harden_lessons
import harden_model as model
import harden_sounds
import noisy_material as material
import numpy as np
import torch
from harden_lessons import BATCH, MOST_TOKENS, Lesson, Spelling
from harden_noise import Shop
from torch import Tensor

from handsfree.engines.whisper_features import log_mel
from handsfree.engines.whisper_model import find_model, read_weights
from handsfree.grammar import load

OUT = Path(__file__).parents[2] / "handsfree/engines/hardened.npz"
ROOMS = (150, 200, 280)
"""Encoder frames a batch may have; sounds of like length go together."""
WORDS_WEIGHT, SAID_WEIGHT = 0.7, 0.3
"""Of the decoder's answer against the teacher's, and against the words that were said, beside
what the encoder says."""
STEADY = 0.998
"""What is kept is the mean of the changes over about 1 / (1 - STEADY) steps (Polyak 1992)."""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--keep", type=Path, required=True, help="folder for the lessons")
    parser.add_argument("--noise", type=Path, help="folder of real noises")
    parser.add_argument("--people", type=Path, help="folder of recordings of real people")
    parser.add_argument("--share", type=float, default=1.0, help="share of the sounds")
    parser.add_argument("--minutes", type=float, default=30.0, help="of teaching")
    parser.add_argument("--rate", type=float, default=1.5e-3, help="learning rate")
    parser.add_argument("--go-on", action="store_true", help=f"from what {OUT.name} holds")
    parser.add_argument(
        "--halfway", action="store_true", help="keep the mean of that and of what is learnt"
    )
    parser.add_argument("--write", action="store_true", help=f"write {OUT.name}")
    options = parser.parse_args()
    if options.halfway and not options.go_on:
        parser.error("--halfway needs --go-on")
    weights = read_weights(find_model().path / "model.bin")
    heads = int(weights["encoder/num_heads"]), int(weights["decoder/num_heads"])
    tree, spelled = model.frozen(weights), harden_lessons.spelling()
    teacher = harden_lessons.Teacher(tree, heads, spelled)
    lessons = [
        lesson
        for name, sounds in harden_sounds.clean_sounds(load(), options.people, options.share)
        for lesson in harden_lessons.kept(options.keep, name, sounds, teacher)
    ]
    feed = Feed(lessons, Shop(material.Shed(options.noise), 11), spelled)
    changes = model.fresh_changes(tree, 5)
    if options.go_on:
        changes = model.gone_on(changes, _read(OUT))
    before = {name: value.clone() for name, value in changes.items()}
    pupil = Pupil(tree, changes, heads, len(spelled.opening) - 1)
    _teach(pupil, feed, options)
    if options.halfway:
        # The mean of two solutions that lie near each other hears better than either in what
        # neither was taught last (Wortsman et al. 2022, model soups).
        pupil.steady = {name: (before[name] + pupil.steady[name]) / 2 for name in before}
    if options.write:
        _write(pupil.steady, OUT)


@dataclass(frozen=True)
class Batch:
    """B noisy sounds and the answers to them; `count` (B,) is how many tokens are judged."""

    mel: Tensor
    frames: Tensor
    target: Tensor
    tokens: Tensor
    count: Tensor
    likely: Tensor
    chances: Tensor


class Feed:
    """Endless batches of sounds of like length, shuffled anew each time round."""

    def __init__(self, lessons: list[Lesson], shop: Shop, spelled: Spelling) -> None:
        self._lessons, self._shop, self._spelled = lessons, shop, spelled
        self._queue: queue.Queue[Batch] = queue.Queue(4)
        threading.Thread(target=self._fill, daemon=True).start()

    def next(self) -> Batch:
        return self._queue.get()

    def _fill(self) -> None:
        for some, room in self._groups():
            self._queue.put(self._batch(some, room))

    def _groups(self) -> Iterator[tuple[list[Lesson], int]]:
        rng = np.random.default_rng(int(time.time()))
        while True:
            groups: dict[tuple[int, bool], list[Lesson]] = {}
            for at in rng.permutation(len(self._lessons)):
                lesson = self._lessons[at]
                room = next((r for r in ROOMS if lesson.frames <= r), None)
                if room is None:
                    continue
                some = groups.setdefault((room, bool(lesson.tokens)), [])
                some.append(lesson)
                if len(some) == BATCH:
                    yield list(some), room
                    some.clear()

    def _batch(self, some: list[Lesson], room: int) -> Batch:
        mel = np.zeros((BATCH, 2 * room, 80), np.float32)
        target = np.zeros((BATCH, room, some[0].encoded.shape[1]), np.float32)
        for row, lesson in enumerate(some):
            heard = log_mel(self._shop.noisy(lesson.sound), 80, 1.0)[:, : 2 * lesson.frames].T
            mel[row, : len(heard)] = heard
            target[row, : lesson.frames] = lesson.encoded
        return Batch(
            torch.from_numpy(mel),
            torch.tensor([lesson.frames for lesson in some]),
            torch.from_numpy(target),
            torch.from_numpy(self._spelled.rows([lesson.tokens for lesson in some])),
            torch.tensor([len(x.tokens) + 1 if x.tokens else 0 for x in some]),
            torch.from_numpy(np.stack([lesson.likely for lesson in some]).astype(np.int64)),
            torch.from_numpy(np.stack([lesson.chances for lesson in some])),
        )


class Pupil:
    """The encoder with its changes, which `learn` moves by Adam (Kingma & Ba 2015)."""

    def __init__(
        self, tree: model.Tree, changes: model.Tree, heads: tuple[int, int], first: int
    ) -> None:
        self._tree, self._heads, self._first = tree, heads, first
        self._changes = {name: value.requires_grad_() for name, value in changes.items()}
        self._rule = torch.optim.Adam(self._changes.values(), betas=(0.9, 0.99))
        self.steady = {name: value.detach().clone() for name, value in changes.items()}
        self._steps = 0

    def learn(self, batch: Batch, rate: float) -> tuple[float, float, float]:
        """One step. What the encoder says apart from the target (mean square), what the decoder
        says apart from the teacher's and from the words said (nats a token)."""
        for group in self._rule.param_groups:
            group["lr"] = rate
        sound, words, said = self._apart(batch)
        loss = sound + WORDS_WEIGHT * words + SAID_WEIGHT * said
        self._rule.zero_grad(set_to_none=True)
        loss.backward()  # type: ignore[no-untyped-call]
        torch.nn.utils.clip_grad_norm_(self._changes.values(), 1.0)
        self._rule.step()
        self._steps += 1
        kept = min(STEADY, self._steps / (self._steps + 10))
        with torch.no_grad():
            for name, value in self._changes.items():
                self.steady[name].lerp_(value, 1 - kept)
        return float(sound.detach()), float(words.detach()), float(said.detach())

    def _apart(self, batch: Batch) -> tuple[Tensor, Tensor, Tensor]:
        changed = model.changed(self._tree, self._changes)
        encoded = model.encode(changed, batch.mel, batch.frames, self._heads[0])
        inside = torch.arange(batch.target.shape[1])[None] < batch.frames[:, None]
        apart = (encoded.float() - batch.target).square().mean(-1)
        sound = (apart * inside).sum() / inside.sum()
        if not batch.count.any():
            return sound, torch.tensor(0.0), torch.tensor(0.0)
        states = model.decode(self._tree, batch.tokens, encoded, batch.frames, self._heads[1])
        judged = torch.arange(MOST_TOKENS)[None] < batch.count[:, None]
        logs = model.log_chances(self._tree, states[:, self._first :][judged])
        picked = logs.gather(1, batch.likely[judged])
        chances = batch.chances[judged]
        rest = torch.log1p(-picked.exp().sum(-1).clamp(max=1 - 1e-6))
        left = (1 - chances.sum(-1)).clamp(min=1e-9)
        crossed = -(chances * picked).sum(-1) - left * rest
        own = -(chances * (chances + 1e-9).log()).sum(-1) - left * left.log()
        after = torch.cat([batch.tokens, batch.tokens[:, -1:]], 1)[:, self._first + 1 :]
        said = -logs.gather(1, after[judged][:, None])
        return sound, (crossed - own).mean(), said.mean()


def _teach(pupil: Pupil, feed: Feed, options: argparse.Namespace) -> None:
    started, shown = time.monotonic(), []
    while (share := (time.monotonic() - started) / 60 / options.minutes) < 1:
        # Grows for a fiftieth of the time, then falls by half a cosine.
        rate = options.rate * min(1.0, 50 * share) * 0.5 * (1 + np.cos(np.pi * share))
        batch = feed.next()
        apart = pupil.learn(batch, rate)
        shown.append(apart if batch.count.any() else (apart[0], np.nan, np.nan))
        if len(shown) % 50 == 0:
            sound, words, said = np.nanmean(shown[-50:], axis=0)
            print(
                f"{share:4.0%} step {len(shown)}: encoder {sound:.3f}, words {words:.3f}, "
                f"said {said:.3f}",
                flush=True,
            )
        if len(shown) % 400 == 0 and options.write:
            _write(pupil.steady, OUT)


def _write(changes: model.Tree, path: Path) -> None:
    """The changes as float16."""
    kept = {name: value.numpy().astype(np.float16) for name, value in changes.items()}
    np.savez_compressed(path, **kept)
    print(f"{path}: {path.stat().st_size // 1024} kB", flush=True)


def _read(path: Path) -> model.Tree:
    """What `_write` kept."""
    with np.load(path) as parts:
        return {name: torch.from_numpy(parts[name].astype(np.float32)) for name in parts.files}


if __name__ == "__main__":
    main()
