"""Log-mel spectrogram as Whisper was trained on (Radford et al. 2022, section 2.2)."""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from handsfree.engines.base import SAMPLE_RATE, Sound

WINDOW = 400
"""Samples per analysis window (25 ms)."""

HOP = 160
"""Samples between frames (10 ms)."""

MAX_FRAMES = 3000
"""Frames the encoder has positions for (30 s)."""


@lru_cache(maxsize=4)
def mel_filters(bands: int) -> NDArray[np.float32]:
    """Triangular mel filters, shape (bands, WINDOW // 2 + 1), each of unit area over Hz.

    The mel scale is Slaney's (Auditory Toolbox, 1998): linear to 1 kHz, then 27 steps
    per factor 6.4, from 0 Hz to half the sample rate.
    """
    linear_hz, knee_hz, log_step = 200.0 / 3.0, 1000.0, np.log(6.4) / 27.0
    knee_mel = knee_hz / linear_hz
    top_mel = knee_mel + np.log(SAMPLE_RATE / 2 / knee_hz) / log_step
    mels = np.linspace(0.0, top_mel, bands + 2)
    edges = np.where(
        mels < knee_mel, mels * linear_hz, knee_hz * np.exp(log_step * (mels - knee_mel))
    )
    bins = np.fft.rfftfreq(WINDOW, 1.0 / SAMPLE_RATE)
    rise = (bins - edges[:-2, None]) / np.diff(edges)[:-1, None]
    fall = (edges[2:, None] - bins) / np.diff(edges)[1:, None]
    area = 2.0 / (edges[2:] - edges[:-2])
    filters: NDArray[np.float32] = np.asarray(
        np.maximum(0.0, np.minimum(rise, fall)) * area[:, None], np.float32
    )
    return filters


def log_mel(sound: Sound, bands: int, tail_s: float = 1.0) -> NDArray[np.float32]:
    """Features of `sound` with `tail_s` seconds of silence after it, (bands, frames).

    One frame per 10 ms, at most MAX_FRAMES; what is longer is cut off. Values are
    log10 power, floored 8 below the loudest, moved to about −1..1.
    """
    room = MAX_FRAMES * HOP
    tail = np.zeros(round(tail_s * SAMPLE_RATE), np.float32)
    padded = np.concatenate([sound[:room], tail])[:room]
    frames = len(padded) // HOP
    edged = np.pad(padded, WINDOW // 2, mode="reflect")
    windows = np.lib.stride_tricks.sliding_window_view(edged, WINDOW)[::HOP][:frames]
    taper = np.hanning(WINDOW + 1)[:-1].astype(np.float32)
    power = np.abs(np.fft.rfft(windows * taper, axis=1)).astype(np.float32) ** 2
    levels = np.log10(np.maximum(mel_filters(bands) @ power.T, 1e-10))
    levels = np.maximum(levels, levels.max() - 8.0)
    return np.ascontiguousarray((levels + 4.0) / 4.0, dtype=np.float32)
