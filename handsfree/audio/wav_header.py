"""The few fields of a WAV header that decide how much sound follows it.

Layout: RIFF, "Multimedia Programming Interface and Data Specifications 1.0" (1991):
"RIFF", size, "WAVE", then chunks of id (4 bytes), size (uint32 little-endian), contents
padded to an even length.
"""

import struct
from dataclasses import dataclass
from typing import IO

_PIPE_SIZES = range(0x7FFF_0000, 0x1_0000_0000)
"""Data sizes no one records: programs writing to a pipe put one near 2 or 4 GiB."""


@dataclass(frozen=True)
class WavHeader:
    """Where the sound begins and how much of it there is, in bytes."""

    size_field_at: int
    promised: int
    present: int
    whole: bool
    """Whether the size of the RIFF as a whole agrees with the file's."""
    understated: bool = False
    """Whether more follows than is promised, and it is no other chunk: then it is sound too."""

    @property
    def unfinished(self) -> bool:
        """Whether the writer never came back to fill in the size, or to bring it up to date."""
        if self.understated:
            return True
        if self.promised == 0:
            return self.present > 0 and not self.whole
        return self.promised in _PIPE_SIZES and self.present < self.promised

    @property
    def missing_bytes(self) -> int:
        """How many promised bytes the file lacks."""
        return max(0, self.promised - self.present)

    @property
    def true_size_field(self) -> bytes:
        """What the size field should have held."""
        return struct.pack("<I", min(self.present, 0xFFFF_FFFF))


def read_wav_header(file: IO[bytes], size: int) -> WavHeader | None:
    """Find the data chunk of a plain WAV of `size` bytes; None if it is anything else."""
    start = file.read(12)
    if len(start) < 12 or start[:4] != b"RIFF" or start[8:] != b"WAVE":
        return None
    whole = 8 + int(struct.unpack("<I", start[4:8])[0]) == size
    at = 12
    while at + 8 <= size:
        file.seek(at)
        kind, length = struct.unpack("<4sI", file.read(8))
        if kind == b"data":
            end = at + 8 + length + length % 2
            # What a writer has finished may end in anything; this one was broken off.
            more = bool(length) and end < size and not whole
            understated = more and not _chunks(file, end, size)
            return WavHeader(at + 4, length, size - at - 8, whole, understated)
        at += 8 + length + length % 2
    return None


def _chunks(file: IO[bytes], at: int, size: int) -> bool:
    """Whether nothing but whole chunks follows from a place on."""
    while at + 8 <= size:
        file.seek(at)
        kind, length = struct.unpack("<4sI", file.read(8))
        if not all(0x20 <= byte < 0x7F for byte in kind):
            return False
        at += 8 + length + length % 2
    return size - 8 < at <= size + 1  # the last may lack its padding
