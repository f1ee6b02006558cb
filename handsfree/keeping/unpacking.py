"""Opening a bag that anybody may have made: nothing in it is believed.

No name in it ever becomes a path: its files are copied under numbers into a folder of our own,
counted while they come, whatever their headers say.
"""

import gzip
import lzma
import os
import struct
import tarfile
import unicodedata
import zipfile
import zlib
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import IO, cast

from handsfree.keeping.vouching import Bag, check, refused

LONGEST_NAME = 1000
_BLOCK = 1 << 16
_LONGEST_TAR_HEADER = 1 << 16


@dataclass(frozen=True)
class Limits:
    """What an archive may hold at most (no source: ten years of a busy practice are less)."""

    bytes: int = 20 << 30
    files: int = 500_000
    ratio: int = 200
    """Bytes that may come out of one byte of a packed file; JSON gives about 20."""


def open_bag(source: Path, room: Path, limits: Limits | None = None) -> Bag:
    """Copy a bag's files into the empty folder `room` and check every checksum.

    A bag that is a folder is not copied. Raises ArchiveRefused, naming what is wrong: a name
    that leads out of the archive, a link or device, more than the limits, a file that is
    missing, too many or other than its checksum says.
    """
    limits = limits or Limits()
    try:
        if source.is_dir():
            files = _folder(source, limits)
        elif zipfile.is_zipfile(source):
            files = _zip(source, room, limits)
        else:
            files = _tar(source, room, limits)
    except (zipfile.BadZipFile, tarfile.TarError, zlib.error, lzma.LZMAError, EOFError) as error:
        raise refused(source, f"is damaged, or neither .zip nor .tar: {error}") from error
    except (RuntimeError, ValueError, ArithmeticError, LookupError, struct.error) as error:
        raise refused(source, f"cannot be unpacked: {error}") from error
    except OSError as error:
        raise refused(source, f"cannot be read: {error.strerror or error}") from error
    bag = Bag(source, files)
    check(bag)
    return bag


class _Taken:
    """The files taken so far, against the limits."""

    def __init__(self, source: Path, limits: Limits, packed: int | None) -> None:
        self.source, self._limits = source, limits
        self.files: dict[str, Path] = {}
        self._seen: set[str] = set()
        self._bytes = 0
        squeezed = None if packed is None else packed * limits.ratio + (1 << 20)
        self._most = limits.bytes if squeezed is None else min(limits.bytes, squeezed)

    def name(self, raw: str) -> str:
        """The name as it may be used. Raises ArchiveRefused for one that leads elsewhere."""
        name = unicodedata.normalize("NFC", raw)
        parts = name.split("/")
        odd = (
            not name
            or len(name) > LONGEST_NAME
            or "\\" in name
            or any(part in ("", ".", "..") or part[1:2] == ":" for part in parts)
            or any(unicodedata.category(c) in ("Cc", "Cs") for c in name)
        )
        if odd:
            raise refused(self.source, f"has a file whose name leads elsewhere: {raw[:80]!r}")
        if name.casefold() in self._seen:
            raise refused(self.source, f"has two files of the name {name}")
        self._seen.add(name.casefold())
        if len(self._seen) > self._limits.files:
            raise refused(self.source, f"has more than {self._limits.files:,} files")
        return name

    def count(self, size: int) -> None:
        """Count bytes that came out of it."""
        self._bytes += size
        if self._bytes > self._most:
            raise refused(self.source, f"holds more than {self._most:,} bytes")

    def copy(self, name: str, file: IO[bytes], room: Path) -> None:
        """Copy a file's content under a number."""
        path = room / f"{len(self.files):07d}"
        with open(path, "xb", opener=lambda p, flags: os.open(p, flags, 0o600)) as copy:
            while block := file.read(_BLOCK):
                self.count(len(block))
                copy.write(block)
        self.files[name] = path


def _folder(source: Path, limits: Limits) -> dict[str, Path]:
    taken = _Taken(source, limits, None)
    for folder, folders, names in os.walk(source, followlinks=False):
        for each in (*folders, *names):
            path = Path(folder) / each
            if path.is_symlink() or not (path.is_dir() or path.is_file()):
                raise refused(source, f"has a link or device in it: {each}")
        for each in names:
            path = Path(folder) / each
            name = taken.name(path.relative_to(source).as_posix())
            taken.count(path.stat().st_size)
            taken.files[name] = path
    return taken.files


def _zip(source: Path, room: Path, limits: Limits) -> dict[str, Path]:
    taken = _Taken(source, limits, source.stat().st_size)
    with zipfile.ZipFile(source) as packed:
        for info in packed.infolist():
            # What zipfile cuts off or turns round in a name is looked at as it was written.
            raw = info.orig_filename
            if raw.endswith("/"):
                taken.name(raw[:-1])
                continue
            kind = info.external_attr >> 16 & 0o170000
            if kind not in (0, 0o100000):
                raise refused(source, f"has a link or device in it: {raw[:80]!r}")
            name = taken.name(raw)
            with packed.open(info) as file:
                taken.copy(name, file, room)
    return _without_top(taken)


class _ShortHeaders(tarfile.TarInfo):
    """Headers that say more headers follow are read into memory: only short ones are."""

    @classmethod
    def frombuf(cls, buf: bytes, encoding: str, errors: str) -> "_ShortHeaders":  # type: ignore[override]
        found = super().frombuf(buf, encoding, errors)
        plain = (tarfile.REGTYPE, tarfile.AREGTYPE, tarfile.DIRTYPE)
        if found.type not in plain and found.size > _LONGEST_TAR_HEADER:
            raise ValueError("a header is too long")
        return found


class _Counted:
    """The unpacked bytes of a .tar as they come."""

    def __init__(self, file: IO[bytes], taken: _Taken) -> None:
        self._file, self._taken = file, taken

    def read(self, size: int = -1) -> bytes:
        data = self._file.read(size)
        self._taken.count(len(data))
        return data


def _tar(source: Path, room: Path, limits: Limits) -> dict[str, Path]:
    size = source.stat().st_size
    # Counted once as they come unpacked and once as they are copied.
    double = Limits(limits.bytes * 2 + (1 << 20), limits.files, limits.ratio * 2)
    taken = _Taken(source, double, size)
    with source.open("rb") as raw:
        squeezed = raw.read(2) == b"\x1f\x8b"
    with ExitStack() as stack:
        packed_bytes = stack.enter_context(source.open("rb"))
        opened = stack.enter_context(gzip.GzipFile(fileobj=packed_bytes)) if squeezed else None
        counted = _Counted(cast("IO[bytes]", opened or packed_bytes), taken)
        packed = stack.enter_context(
            tarfile.open(fileobj=cast("IO[bytes]", counted), mode="r|", tarinfo=_ShortHeaders)
        )
        for member in packed:
            name = taken.name(member.name.rstrip("/") if member.isdir() else member.name)
            if member.isdir():
                continue
            plain = member.type in (tarfile.REGTYPE, tarfile.AREGTYPE) and not member.issparse()
            file = packed.extractfile(member) if plain else None
            if file is None:
                raise refused(source, f"has a link or device in it: {name}")
            taken.copy(name, file, room)
    return _without_top(taken)


def _without_top(taken: _Taken) -> dict[str, Path]:
    """Names from the bag's own folder on (RFC 8493, 4: there is one at the top)."""
    tops = {name.split("/")[0] for name in taken.files}
    if len(tops) != 1 or any("/" not in name for name in taken.files):
        raise refused(taken.source, "is no bag: it has not one folder at its top")
    return {name.split("/", 1)[1]: path for name, path in taken.files.items()}
