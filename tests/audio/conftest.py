"""Generated noise and spoken phrases for the tests of the audio room."""

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from handsfree.audio.sources import open_sound
from handsfree.engines.base import SAMPLE_RATE, Sound

Speak = Callable[[str], Sound]


@pytest.fixture(scope="session")
def speak(tmp_path_factory: pytest.TempPathFactory) -> Speak:
    """A synthetic voice: words to sound at a level of about -22 dB, without pauses around."""
    if shutil.which("flite") is None:
        pytest.skip("flite is not installed")
    folder: Path = tmp_path_factory.mktemp("voice")

    def say(words: str) -> Sound:
        path = folder / f"{words.replace(' ', '_')}.wav"
        if not path.exists():
            subprocess.run(["flite", "-voice", "slt", "-t", words, "-o", path], check=True)
        sound = np.concatenate(list(open_sound(path)))
        loud = np.flatnonzero(np.abs(sound) > 0.01)
        sound = sound[loud[0] : loud[-1] + 1]
        return np.asarray(sound * (0.08 / np.sqrt((sound**2).mean())), np.float32)

    return say


class Sounds:
    """Generated sounds, the same at every run."""

    @staticmethod
    def quiet(seconds: float) -> Sound:
        rng = np.random.default_rng(int(seconds * 1000))
        return (1e-4 * rng.standard_normal(int(seconds * SAMPLE_RATE))).astype(np.float32)

    @staticmethod
    def pink_noise(seconds: float, level: float) -> Sound:
        """Noise falling 3 dB per octave; `level` is its root mean square."""
        rng = np.random.default_rng(3)
        count = int(seconds * SAMPLE_RATE)
        spectrum = np.fft.rfft(rng.standard_normal(count))
        spectrum[1:] /= np.sqrt(np.arange(1, len(spectrum)))
        spectrum[0] = 0
        sound = np.fft.irfft(spectrum, count)
        return (sound * level / np.sqrt((sound**2).mean())).astype(np.float32)

    @staticmethod
    def rasp_strokes(seconds: float, level: float = 0.1) -> Sound:
        """Bursts of high-passed noise, three in two seconds, as a rasp on a hoof."""
        rng = np.random.default_rng(4)
        count = int(seconds * SAMPLE_RATE)
        noise = np.diff(rng.standard_normal(count + 1))
        time = np.arange(count) / SAMPLE_RATE
        stroke = np.clip(np.sin(2 * np.pi * 1.5 * time), 0, None)
        return (level * noise * stroke).astype(np.float32)

    @staticmethod
    def hammer_blows(seconds: float, level: float = 0.8) -> Sound:
        """Ringing clanks, two a second, each dying away within a tenth of a second."""
        count = int(seconds * SAMPLE_RATE)
        time = np.arange(int(0.3 * SAMPLE_RATE)) / SAMPLE_RATE
        ring = sum(np.sin(2 * np.pi * f * time) for f in (1900.0, 3170.0, 4630.0))
        clank = level / 3 * ring * np.exp(-time / 0.03)
        sound = np.zeros(count, np.float32)
        for at in range(0, count - len(clank), SAMPLE_RATE // 2):
            sound[at : at + len(clank)] += clank.astype(np.float32)
        return sound


@pytest.fixture(scope="session")
def make() -> type[Sounds]:
    """Quiet, noise and clanks; `make.pink_noise(2.0, 0.1)`."""
    return Sounds
