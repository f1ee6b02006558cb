"""How loud speech and noise are, and whether that is good enough to be heard.

Levels are root mean squares in dB relative to full scale (0 dB: every sample at ±1; a sine
wave that just fits has -3.01 dB), which ITU-T G.100.1 calls dBov.
"""

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsfree.audio.denoise import FRAME, FRAME_S
from handsfree.engines.base import Sound

TOO_QUIET_DB = -50.0
TOO_LOUD_DB = -12.0
"""Nominal speech has -26 dBov (ITU-T P.56 and G.191). Of 75 s of the demo recordings the
recognizers were as sure of 25 of 27 clips at -49 dB as at -24 dB, so quiet matters little;
the upper figure is common practice without a source: peaks stand 12 to 15 dB above speech."""
CLIPS = 0.001
"""Share of clipped samples in speech from which it counts (common practice, no source)."""
GOOD_DB, WORKABLE_DB = 20.0, 10.0
"""Speech above noise in the voice band; common practice, no source."""
RUMBLE_DB = 15.0
"""Noise below 200 Hz this far above the noise in the voice band is wind or hum; no source."""

_CLIPPED_AT = 0.985
"""Resampling rounds the flat tops off a little."""
_LIKELY, _UNLIKELY = 0.5, 0.1
"""Speech probabilities from which a frame counts as speech, and below which as noise."""
_SPEECH_ABOVE_DB, _NOISE_WITHIN_DB = 10.0, 3.0
"""Without probabilities: speech stands so far above the quiet frames, noise no further."""
_NEEDED_S = 0.2
"""Less speech or noise than this says nothing."""

_WINDOW = np.hanning(FRAME)
_VOICE = slice(round(300 * FRAME_S), round(3400 * FRAME_S) + 1)
"""Bins, 100 Hz apart, of telephony's voice band: 300-3400 Hz (ITU-T G.712)."""
_LOW = slice(1, round(200 * FRAME_S) + 1)


@dataclass(frozen=True)
class Level:
    """What a meter read; None where it heard too little of the kind.

    `speech_db` and `noise_db` are over the whole band; `above_noise_db` is speech without
    the noise in it over noise, both within 300-3400 Hz; `rumble_db` the noise below 200 Hz
    relative to that band's. `clipped` is the share (0..1) of samples in speech at full scale.
    """

    speech_db: float | None
    noise_db: float | None
    above_noise_db: float | None
    rumble_db: float | None
    clipped: float
    speech_s: float
    noise_s: float


class LevelMeter:
    """A running meter over the last `window_s` seconds of a 16 kHz stream."""

    def __init__(self, window_s: float = 30.0) -> None:
        self._frames: deque[NDArray[np.float64]] = deque(maxlen=max(1, round(window_s / FRAME_S)))
        self._rest: Sound = np.zeros(0, np.float32)

    def feed(self, block: Sound, speech: NDArray[np.float32] | None = None) -> None:
        """Take a block of any length.

        `speech` holds a probability 0..1 per 10 ms of the block, as handsfree.audio.activity
        gives them. Without it the louder frames are taken for speech.
        """
        if speech is None:
            block = np.concatenate([self._rest, block])
        whole = len(block) // FRAME
        if speech is None:
            self._rest = block[whole * FRAME :]
        else:
            whole = min(whole, len(speech))
        if whole == 0:
            return
        frames = block[: whole * FRAME].reshape(whole, FRAME).astype(np.float64)
        centred = (frames - frames.mean(axis=1, keepdims=True)) * _WINDOW
        # By Parseval's theorem on a Hann-windowed frame.
        power = np.abs(np.fft.rfft(centred, axis=1)) ** 2 * 2 / (FRAME * (_WINDOW**2).sum())
        likely = np.full(whole, np.nan) if speech is None else speech[:whole].astype(np.float64)
        clipped = (np.abs(frames) >= _CLIPPED_AT).mean(axis=1)
        measures = (
            (frames**2).mean(axis=1),
            power[:, _VOICE].sum(axis=1),
            power[:, _LOW].sum(axis=1),
            clipped,
            likely,
        )
        self._frames.extend(np.stack(measures, axis=1))

    def read(self) -> Level:
        """The levels of what is in the window."""
        table = np.array(self._frames).reshape(-1, 5)
        total, voice, low, clipped, likely = table.T
        is_speech, is_noise = _told_apart(voice, likely)
        speech_s, noise_s = is_speech.sum() * FRAME_S, is_noise.sum() * FRAME_S
        some_speech, some_noise = speech_s >= _NEEDED_S, noise_s >= _NEEDED_S
        above = rumble = None
        if some_noise:
            floor = float(np.median(voice[is_noise])) + 1e-12
            rumble = _db(float(np.median(low[is_noise])) / floor)
            if some_speech:
                above = _db(max(float(voice[is_speech].mean()) - floor, 0.01 * floor) / floor)
        return Level(
            _db(float(total[is_speech].mean())) if some_speech else None,
            _db(float(np.median(total[is_noise]))) if some_noise else None,
            above,
            rumble,
            float(clipped[is_speech].mean()) if some_speech else 0.0,
            float(speech_s),
            float(noise_s),
        )


def _told_apart(
    voice: NDArray[np.float64], likely: NDArray[np.float64]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which frames are speech and which noise, by probability, else by level."""
    if len(voice) == 0:
        return np.zeros(0, bool), np.zeros(0, bool)
    level = 10 * np.log10(voice + 1e-12)
    floor = np.percentile(level, 10)
    known = ~np.isnan(likely)
    speech = np.where(known, likely >= _LIKELY, level >= floor + _SPEECH_ABOVE_DB)
    noise = np.where(known, likely < _UNLIKELY, level <= floor + _NOISE_WITHIN_DB)
    return speech, noise


def level_verdict(level: Level) -> str:
    """One of "no speech", "clipping", "too loud", "too quiet", "good"."""
    if level.speech_db is None:
        return "no speech"
    if level.clipped >= CLIPS:
        return "clipping"
    if level.speech_db > TOO_LOUD_DB:
        return "too loud"
    return "too quiet" if level.speech_db < TOO_QUIET_DB else "good"


def noise_verdict(level: Level) -> str:
    """How speech stands above the noise: "good", "workable", "poor", or "unknown"."""
    if level.above_noise_db is None:
        return "unknown"
    if level.above_noise_db >= GOOD_DB:
        return "good"
    return "workable" if level.above_noise_db >= WORKABLE_DB else "poor"


def windy(level: Level) -> bool:
    """Whether the noise is mostly below the voice: wind, an engine, hum."""
    return level.rumble_db is not None and level.rumble_db >= RUMBLE_DB


def _db(ratio: float) -> float:
    return float(10 * np.log10(ratio + 1e-12))
