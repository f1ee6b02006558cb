"""Where the log is, how its file is made and opened, and how trouble with it is told."""

import os
import sqlite3
import stat
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

import platformdirs
from sqlite_utils import Database

from handsfree.errors import LogError
from handsfree.log import journal, schema

ENVIRONMENT = "HANDSFREE_LOG"
BUSY_S = 10.0
"""How long a write waits for another process to finish its own, in seconds."""
_NOT_WRITABLE = "cannot be written; check the permissions of the file and its folder"
_PAGES_AT_A_TIME = 4096


def default_path() -> Path:
    """The log used when none is named: $HANDSFREE_LOG, else log.db in the user's data folder."""
    named = os.environ.get(ENVIRONMENT, "").strip()
    if named:
        return Path(named).expanduser()
    return Path(platformdirs.user_data_dir("handsfree", appauthor=False)) / "log.db"


def _reason(error: sqlite3.Error, busy_s: float) -> str:
    """What an SQLite error means to the person in front of it."""
    name = getattr(error, "sqlite_errorname", None) or ""
    texts = {
        "SQLITE_NOTADB": "is not a log of this program; name another file",
        "SQLITE_CORRUPT": "is damaged; copy it, then restore a backup or try sqlite3's .recover",
        "SQLITE_READONLY": _NOT_WRITABLE,
        "SQLITE_CANTOPEN": "cannot be opened; check the permissions of the file and its folder",
        "SQLITE_PERM": "cannot be opened; check the permissions of the file and its folder",
        "SQLITE_BUSY": f"is in use: another program has kept it locked for {busy_s:g} s; "
        "close it and try again",
        "SQLITE_CONSTRAINT_FOREIGNKEY": "refused: there is no such horse, visit or utterance in it",
        "SQLITE_FULL": "cannot grow: the disk is full",
        "SQLITE_IOERR": "cannot be read or written: the disk reports an error",
    }
    for start, text in texts.items():
        if name.startswith(start):
            return text
    return f"refused: {error}"


@contextmanager
def told_plainly(path: Path, busy_s: float = BUSY_S) -> Iterator[None]:
    """Turn SQLite and file errors inside the block into a LogError naming the file."""
    try:
        yield
    except sqlite3.Error as error:
        raise LogError(f"log {path}: {_reason(error, busy_s)}") from error
    except OSError as error:
        raise LogError(f"log {path}: {error.strerror or error}") from error


def whole_path(path: Path) -> Path:
    """The path without links and "~". Raises LogError where it leads nowhere."""
    try:
        return path.expanduser().resolve()
    except RuntimeError as error:  # links in a circle; the home folder of nobody
        raise LogError(f"log {path}: leads nowhere ({error}); name the file itself") from error


def writable(path: Path) -> bool:
    """Whether the log at `path` can be written: the file itself, and journals beside it."""
    return os.access(path, os.R_OK | os.W_OK) and os.access(path.parent, os.W_OK | os.X_OK)


def refuse_writing(path: Path) -> None:
    """Raise the LogError of a write to a log that was opened for reading only."""
    raise LogError(f"log {path}: {_NOT_WRITABLE}")


def _make_folder(folder: Path) -> None:
    """Make the folder and the missing ones above it, each for the owner only."""
    for each in reversed([folder, *folder.parents]):
        if not each.exists():
            each.mkdir(mode=0o700, exist_ok=True)


def _make_file(path: Path) -> None:
    """Make an empty file for the owner only, its name safe on disk before it is used."""
    try:
        handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return
    os.close(handle)
    _sync_names(path.parent)


def _sync_names(folder: Path) -> None:
    """Wait until the disk has the folder's list of names."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _close_to_others(path: Path) -> None:
    """Take the file and its companions from group and others, where they are ours.

    Only for what is known to be a log: a wrong name must not close another program's file.
    """
    if os.name != "posix":
        return
    for each in (path, Path(f"{path}-wal"), Path(f"{path}-shm")):
        with suppress(OSError):
            state = each.lstat()
            ours = stat.S_ISREG(state.st_mode) and state.st_uid == os.geteuid()
            if ours and state.st_mode & 0o077:
                each.chmod(0o600)


def _check_usable(path: Path, read_only: bool) -> None:
    if path.is_dir():
        raise LogError(f"log {path}: is a folder; name a file in it")
    if not path.exists():
        raise LogError(f"there is no log at {path}; 'handsfree listen' begins one")
    if not path.is_file():
        raise LogError(f"log {path}: is a device, pipe or socket; name an ordinary file")
    if read_only:
        if not os.access(path, os.R_OK):
            raise LogError(f"log {path}: cannot be read; check its permissions")
        return
    # SQLite itself would open such a file for reading and fail at the first answer.
    if not os.access(path, os.R_OK | os.W_OK):
        raise LogError(f"log {path}: cannot be written; check its permissions")
    if not writable(path):
        raise LogError(f"log {path}: its folder cannot be written; check its permissions")


def reading_uri(path: Path) -> str:
    """What SQLite is to open to read the log at `path`, also where nothing can be written."""
    mode = "mode=ro"
    if not writable(path):
        # Beside a log with write-ahead journal SQLite wants to make a file even to read it.
        # Where no journal is left and none can be made, nobody is writing.
        wal, index = journal.beside(path), Path(f"{path}-shm")
        if not wal.exists() or not (wal.stat().st_size or index.exists()):
            mode = "immutable=1"
    return f"{path.as_uri()}?{mode}"


def _connect(path: Path, read_only: bool, busy_s: float) -> Database:
    # SQLite leaves journals behind after a connection that may only read.
    only_reads = read_only and not writable(path)
    uri = reading_uri(path) if only_reads else f"{path.as_uri()}?mode=rw"
    conn = sqlite3.connect(uri, uri=True, timeout=busy_s)
    try:
        return Database(conn, execute_plugins=False)
    except BaseException:
        conn.close()
        raise


def _use_wal(db: Database, busy_s: float) -> None:
    """Switch to the write-ahead journal; SQLite does not wait for the lock here, so we do."""
    deadline = time.monotonic() + busy_s
    while True:
        try:
            if db.journal_mode != "wal":
                db.enable_wal()
            return  # a file system that cannot have it keeps the rollback journal
        except sqlite3.OperationalError as error:
            busy = (getattr(error, "sqlite_errorname", None) or "").startswith("SQLITE_BUSY")
            if not busy or time.monotonic() > deadline:
                raise
            time.sleep(0.02)


def open_database(path: Path, read_only: bool, busy_s: float = BUSY_S) -> Database:
    """Open the log's file, making and migrating it as needed.

    `read_only`: nothing is made, and it may lie where nothing can be written; one of an older
    format is still brought up where it can be (and kept beside it as it was), else a copy of it
    that goes when it is closed. Raises LogError, one line naming the file, when it is not there
    (`read_only`), no ordinary file, no log, damaged, of a newer version, not permitted, locked for
    longer than `busy_s` seconds, or the journal beside it is not its own.
    """
    with told_plainly(path, busy_s):
        if not path.is_dir():
            journal.check(path)
        if not read_only and not path.exists():
            _make_folder(path.parent)
            _make_file(path)
        _check_usable(path, read_only)
        db = _connect(path, read_only, busy_s)
        try:
            return _prepare(db, path, read_only, busy_s)
        except BaseException:
            db.close()
            raise


def _prepare(db: Database, path: Path, read_only: bool, busy_s: float) -> Database:
    if schema.is_foreign(db):
        raise LogError(f"log {path}: is the database of another program; name another file")
    at, newest = schema.version(db), len(schema.MIGRATIONS)
    if at > newest:
        raise LogError(
            f"log {path}: was written by a newer version of this program (format {at}, "
            f"this one knows {newest}); update the program"
        )
    if read_only and at < newest and not writable(path):
        return _brought_up_aside(db)
    db.execute("PRAGMA foreign_keys = ON")
    if read_only and at == newest:
        return db
    _close_to_others(path)
    _use_wal(db, busy_s)
    # FULL waits for the disk at each commit: an answered utterance survives a power cut.
    # On macOS only F_FULLFSYNC does that; elsewhere the pragma changes nothing.
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA fullfsync = ON")
    schema.migrate(db, keep=lambda at: _keep_as_it_was(path, at))
    return db


def _brought_up_aside(db: Database) -> Database:
    """A copy in the newest format of a log that cannot be written, which goes when it is closed."""
    copy = sqlite3.connect("")  # SQLite's own temporary file
    try:
        db.conn.backup(copy)
        newest = Database(copy, execute_plugins=False)
        schema.migrate(newest)
    except BaseException:
        copy.close()
        raise
    db.close()
    return newest


def copy_into(
    source: sqlite3.Connection, part: Path, progress: Callable[[int, int], None] | None = None
) -> None:
    """Copy the database into a new file, all of it in that one file.

    `progress` gets pages left and pages in all.
    """
    part.touch(mode=0o600)
    with closing(sqlite3.connect(part)) as copy:

        def tell(_: int, left: int, all_pages: int) -> None:
            if progress is not None:
                progress(left, all_pages)

        source.backup(copy, pages=_PAGES_AT_A_TIME, progress=tell)
        copy.execute("PRAGMA journal_mode = DELETE")


def _keep_as_it_was(path: Path, version: int) -> None:
    """Put a copy of a log of an older format beside it, before it is brought up."""
    part = path.with_name(f".{path.name}.format-{version}.{os.getpid()}.part")
    part.unlink(missing_ok=True)
    try:
        with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as source:
            copy_into(source, part)
        with part.open("rb+") as file:
            os.fsync(file.fileno())
        os.replace(part, free_name(path, f"format-{version}"))
        _sync_names(path.parent)
    finally:
        part.unlink(missing_ok=True)


def free_name(path: Path, what: str) -> Path:
    """A name beside the file that nothing has yet: log.WHAT.db, log.WHAT-2.db, …"""
    number = 1
    while True:
        more = f"-{number}" if number > 1 else ""
        name = path.with_name(f"{path.stem}.{what}{more}{path.suffix}")
        if not os.path.lexists(name):
            return name
        number += 1
