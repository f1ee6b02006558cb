"""Whose voice it was: how much of the microphone's sound follows from what was played."""

from itertools import pairwise

import numpy as np
import soxr
from numpy.typing import NDArray

from handsfree.engines.base import SAMPLE_RATE, Sound

SILENT = 1e-4
"""A reference below this (-80 dB) plays nothing."""

_FIT_RATE = 8_000
_BAND_HZ = (300.0, 3400.0)
"""What telephony takes for a voice (ITU-T G.712)."""
_MAX_LAG_S = 0.3
_TAPS = 1024
"""128 ms of room. With 48 ms, answers in a room of 0.6 s reverberation fell to 0.37."""
_BLOCK_S = 2.0
"""A filter is fitted anew for each; longer ones gained nothing and suffer from clock drift."""
_RIDGE = 1e-3
"""Added to the diagonal of the fit, relative to it: bands without sound need no filter."""
_FLOOR_PERCENTILE = 10.0
_FLOOR_S = 3.0


LEAD = round((_MAX_LAG_S + _TAPS / _FIT_RATE) * SAMPLE_RATE)
"""How much earlier than the microphone's sound the played one must begin, samples."""
FLOOR = round(_FLOOR_S * SAMPLE_RATE)
"""How much sound the steady noise is measured on, samples."""


def own_share(heard: Sound, played: Sound, around: Sound) -> float:
    """How much of `heard` follows from `played`, 0..1 (16 kHz sound).

    `played` begins LEAD samples earlier and ends with `heard`; `around` is what the
    microphone gave in the last seconds, for its steady noise.
    """
    return _explained(_for_fit(heard), _for_fit(played), _floor(_for_fit(around)))


def _for_fit(sound: Sound) -> NDArray[np.float64]:
    """The speech band at _FIT_RATE, one sample for two of 16 kHz."""
    low = soxr.resample(sound, SAMPLE_RATE, _FIT_RATE).astype(np.float64)
    spectrum = np.fft.rfft(low, 2 * len(low))
    hertz = np.fft.rfftfreq(2 * len(low), 1 / _FIT_RATE)
    spectrum[(hertz < _BAND_HZ[0]) | (hertz > _BAND_HZ[1])] = 0
    return np.fft.irfft(spectrum, 2 * len(low))[: len(low)]


def _floor(sound: NDArray[np.float64]) -> float:
    """Mean square of the steady noise: what a tenth of the frames of 20 ms stay below."""
    size = _FIT_RATE // 50
    frames = sound[: len(sound) // size * size].reshape(-1, size)
    return float(np.percentile((frames**2).mean(axis=1), _FLOOR_PERCENTILE)) if len(frames) else 0.0


def _explained(
    heard: NDArray[np.float64], source: NDArray[np.float64], noise_power: float
) -> float:
    """The share of `heard` that follows from `source`, which begins earlier and ends with it."""
    lead = len(source) - len(heard)
    lag = _lag(heard, source)
    count = max(1, round(len(heard) / (_BLOCK_S * _FIT_RATE)))
    edges = np.linspace(0, len(heard), count + 1).astype(int)
    left = 0.0
    for start, end in pairwise(edges):
        at = lead - lag
        left += _misfit(heard[start:end], source[max(at + start - _TAPS + 1, 0) : at + end])
    noise = noise_power * len(heard)
    total = float((heard**2).sum()) - noise
    return float(np.clip(1 - max(left - noise, 0.0) / total, 0, 1)) if total > 0 else 0.0


def _lag(heard: NDArray[np.float64], source: NDArray[np.float64]) -> int:
    """By how many samples the filter starts late: where it holds most of the correlation."""
    longest = len(source) - len(heard)
    size = 1 << (len(source) + len(heard)).bit_length()
    cross = np.fft.irfft(np.fft.rfft(source, size) * np.fft.rfft(heard, size).conj(), size)
    power = cross[longest::-1] ** 2  # of lags 0 up to `longest`
    return int(np.convolve(power, np.ones(_TAPS), "valid").argmax())


def _misfit(heard: NDArray[np.float64], source: NDArray[np.float64]) -> float:
    """Energy of `heard` that no filter of _TAPS makes of `source` (up to _TAPS - 1 longer).

    Normal equations by the autocorrelation method, as for linear prediction (J. Makhoul,
    "Linear prediction: a tutorial review", Proc. IEEE 63, 1975).
    """
    size = 1 << (len(source) + _TAPS).bit_length()
    spectrum = np.fft.rfft(source, size)
    auto = np.fft.irfft(np.abs(spectrum) ** 2, size)[:_TAPS]
    energy = float((heard**2).sum())
    if auto[0] <= SILENT**2 * len(source):
        return energy
    late = np.concatenate([np.zeros(len(source) - len(heard)), heard])
    cross = np.fft.irfft(spectrum.conj() * np.fft.rfft(late, size), size)[:_TAPS]
    auto[0] *= 1 + _RIDGE
    taps = _toeplitz_solved(auto, cross)
    made = np.fft.irfft(spectrum * np.fft.rfft(taps, size), size)[: len(source)]
    return min(float(((heard - made[-len(heard) :]) ** 2).sum()), energy)


def _toeplitz_solved(
    column: NDArray[np.float64], right: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Solve the symmetric positive definite Toeplitz system with this first column.

    Levinson's recursion (G. H. Golub, C. F. Van Loan, "Matrix Computations", 4th ed., 4.7.3):
    a fifth of the time of a general solver, and on one core, as the recognizers need the rest.
    """
    count = len(column)
    r, b = column[1:] / column[0], right / column[0]
    solved, predictor = np.zeros(count), np.zeros(count)
    solved[0], predictor[0] = b[0], -r[0]
    error, reflection = 1.0, -r[0]
    for k in range(1, count):
        error *= 1 - reflection**2
        recent = r[:k][::-1]
        step = (b[k] - recent @ solved[:k]) / error
        solved[:k] += step * predictor[:k][::-1]
        solved[k] = step
        if k < count - 1:
            reflection = -(r[k] + recent @ predictor[:k]) / error
            predictor[:k] += reflection * predictor[:k][::-1]
            predictor[k] = reflection
    return solved
