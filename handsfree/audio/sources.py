"""Reading recordings as a stream of 16 kHz mono blocks, whatever they were made with."""

import io
import sys
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import IO, BinaryIO, Self

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from handsfree.audio import memo
from handsfree.audio.past_faults import PastFaults
from handsfree.audio.piped import NoSound, WavPipe, from_pipe
from handsfree.audio.wav_header import WavHeader, read_wav_header
from handsfree.engines.base import SAMPLE_RATE, Sound
from handsfree.errors import UnreadableSound

STANDARD_INPUT = "-"
BLOCK_S = 0.25
_MAX_BLOCK_VALUES = 1 << 18
"""Most samples read at once over all channels: caps memory for absurd rates and channel counts."""
_RATES = range(4_000, 768_001)
"""Samples a second that a recording may have (common practice, no source): below there is no
speech left, and a header that says 1 would make hours of every second."""
_TOLD_S = 0.05
"""A recording that ends so little too soon is not worth a word: some lengths are estimates."""
_UNKNOWN_FRAMES = 1 << 60
"""libsndfile reports lengths beyond this when the header does not tell."""


class _WithoutName(io.RawIOBase):
    """A file as libsndfile should see it: no name to guess a format from, header corrected.

    A `.wav` in the file's name says nothing about its contents, so it is kept from
    soundfile; `patch` replaces the bytes at `patch_at` without touching the file.
    """

    def __init__(self, file: IO[bytes], patch: bytes = b"", patch_at: int = 0) -> None:
        self._file, self._patch, self._patch_at = file, patch, patch_at

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        return self._file.seek(offset, whence)

    def tell(self) -> int:
        return self._file.tell()

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        start = self._file.tell()
        data = bytearray(self._file.read(len(buffer)))
        first = max(start, self._patch_at)
        last = min(start + len(data), self._patch_at + len(self._patch))
        if first < last:
            fresh = self._patch[first - self._patch_at : last - self._patch_at]
            data[first - start : last - start] = fresh
        buffer[: len(data)] = data
        return len(data)


class SoundReader:
    """One recording, read once from start to end in constant memory.

    Use as a context manager and iterate for float32 blocks of shape (n,), mono, 16 kHz,
    always finite and within -1..1. Channels are averaged. `duration_s` is None when the
    header does not tell. `warning` is set, at the latest when the last block has been
    read, if the recording ends before its header says it does, or where some of it cannot
    be decoded: silence stands for that.
    """

    def __init__(self, source: str | Path | BinaryIO) -> None:
        """Open a path, `-` for standard input, or a binary stream (seekable or not).

        Raises UnreadableSound when it is no sound file or cannot be opened.
        """
        self.warning: str | None = None
        self.duration_s: float | None = None
        self._stack = ExitStack()
        try:
            self.name, file = self._open(source)
            self._sound = file if isinstance(file, WavPipe) else self._open_sound(file)
            self._check_rate()
        except BaseException:
            self._stack.close()
            raise
        self.rate: int = self._sound.samplerate
        frames = self._sound.frames
        if frames is not None and frames < _UNKNOWN_FRAMES:
            self.duration_s = frames / self.rate

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; safe to call twice."""
        self._stack.close()

    def __iter__(self) -> Iterator[Sound]:
        """Yield the blocks. Raises UnreadableSound when not even the first can be decoded."""
        rate = self._sound.samplerate
        resampler = None
        if rate != SAMPLE_RATE:
            resampler = soxr.ResampleStream(rate, SAMPLE_RATE, 1, dtype="float32")
        for block in self._mono_blocks():
            if resampler is not None:
                block = resampler.resample_chunk(block)
            if len(block):
                yield np.clip(block, -1.0, 1.0)
        if resampler is not None:
            tail = resampler.resample_chunk(np.zeros(0, np.float32), last=True)
            if len(tail):
                yield np.clip(tail, -1.0, 1.0)

    def as_recorded(self) -> Iterator[NDArray[np.float32]]:
        """Yield the blocks at the rate of the recording, `rate`, instead of iterating."""
        yield from self._mono_blocks()

    def _open(self, source: str | Path | BinaryIO) -> tuple[str, WavPipe | IO[bytes]]:
        if source == STANDARD_INPUT or source is sys.stdin.buffer:
            return "standard input", self._piped("standard input", sys.stdin.buffer)
        if isinstance(source, str | Path):
            path, name = Path(source), str(source)
            if path.is_dir():
                raise UnreadableSound(f"{name}: is a folder, not a recording")
            file = self._stack.enter_context(_opened(path, name))
            # A pipe or device can be read only once, so it is treated as standard input is.
            return name, file if path.is_file() else self._piped(name, file)
        name = str(getattr(source, "name", "sound stream"))
        return name, source if source.seekable() else self._piped(name, source)

    def _piped(self, name: str, stream: IO[bytes]) -> WavPipe | IO[bytes]:
        try:
            found = from_pipe(stream)
        except NoSound as error:
            raise UnreadableSound(f"{name}: {error}") from None
        except OSError as error:
            raise UnreadableSound(f"{name}: {_reason(error)}") from error
        return found if isinstance(found, WavPipe) else self._stack.enter_context(found)

    def _unpacked(self, file: IO[bytes]) -> IO[bytes]:
        """The file itself, or the sound in it where it is a telephone's memo."""
        try:
            memo_kind = memo.kind(file)
            if memo_kind is None:
                return file
            sound, lost_s = memo.unpacked(file, memo_kind)
        except memo.NoMemo as error:
            raise UnreadableSound(f"{self.name}: {error}") from error
        except OSError as error:
            raise UnreadableSound(f"{self.name}: {_reason(error)}") from error
        if lost_s:
            self._warn(f"{lost_s:.1f} s of it are lost to damage; silence is there")
        return self._stack.enter_context(sound)

    def _open_sound(self, file: IO[bytes]) -> soundfile.SoundFile:
        file = self._unpacked(file)
        try:
            size = file.seek(0, io.SEEK_END)
            file.seek(0)
            if size == 0:
                raise UnreadableSound(f"{self.name}: is empty (0 bytes)")
            header = read_wav_header(file, size)
            file.seek(0)
        except OSError as error:
            raise UnreadableSound(f"{self.name}: {_reason(error)}") from error
        patch, at = b"", 0
        if header is not None:
            patch, at = self._check(header)

        def opened() -> soundfile.SoundFile:
            file.seek(0)
            return soundfile.SoundFile(_WithoutName(file, patch, at))

        self._opened = opened
        try:
            sound = opened()
        except (soundfile.SoundFileError, TypeError, ValueError, OSError) as error:
            raise UnreadableSound(
                f"{self.name}: is not a WAV, FLAC, MP3 or M4A recording, or its start is damaged"
            ) from error
        self._stack.callback(sound.close)
        return sound

    def _check_rate(self) -> None:
        if self._sound.samplerate not in _RATES:
            raise UnreadableSound(
                f"{self.name}: its header says {self._sound.samplerate} samples a second, "
                "as no recorder makes"
            )

    def _check(self, header: WavHeader) -> tuple[bytes, int]:
        """Note what the header promises in vain; return the bytes to correct it with, and where."""
        if header.unfinished:
            if header.promised and header.present > header.promised:
                self._warn("holds more than its header says; read all of it")
            # libsndfile takes the 0 that a pipe writer leaves as "no sound at all".
            return header.true_size_field, header.size_field_at
        if header.missing_bytes:
            self._warn("ends before its header says; read what is there")
        return b"", 0

    def _warn(self, what: str) -> None:
        self.warning = f"{self.warning}; {what}" if self.warning else f"{self.name}: {what}"

    def _seconds(self, samples: int) -> str:
        return f"{samples / self.rate:.1f} s"

    def _mono_blocks(self) -> Iterator[NDArray[np.float32]]:
        sound = self._sound
        frames = int(sound.samplerate * BLOCK_S)
        frames = max(1, min(frames, _MAX_BLOCK_VALUES // sound.channels))
        for block in self._blocks(frames):
            finite = np.nan_to_num(block, nan=0.0, posinf=1.0, neginf=-1.0)
            yield finite.mean(axis=1, dtype=np.float32)

    def _blocks(self, frames: int) -> Iterator[NDArray[np.float32]]:
        """The sound as it is, `frames` samples at a time; then what is lost of it is known."""
        if isinstance(self._sound, WavPipe):
            yield from self._sound.blocks(frames)
            missing = self._sound.missing
        else:
            length = None if self.duration_s is None else self._sound.frames
            past = PastFaults(self._opened, frames, length)
            yield from past.blocks(self._sound)
            if past.faults and not past.read:
                raise UnreadableSound(f"{self.name}: the sound in it is damaged")
            if past.silenced:
                lost = self._seconds(past.silenced)
                self._warn(f"{lost} of it are lost to damage; silence is there")
            missing = past.missing
        if missing >= _TOLD_S * self.rate:
            lost = self._seconds(missing)
            self._warn(f"ends {lost} before its header says; read what is there")


def open_sound(source: str | Path | BinaryIO) -> Iterator[Sound]:
    """Yield a recording as float32 mono 16 kHz blocks and close it at the end.

    Raises UnreadableSound (at the first block) naming the file and the reason.
    """
    with SoundReader(source) as reader:
        yield from reader


def _opened(path: Path, name: str) -> IO[bytes]:
    try:
        return path.open("rb")
    except OSError as error:
        raise UnreadableSound(f"{name}: {_reason(error)}") from error


def _reason(error: OSError) -> str:
    if isinstance(error, FileNotFoundError):
        return "no such file"
    if isinstance(error, PermissionError):
        return "no permission to read it"
    return (error.strerror or str(error)).lower()
