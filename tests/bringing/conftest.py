"""Recordings of an invented voice note, and ears that hear what they are told to."""

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from handsfree.demo import folder
from handsfree.engines.base import Clip
from handsfree.engines.together import Verdict
from handsfree.grammar import Grammar, load

SAID = (
    "left hind outside heel bruise",
    "toe length three and a half inches",
    "pulled seven nails",
    "thrush in the frog",
    "right hind seedy toe",
)


class ToldEars:
    """Ears that hear one sentence after another, by where in the recording a clip is."""

    def __init__(self, grammar: Grammar, said: tuple[str, ...] = SAID) -> None:
        self._grammar, self._said = grammar, said
        self.heard: list[float] = []

    def hear(self, clip: Clip) -> Verdict:
        self.heard.append(clip.start_s)
        words = self._said[int(clip.start_s) % len(self._said)]
        return Verdict(self._grammar.read(words.split()), 0.97, words, ("told",))

    def close(self) -> None:
        pass


@pytest.fixture(scope="session")
def grammar() -> Grammar:
    return load(horse_names=("Bramble", "Duke"))


@pytest.fixture(scope="session")
def told_ears() -> type[ToldEars]:
    return ToldEars


@pytest.fixture(scope="session")
def spoken() -> np.ndarray:
    """Twenty seconds of the demo's speech, 16 kHz."""
    sound, _ = soundfile.read(folder() / "riding_horse.flac", dtype="float32", frames=20 * 16000)
    return sound


@pytest.fixture
def record(tmp_path: Path, spoken: np.ndarray) -> Iterator[Callable[..., Path]]:
    """Write the speech, or other sound, to a file of this name in a folder of recordings."""
    place = tmp_path / "recorder"

    def write(name: str, sound: np.ndarray | None = None, **how: str) -> Path:
        path = place / name
        path.parent.mkdir(parents=True, exist_ok=True)
        soundfile.write(path, spoken if sound is None else sound, 16000, **how)
        return path

    yield write
    shutil.rmtree(place, ignore_errors=True)
