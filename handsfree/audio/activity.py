"""How likely each 10 ms of a recording is speech, by the best detector installed."""

from collections.abc import Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from handsfree.audio import denoise, voicing
from handsfree.audio.denoise import FRAME, FRAME_S
from handsfree.engines.base import SAMPLE_RATE, Sound, pcm16
from handsfree.errors import EngineError

_STRICTEST = 3
"""WebRTC's detector has modes 0..3, from "calls much speech" to "calls little speech"."""


@dataclass(frozen=True)
class Activity:
    """A stretch of whole frames of 10 ms (FRAME samples each).

    `speech` holds one probability per frame, 0..1; `clean` is the denoised sound, aligned
    with `raw` and as long, or None without a denoiser. Only the last stretch of a
    recording may end inside a frame. `voice` is what the second detector alone makes of it,
    None where it is not installed.
    """

    raw: Sound
    clean: Sound | None
    speech: NDArray[np.float32]
    voice: NDArray[np.float32] | None = None


class Follower(Protocol):
    """One stream of sound, fed block by block as it comes in. Close it at the end."""

    def feed(self, block: Sound) -> Activity:
        """Take 16 kHz sound of any length; give what is complete by now (perhaps nothing)."""
        ...

    def finish(self) -> Activity:
        """End the stream; give the rest."""
        ...

    def close(self) -> None:
        """Free what is held; safe to call twice."""
        ...


def follower() -> Follower:
    """The best detector installed.

    RNNoise, else PocketSphinx's (WebRTC's), which gives 0 or 1 and no denoised sound.
    Raises EngineError where neither is installed.
    """
    return _Denoising() if denoise.available() is None else _WithoutDenoiser()


def activity(blocks: Iterable[Sound]) -> Iterator[Activity]:
    """Follow a stream of 16 kHz blocks of any length. Raises EngineError as `follower`."""
    with closing(follower()) as stream:
        for block in blocks:
            part = stream.feed(block)
            if len(part.raw):
                yield part
        part = stream.finish()
        if len(part.raw):
            yield part


class _Denoising:
    """RNNoise, and beside it a detector that asks the sound as it is, where there is one.

    Either may take it for speech: the one hears through noise, the other short words in quiet.
    """

    def __init__(self) -> None:
        self._denoiser = denoise.Denoiser()
        self._detector = voicing.VoiceDetector() if voicing.available() else None
        self._held: list[denoise.Denoised] = []

    def feed(self, block: Sound) -> Activity:
        part = self._denoiser.feed(block)
        if self._detector is None:
            return Activity(**vars(part))
        self._detector.feed(block)
        self._held.append(part)
        return self._both(self._detector, self._detector.ready)

    def finish(self) -> Activity:
        part = self._denoiser.finish()
        if self._detector is None:
            return Activity(**vars(part))
        self._detector.finish()
        self._held.append(part)
        return self._both(self._detector, None)

    def _both(self, detector: voicing.VoiceDetector, ready: int | None) -> Activity:
        """What both have looked at by now, all of it where `ready` is None; the rest waits."""
        raw, clean, speech = (
            np.concatenate([getattr(part, name) for part in self._held])
            for name in ("raw", "clean", "speech")
        )
        frames = len(speech) if ready is None else min(ready, len(speech))
        samples = len(raw) if ready is None else frames * FRAME
        rest = denoise.Denoised(raw[samples:], clean[samples:], speech[frames:])
        self._held = [rest]
        voice = detector.take(frames)
        both = np.maximum(np.where(_silent(raw, frames), 0.0, speech[:frames]), voice)
        return Activity(raw[:samples], clean[:samples], both.astype(np.float32), voice)

    def close(self) -> None:
        self._denoiser.close()


def _silent(raw: Sound, frames: int) -> NDArray[np.bool_]:
    """Which frames are too soft to hold a voice; the denoiser takes soft hiss for one."""
    whole = np.zeros(frames * FRAME, np.float32)
    whole[: min(len(raw), len(whole))] = raw[: len(whole)]
    power = np.square(whole).reshape(frames, FRAME).mean(axis=1)
    return np.asarray(power < voicing.SILENT_POWER)


class _WithoutDenoiser:
    def __init__(self) -> None:
        try:
            from pocketsphinx import Vad
        except ImportError as error:
            raise EngineError(
                "no voice-activity detector: install pyrnnoise (--no-deps) or pocketsphinx"
            ) from error
        self._detector = Vad(_STRICTEST, SAMPLE_RATE, 3 * FRAME_S)
        self._rest: Sound = np.zeros(0, np.float32)

    def feed(self, block: Sound) -> Activity:
        step = self._detector.frame_bytes
        size = step // 2
        sound = np.concatenate([self._rest, block])
        whole = len(sound) // size * size
        self._rest = sound[whole:]
        pcm = pcm16(sound[:whole])
        heard = [self._detector.is_speech(pcm[i : i + step]) for i in range(0, len(pcm), step)]
        return Activity(sound[:whole], None, np.repeat(np.array(heard, np.float32), size // FRAME))

    def finish(self) -> Activity:
        rest, self._rest = self._rest, np.zeros(0, np.float32)
        return Activity(rest, None, np.zeros(-(-len(rest) // FRAME), np.float32))

    def close(self) -> None:
        pass
