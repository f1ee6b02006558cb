"""Teach the neural listener's encoder to hear in noise what it hears in quiet. Needs torch.

The first of two lessons; the second is harden_trade.py.

    python tests/bench/harden.py --keep FOLDER --noise FOLDER --people FOLDER --minutes 30 --write

The model as it comes hears a clean sound with long silence after it: what its encoder then says,
and what its decoder makes of that, is the target (distillation, Hinton et al. 2015). The same
encoder with small changes (low-rank ones to its large matrices, Hu et al. 2021) hears the sound in
noise with a second of silence after it, and the changes are learnt that bring it nearest. Where
what was said is known, its words count as well. `--write` keeps the changes in
handsfree/engines/hardened.npz; what a decoder learnt there belongs to another encoder and goes.
What it is taught with, and what is held out, stands in harden_sounds.py and in RESULTS.md.
"""

import argparse
import queue
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
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
    parser = options_for(__doc__, rate=1.5e-3)
    parser.add_argument("--go-on", action="store_true", help=f"from what {OUT.name} holds")
    parser.add_argument(
        "--halfway", action="store_true", help="keep the mean of that and of what is learnt"
    )
    options = parser.parse_args()
    if options.halfway and not options.go_on:
        parser.error("--halfway needs --go-on")
    school = School.opened(options)
    feed = Feed(school.lessons, Shop(material.Shed(options.noise), 11), school.spelled)
    changes = model.fresh_changes(school.tree, 5)
    if options.go_on:
        changes = model.gone_on(changes, read(OUT))
    before = {name: value.clone() for name, value in changes.items()}
    pupil = Pupil(school, changes)
    teach(pupil, feed, options)
    if options.halfway:
        pupil.steady = mixed(before, pupil.steady, 0.5)
    if options.write:
        write(pupil.steady, OUT)


def options_for(about: str, rate: float, minutes: float = 30.0) -> argparse.ArgumentParser:
    """What both lessons ask for."""
    parser = argparse.ArgumentParser(description=about)
    parser.add_argument("--keep", type=Path, required=True, help="folder for the lessons")
    parser.add_argument("--noise", type=Path, help="folder of real noises")
    parser.add_argument("--people", type=Path, help="folder of recordings of real people")
    parser.add_argument("--share", type=float, default=1.0, help="share of the sounds")
    parser.add_argument("--minutes", type=float, default=minutes, help="of teaching")
    parser.add_argument("--rate", type=float, default=rate, help="learning rate")
    parser.add_argument("--write", action="store_true", help=f"write {OUT.name}")
    return parser


@dataclass(frozen=True)
class School:
    """The model as it comes, its heads (encoder, decoder), how it spells, and the lessons."""

    tree: model.Tree
    heads: tuple[int, int]
    spelled: Spelling
    lessons: list[Lesson]

    @classmethod
    def opened(cls, options: argparse.Namespace) -> "School":
        weights = read_weights(find_model().path / "model.bin")
        heads = int(weights["encoder/num_heads"]), int(weights["decoder/num_heads"])
        tree, spelled = model.frozen(weights), harden_lessons.spelling()
        teacher = harden_lessons.Teacher(tree, heads, spelled)
        lessons = [
            lesson
            for name, sounds in harden_sounds.clean_sounds(load(), options.people, options.share)
            for lesson in harden_lessons.kept(options.keep, name, sounds, teacher)
        ]
        return cls(tree, heads, spelled, lessons)


def mixed(before: model.Tree, after: model.Tree, share: float) -> model.Tree:
    """The mean of two solutions that lie near each other, `share` of it the later one: it hears
    better than either in what neither was taught last (Wortsman et al. 2022, model soups)."""
    out = {name: before[name].lerp(after[name], share) for name in before}
    for name in before:
        if name.endswith(":up") and not before[name].any():
            # Of a pair that was nothing before, the share is in one part only.
            down = name.replace(":up", ":down")
            out[down] = after[down]
    return out


@dataclass(frozen=True)
class Batch:
    """B noisy sounds and the answers to them; `count` (B,) is how many tokens are judged.

    With rivals `tokens` and `count` have k sentences a sound, what was said the first of each k.
    """

    mel: Tensor
    frames: Tensor
    target: Tensor
    tokens: Tensor
    count: Tensor
    likely: Tensor
    chances: Tensor

    def among(self, tokens: Tensor, count: Tensor) -> "Batch":
        """The same sounds with rivals to what was said."""
        return replace(self, tokens=tokens, count=count)


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

    def _groups(self) -> Iterator[tuple[list[int], int]]:
        rng = np.random.default_rng(int(time.time()))
        while True:
            groups: dict[tuple[int, int], list[int]] = {}
            for at in map(int, rng.permutation(len(self._lessons))):
                room = next((r for r in ROOMS if self._lessons[at].frames <= r), None)
                if room is None or self._skips(at):
                    continue
                some = groups.setdefault((room, self._kind(at)), [])
                some.append(at)
                if len(some) == BATCH:
                    yield list(some), room
                    some.clear()

    def _kind(self, at: int) -> int:
        """Only lessons of one kind share a batch."""
        return int(bool(self._lessons[at].tokens))

    def _skips(self, at: int) -> bool:
        """Whether this time round goes without the lesson."""
        return False

    def _batch(self, at: list[int], room: int) -> Batch:
        some = [self._lessons[each] for each in at]
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
    """The model with its changes, which `learn` moves by Adam (Kingma & Ba 2015)."""

    MEASURED: tuple[str, ...] = ("encoder", "words", "said")
    """What `learn` gives."""
    SOUND_WEIGHT = 1.0
    """Of what the encoder says."""

    def __init__(self, school: School, changes: model.Tree) -> None:
        self._tree, self._heads = school.tree, school.heads
        self._first = len(school.spelled.opening) - 1
        self._changes = {name: value.requires_grad_() for name, value in changes.items()}
        self._rule = torch.optim.Adam(self._changes.values(), betas=(0.9, 0.99))
        self.steady = {name: value.detach().clone() for name, value in changes.items()}
        self._steps = 0

    def learn(self, batch: Batch, rate: float) -> tuple[float, ...]:
        """One step. What the encoder says apart from the target (mean square), what the decoder
        says apart from the teacher's and from the words said (nats a token); NaN for no words."""
        sound, words, said = self._apart(batch)
        weighted = self.SOUND_WEIGHT * sound
        if not batch.count.any():
            self._follow(weighted, rate)
            return float(sound.detach()), np.nan, np.nan
        self._follow(weighted + WORDS_WEIGHT * words + SAID_WEIGHT * said, rate)
        return float(sound.detach()), float(words.detach()), float(said.detach())

    def _follow(self, loss: Tensor, rate: float) -> None:
        for group in self._rule.param_groups:
            group["lr"] = rate
        self._rule.zero_grad(set_to_none=True)
        loss.backward()  # type: ignore[no-untyped-call]
        torch.nn.utils.clip_grad_norm_(self._changes.values(), 1.0)
        self._rule.step()
        self._steps += 1
        kept = min(STEADY, self._steps / (self._steps + 10))
        with torch.no_grad():
            for name, value in self._changes.items():
                self.steady[name].lerp_(value, 1 - kept)

    def _encoded(self, changed: model.Tree, batch: Batch) -> tuple[Tensor, Tensor]:
        """What the encoder says, and how far that is from the target."""
        encoded = model.encode(changed, batch.mel, batch.frames, self._heads[0])
        inside = torch.arange(batch.target.shape[1])[None] < batch.frames[:, None]
        apart = (encoded.float() - batch.target).square().mean(-1)
        return encoded, (apart * inside).sum() / inside.sum()

    def _apart(self, batch: Batch) -> tuple[Tensor, Tensor, Tensor]:
        changed = model.changed(self._tree, self._changes)
        encoded, sound = self._encoded(changed, batch)
        if not batch.count.any():
            return sound, torch.tensor(0.0), torch.tensor(0.0)
        states = model.decode(changed, batch.tokens, encoded, batch.frames, self._heads[1])
        judged = torch.arange(MOST_TOKENS)[None] < batch.count[:, None]
        logs = model.log_chances(changed, states[:, self._first :][judged])
        words = from_teacher(logs, batch.likely[judged], batch.chances[judged])
        after = torch.cat([batch.tokens, batch.tokens[:, -1:]], 1)[:, self._first + 1 :]
        said = -logs.gather(1, after[judged][:, None])
        return sound, words, said.mean()


def from_teacher(logs: Tensor, likely: Tensor, chances: Tensor) -> Tensor:
    """How far `logs` (N, V) are from the teacher's likeliest tokens (nats a token)."""
    picked = logs.gather(1, likely)
    rest = torch.log1p(-picked.exp().sum(-1).clamp(max=1 - 1e-6))
    left = (1 - chances.sum(-1)).clamp(min=1e-9)
    crossed = -(chances * picked).sum(-1) - left * rest
    own = -(chances * (chances + 1e-9).log()).sum(-1) - left * left.log()
    return (crossed - own).mean()


def teach(pupil: Pupil, feed: Feed, options: argparse.Namespace) -> None:
    """For so many minutes, writing now and then what is learnt so far."""
    started, shown = time.monotonic(), []
    while (share := (time.monotonic() - started) / 60 / options.minutes) < 1:
        # Grows for a fiftieth of the time, then falls by half a cosine.
        rate = options.rate * min(1.0, 50 * share) * 0.5 * (1 + np.cos(np.pi * share))
        shown.append(pupil.learn(feed.next(), rate))
        if len(shown) % 50 == 0:
            means = zip(pupil.MEASURED, np.nanmean(shown[-50:], axis=0), strict=True)
            told = ", ".join(f"{name} {mean:.3f}" for name, mean in means)
            print(f"{share:4.0%} step {len(shown)}: {told}", flush=True)
        if len(shown) % 400 == 0 and options.write:
            write(pupil.steady, OUT)


def write(changes: model.Tree, path: Path) -> None:
    """The changes as float16."""
    kept = {name: value.numpy().astype(np.float16) for name, value in changes.items()}
    np.savez_compressed(path, **kept)
    print(f"{path}: {path.stat().st_size // 1024} kB", flush=True)


def read(path: Path) -> model.Tree:
    """What `write` kept."""
    with np.load(path) as parts:
        return {name: torch.from_numpy(parts[name].astype(np.float32)) for name in parts.files}


if __name__ == "__main__":
    main()
