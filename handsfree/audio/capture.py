"""One open stream of a sound input, from PortAudio's callback to blocks of 16 kHz mono."""

import math
import queue
import time
from typing import Any, Protocol

import numpy as np
import soxr

from handsfree.audio.devices import Device, NoMicrophone, one_line, quiet_stderr
from handsfree.audio.live import BLOCK_S
from handsfree.engines.base import SAMPLE_RATE, Sound

GONE_AFTER_S = 1.0
"""Without a callback for this long the device counts as gone: PortAudio gives no other sign."""
START_S = 5.0
"""How long a device may take to its first sound; wireless ones do."""
_QUEUED = round(120 / BLOCK_S)
"""Most blocks that wait for a slow reader, about two minutes; then sound is dropped."""
_RATES = (48_000, 44_100, 16_000, 32_000, 8_000)
_SCALE = {"int16": 1 / 32768, "float32": 1.0}

Item = tuple[float, bytes, int]
"""When a block came, its samples as bytes, and how many losses there were before it."""


class Clock(Protocol):
    """Time as the microphone sees it; a test has one of its own."""

    def now(self) -> float:
        """Seconds from any start, never going back."""
        ...

    def get(self, inbox: "queue.SimpleQueue[Item]", timeout: float) -> Item | None:
        """The next block, or None when none came within `timeout` seconds."""
        ...


class RealClock:
    """The machine's clock."""

    def now(self) -> float:
        """See Clock."""
        return time.monotonic()

    def get(self, inbox: "queue.SimpleQueue[Item]", timeout: float) -> Item | None:
        """See Clock."""
        try:
            return inbox.get(timeout=timeout)
        except queue.Empty:
            return None


class LostTime:
    """Real time of which no samples came, found by when the blocks arrive.

    PortAudio says at best that something was lost, not how much, and not every system says
    so. Blocks may come late and then faster, so in each stretch of WINDOW_S only the
    promptest one counts. The clock of the device being a little off (some 0.1 ms in a
    second) stays far below what counts.
    """

    WINDOW_S = 2.0
    COUNTS_S = 0.2

    def __init__(self) -> None:
        self._given_s = 0.0
        self._usual: float | None = None
        self._least = math.inf
        self._until: float | None = None
        self._missed = 0

    def take(self, arrived: float, length_s: float, missed: int) -> tuple[int, float] | None:
        """Note a block; at the end of a stretch with losses, how many there were and seconds."""
        self._given_s += length_s
        self._missed += missed
        self._least = min(self._least, arrived - self._given_s)
        if self._until is None:
            self._until = arrived + self.WINDOW_S
        if arrived < self._until:
            return None
        late_s = 0.0 if self._usual is None else max(0.0, self._least - self._usual)
        losses = self._missed or int(late_s >= self.COUNTS_S)
        self._usual, self._least = self._least, math.inf
        self._until, self._missed = arrived + self.WINDOW_S, 0
        return (losses, late_s) if losses else None


class Capture:
    """A device being recorded: its own rate, int16 and mono or stereo where it takes that.

    `inbox` has its blocks, `rate` (Hz) is the one it was opened at, `last` the time of the
    last block. Raises NoMicrophone where the device refuses every format.
    """

    def __init__(self, sound: Any, device: Device, clock: Clock) -> None:
        self.device = device
        self.inbox: queue.SimpleQueue[Item] = queue.SimpleQueue()
        self._clock = clock
        self._missed = 0
        self._stream, self.rate, self._channels, self._dtype = self._open(sound)
        self._resampler = None
        if self.rate != SAMPLE_RATE:
            self._resampler = soxr.ResampleStream(self.rate, SAMPLE_RATE, 1, dtype="float32")
        self.lost = LostTime()
        # The watchdog waits START_S for the first block.
        self.last = clock.now() + START_S - GONE_AFTER_S

    def _open(self, sound: Any) -> tuple[Any, int, int, str]:
        """The stream, started, at the device's own rate or the first other one it takes."""
        own = self.device.rate
        rates = dict.fromkeys([own, *_RATES] if own > 0 else _RATES)
        # Interfaces with many inputs (and ALSA's plugins, which claim 32) give their first.
        count = self.device.channels
        channels = (count,) if count <= 2 else (1, count)
        refused = ""
        for rate, width, dtype in ((r, c, d) for r in rates for d in _SCALE for c in channels):
            stream = None
            try:
                with quiet_stderr():
                    stream = sound.RawInputStream(
                        samplerate=rate,
                        blocksize=round(rate * BLOCK_S),
                        device=self.device.index,
                        channels=width,
                        dtype=dtype,
                        callback=self._callback,
                    )
                    stream.start()
                return stream, rate, width, dtype
            except (sound.PortAudioError, ValueError) as error:
                refused = refused or one_line(error)
                if stream is not None:
                    stream.close()
        raise NoMicrophone(
            f"the microphone '{self.device.name}' cannot be opened ({refused}): another program "
            "may be using it, or this one may not be allowed to"
        )

    def _callback(self, data: Any, frames: int, when: Any, status: Any) -> None:
        """Called by PortAudio's own thread, which must not wait: only copy the bytes away."""
        if status and status.input_overflow:
            self._missed += 1
        if self.inbox.qsize() >= _QUEUED:
            self._missed += 1
            return
        now = self._clock.now()
        self.inbox.put((now, bytes(data), self._missed))
        self._missed = 0
        self.last = now

    def decode(self, data: bytes) -> tuple[Sound, float, bool]:
        """16 kHz sound (what the resampler gives by now), seconds, whether all were zeros."""
        table = np.frombuffer(data, self._dtype).reshape(-1, self._channels)
        mono = table[:, 0] if self._channels > 2 else table.mean(axis=1, dtype=np.float32)
        block: Sound = np.nan_to_num(mono.astype(np.float32) * np.float32(_SCALE[self._dtype]))
        if self._resampler is not None:
            block = self._resampler.resample_chunk(block)
        block = np.clip(block, -1.0, 1.0)
        return block, len(table) / self.rate, not table.any()

    def rest(self) -> Sound:
        """What the resampler still holds; nothing can be decoded afterwards."""
        if self._resampler is None:
            return np.zeros(0, np.float32)
        tail = self._resampler.resample_chunk(np.zeros(0, np.float32), last=True)
        return np.asarray(np.clip(tail, -1.0, 1.0), np.float32)

    def close(self) -> None:
        """End the stream; what is in `inbox` stays."""
        # Old versions of PortAudio hang when a running stream is closed.
        self._stream.abort()
        self._stream.close()
