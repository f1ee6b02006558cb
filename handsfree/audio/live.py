"""Sound as it comes in, block by block: what a microphone, a replayed file and a test share."""

import math
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np

from handsfree.audio.sources import SoundReader
from handsfree.engines.base import SAMPLE_RATE, Sound

BLOCK_S = 0.03
"""Length of a block, s: short enough to answer without a noticeable delay."""
BLOCK = round(BLOCK_S * SAMPLE_RATE)
IDLE_S = 0.3
"""Longest time that a read waits for sound, s."""


@dataclass(frozen=True)
class Trouble:
    """Something the user should know about the sound; `line` is what to tell him.

    `kind` is one of overflow (some sound was lost), gone (the microphone), back (it is there
    again), zeros (it gives exact silence), ended-early (a damaged file).
    `gap_s` is the time in seconds of which no sound was or will be delivered: who counts time
    by samples must add it.
    """

    kind: str
    line: str
    gap_s: float = 0.0


class Source(Protocol):
    """Where live sound comes from. `live` is true where real time passes while it is read."""

    name: str
    live: bool

    def read(self) -> Sound | Trouble | None:
        """The next block (about BLOCK_S; 16 kHz mono), a Trouble, or None at the end.

        An empty block where nothing came within IDLE_S, so that the reader's own clock
        can go on.
        """
        ...

    def close(self) -> None:
        """Let go of the device or files; safe to call twice. Reading then gives None."""
        ...


class Replay:
    """Recordings as if they were spoken now, one after the other without a pause between.

    `speed` is how much faster than in life: 1 is real time, 0 as fast as they are read
    (then it is not `live`). The first `from_s` seconds are passed over. `name` is the file
    being read; `damaged` is true once one has ended with a warning. Raises UnreadableSound at
    once where one of the files cannot be read, ValueError for an impossible speed.
    """

    def __init__(
        self,
        files: Iterable[str | Path],
        speed: float = 1.0,
        now: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
        from_s: float = 0.0,
    ) -> None:
        if not 0 <= speed < math.inf:
            raise ValueError(f"a recording cannot be replayed {speed} times as fast")
        self.live = speed > 0
        self._speed, self._now, self._sleep = speed, now, sleep
        self._readers: list[SoundReader] = []
        self._closed = False
        self._skip = round(from_s * SAMPLE_RATE)
        self.damaged = False
        try:
            for file in files:
                self._readers.append(SoundReader(file))
            if not self._readers:
                raise ValueError("there is no file to replay")
            # The first block is decoded now: damage at the start must show at opening.
            first = [_First(reader) for reader in self._readers]
        except BaseException:
            self.close()
            raise
        self.name = self._readers[0].name
        self._parts = self._play(first)
        self._waiting: Sound | Trouble | None = None
        self._started: float | None = None
        self._given_s = 0.0

    def read(self) -> Sound | Trouble | None:
        """The next block once its time has come (see Source)."""
        if self._closed:
            return None
        if self._waiting is None:
            self._waiting = next(self._parts, None)
        part = self._waiting
        if isinstance(part, np.ndarray) and self.live:
            if self._started is None:
                self._started = self._now()
            # A block is there when its last sample has been spoken.
            due = self._started + (self._given_s + len(part) / SAMPLE_RATE) / self._speed
            wait = due - self._now()
            if wait > 0:
                self._sleep(min(wait, IDLE_S))
            if wait > IDLE_S:
                return np.zeros(0, np.float32)
        if isinstance(part, np.ndarray):
            self._given_s += len(part) / SAMPLE_RATE
        self._waiting = None
        return part

    def close(self) -> None:
        """Close the files; safe to call twice."""
        self._closed = True
        for reader in self._readers:
            reader.close()

    def _play(self, files: "list[_First]") -> Iterator[Sound | Trouble]:
        for file in files:
            self.name = file.reader.name
            yield from in_blocks(self._not_skipped(file))
            if file.reader.warning:
                self.damaged = True
                yield Trouble("ended-early", file.reader.warning)
            file.reader.close()

    def _not_skipped(self, sounds: Iterable[Sound]) -> Iterator[Sound]:
        for sound in sounds:
            skipped = min(self._skip, len(sound))
            self._skip -= skipped
            if skipped < len(sound):
                yield sound[skipped:]


class _First:
    """A reader's blocks, the first of which has been read already."""

    def __init__(self, reader: SoundReader) -> None:
        self.reader = reader
        self._blocks = iter(reader)
        self._first = next(self._blocks, None)

    def __iter__(self) -> Iterator[Sound]:
        if self._first is not None:
            yield self._first
            yield from self._blocks


class Scripted:
    """A source for tests that does as told: sound, troubles, pauses and failures in order.

    Of `steps`, sound is given in blocks of BLOCK_S, a number is a pause of so many seconds
    (empty blocks, one each IDLE_S), an exception is raised. `passes` is called with the
    seconds that each block or pause stands for, to move a test's clock.
    """

    def __init__(
        self,
        steps: Iterable[Sound | Trouble | float | Exception],
        name: str = "script",
        live: bool = True,
        passes: Callable[[float], None] = lambda seconds: None,
    ) -> None:
        self.name, self.live = name, live
        self.closed = False
        self._passes = passes
        self._parts = self._play(steps)

    def read(self) -> Sound | Trouble | None:
        """The next part of the script (see Source)."""
        if self.closed:
            return None
        part = next(self._parts, None)
        if isinstance(part, Exception):
            raise part
        return part

    def close(self) -> None:
        """Remember that it was closed."""
        self.closed = True

    def _play(
        self, steps: Iterable[Sound | Trouble | float | Exception]
    ) -> Iterator[Sound | Trouble | Exception]:
        for step in steps:
            if isinstance(step, Trouble | Exception):
                yield step
            elif isinstance(step, np.ndarray):
                for block in in_blocks([step]):
                    self._passes(len(block) / SAMPLE_RATE)
                    yield block
            else:
                left = float(step)
                while left > 1e-9:
                    self._passes(min(left, IDLE_S))
                    left -= IDLE_S
                    yield np.zeros(0, np.float32)


def in_blocks(sounds: Iterable[Sound]) -> Iterator[Sound]:
    """The same samples in blocks of BLOCK_S; only the last one may be shorter."""
    rest: Sound = np.zeros(0, np.float32)
    for sound in sounds:
        rest = np.concatenate([rest, sound]) if len(rest) else sound
        whole = len(rest) // BLOCK * BLOCK
        for start in range(0, whole, BLOCK):
            yield rest[start : start + BLOCK]
        rest = rest[whole:]
    if len(rest):
        yield rest
