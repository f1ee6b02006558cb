"""What erasing a horse does not reach: copies of it where they usually lie."""

import json
import sqlite3
import tarfile
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path

from handsfree.errors import LogError
from handsfree.keeping.bag import ENDINGS
from handsfree.keeping.copying import connect
from handsfree.keeping.placing import same
from handsfree.log import schema
from handsfree.log.store import name_key
from handsfree.sheets.files import file_name

_MOST_BYTES = 1 << 20
"""Of an archive's list of horses that are read; a horse takes about 100."""


@dataclass(frozen=True)
class Copy:
    """A file or folder that holds the horse still. `what` it is."""

    path: Path
    what: str


def copies(log: Path, folders: Iterable[Path], name: str, ids: Iterable[str]) -> list[Copy]:
    """Copies of the log, archives, and files named after the horse, that lie in these folders.

    The log's own folder, where backups and `.replaced-` logs lie, is looked through too. What
    cannot be read is told as well, for it may hold the horse.
    """
    wanted = frozenset(ids)
    places = dict.fromkeys(each.resolve() for each in (log.parent, *folders))
    return [copy for place in places for copy in _in_folder(place, log, name, wanted)]


def _in_folder(folder: Path, log: Path, name: str, ids: frozenset[str]) -> Iterator[Copy]:
    own = file_name(name, None, "")
    try:
        paths = sorted(folder.iterdir())
    except OSError:
        return
    for path in paths:
        what = None
        # What the system keeps from us, or loses meanwhile, is passed over.
        with suppress(OSError):
            if path.is_file() and _is_log(path):
                what = None if same(path, log) else _log_with(path, name, ids)
            elif path.name.lower().endswith(ENDINGS) or (path / "data").is_dir():
                what = _archive_with(path, ids)
            if what is None and path.name.casefold().startswith(f"{own}-".casefold()):
                what = "is named after it"
        if what is not None:
            yield Copy(path, what)


def _is_log(path: Path) -> bool:
    """By the head of the file: SQLite's, with this program's mark at byte 68."""
    with path.open("rb") as file:
        head = file.read(72)
    mark = schema.APPLICATION_ID.to_bytes(4, "big")
    return head.startswith(b"SQLite format 3\0") and head[68:] == mark


def _log_with(path: Path, name: str, ids: frozenset[str]) -> str | None:
    try:
        with closing(connect(path)) as conn:
            rows = conn.execute("SELECT id, name_key FROM horses").fetchall()
    except (LogError, sqlite3.Error):
        return "a copy of the log that cannot be read"
    holds = any(id in ids or key == name_key(name) for id, key in rows)
    return "a copy of the log" if holds else None


def _archive_with(path: Path, ids: frozenset[str]) -> str | None:
    """By the list of horses in it; None for what is no archive of this program."""
    try:
        about = json.loads(_about(path) or "null")
    except (tarfile.TarError, zipfile.BadZipFile, zlib.error, EOFError, RuntimeError):
        return "an archive that cannot be read"
    except ValueError:
        return None
    horses = about.get("horses") if isinstance(about, dict) else None
    listed = horses if isinstance(horses, list) else []
    return "an archive" if any(isinstance(h, dict) and h.get("id") in ids for h in listed) else None


def _about(path: Path) -> bytes | None:
    wanted = "data/archive.json"
    if path.is_dir():
        return (path / wanted).read_bytes() if (path / wanted).is_file() else None
    if zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as packed:
            for name in packed.namelist():
                if name.endswith(f"/{wanted}"):
                    with packed.open(name) as file:
                        return file.read(_MOST_BYTES)
        return None
    with tarfile.open(path) as packed_tar:
        for member in packed_tar:
            if member.name.endswith(f"/{wanted}"):
                content = packed_tar.extractfile(member)
                return content.read(_MOST_BYTES) if content else None
    return None
