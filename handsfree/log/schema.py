"""The tables of the log, as an ordered list of migrations.

Each migration brings the file from the version before it to its own (its place in
the list, counted from 1) inside one transaction. They are plain SQL in released/, one file
each, so that no change of the program changes what was released; a test holds their digests.
Later changes go into a new file at the end.
"""

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from sqlite_utils import Database

APPLICATION_ID = 0x48664C67
"""Written to the file's header (letters HfLg) to tell a log from other SQLite files."""

MIGRATIONS: tuple[str, ...] = tuple(
    file.read_text("utf-8") for file in sorted((Path(__file__).parent / "released").glob("*.sql"))
)
"""MIGRATIONS[n] brings version n to version n + 1."""


@contextmanager
def transaction(db: Database) -> Iterator[None]:
    """All or nothing, holding the only write lock from the start.

    A deferred transaction could read, wait, and then be refused because another process
    wrote in between; an immediate one waits its turn (the connection's busy timeout).
    """
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        db.commit()
    except BaseException:
        db.rollback()
        raise


def version(db: Database) -> int:
    """The file's schema version, 0 for a new file."""
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def is_foreign(db: Database) -> bool:
    """Whether this is the SQLite file of some other program."""
    tables = db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    marked = db.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID
    return bool(not marked and (tables or version(db)))


def migrate(
    db: Database,
    migrations: Sequence[str] = MIGRATIONS,
    keep: Callable[[int], None] | None = None,
) -> int:
    """Bring the file to the newest version and return how many steps that took.

    `keep` is called with the version of an older log before its first step, while nobody can
    write to it. Raises sqlite3.Error when a step fails, and what `keep` raises; the file then
    stays at the step before it.
    """
    steps = 0
    while version(db) < len(migrations):
        with transaction(db):
            # Read again under the lock: another process may have taken the step.
            at = version(db)
            if at >= len(migrations):
                break
            if keep is not None and at and not steps:
                keep(at)
            db.executescript(migrations[at])
            broken = db.execute("PRAGMA foreign_key_check").fetchone()
            if broken:
                raise sqlite3.IntegrityError(f"migration {at + 1} breaks a reference: {broken}")
            db.execute(f"PRAGMA user_version = {at + 1}")
        steps += 1
    return steps
