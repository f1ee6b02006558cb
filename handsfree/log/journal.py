"""Whether the write-ahead journal beside a log's file belongs to that file.

SQLite takes any whole journal of the right name for the file's own. Where the file was replaced
by hand and the journal of the old one stayed, its pages would come up in the place of the new
file's, and the first who closes the log would write them there for good. (The journal's format:
sqlite.org, "Database File Format", 4, "The Write-Ahead Log".)
"""

import sqlite3
import struct
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from handsfree.errors import LogError

T = TypeVar("T")

_HEAD, _FRAME_HEAD = 32, 24
_MAGIC = (0x377F0682, 0x377F0683)
_LOCK_BYTE = 0x40000000
"""SQLite keeps nothing in the page that has this byte."""
_TRIES, _PAUSE_S = 4, 0.05
"""Another process may write the journal into the file just now; then the two look torn."""
_SAMPLE = 50

_NEVER_CHANGED = {
    "visits": "id, started_at, source",
    "utterances": "id, visit_id, recorded_at, heard",
    "entries": "id, utterance_id, body",
}
"""Table → what of its rows stays as it was written, and is there for good."""


class JournalMisfit(LogError):
    """The journal beside the log is not the log's own; nothing was read or changed."""

    def __init__(self, path: Path) -> None:
        super().__init__(
            f"log {path}: the journal beside it ({path.name}-wal) is of another log, or of another "
            "state of this one; put back the file it belongs to, or move the journal elsewhere and "
            "keep it (only 'handsfree keep restore' replaces a log)"
        )


@dataclass(frozen=True)
class _Journal:
    """What is in a journal up to its last whole transaction.

    `pages` are the numbers of the pages in it, `size` is how many the log has after it;
    `counter` is the change counter in its first copy of page 1, None where it has none.
    """

    page_bytes: int
    pages: frozenset[int]
    size: int
    counter: int | None


def beside(path: Path) -> Path:
    """Where the journal of a log is."""
    return Path(f"{path}-wal")


def check(path: Path) -> None:
    """Raise JournalMisfit where the journal beside the log's file is not its own.

    The log may be in use. Nothing is written, but for SQLite's own index of the journal.
    """
    for attempt in range(_TRIES):
        if attempt:
            time.sleep(_PAUSE_S)
        try:
            if _fits(path):
                return
        except OSError:
            return  # what cannot be read is told when it is opened
    raise JournalMisfit(path)


def _fits(path: Path) -> bool:
    journal = _read(beside(path))
    if journal is None:
        return True
    head, size = b"", 0
    if path.exists():
        with path.open("rb") as file:
            head, size = file.read(100), file.seek(0, 2)
    if not head:
        return False  # SQLite would delete the journal with all that is in it
    if len(head) < 100 or not head.startswith(b"SQLite format 3\0"):
        return True  # no log at all: told when it is opened
    page_bytes, counter = struct.unpack_from(">H", head, 16)[0], struct.unpack_from(">I", head, 24)
    if (page_bytes if page_bytes > 1 else 1 << 16) != journal.page_bytes:
        return False
    # A page beyond the file's end stands in the journal, or was never the file's.
    new = range(size // journal.page_bytes + 1, journal.size + 1)
    lock_page = _LOCK_BYTE // journal.page_bytes + 1
    if any(page not in journal.pages and page != lock_page for page in new):
        return False
    # Each change counts one up from what the file had: a file left behind has missed some.
    if journal.counter is not None and journal.counter > counter[0] + 1:
        return False
    return _holds_all(path)


def _read(wal: Path) -> _Journal | None:
    """A journal's content; None where SQLite would take it for empty."""
    try:
        file = wal.open("rb")
    except FileNotFoundError:
        return None
    with file:
        head = file.read(_HEAD)
        if len(head) < _HEAD:
            return None
        magic, _, page_bytes, _, *salts = struct.unpack(">6I", head[:24])
        if magic not in _MAGIC or page_bytes < 512:
            return None
        pages: set[int] = set()
        waiting: set[int] = set()
        size, counter, first = 0, None, None
        while len(frame := file.read(_FRAME_HEAD)) == _FRAME_HEAD:
            page, commit, *its_salts = struct.unpack(">4I", frame[:16])
            if its_salts != salts:
                break  # of a journal that was here before
            body = file.read(page_bytes) if page == 1 and first is None else None
            if body is None:
                file.seek(page_bytes, 1)
            elif len(body) == page_bytes:
                first = struct.unpack_from(">I", body, 24)[0]
            waiting.add(page)
            if commit:
                pages |= waiting
                waiting.clear()
                size, counter = commit, first
    return _Journal(page_bytes, frozenset(pages), size, counter) if size else None


def _holds_all(path: Path) -> bool:
    """Whether what stands in the file by itself is there too when the journal is read with it."""
    try:
        # Without the journal: the file as whoever put it there meant it.
        alone = _asked(path, "immutable=1", _sampled)
        if alone is None:
            return True  # torn, as after a power cut while the journal was being written into it
        return bool(_asked(path, "mode=ro", lambda conn: _found(conn, alone)))
    except sqlite3.OperationalError:
        return True  # locked or not permitted: told when it is opened


def _asked(path: Path, mode: str, ask: Callable[[sqlite3.Connection], T]) -> T | None:
    """An answer from the file; None where it is no whole database that way."""
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?{mode}", uri=True)) as conn:
            return ask(conn)
    except sqlite3.OperationalError:
        raise
    except sqlite3.DatabaseError:
        return None


_Rows = dict[str, list[tuple[object, ...]]]


def _sampled(conn: sqlite3.Connection) -> _Rows:
    """Table → its first and its last rows."""
    there = {row[0] for row in conn.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    return {
        table: [
            row
            for order in ("ASC", "DESC")
            for row in conn.execute(f"{_select(table)} ORDER BY rowid {order} LIMIT {_SAMPLE}")
        ]
        for table in _NEVER_CHANGED
        if table in there
    }


def _found(conn: sqlite3.Connection, rows: _Rows) -> bool:
    return all(
        conn.execute(f"{_select(table)} WHERE id = ?", [row[0]]).fetchone() == row
        for table, of in rows.items()
        for row in of
    )


def _select(table: str) -> str:
    return f"SELECT {_NEVER_CHANGED[table]} FROM {table}"
