"""Keeping the program's own answers out of what the microphone hears.

Two means. An echo canceller (WebRTC's AEC3, in the package `pywebrtc-audio`) takes what was
played out of the sound, so that the farrier may speak over an answer. And `own_share` tells
how much of a stretch was the answer, by a least-squares fit that needs neither time to adapt
nor that library: it is right from the first answer on.
"""

from itertools import pairwise
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from handsfree.audio.own_voice import FLOOR, LEAD, SILENT, own_share
from handsfree.engines.base import SAMPLE_RATE, Sound
from handsfree.errors import EngineError

FRAME = SAMPLE_RATE // 100
"""Samples the canceller takes at a time (10 ms, given by WebRTC)."""

TAIL_S = 0.6
"""An answer may still be heard this long after it was played: 0.3 s of buffers and drivers
and 0.3 s of room (common practice, no source)."""

CANCELLER_DELAY = 128
"""Samples AEC3's output lags behind its input at 16 kHz (two of its blocks; a test holds it)."""

LATENCY = CANCELLER_DELAY + FRAME - 1
"""Samples (18 ms) a guard with a canceller holds back until `flush`."""

HISTORY_S = 60.0
"""How far back `own_share` can look."""

OWN_SHARE_LIMIT = 0.75
"""From here on a clip is the program's own voice and must make no record.

Measured with spoken answers through a small clipping loudspeaker and made rooms, echo 6 to 30 dB
below what was played, noise down to 5 dB below the echo, clocks 50 in a million apart: answers
alone 0.83 or more; phrases over them that are 4 dB louder than the echo or more 0.71 or less.
Of those as loud as the echo a fifth (8 of 37) is above.
"""

MOSTLY_HIS_DB = 10.0
"""Where the canceller takes less than this out, the farrier speaks and the microphone is
believed as it is: AEC3 mutes parts of his words, and the recognizers bear an echo better.
Of 14 phrases over answers whose echo was 12 dB below what was played, 9 were heard right in
the canceller's own sound, 12 with (3, 9) dB here, 13 with (6, 12) and 14 with (10, 20)."""
MOSTLY_OURS_DB = 20.0
"""From here on only the canceller's sound is given; between the two they are mixed."""

LOOK_EVERY = 25
"""Frames (a quarter of a second) between two looks for an echo."""
LOOK_BACK_S = 1.0
ECHO_SHARE = 0.5
"""With this much of the last second the program's own voice, answers are heard by the
microphone. Speech over answers that it does not hear reached 0.3 (own_share fits a little of
anything)."""
ECHO_LASTS_S = 60.0
"""How long that is believed once it was found (no source)."""

_FORGET = 0.6
"""Part of a frame's energies that goes over to the next: a time constant of 20 ms."""
_WINDOW = np.hanning(FRAME)
_WARM_UP = 20 * FRAME
"""Sound before an answer that the canceller hears first, so that its high-pass settles."""


class Canceller(Protocol):
    """What `pywebrtc_audio.EchoCanceller` offers."""

    def process(self, near: Sound, far: Sound) -> Sound:
        """Take whole frames; give `near` without `far`, as long, CANCELLER_DELAY late."""
        ...


def available() -> str | None:
    """None when the echo canceller can be used, else the reason in one line."""
    try:
        _load()
    except EngineError as error:
        return str(error)
    return None


def _load() -> Canceller:
    try:
        from pywebrtc_audio import EchoCanceller
    except ImportError as error:
        raise EngineError(
            f"no echo canceller ({error}): install it with `pip install pywebrtc-audio`"
        ) from error
    # The delay is left at 0: the canceller finds it itself. Noise suppression and gain
    # control aren't in it; its high-pass, far below a voice, cannot be switched off.
    canceller: Canceller = EchoCanceller(SAMPLE_RATE, 1, 0)
    return canceller


class EchoGuard:
    """One live stream: the microphone's sound without what was played at the same time.

    While nothing has been played for TAIL_S the sound passes bit by bit as it is. While
    something plays, it is a mix of that and of what the canceller leaves, see MOSTLY_HIS_DB;
    changes are faded over a frame (10 ms). Without the library, or with `cancel=False`, the
    sound always passes as it is; `why_not` then says why in one line, and only `own_share`
    tells whose voice it was.

    Memory is bounded: up to twice HISTORY_S of both sounds (15 MB). Not for several threads
    at once; a caller that asks for shares from another thread must lock.
    """

    def __init__(self, cancel: bool = True) -> None:
        self.why_not: str | None = None if cancel else "switched off"
        self._canceller: Canceller | None = None
        if cancel:
            try:
                self._canceller = _load()
            except EngineError as error:
                self.why_not = str(error)
        self.latency = LATENCY if self._canceller else 0
        """Samples that `feed` holds back."""
        self._mic = _History(HISTORY_S)
        self._played = _History(HISTORY_S)
        self._ready: Sound = np.zeros(0, np.float32)
        self._done = self._given = 0
        self._last_played = -(1 << 60)
        self._was_active = False
        self._weight = 0.0
        self._echo_until = 0
        self._energies = np.zeros(2)

    def feed(self, mic: Sound, reference: Sound) -> Sound:
        """Take a block of finite 16 kHz sound and what was played during it (same length, any).

        The blocks given, one after the other, are the microphone's sound: sample n out is
        sample n in. Only the newest `latency` samples are held back, so the first block is
        that much shorter than what was fed (or empty) and later ones are as long.
        Raises ValueError where the two lengths differ.
        """
        if mic.shape != reference.shape or mic.ndim != 1:
            raise ValueError(f"microphone {mic.shape} and reference {reference.shape} differ")
        mic = np.ascontiguousarray(mic, np.float32)
        self._mic.add(mic)
        self._played.add(np.asarray(reference, np.float32))
        if self._canceller is None:
            return mic
        self._advance()
        return self._take(self._mic.count - LATENCY)

    def flush(self) -> Sound:
        """End the stream and give the samples still held back. Nothing can be fed afterwards."""
        count = self._mic.count
        if self._canceller is not None:
            for history in (self._mic, self._played):
                history.add(np.zeros(LATENCY, np.float32))
            self._advance()
        return self._take(count)

    def own_share(self, start_s: float, end_s: float) -> float:
        """How much of a stretch was the program's own voice, 0..1.

        That is the part of the microphone's energy between 300 and 3400 Hz, less the steady
        noise, which a filter of 128 ms, fitted by least squares every two seconds, makes of
        what was played up to 0.3 s before. It is taken of the sound as it came in, not of what
        `feed` gave. Times are seconds since the first sample fed. 0 where nothing was played,
        and where the stretch is older than HISTORY_S: then it must be taken for the farrier's.
        Takes 0.03 s of CPU for a clip of 3 s where something was played, else nothing.
        """
        start, end = round(start_s * SAMPLE_RATE), round(end_s * SAMPLE_RATE)
        start, end = max(start, self._mic.oldest), min(end, self._mic.count)
        if end - start < FRAME or not _loud(played := self._played.get(start - LEAD, end)).any():
            return 0.0
        around = self._mic.get(min(start, end - FLOOR), end)
        return own_share(self._mic.get(start, end), played, around)

    def _advance(self) -> None:
        """Run every whole frame there is, neighbours of a kind in one go."""
        first, end = self._done, self._mic.count // FRAME * FRAME
        if end == first:
            return
        loud = _loud(self._played.get(first, end)).reshape(-1, FRAME)
        played = np.asarray(loud.any(axis=1), np.bool_)
        at = first + FRAME * np.arange(len(played))
        last = np.maximum.accumulate(np.where(played, at + FRAME, self._last_played))
        active: NDArray[np.bool_] = at - last < TAIL_S * SAMPLE_RATE
        before = np.concatenate([np.array([self._was_active]), active[:-1]])
        self._last_played, self._was_active = int(last[-1]), bool(active[-1])
        runs: NDArray[np.bool_] = np.logical_or(active, before)
        # Cut on a grid of the stream too, so that the length of the blocks changes nothing.
        on_grid = np.flatnonzero((at // FRAME) % LOOK_EVERY == 0)
        changes = np.flatnonzero(np.diff(runs)) + 1
        edges = sorted({0, *changes.tolist(), *on_grid.tolist(), len(played)})
        parts = [self._ready]
        for left, right in pairwise(edges):
            start, stop = first + left * FRAME, first + right * FRAME
            raw = self._mic.get(start - CANCELLER_DELAY, stop - CANCELLER_DELAY)
            if active[left] and (start // FRAME) % LOOK_EVERY == 0:
                self._look_for_echo(start)
            if runs[left]:
                # It was asleep unless the frame before was active too.
                clean = self._cancelled(start, stop, warm_up=not before[left])
                echo = active[left:right] & (start < self._echo_until)
                raw = raw + self._weights(raw, clean, echo) * (clean - raw)
            parts.append(raw)
        self._ready, self._done = np.concatenate(parts), end

    def _look_for_echo(self, until: int) -> None:
        """Find out, a few times a second while something plays, whether it is heard at all.

        With an earpiece it is not; the canceller, which cannot know that, would mute what is
        said during an answer.
        """
        until_s = until / SAMPLE_RATE
        if self.own_share(until_s - LOOK_BACK_S, until_s) >= ECHO_SHARE:
            self._echo_until = until + round(ECHO_LASTS_S * SAMPLE_RATE)

    def _cancelled(self, start: int, stop: int, warm_up: bool) -> Sound:
        assert self._canceller is not None
        if warm_up:
            quiet = np.zeros(_WARM_UP, np.float32)
            self._canceller.process(self._mic.get(start - _WARM_UP, start), quiet)
        return self._canceller.process(self._mic.get(start, stop), self._played.get(start, stop))

    def _weights(self, raw: Sound, clean: Sound, echo: NDArray[np.bool_]) -> Sound:
        """How much of the cancelled sound each sample gets, in lines from frame to frame."""
        goals = np.zeros(len(echo) + 1, np.float32)
        goals[0] = self._weight
        for frame, energies in enumerate(np.stack([_in_band(raw), _in_band(clean)], axis=1)):
            self._energies = _FORGET * self._energies + (1 - _FORGET) * energies
            heard, left = self._energies + 1e-12
            above = (10 * np.log10(heard / left) - MOSTLY_HIS_DB) / (MOSTLY_OURS_DB - MOSTLY_HIS_DB)
            goals[frame + 1] = np.clip(above, 0, 1) if echo[frame] else 0.0
        self._weight = float(goals[-1])
        ramp = np.arange(1, FRAME + 1, dtype=np.float32) / FRAME
        return (goals[:-1, None] + np.diff(goals)[:, None] * ramp).astype(np.float32).ravel()

    def _take(self, until: int) -> Sound:
        """Give what is ready up to sample `until` of the stream."""
        # The first CANCELLER_DELAY samples made ready are older than the stream.
        start = self._done - CANCELLER_DELAY - len(self._ready)
        taken = self._ready[self._given - start : max(until, self._given) - start]
        self._ready = self._ready[self._given - start + len(taken) :]
        self._given += len(taken)
        return taken


class _History:
    """The last seconds of a stream, addressed by sample number since its start."""

    def __init__(self, seconds: float) -> None:
        self._keep = round(seconds * SAMPLE_RATE)
        self._sound: Sound = np.zeros(2 * self._keep, np.float32)
        self._filled = 0
        self.count = 0

    @property
    def oldest(self) -> int:
        """The first sample still held."""
        return self.count - self._filled

    def add(self, sound: Sound) -> None:
        """Append; when the buffer is full its newer half moves to the front."""
        self.count += len(sound)
        sound = sound[-self._keep :]
        if self._filled + len(sound) > len(self._sound):
            self._sound[: self._keep] = self._sound[self._filled - self._keep : self._filled]
            self._filled = self._keep
        self._sound[self._filled : self._filled + len(sound)] = sound
        self._filled += len(sound)

    def get(self, start: int, end: int) -> Sound:
        """A copy of samples `start` up to `end`; zeros before what is held."""
        held = self._sound[max(start - self.oldest, 0) : max(end - self.oldest, 0)]
        return np.concatenate([np.zeros(end - start - len(held), np.float32), held])


def _loud(played: Sound) -> NDArray[np.bool_]:
    return np.abs(played) > SILENT


def _in_band(sound: Sound) -> NDArray[np.float64]:
    """Energy of each frame between 300 and 3400 Hz (the bins are 100 Hz apart)."""
    spectrum = np.fft.rfft(sound.reshape(-1, FRAME) * _WINDOW, axis=1)[:, 3:35]
    return np.asarray((np.abs(spectrum) ** 2).sum(axis=1), np.float64)
