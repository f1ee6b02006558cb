"""Writing a bag (RFC 8493, "The BagIt File Packaging Format") as a folder, .zip or .tar."""

import hashlib
import io
import os
import tarfile
import time
import zipfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path, PurePosixPath
from typing import Protocol

from handsfree.keeping.placing import placed, shown
from handsfree.sheets.files import FileRefused, printable

ENDINGS = (".tar.gz", ".tgz", ".tar", ".zip")
_STORED = (".flac", ".wav")
"""Sound is not squeezed: FLAC is already, and a squeezed WAV is slow to make."""


class _Sink(Protocol):
    def put(self, name: str, data: bytes) -> None: ...


class BagWriter:
    """Takes the files of a bag one by one and then writes what vouches for them."""

    def __init__(self, sink: _Sink) -> None:
        self._sink = sink
        self._payload: list[tuple[str, str]] = []
        self._tags: list[tuple[str, str]] = []
        self._bytes = 0

    @property
    def payload_files(self) -> int:
        """How many files of payload are in it."""
        return len(self._payload)

    @property
    def payload_bytes(self) -> int:
        """How many bytes of payload are in it."""
        return self._bytes

    def add(self, name: str, data: bytes) -> None:
        """Add a file of payload, named from the folder `data/`."""
        full = f"data/{name}"
        self._sink.put(full, data)
        self._payload.append((hashlib.sha256(data).hexdigest(), full))
        self._bytes += len(data)

    def finish(self, info: Mapping[str, str], on: datetime) -> None:
        """Write the tag files: bagit.txt, bag-info.txt and both manifests."""
        about = {
            **info,
            "Bagging-Date": on.date().isoformat(),
            "Payload-Oxum": f"{self._bytes}.{len(self._payload)}",
        }
        self._tag("bagit.txt", "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
        lines = (f"{key}: {' '.join(printable(text).split())}\n" for key, text in about.items())
        self._tag("bag-info.txt", "".join(lines))
        self._tag("manifest-sha256.txt", _manifest(self._payload))
        self._sink.put("tagmanifest-sha256.txt", _manifest(self._tags).encode())

    def _tag(self, name: str, text: str) -> None:
        data = text.encode()
        self._sink.put(name, data)
        self._tags.append((hashlib.sha256(data).hexdigest(), name))


def _manifest(files: list[tuple[str, str]]) -> str:
    return "".join(f"{digest}  {escaped(name)}\n" for digest, name in files)


def escaped(name: str) -> str:
    """A path as a manifest has it (RFC 8493, 2.1.3)."""
    return name.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


class _Folder:
    def __init__(self, root: Path) -> None:
        self._root = root

    def put(self, name: str, data: bytes) -> None:
        path = self._root.joinpath(*PurePosixPath(name).parts)
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        with open(path, "xb", opener=lambda p, flags: os.open(p, flags, 0o600)) as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())


class _Zip:
    def __init__(self, file: zipfile.ZipFile, top: str) -> None:
        self._file, self._top = file, top

    def put(self, name: str, data: bytes) -> None:
        info = zipfile.ZipInfo(f"{self._top}/{name}", time.localtime()[:6])
        info.external_attr = 0o600 << 16
        stored = name.endswith(_STORED)
        info.compress_type = zipfile.ZIP_STORED if stored else zipfile.ZIP_DEFLATED
        self._file.writestr(info, data)


class _Tar:
    def __init__(self, file: tarfile.TarFile, top: str) -> None:
        self._file, self._top = file, top

    def put(self, name: str, data: bytes) -> None:
        info = tarfile.TarInfo(f"{self._top}/{name}")
        info.size, info.mode, info.mtime = len(data), 0o600, int(time.time())
        self._file.addfile(info, io.BytesIO(data))


@contextmanager
def new_bag(target: Path, force: bool = False) -> Iterator[BagWriter]:
    """A bag to be filled, which gets its name once it is whole on the disk.

    By its ending a .zip, a .tar, a .tar.gz, or, without one of these, a folder. Call `finish`
    last. Raises FileRefused as `placing.placed` does.
    """
    ending = next((e for e in ENDINGS if target.name.lower().endswith(e)), "")
    top = target.name[: len(target.name) - len(ending)] or "archive"
    if not ending and target.suffix:
        raise FileRefused(f"{shown(target)}: name a folder, or a file that ends in .zip or .tar")
    with placed(target, force and bool(ending), folder=not ending) as part:
        if not ending:
            yield BagWriter(_Folder(part))
        elif ending == ".zip":
            with zipfile.ZipFile(part, "w") as packed:
                yield BagWriter(_Zip(packed, top))
        else:
            with tarfile.open(part, "w:gz" if ending != ".tar" else "w") as packed_tar:
                yield BagWriter(_Tar(packed_tar, top))
