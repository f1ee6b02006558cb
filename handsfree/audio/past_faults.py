"""Reading on past damage: silence stands where the sound cannot be decoded."""

from collections.abc import Callable, Iterator
from contextlib import closing

import numpy as np
import soundfile
from numpy.typing import NDArray

Block = NDArray[np.float32]
"""Samples of shape (n, channels)."""

_FIRST_STEP = 1024
"""How far behind a fault sound is looked for first, in samples; then twice as far, and so on."""
_NEAREST = 256
"""How exactly the place is found where the sound goes on, in samples."""
_FARTHEST = 1 << 32
"""How far behind a fault sound is looked for where the header does not tell the length."""
_ERRORS = (soundfile.SoundFileError, OSError)


class PastFaults:
    """The blocks of a recording, from start to end, as long as the recording itself.

    A coder that works frame by frame (FLAC) loses only the frame in which a bit is wrong.
    libsndfile refuses all that follows a fault, so the file is opened again behind it.
    """

    def __init__(
        self, open_again: Callable[[], soundfile.SoundFile], frames: int, length: int | None
    ) -> None:
        """Read `frames` samples at a time; `length` is what the header says, None if nothing."""
        self.silenced = 0
        """Samples that could not be decoded and have silence in their place."""
        self.missing = 0
        """Samples that the header promises after the last one that could be decoded."""
        self.read = 0
        """Samples given so far."""
        self.faults = 0
        """How many places could not be decoded."""
        self._open, self._frames, self._length = open_again, frames, length

    def blocks(self, sound: soundfile.SoundFile) -> Iterator[Block]:
        """Yield the blocks; `sound` is the recording, freshly opened."""
        going_on: soundfile.SoundFile | None = sound
        while going_on is not None:
            before = self.faults
            with closing(going_on):
                yield from self._until_fault(going_on, self._frames)
            if self.faults == before:
                break
            going_on, start = self._behind_fault()
            silence = max(0, start - self.read) if going_on is not None else 0
            self.silenced += silence
            while silence:
                part = min(silence, self._frames)
                yield self._given(np.zeros((part, sound.channels), np.float32))
                silence -= part
        if self._length is not None:
            self.missing = max(0, self._length - self.read)

    def _given(self, block: Block) -> Block:
        self.read += len(block)
        return block

    def _until_fault(self, sound: soundfile.SoundFile, frames: int) -> Iterator[Block]:
        while True:
            room = np.zeros((frames, sound.channels), np.float32)
            before = sound.tell()
            try:
                block = sound.read(out=room)
            except _ERRORS:
                break
            if not len(block):
                return
            yield self._given(block)
        # What precedes the fault has come, and mostly libsndfile knows how much that is.
        known = sound.tell() - before
        if known > 0:
            yield self._given(room[:known])
        elif known < 0 and frames > _NEAREST:
            again = self._opened_at(self.read)
            if again is not None:
                with closing(again):
                    yield from self._until_fault(again, _NEAREST)
                return
        self.faults += 1

    def _behind_fault(self) -> tuple[soundfile.SoundFile | None, int]:
        """The recording where it can be read again, at the nearest such sample."""
        last = self.read + _FARTHEST if self._length is None else self._length - _NEAREST
        bad, step, found = self.read, _FIRST_STEP, None
        good = bad
        while found is None and bad < last:
            good = min(self.read + step, last)
            found = self._opened_at(good)
            bad, step = (bad, step) if found is not None else (good, 2 * step)
        while found is not None and good - bad > _NEAREST:
            middle = (bad + good) // 2
            nearer = self._opened_at(middle)
            if nearer is None:
                bad = middle
            else:
                found.close()
                good, found = middle, nearer
        return found, good

    def _opened_at(self, sample: int) -> soundfile.SoundFile | None:
        """The recording from this sample on, None where it cannot be read there."""
        try:
            sound = self._open()
        except _ERRORS:
            return None
        try:
            sound.seek(sample)
            if len(sound.read(_NEAREST)):
                sound.seek(sample)
                return sound
        except _ERRORS:
            pass
        sound.close()
        return None
