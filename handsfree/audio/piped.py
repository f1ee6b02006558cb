"""Sound that comes through a pipe: a WAV is read as it comes, anything else is kept first."""

import io
import struct
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import IO

import numpy as np
import soundfile
from numpy.typing import NDArray

from handsfree.audio import memo
from handsfree.audio.wav_header import read_wav_header

MOST_KEPT_BYTES = 1 << 30
"""How much of what cannot be read as it comes is kept on the disk: hours of FLAC (no source)."""
_MOST_HEAD_BYTES = 1 << 20
"""A WAV header longer than this is none, and what is no sound is known by its first so many."""
_COPIED_AT_ONCE = 1 << 18
_ENDLESS = 1 << 61
"""More samples than ever come."""
_WIDTHS = {"PCM_U8": 1, "PCM_16": 2, "PCM_24": 3, "PCM_32": 4, "FLOAT": 4, "DOUBLE": 8}
_WIDTHS |= {"ULAW": 1, "ALAW": 1}
"""Bytes of a sample, of the encodings that need nothing before them to be read."""

_BEGINNINGS = (b"fLaC", b"ID3", b"RIFF", b"RIFX", b"RF64", b"riff", b"FORM", b"OggS", b"caff")
_MPEG_FRAME = 0xFFE0


class NoSound(Exception):
    """What comes is no sound, or too much of it; the text goes behind the name of the pipe."""


@dataclass
class WavPipe:
    """A WAV of which the samples are still to come.

    `length` is how many bytes of them the header promises, None where its writer did not know.
    """

    stream: IO[bytes]
    samplerate: int
    channels: int
    encoding: str
    length: int | None
    missing: int = field(default=0, init=False)
    """Samples that were promised and did not come, once all has been read."""

    @property
    def frames(self) -> int | None:
        """How many samples are promised, None where nobody knows."""
        return None if self.length is None else self.length // self._width

    @property
    def _width(self) -> int:
        return _WIDTHS[self.encoding] * self.channels

    def blocks(self, frames: int) -> Iterator[NDArray[np.float32]]:
        """Yield so many samples at a time, shape (n, channels), each block once it has come."""
        left = _ENDLESS if self.frames is None else self.frames
        while left:
            # Waited for here, not inside libsndfile: there Ctrl-C would pass for the end.
            data = _read(self.stream, min(frames, left) * self._width)
            if len(data) < self._width:
                break
            block, _ = soundfile.read(
                io.BytesIO(data),
                dtype="float32",
                always_2d=True,
                samplerate=self.samplerate,
                channels=self.channels,
                format="RAW",
                subtype=self.encoding,
                endian="LITTLE",
            )
            left -= len(block)
            yield block
        self.missing = 0 if self.length is None else left


def from_pipe(stream: IO[bytes]) -> WavPipe | IO[bytes]:
    """What comes through a pipe as it comes, or a temporary file of it that closes itself.

    Raises NoSound, and OSError where it cannot be read or kept.
    """
    head = _wav_head(stream)
    return _wav_pipe(stream, head) or _kept(stream, head)


def _wav_head(stream: IO[bytes]) -> bytes:
    """The beginning; of a WAV all up to the first sample (see wav_header for the layout)."""
    head = _read(stream, 12)
    if head[:4] != b"RIFF" or head[8:] != b"WAVE":
        return head
    while True:
        chunk = _read(stream, 8)
        head += chunk
        if len(chunk) < 8 or chunk[:4] == b"data":
            return head
        (length,) = struct.unpack("<I", chunk[4:])
        if len(head) + length > _MOST_HEAD_BYTES:
            return head
        head += _read(stream, length + length % 2)


def _wav_pipe(stream: IO[bytes], head: bytes) -> WavPipe | None:
    header = read_wav_header(io.BytesIO(head), len(head))
    if header is None:
        return None
    empty = bytearray(head)
    empty[header.size_field_at : header.size_field_at + 4] = bytes(4)
    try:
        with soundfile.SoundFile(io.BytesIO(empty)) as sound:
            if sound.subtype not in _WIDTHS:
                return None
            unknown = header.promised == 0 or header.unfinished
            length = None if unknown else header.promised
            return WavPipe(stream, sound.samplerate, sound.channels, sound.subtype, length)
    except (soundfile.SoundFileError, TypeError, ValueError, OSError):
        return None


def _kept(stream: IO[bytes], head: bytes) -> IO[bytes]:
    head += _read(stream, max(0, _MOST_HEAD_BYTES - len(head)))
    if len(head) >= _MOST_HEAD_BYTES and not _may_be_sound(head):
        raise NoSound("is not a WAV, FLAC, MP3 or M4A recording")
    file = tempfile.TemporaryFile(prefix="handsfree-")  # noqa: SIM115
    try:
        while head:
            file.write(head)
            if file.tell() > MOST_KEPT_BYTES:
                raise NoSound(
                    f"is no plain WAV, and more than {MOST_KEPT_BYTES >> 20} MB of it came; "
                    "save it as a file and name that"
                )
            head = stream.read(_COPIED_AT_ONCE)
        file.seek(0)
    except BaseException:
        file.close()
        raise
    return file


def _may_be_sound(head: bytes) -> bool:
    mpeg = int.from_bytes(head[:2], "big") & _MPEG_FRAME == _MPEG_FRAME
    return head.startswith(_BEGINNINGS) or mpeg or memo.kind(io.BytesIO(head)) is not None


def _read(stream: IO[bytes], count: int) -> bytes:
    """As many bytes as this, fewer only at the end."""
    data = b""
    while len(data) < count and (more := stream.read(count - len(data))):
        data += more
    return data
