"""Lessons for harden.py: clean sounds with what the model as it comes makes of them."""

import pickle
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import harden_model as model
import numpy as np
import torch
from harden_sounds import Clean
from numpy.typing import NDArray

from handsfree.engines import neural, whisper_loading
from handsfree.engines.base import Sound
from handsfree.engines.whisper_features import log_mel

BATCH = 16
TARGET_FRAMES = 600
"""Frames of 20 ms the teacher hears: 12 s, most of it silence."""
TAIL_FRAMES = 50
"""Of silence after the sound, as the program has it (neural.py)."""
TOP = 48
"""Likeliest next tokens of the teacher that are kept; the rest counts as one."""
MOST_TOKENS = 26


@dataclass
class Lesson:
    """A clean sound with the teacher's answer to it; `tokens` is empty where no words are known.

    `encoded` (frames, D); `likely` and `chances` (MOST_TOKENS, TOP): after each token.
    """

    sound: Sound
    frames: int
    encoded: NDArray[np.float16]
    tokens: list[int]
    likely: NDArray[np.int32]
    chances: NDArray[np.float32]


@dataclass(frozen=True)
class Spelling:
    """How the program writes what is said: the tokens before it, the one after, its words."""

    opening: list[int]
    end: int
    listener: whisper_loading.Model

    def rows(self, said: Sequence[Sequence[int]]) -> NDArray[np.int64]:
        """(sounds, tokens): opening, what is said, and ends to fill up."""
        given = np.full((len(said), len(self.opening) + MOST_TOKENS - 1), self.end)
        for row, tokens in enumerate(said):
            given[row, : len(self.opening) + len(tokens)] = [*self.opening, *tokens]
        return given

    def tokens(self, words: Sequence[str]) -> list[int]:
        found = [t for word in words for t in self.listener.tokens.word(word)]
        return found[: MOST_TOKENS - 1]


def spelling() -> Spelling:
    listener = whisper_loading.load(harden=False)
    opening = listener.tokens.opening(neural.DEFAULT_PROMPT, listener.decoder.positions // 2)
    return Spelling(list(opening), listener.tokens.end, listener)


def kept(folder: Path, name: str, sounds: Iterator[Clean], teach: "Teacher") -> list[Lesson]:
    """Made and heard by the teacher once; later runs only learn."""
    path = folder / f"{name}.pkl"
    if not path.exists():
        made = list(teach.lessons(list(sounds)))
        folder.mkdir(parents=True, exist_ok=True)
        path.write_bytes(pickle.dumps(made))
    lessons: list[Lesson] = pickle.loads(path.read_bytes())
    print(f"{name}: {len(lessons)} lessons", flush=True)
    return lessons


class Teacher:
    """The model as it comes."""

    def __init__(self, tree: model.Tree, heads: tuple[int, int], spelled: Spelling) -> None:
        self._tree = model.changed(tree, {})
        self._heads, self._spelled = heads, spelled

    @torch.inference_mode()
    def lessons(self, sounds: Sequence[Clean]) -> Iterator[Lesson]:
        for at in range(0, len(sounds), BATCH):
            some = sounds[at : at + BATCH]
            mel = np.stack([log_mel(s.sound, 80, 30.0)[:, : 2 * TARGET_FRAMES].T for s in some])
            frames = torch.full((len(some),), TARGET_FRAMES)
            words = [self._spelled.tokens(s.words or ()) for s in some]
            given = torch.from_numpy(self._spelled.rows(words))
            encoded = model.encode(self._tree, torch.from_numpy(mel), frames, self._heads[0])
            states = model.decode(self._tree, given, encoded, frames, self._heads[1])
            logs = model.log_chances(self._tree, states[:, len(self._spelled.opening) - 1 :])
            best, likely = logs.topk(TOP)
            for row, s in enumerate(some):
                room = len(s.sound) // 320 + TAIL_FRAMES
                yield Lesson(
                    s.sound,
                    room,
                    encoded[row, :room].to(torch.float16).numpy(),
                    words[row],
                    likely[row].to(torch.int32).numpy(),
                    best[row].exp().numpy(),
                )
