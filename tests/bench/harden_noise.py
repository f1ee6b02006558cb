"""What harden.py spoils its clean sounds with: noise at many levels, rooms, other microphones."""

import numpy as np
import scipy.fft
from noisy_material import TUNING, Shed, noises, whole
from numpy.typing import NDArray

from handsfree.engines.base import SAMPLE_RATE, Sound

QUIET, LOUDEST_DB, SOFTEST_DB = 0.1, -5.0, 20.0
"""Share of sounds taught without noise; signal over noise of the others (dB, speech band)."""
LOUDER = 1.4
"""Power of a number between 0 and 1 that places a sound between the two: half of them are below
4.5 dB, where there is most to learn."""
NOISES = {
    "steady": 0.36,
    "rasp": 0.16,
    "real": 0.27,
    "hammer": 0.06,
    "wind": 0.06,
    "fan": 0.05,
    "murmur": 0.04,
}
POOL_S = 40
ECHOING, COLOURED, NARROW = 0.2, 0.3, 0.1
"""Shares of sounds in a small room, with another microphone's tilt, over a narrow radio link."""
NARROW_HZ = (3400.0, 3900.0)
TILT = 0.35
"""Power of (frequency over 1 kHz) at most."""
ROOM_S = (0.15, 0.5)
"""Time in which an echo falls by 60 dB."""


class Noise:
    """One noise with the power in the speech band of any stretch of it at once."""

    def __init__(self, sound: NDArray[np.float64]) -> None:
        self.sound = np.asarray(np.resize(sound, max(len(sound), 6 * SAMPLE_RATE)), np.float32)
        spectrum = scipy.fft.rfft(self.sound)
        hz = scipy.fft.rfftfreq(len(self.sound), 1 / SAMPLE_RATE)
        spectrum[(hz < noises.BAND_HZ[0]) | (hz > noises.BAND_HZ[1])] = 0
        band = scipy.fft.irfft(spectrum, len(self.sound)).astype(np.float64)
        self._summed = np.concatenate([[0.0], np.cumsum(band**2)])

    def piece(self, length: int, rng: np.random.Generator) -> tuple[Sound, float]:
        """A stretch drawn anew and its mean power in the speech band."""
        at = int(rng.integers(max(1, len(self.sound) - length)))
        part = np.resize(self.sound[at : at + length], length)
        end = min(at + length, len(self.sound))
        return part, float(self._summed[end] - self._summed[at]) / (end - at) + 1e-12


class Shop:
    """Noises to mix with, made once and cut anywhere."""

    def __init__(self, shed: Shed, seed: int) -> None:
        self._rng = np.random.default_rng(seed)
        self._made = {name: made for name in NOISES if (made := self._makes(name, shed))}
        share = np.array([NOISES[name] for name in self._made])
        self._share = share / share.sum()

    def _makes(self, name: str, shed: Shed) -> list[Noise]:
        n = POOL_S * SAMPLE_RATE
        if name == "real":
            return [Noise(whole(p).astype(np.float64)) for p in shed.files_of(TUNING)]
        if name == "steady":
            return [
                Noise(noises.shaped(n, SAMPLE_RATE, self._rng, tilt, low))
                for tilt in np.linspace(0.0, 2.0, 9)
                for low in (20.0, 200.0)
            ]
        return [Noise(noises.MAKERS[name](n, SAMPLE_RATE, self._rng)) for _ in range(4)]

    def noisy(self, clean: Sound) -> Sound:
        """`clean` in some noise at some level, now and then in a room, by another microphone."""
        rng = self._rng
        power = noises.speech_power(clean.astype(np.float64), SAMPLE_RATE)
        speech = self._in_a_room(clean) if rng.random() < ECHOING else clean
        if rng.random() < QUIET:
            kind, snr_db = "steady", rng.uniform(25.0, 45.0)
        else:
            kind = str(rng.choice(list(self._made), p=self._share))
            snr_db = LOUDEST_DB + (SOFTEST_DB - LOUDEST_DB) * rng.random() ** LOUDER
        pool = self._made[kind]
        noise, loud = pool[rng.integers(len(pool))].piece(len(speech), rng)
        mixed = speech + noise * np.float32(np.sqrt(power / 10 ** (snr_db / 10) / loud))
        mixed = self._microphone(mixed)
        mixed *= np.float32(10 ** (rng.uniform(-8.0, 6.0) / 20))
        return np.clip(mixed, -1.0, 1.0).astype(np.float32)

    def _in_a_room(self, sound: Sound) -> Sound:
        rng = self._rng
        falls_s = rng.uniform(*ROOM_S)
        n = int(falls_s * SAMPLE_RATE)
        echo = rng.standard_normal(n) * 10 ** (-3 * np.arange(n) / n)
        echo *= rng.uniform(0.1, 0.5) / np.sqrt(np.sum(echo**2))
        echo[0] = 1.0
        size = scipy.fft.next_fast_len(len(sound) + n, real=True)
        spectrum = scipy.fft.rfft(sound, size) * scipy.fft.rfft(echo.astype(np.float32), size)
        return np.asarray(scipy.fft.irfft(spectrum, size)[: len(sound)], np.float32)

    def _microphone(self, sound: Sound) -> Sound:
        rng = self._rng
        tilted, narrow = rng.random() < COLOURED, rng.random() < NARROW
        if not (tilted or narrow):
            return sound
        size = scipy.fft.next_fast_len(len(sound), real=True)
        hz = scipy.fft.rfftfreq(size, 1 / SAMPLE_RATE)
        gain = np.ones(len(hz))
        if tilted:
            gain *= (np.maximum(hz, 80.0) / 1000.0) ** rng.uniform(-TILT, TILT)
        if narrow:
            gain *= 1 / (1 + (hz / rng.uniform(*NARROW_HZ)) ** 20)
        return np.asarray(scipy.fft.irfft(scipy.fft.rfft(sound, size) * gain, size), np.float32)[
            : len(sound)
        ]
