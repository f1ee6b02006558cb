"""Where answers go: a loudspeaker, a tape for tests and replays, or nowhere."""

from typing import Protocol

import numpy as np

from handsfree.answers.playlist import FADE_S, Backlog, Playlist, make_piece, playable
from handsfree.answers.speaker import Speaker
from handsfree.answers.tones import ANSWER_RATE
from handsfree.engines.base import Sound

__all__ = ["Output", "Silent", "Speaker", "Tape"]


class Output(Protocol):
    """Plays answers one after the other and tells what went out."""

    def play(self, sound: Sound) -> None:
        """Queue a sound, shape (n,), at ANSWER_RATE. Returns at once and never raises."""
        ...

    def stop(self) -> None:
        """Drop what is queued; what is playing fades within a few ms."""
        ...

    @property
    def playing(self) -> bool:
        """Whether a sound is playing or queued."""
        ...

    def reference(self, samples: int) -> Sound:
        """Exactly `samples` at 16 kHz of what went out since the last call, oldest first.

        Zeros where nothing was playing and where too little went out; of what is not asked
        for, the last 0.5 s are kept. For an echo canceller, called by one thread in step
        with the microphone.
        """
        ...

    def trouble(self) -> str | None:
        """One line, once, when the device fails or is there again; else None."""
        ...

    def close(self) -> None:
        """Stop at once and let go of the device; safe to call twice."""
        ...


class Silent:
    """Plays nothing."""

    playing = False

    def play(self, sound: Sound) -> None:
        """Drop the sound."""

    def stop(self) -> None:
        """Nothing to stop."""

    def reference(self, samples: int) -> Sound:
        """Zeros (see Output)."""
        return np.zeros(max(0, samples), np.float32)

    def trouble(self) -> str | None:
        """There is none."""
        return None

    def close(self) -> None:
        """Nothing to close."""


class Tape:
    """Writes down what it would have played, on a clock that only `advance` moves.

    `played` lists (start in s on that clock, the sound as it was given) in order; a later
    sound waits for the earlier. A sound dropped by `stop` before its start is taken off the
    list again. `stops` are the times at which `stop` cut something. One thread only.
    """

    def __init__(self) -> None:
        self.played: list[tuple[float, Sound]] = []
        self.stops: list[float] = []
        self._now_s = 0.0
        self._free_s = 0.0
        self._given = 0
        self._playlist = Playlist(ANSWER_RATE)
        self._backlog = Backlog()
        self._fresh: list[Sound] = []

    @property
    def now_s(self) -> float:
        """Seconds that have gone by."""
        return self._now_s

    def advance(self, seconds: float) -> None:
        """Let time go by. Raises ValueError for a negative time."""
        if seconds < 0:
            raise ValueError(f"time cannot go back by {-seconds} s")
        self._now_s += seconds
        # Counted from the start, so that many short steps do not lose parts of a sample.
        left = round(self._now_s * ANSWER_RATE) - self._playlist.frames
        while left > 0:
            block = np.empty((min(left, ANSWER_RATE), 1), np.float32)
            self._playlist.render(block)
            left -= len(block)

    def play(self, sound: Sound) -> None:
        """Queue a sound (see Output)."""
        clean = playable(sound)
        start_s = max(self._now_s, self._free_s)
        self.played.append((start_s, sound))
        self._free_s = start_s + len(clean) / ANSWER_RATE
        self._playlist.add(make_piece(self._given, clean, ANSWER_RATE))
        self._given += 1

    def stop(self) -> None:
        """Drop what is queued and playing (see Output)."""
        if not self.playing:
            return
        self.stops.append(self._now_s)
        while self.played and self.played[-1][0] > self._now_s:
            self.played.pop()
        self._free_s = min(self._free_s, self._now_s + FADE_S)
        self._playlist.keep_from = self._given

    @property
    def playing(self) -> bool:
        """Whether a sound is playing or queued (see Output)."""
        return max(self._playlist.done + 1, self._playlist.keep_from) < self._given

    def reference(self, samples: int) -> Sound:
        """What went out (see Output)."""
        return self._backlog.take(self._playlist.drain(), samples)

    def trouble(self) -> str | None:
        """A tape never fails."""
        return None

    def close(self) -> None:
        """Stop."""
        self.stop()
