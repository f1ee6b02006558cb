"""How likely each 10 ms of a recording is speech, by the best detector installed."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsfree.audio import denoise
from handsfree.audio.denoise import FRAME, FRAME_S
from handsfree.engines.base import SAMPLE_RATE, Sound
from handsfree.errors import EngineError

_STRICTEST = 3
"""WebRTC's detector has modes 0..3, from "calls much speech" to "calls little speech"."""


@dataclass(frozen=True)
class Activity:
    """A stretch of whole frames of 10 ms (FRAME samples each).

    `speech` holds one probability per frame, 0..1; `clean` is the denoised sound, aligned
    with `raw` and as long, or None without a denoiser. Only the last stretch of a
    recording may end inside a frame.
    """

    raw: Sound
    clean: Sound | None
    speech: NDArray[np.float32]


def activity(blocks: Iterable[Sound]) -> Iterator[Activity]:
    """Follow a stream of 16 kHz blocks of any length.

    RNNoise where it is installed, else PocketSphinx's detector (WebRTC's), which gives 0
    or 1 and no denoised sound. Raises EngineError where neither is installed.
    """
    if denoise.available() is None:
        for part in denoise.denoised(iter(blocks)):
            yield Activity(part.raw, part.clean, part.speech)
    else:
        yield from _without_denoiser(blocks)


def _without_denoiser(blocks: Iterable[Sound]) -> Iterator[Activity]:
    try:
        from pocketsphinx import Vad
    except ImportError as error:
        raise EngineError(
            "no voice-activity detector: install pyrnnoise (--no-deps) or pocketsphinx"
        ) from error
    detector = Vad(_STRICTEST, SAMPLE_RATE, 3 * FRAME_S)
    size = detector.frame_bytes // 2
    rest: Sound = np.zeros(0, np.float32)
    for block in blocks:
        sound = np.concatenate([rest, block])
        whole = len(sound) // size * size
        rest = sound[whole:]
        if whole:
            pcm = (sound[:whole] * 32767).astype("<i2").tobytes()
            step = detector.frame_bytes
            heard = [detector.is_speech(pcm[i : i + step]) for i in range(0, len(pcm), step)]
            yield Activity(
                sound[:whole], None, np.repeat(np.array(heard, np.float32), size // FRAME)
            )
    if len(rest):
        yield Activity(rest, None, np.zeros(-(-len(rest) // FRAME), np.float32))
