"""A made voice taken apart and put together as other throats, for harden.py.

    pip install pyworld "setuptools<81"

WORLD (Morise et al. 2016) parts speech into pitch, the throat's envelope and breath. Pitch moved
and flattened, the envelope stretched along frequency and the pace changed make speakers apart from
those there are; flattened pitch is also what simple made voices have.
"""

import importlib
import importlib.util
import random

import numpy as np
from numpy.typing import NDArray

from handsfree.engines.base import SAMPLE_RATE, Sound

LOWEST, HIGHEST = 0.65, 1.5
"""Pitch times this, at most."""
SHORTEST, LONGEST = 0.84, 1.18
"""Frequencies of the envelope times this: a long throat to a short one."""
LIVELIEST = 1.3
"""How much of the pitch's melody is kept, from 0 (none) on."""
SLOWEST, FASTEST = 0.8, 1.25
BUZZING = 0.4
"""Share of the voices that lose some or all of their breath, as simple made voices have none."""
FRAME_MS = 5.0


def usable() -> bool:
    return importlib.util.find_spec("pyworld") is not None


def moulded(sound: Sound, rng: random.Random) -> Sound:
    """`sound` at 16 kHz by a throat drawn anew, slower or faster."""
    world = importlib.import_module("pyworld")
    wide = np.ascontiguousarray(sound, np.float64)
    rough, times = world.dio(wide, SAMPLE_RATE, frame_period=FRAME_MS)
    pitch = world.stonemask(wide, rough, times, SAMPLE_RATE)
    envelope = world.cheaptrick(wide, pitch, times, SAMPLE_RATE)
    breath = world.d4c(wide, pitch, times, SAMPLE_RATE)
    if rng.random() < BUZZING:
        breath = breath * rng.random()
    again = world.synthesize(
        _moved(pitch, rng),
        _stretched(envelope, rng.uniform(SHORTEST, LONGEST)),
        breath,
        SAMPLE_RATE,
        FRAME_MS / rng.uniform(SLOWEST, FASTEST),
    )
    return np.asarray(again, np.float32)


def _moved(pitch: NDArray[np.float64], rng: random.Random) -> NDArray[np.float64]:
    voiced = pitch > 0
    if not voiced.any():
        return pitch
    middle = np.exp(np.log(pitch[voiced]).mean())
    factor = np.exp(rng.uniform(np.log(LOWEST), np.log(HIGHEST)))
    melody = (np.maximum(pitch, 1.0) / middle) ** rng.uniform(0.0, LIVELIEST)
    return np.where(voiced, np.clip(middle * factor * melody, 60.0, 400.0), 0.0)


def _stretched(envelope: NDArray[np.float64], factor: float) -> NDArray[np.float64]:
    bins = np.arange(envelope.shape[1])
    asked = np.minimum(bins / factor, bins[-1])
    below = asked.astype(int)
    above = np.minimum(below + 1, bins[-1])
    part = asked - below
    logs = np.log(envelope)
    mixed: NDArray[np.float64] = np.exp(logs[:, below] * (1 - part) + logs[:, above] * part)
    return np.ascontiguousarray(mixed)
