"""Shed sounds made from random numbers: room, fan, wind, rasp, hammer, a far radio.

Every maker takes a length in samples, the rate in Hz and a random generator, and returns
float64 noise of arbitrary level; `scale_to_snr` sets the level. Nothing is recorded.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy import signal  # type: ignore[import-untyped,unused-ignore]

Wave = NDArray[np.float64]
Maker = Callable[[int, int, np.random.Generator], Wave]

BAND_HZ = (130.0, 6800.0)
"""Where speech is; every SNR of the demo is stated inside this band."""


def shaped(n: int, rate: int, rng: np.random.Generator, tilt: float, low_hz: float) -> Wave:
    """Gaussian noise with power falling as f**-tilt above `low_hz`, flat below."""
    spectrum = np.fft.rfft(rng.standard_normal(n))
    hz = np.maximum(np.fft.rfftfreq(n, 1 / rate), low_hz)
    noise: Wave = np.fft.irfft(spectrum * hz ** (-tilt / 2), n)
    return noise / float(np.sqrt(np.mean(noise**2)))


def slow(n: int, rate: int, rng: np.random.Generator, hz: float) -> Wave:
    """A slow positive swell around 1 with changes up to about `hz`."""
    knots = rng.uniform(0.4, 1.6, int(n / rate * hz) + 3)
    return np.interp(np.arange(n) * hz / rate, np.arange(len(knots)), knots)


def room(n: int, rate: int, rng: np.random.Generator) -> Wave:
    """A quiet shed: soft, dull, steady."""
    return shaped(n, rate, rng, 1.5, 80.0)


def fan(n: int, rate: int, rng: np.random.Generator) -> Wave:
    """A ventilator: pink noise with a hum and its overtones."""
    t = np.arange(n) / rate
    hum = sum(np.sin(2 * np.pi * 48.0 * k * t + k) / k for k in range(1, 9))
    return shaped(n, rate, rng, 1.0, 50.0) + 0.5 * np.asarray(hum)


def wind(n: int, rate: int, rng: np.random.Generator) -> Wave:
    """Gusts over a low rumble, with a hiss in leaves that follows the gusts."""
    gust = slow(n, rate, rng, 1.5)
    return gust * shaped(n, rate, rng, 1.6, 60.0) + 0.3 * gust * shaped(n, rate, rng, 0.5, 900.0)


def rasp(n: int, rate: int, rng: np.random.Generator) -> Wave:
    """Strokes of a rasp: forward loud, back faint, teeth heard as a fast flutter."""
    tone = signal.butter(2, (900, 5500), "bandpass", fs=rate, output="sos")
    grit: Wave = signal.sosfilt(tone, rng.standard_normal(n))
    out = 0.05 * room(n, rate, rng)
    at = 0.0
    while at < n / rate:
        for loud in (1.0, 0.25):
            first, last = int(at * rate), min(n, int((at + rng.uniform(0.22, 0.32)) * rate))
            if last - first > 2:
                t = np.arange(last - first) / rate
                flutter = 1 + 0.5 * np.sin(2 * np.pi * rng.uniform(90, 140) * t)
                out[first:last] += loud * grit[first:last] * flutter * np.hanning(last - first)
            at += rng.uniform(0.3, 0.4)
    return out


def hammer(n: int, rate: int, rng: np.random.Generator) -> Wave:
    """Clanks: a dull blow and a few ringing tones that die away within a tenth of a second."""
    out = 0.02 * room(n, rate, rng)
    t = np.arange(int(0.3 * rate)) / rate
    at = rng.uniform(0.0, 0.3)
    while at < n / rate:
        clank = 0.6 * np.exp(-t / 0.004) * rng.standard_normal(len(t))
        for hz in rng.uniform(1500, 6000, 5):
            clank += (
                rng.uniform(0.2, 0.6)
                * np.exp(-t / rng.uniform(0.02, 0.07))
                * np.sin(2 * np.pi * hz * t)
            )
        first = int(at * rate)
        part = out[first : first + len(t)]
        part += rng.uniform(0.6, 1.0) * clank[: len(part)]
        at += rng.uniform(0.35, 0.6)
    return out


def murmur(n: int, rate: int, rng: np.random.Generator) -> Wave:
    """A radio in the next yard: a buzzing voice with vowels and syllables but no words."""
    pitch = 120 * slow(n, rate, rng, 3.0) ** 0.4
    buzz = signal.sawtooth(2 * np.pi * np.cumsum(pitch) / rate)
    syllables = np.clip(slow(n, rate, rng, 5.0) - 0.6, 0.02, None)
    out = np.zeros(n)
    for low, high in ((300, 900), (900, 1800), (2000, 2900)):
        formant = signal.butter(2, (low, high), "bandpass", fs=rate, output="sos")
        out += slow(n, rate, rng, 4.0) ** 2 * signal.sosfilt(formant, buzz)
    return out * syllables + 0.01 * room(n, rate, rng)


MAKERS: dict[str, Maker] = {
    "room": room,
    "fan": fan,
    "wind": wind,
    "rasp": rasp,
    "hammer": hammer,
    "murmur": murmur,
}


def band_power(wave: Wave, rate: int) -> float:
    """Mean power of `wave` inside BAND_HZ (full scale = 1)."""
    power = np.abs(np.fft.rfft(wave)) ** 2
    hz = np.fft.rfftfreq(len(wave), 1 / rate)
    inside = (hz >= BAND_HZ[0]) & (hz <= BAND_HZ[1])
    return float(2 * power[inside].sum() / len(wave) ** 2)


def speech_power(wave: Wave, rate: int) -> float:
    """Mean power inside BAND_HZ in the 20 ms frames within 30 dB of the loudest."""
    step = rate // 50
    frames = wave[: len(wave) // step * step].reshape(-1, step)
    level = np.mean(frames**2, axis=1)
    return band_power(frames[level > level.max() * 1e-3].ravel(), rate)


def scale_to_snr(noise: Wave, rate: int, speech: float, snr_db: float) -> Wave:
    """`noise` at a level `snr_db` below the power `speech`, both inside BAND_HZ."""
    wanted = speech / 10 ** (snr_db / 10)
    return noise * float(np.sqrt(wanted / band_power(noise, rate)))
