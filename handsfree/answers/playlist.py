"""Sounds in a row, taken out in blocks, and at the same time what an echo canceller needs.

`render` may run in a sound card's callback: it takes no lock and waits for nothing. What is
shared with it are a deque (appending and popping are atomic in CPython) and single numbers
that only one side writes.
"""

import threading
from collections import deque
from dataclasses import dataclass

import numpy as np
import soxr
from numpy.typing import NDArray

from handsfree.answers.tones import ANSWER_RATE
from handsfree.engines.base import SAMPLE_RATE, Sound

FADE_S = 0.006
"""How long a sound that is stopped takes to fade, s (common practice: under 3 ms clicks)."""

KEPT_S = 0.5
"""The most that is kept for an echo canceller that does not ask, s."""

_RUNS_KEPT = 1024
"""Runs of output remembered until they are asked for: KEPT_S of blocks of half a ms."""


@dataclass(frozen=True)
class Piece:
    """A sound at the rate of the device, and the same at 16 kHz. `number` gives its turn."""

    number: int
    sound: Sound
    echo: Sound


@dataclass(frozen=True)
class _Run:
    """Frames `start` to `end` of all that went out: silence, or part of a piece that began
    at frame `began`."""

    start: int
    end: int
    began: int
    echo: Sound | None


def make_piece(number: int, sound: Sound, rate: int) -> Piece:
    """Resample an answer (shape (n,), ANSWER_RATE) to the device's rate and to 16 kHz."""
    return Piece(number, _resampled(sound, rate), _resampled(sound, SAMPLE_RATE))


def _resampled(sound: Sound, rate: int) -> Sound:
    if rate == ANSWER_RATE or not len(sound):
        return sound
    return np.asarray(soxr.resample(sound, ANSWER_RATE, rate), np.float32)


def playable(sound: Sound) -> Sound:
    """A copy that nobody changes any more: float32, shape (n,), finite, within −1..1.

    Raises nothing: several channels are laid end to end, what is no number becomes 0.
    """
    flat = np.array(sound, np.float32).ravel()
    return np.asarray(np.clip(np.nan_to_num(flat, nan=0.0), -1.0, 1.0), np.float32)


class Playlist:
    """Plays pieces one after the other at `rate` Hz; silence where there is none.

    One thread adds, one renders, one drains.
    """

    def __init__(self, rate: int) -> None:
        self.rate = rate
        self.frames = 0
        self.done = -1
        """Number of the last piece that is over (played or dropped)."""
        self.keep_from = 0
        """Pieces with a smaller number are stopped; set it to stop what is playing."""
        self.last_added = -1
        """Number of the last piece that was put in."""
        self._pieces: deque[Piece] = deque()
        self._runs: deque[_Run] = deque(maxlen=_RUNS_KEPT)
        self._now: Piece | None = None
        self._at = 0
        self._fading = False
        fade = max(1, round(FADE_S * rate))
        self._fade = np.linspace(1, 0, fade, dtype=np.float32)
        self._echo_fade = np.linspace(1, 0, round(FADE_S * SAMPLE_RATE), dtype=np.float32)

    def add(self, piece: Piece) -> None:
        """Put a piece at the end."""
        self._pieces.append(piece)
        self.last_added = piece.number

    def render(self, out: NDArray[np.float32]) -> None:
        """Fill `out`, shape (n, channels), every channel the same, with what comes next."""
        filled, wanted = 0, len(out)
        while filled < wanted:
            piece = self._current()
            if piece is None:
                out[filled:] = 0
                self._remember(wanted - filled, None)
                return
            count = min(wanted - filled, len(piece.sound) - self._at)
            out[filled : filled + count] = piece.sound[self._at : self._at + count, None]
            self._remember(count, piece.echo)
            self._at += count
            filled += count
            if self._at >= len(piece.sound):
                self.done = piece.number

    def _current(self) -> Piece | None:
        piece = self._now
        if piece is not None and piece.number < self.keep_from and not self._fading:
            piece = self._now = self._faded(piece)
        while piece is None or self._at >= len(piece.sound):
            if piece is not None:
                self.done = piece.number
            try:
                piece = self._pieces.popleft()
            except IndexError:
                self._now = None
                return None
            self._now, self._at, self._fading = piece, 0, False
            if piece.number < self.keep_from:
                self._at = len(piece.sound)
        return piece

    def _faded(self, piece: Piece) -> Piece:
        """The next few ms of a piece, dying away."""
        sound = piece.sound[self._at : self._at + len(self._fade)]
        # Counted from the frame at which the 16 kHz twin is now (see drain).
        began = self.frames - self._at
        echo_at = _at_16k(self.frames, self.rate) - _at_16k(began, self.rate)
        echo = piece.echo[echo_at : echo_at + len(self._echo_fade)]
        self._at, self._fading = 0, True
        return Piece(
            piece.number, sound * self._fade[: len(sound)], echo * self._echo_fade[: len(echo)]
        )

    def _remember(self, count: int, echo: Sound | None) -> None:
        start = self.frames
        self.frames = start + count
        self._runs.append(_Run(start, start + count, start - self._at, echo))

    def drain(self) -> Sound:
        """All that went out since the last call, at 16 kHz, shape (n,).

        Sample i of the whole belongs to second i / 16 000 after the first frame, so nothing
        drifts however the blocks are cut. Of more than KEPT_S the oldest is missing.
        """
        runs = []
        while self._runs:
            runs.append(self._runs.popleft())
        parts: list[Sound] = []
        for run in runs:
            start, end = _at_16k(run.start, self.rate), _at_16k(run.end, self.rate)
            part = np.zeros(end - start, np.float32)
            if run.echo is not None:
                at = start - _at_16k(run.began, self.rate)
                taken = run.echo[at : at + len(part)]
                part[: len(taken)] = taken
            parts.append(part)
        return np.concatenate(parts) if parts else np.zeros(0, np.float32)


def _at_16k(frame: int, rate: int) -> int:
    """The first 16 kHz sample at or after a frame."""
    return -(-frame * SAMPLE_RATE // rate)


class Backlog:
    """What went out and has not been asked for yet, at 16 kHz."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._waiting: Sound = np.zeros(0, np.float32)
        self._needless = 0
        self._asked = 0

    def take(self, fresh: Sound, samples: int) -> Sound:
        """Add `fresh`, then give exactly `samples`, the oldest first; zeros where they lack.

        Of what is not asked for, the last KEPT_S are kept. Leading silence that was left over
        each time during a second is dropped: a delay that grew once (two sound cards run
        each at its own pace) would let the echo arrive before its reference.
        """
        samples = max(0, samples)
        with self._lock:
            waiting = np.concatenate([self._waiting, fresh])
            most = max(samples, round(KEPT_S * SAMPLE_RATE))
            waiting = waiting[max(0, len(waiting) - most) :]
            out = np.zeros(samples, np.float32)
            out[: min(samples, len(waiting))] = waiting[:samples]
            waiting = waiting[samples:]
            self._needless = min(self._needless, len(waiting)) if self._asked else len(waiting)
            self._asked += samples
            if self._asked >= SAMPLE_RATE:
                spare = waiting[: self._needless]
                sounding = np.flatnonzero(spare)
                waiting = waiting[int(sounding[0]) if len(sounding) else len(spare) :]
                self._asked = 0
            self._waiting = waiting
            return out
