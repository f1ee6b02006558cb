"""Hearing an utterance again: its kept sound on a loudspeaker or headset, if there is one.

No sound library is loaded before the first sound is asked for: review starts without.
"""

import time
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from handsfree.answers.output import Output
    from handsfree.engines.base import Sound

STARTS_S = 2.5
"""How long a device is given to begin or to fail before the caller goes on, s.

The slowest measured one, a PulseAudio output that had slept, took 1.7 s (answers/speaker).
"""

_LOOK_S = 0.02
_BUFFERED_S = 0.2
_A_SECOND = 16_000


class Player(Protocol):
    """Plays kept sound."""

    def play(self, flac: bytes) -> str | None:
        """Play the sound of a FLAC file in place of what is playing; None, or why not."""
        ...


class SoundPlayer:
    """A `Player` on a device of this machine; `device` as for `Speaker`, None for the usual.

    With `wait`, `play` returns when the sound is over (a screen reader is not talked over) or
    Ctrl-C has stopped it; else as soon as it has begun. `opened` gives another output than a
    Speaker. Close it to let go of the device. One thread at a time.
    """

    def __init__(
        self,
        device: str | None = None,
        *,
        wait: bool = False,
        opened: "Callable[[], Output] | None" = None,
    ) -> None:
        self._device, self._wait = device, wait
        self._opened = opened or self._speaker
        self._output: Output | None = None

    def play(self, flac: bytes) -> str | None:
        """Play a FLAC file (see Player). Raises nothing for want of a device or for bad sound."""
        try:
            sound = _decoded(flac)
        except Exception as error:  # libsndfile's own, OSError, soxr's
            # libsndfile names the buffer before the reason.
            return f"the sound cannot be read: {' '.join(str(error).split()).rpartition(': ')[2]}"
        with self._quiet():
            output = self._output = self._output or self._opened()
            output.stop()
            output.reference(_A_SECOND)  # of the sound before
            output.play(sound)
            try:
                reason = self._followed(output)
            except KeyboardInterrupt:
                output.stop()
                reason = None
        if reason is not None:
            # The next try begins with a new one, which looks for the device at once.
            self.close()
        return reason

    def close(self) -> None:
        """Stop and let go of the device."""
        output, self._output = self._output, None
        if output is not None:
            output.close()

    def _speaker(self) -> "Output":
        from handsfree.answers.speaker import Speaker

        return Speaker(self._device)

    def _quiet(self) -> AbstractContextManager[None]:
        """Sound systems chatter on standard error; on a screen that is where it is drawn."""
        if not self._wait:
            return nullcontext()
        from handsfree.audio.devices import c_libraries_silenced

        return c_libraries_silenced()

    def _followed(self, output: "Output") -> str | None:
        deadline = time.monotonic() + STARTS_S
        while output.playing:
            reason = _reason(output)
            if reason is not None:
                return reason
            if not self._wait and (output.reference(160).any() or time.monotonic() > deadline):
                return None
            time.sleep(_LOOK_S)
        reason = _reason(output)
        if reason is None and self._wait:
            # What was handed over last is still in the device's buffer.
            time.sleep(_BUFFERED_S)
        return reason


def _reason(output: "Output") -> str | None:
    # The speaker's line ends with what follows for spoken answers; there are none here.
    line = output.trouble()
    reason = line.rpartition("; ")[0] if line else ""
    return reason or None


def _decoded(flac: bytes) -> "Sound":
    """Kept sound for a loudspeaker: shape (n,), ANSWER_RATE."""
    import numpy as np
    import soxr

    from handsfree.answers.tones import ANSWER_RATE
    from handsfree.audio.speech import from_flac
    from handsfree.engines.base import SAMPLE_RATE

    return np.asarray(soxr.resample(from_flac(flac), SAMPLE_RATE, ANSWER_RATE), np.float32)
