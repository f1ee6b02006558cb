"""Cutting a recording into clips of speech at its pauses."""

import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import soundfile
from numpy.typing import NDArray

from handsfree.audio.activity import Activity, activity
from handsfree.audio.denoise import FRAME, FRAME_S
from handsfree.engines.base import SAMPLE_RATE, Clip, Sound

_WINDOW = np.hanning(FRAME)
_VOICE_BAND = slice(round(300 * FRAME_S), round(3400 * FRAME_S) + 1)
"""Bins of a frame's spectrum (100 Hz apart) that telephony takes for a voice: 300-3400 Hz."""


@dataclass(frozen=True)
class CutSettings:
    """When speech begins and ends; times in seconds, probabilities 0..1, levels in dB.

    `end_pause_s` is longer than the pause at a comma (0.3-0.4 s), which must not split
    an utterance. A burst with less than `min_speech_s` of likely speech is dropped once
    `blip_pause_s` of quiet follow or it has gone on for `blip_longest_s`. Without a
    denoiser the levels are not looked at.
    """

    start_probability: float = 0.5
    stop_probability: float = 0.25
    end_pause_s: float = 0.65
    early_pause_s: float = 0.25
    """After this much quiet (and the padding) a clip can be heard on the chance that it ends."""
    blip_pause_s: float = 0.3
    blip_longest_s: float = 0.6
    pad_before_s: float = 0.35
    pad_after_s: float = 0.25
    min_speech_s: float = 0.15
    max_clip_s: float = 15.0
    min_level_db: float = -70.0
    """Likely frames that are quieter than this once denoised are leftovers of noise."""
    max_removed_db: float = 12.0
    """Where the denoiser took more than this out of the likely frames, there was no voice."""
    resume_gap_s: float = 0.25
    """After this much quiet, speech goes on only with a burst that is long and loud enough."""
    max_drop_db: float = 14.0
    """A burst that much below the voice so far is somebody or something else."""


@dataclass
class _Burst:
    """Likely speech after a gap, of which it is not yet known whether it goes on."""

    start: int
    last: int
    likely: int


class Cutter:
    """Cuts a stream into clips as it comes in. Memory is bounded by the longest clip.

    `early` is the clip that the next one will be if the pause goes on, as soon as
    `early_pause_s` has passed; it is None again once speech resumes or the clip is given.
    """

    # Holds the stretch that may still become a clip; frame numbers count from `_first`.

    def __init__(self, settings: CutSettings | None = None) -> None:
        self.early: Clip | None = None
        self._set = settings or CutSettings()
        self._raw: Sound = np.zeros(0, np.float32)
        self._clean: Sound | None = None
        self._speech: NDArray[np.float32] = np.zeros(0, np.float32)
        self._voice: NDArray[np.float32] = np.zeros(0, np.float32)
        self._first = 0
        self._next = 0
        self._start: int | None = None
        self._last_speech = 0
        self._likely = 0
        self._joined = False
        self._burst: _Burst | None = None

    @property
    def speaking(self) -> bool:
        """Whether speech has begun and no pause has followed it yet."""
        quiet = (self._next - self._last_speech) * FRAME_S
        return self._start is not None and quiet < self._set.early_pause_s

    @property
    def idle(self) -> bool:
        """Whether nothing that may be speech has begun."""
        return self._start is None

    @property
    def voice_s(self) -> float:
        """Seconds of likely speech so far in what is being said, 0 while nothing is."""
        return self._likely * FRAME_S if self.speaking else 0.0

    @property
    def done_before_s(self) -> float:
        """All sound before this time (s) is in clips that were given, or in none."""
        return (self._first + self._needed) * FRAME_S

    @property
    def _needed(self) -> int:
        needed = self._next if self._start is None else self._start
        return max(0, needed - _frames(self._set.pad_before_s))

    def feed(self, part: Activity) -> Iterator[Clip]:
        """Take the next stretch and give the clips that end in it."""
        self._raw = np.concatenate([self._raw, part.raw])
        if part.clean is not None:
            before = self._clean if self._clean is not None else np.zeros(0, np.float32)
            self._clean = np.concatenate([before, part.clean])
        self._speech = np.concatenate([self._speech, part.speech])
        voice = np.zeros(len(part.speech), np.float32) if part.voice is None else part.voice
        self._voice = np.concatenate([self._voice, voice])
        while self._next < len(self._speech):
            clip = self._step(self._next)
            self._next += 1
            if clip is not None:
                yield clip
        self._forget()

    def finish(self) -> Iterator[Clip]:
        """Give the clip that the end of the recording cuts off, if there is one."""
        clip = self._close() if self._start is not None else None
        if clip is not None:
            yield clip

    def _step(self, frame: int) -> Clip | None:
        probability = self._speech[frame]
        if self._start is None:
            if probability >= self._set.start_probability:
                self._start, self._last_speech, self._likely = frame, frame, 1
            return None
        likely = bool(probability >= self._set.start_probability)
        if probability >= self._set.stop_probability:
            if self._goes_on(frame, likely):
                self._last_speech, self.early = frame, None
                self._likely += likely
        elif self._burst and (frame - self._burst.last) * FRAME_S >= self._set.blip_pause_s:
            self._burst = None
        quiet_s = (frame - self._last_speech) * FRAME_S
        is_blip = self._likely * FRAME_S < self._set.min_speech_s
        if is_blip and (frame - self._start) * FRAME_S >= self._set.blip_longest_s:
            # Doubtful noise before a word must not be taken for its beginning; what the
            # word itself loses by starting again is in the padding.
            self._start, self._joined, self._burst = None, False, None
            return None
        if self.early is None and not is_blip and frame == self._early_frame:
            self.early = self._whole()
        if quiet_s >= (self._set.blip_pause_s if is_blip else self._set.end_pause_s):
            return self._close()
        if (frame - self._start) * FRAME_S >= self._set.max_clip_s - self._set.pad_before_s:
            return self._split(frame)
        return None

    @property
    def _early_frame(self) -> int:
        return self._last_speech + _frames(self._set.early_pause_s)

    def _goes_on(self, frame: int, likely: bool) -> bool:
        """Whether this frame belongs to the speech before it.

        The blow of a hammer or a voice in the background must not bridge a pause.
        """
        burst = self._burst
        if burst is None:
            if (frame - self._last_speech) * FRAME_S <= self._set.resume_gap_s:
                return True
            burst = self._burst = _Burst(frame, frame, 0)
        burst.last = frame
        burst.likely += likely
        if burst.likely * FRAME_S < self._set.min_speech_s or not self._as_loud(burst):
            return False
        self._likely += burst.likely - likely
        self._burst = None
        return True

    def _as_loud(self, burst: _Burst) -> bool:
        assert self._start is not None
        if self._clean is None:
            return True
        before = _power(self._clean, self._start, self._last_speech + 1)
        after = _power(self._clean, burst.start, burst.last + 1)
        drop = 10 * np.log10((before.mean() + 1e-12) / (after.mean() + 1e-12))
        return bool(drop <= self._set.max_drop_db)

    def _whole(self) -> Clip | None:
        """The clip that ends with the speech so far, None where it is no voice."""
        assert self._start is not None
        start = self._start - (0 if self._joined else _frames(self._set.pad_before_s))
        end = self._last_speech + 1 + _frames(self._set.pad_after_s)
        if self._burst is not None:
            end = min(end, self._burst.start)
        enough = self._likely * FRAME_S >= self._set.min_speech_s
        if not (enough and self._is_voice(self._start, self._last_speech + 1)):
            return None
        return self._clip(max(start, 0), end, self._joined)

    def _close(self) -> Clip | None:
        clip, self.early = self._whole(), None
        self._start, self._joined = None, False
        if self._burst is not None:
            burst, self._burst = self._burst, None
            self._start, self._last_speech, self._likely = burst.start, burst.last, burst.likely
        return clip

    def _split(self, frame: int) -> Clip | None:
        """Cut a clip that grew too long at its quietest fifth of a second."""
        assert self._start is not None
        half = self._start + (frame - self._start) // 2
        sound = self._clean if self._clean is not None else self._raw
        window = _frames(0.2)
        power = _power(sound, half, frame + 1)
        smooth = np.convolve(power, np.ones(window), "valid")
        cut = half + int(smooth.argmin()) + window // 2
        start = self._start - (0 if self._joined else _frames(self._set.pad_before_s))
        keep, goes_on = self._is_voice(self._start, cut), self._joined
        self._start, self._joined = cut, True
        self._burst = self.early = None
        self._likely = int((self._speech[cut : frame + 1] >= self._set.start_probability).sum())
        return self._clip(max(start, 0), cut, goes_on) if keep else None

    def _is_voice(self, start: int, end: int) -> bool:
        """Whether it is a voice: another detector says so, or what the denoiser left of the
        likely frames is no remnant."""
        vouched = int((self._voice[start:end] >= self._set.start_probability).sum())
        if self._clean is None or vouched * FRAME_S >= self._set.min_speech_s:
            return True
        likely = self._speech[start:end] >= self._set.start_probability
        raw = _power(self._raw, start, end)
        clean = _power(self._clean, start, end)
        likely = likely[: len(clean)]
        if not likely.any():
            return False
        level = 10 * np.log10(clean[likely].mean() + 1e-12)
        removed = 10 * np.log10(raw[likely].mean() + 1e-12) - level
        return bool(level >= self._set.min_level_db and removed <= self._set.max_removed_db)

    def _clip(self, start: int, end: int, goes_on: bool) -> Clip:
        # Copies, so that a clip kept for the review doesn't hold on to the whole buffer.
        piece = slice(start * FRAME, end * FRAME)
        raw = self._raw[piece].copy()
        clean = None if self._clean is None else self._clean[piece].copy()
        start_s = (self._first + start) * FRAME_S
        return Clip(raw, clean, start_s, start_s + len(raw) / SAMPLE_RATE, goes_on)

    def _forget(self) -> None:
        drop = self._needed
        if drop == 0:
            return
        self._raw = self._raw[drop * FRAME :]
        if self._clean is not None:
            self._clean = self._clean[drop * FRAME :]
        self._speech = self._speech[drop:]
        self._voice = self._voice[drop:]
        self._first += drop
        self._next -= drop
        self._last_speech -= drop
        if self._start is not None:
            self._start -= drop
        if self._burst is not None:
            self._burst.start -= drop
            self._burst.last -= drop


def cut(blocks: Iterable[Sound], settings: CutSettings | None = None) -> Iterator[Clip]:
    """Cut a stream of 16 kHz blocks into clips of speech, in order, in bounded memory.

    A clip is given as soon as the pause after it is long enough (or the stream ends).
    Raises EngineError where no voice-activity detector is installed.
    """
    cutter = Cutter(settings)
    for part in activity(blocks):
        yield from cutter.feed(part)
    yield from cutter.finish()


def as_one_clip(blocks: Iterable[Sound]) -> Clip:
    """A whole short recording as one clip: denoised where that is installed, but not cut."""
    parts = list(activity(blocks))
    raw = np.concatenate([part.raw for part in parts])
    clean = [part.clean for part in parts if part.clean is not None]
    return Clip(raw, np.concatenate(clean) if clean else None, 0.0, len(raw) / SAMPLE_RATE)


def to_flac(sound: Sound) -> bytes:
    """Encode 16 kHz sound as a 16-bit FLAC file."""
    file = io.BytesIO()
    soundfile.write(file, sound, SAMPLE_RATE, format="FLAC", subtype="PCM_16")
    return file.getvalue()


def from_flac(data: bytes) -> Sound:
    """Decode what `to_flac` made."""
    sound, _ = soundfile.read(io.BytesIO(data), dtype="float32")
    return np.asarray(sound, np.float32)


def _frames(seconds: float) -> int:
    return round(seconds / FRAME_S)


def _power(sound: Sound, start: int, end: int) -> NDArray[np.float64]:
    """Mean square, within the voice band, of each whole frame from `start` up to `end`.

    Wind and hum below the band and the hiss of a rasp above it may be far louder than a
    voice; they are no evidence against one. By Parseval's theorem on a Hann-windowed frame.
    """
    piece = sound[start * FRAME : end * FRAME]
    whole = len(piece) // FRAME
    frames = piece[: whole * FRAME].reshape(whole, FRAME).astype(np.float64) * _WINDOW
    spectrum = np.abs(np.fft.rfft(frames, axis=1)[:, _VOICE_BAND]) ** 2
    return np.asarray(2.0 * spectrum.sum(axis=1) / (FRAME * (_WINDOW**2).sum()))
