"""A backup: a whole copy of a log that is in use, and the proof that it is whole."""

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from sqlite_utils import Database

from handsfree.errors import LogError
from handsfree.keeping.placing import placed, same, shown
from handsfree.log import files, fit, journal, reach, schema

Progress = Callable[[int, int], None]
"""Called with pages left and pages in all."""


@dataclass(frozen=True)
class Backup:
    """A backup that was written and looked through. `rows`: table → rows in it."""

    path: Path
    bytes: int
    log_version: int
    rows: dict[str, int]


def connect(path: Path) -> sqlite3.Connection:
    """A log (of this version of the program or an older one) opened for reading only.

    Raises LogError for what is no log, is damaged at its head, or is of a newer version.
    """
    if not os.path.isfile(path):
        raise LogError(f"log {shown(path)}: there is no such log")
    with files.told_plainly(path):
        journal.check(path)
        uri = files.reading_uri(path.resolve())
        conn = sqlite3.connect(uri, uri=True, timeout=files.BUSY_S)
        try:
            conn.execute("PRAGMA query_only = ON")
            marked = conn.execute("PRAGMA application_id").fetchone()[0] == schema.APPLICATION_ID
            version = conn.execute("PRAGMA user_version").fetchone()[0]
            conn.execute("SELECT count(*) FROM sqlite_master").fetchone()
            if not marked:
                raise LogError(f"log {shown(path)}: is not a log of this program")
            if version > len(schema.MIGRATIONS):
                raise LogError(
                    f"log {shown(path)}: was written by a newer version of this program (format "
                    f"{version}, this one knows {len(schema.MIGRATIONS)}); update the program"
                )
        except BaseException:
            conn.close()
            raise
    return conn


def back_up(
    log: Path, target: Path, force: bool = False, progress: Progress | None = None
) -> Backup:
    """Copy the log as it is at this moment, and look the copy through before it gets its name.

    Other programs may write to the log meanwhile: what they write after the beginning is not
    in the copy. Raises FileRefused where `target` is there already and not `force`, LogError
    where the log is damaged: a backup of a damaged log would be taken for a good one.
    """
    if same(target, log):
        raise LogError(f"log {shown(target)}: is the log itself; name another file")
    with closing(connect(log)) as source, files.told_plainly(log):
        # Within one transaction the copy shows one moment, however much is written meanwhile.
        source.execute("BEGIN")
        rows = count_rows(source)
        with placed(target, force) as part:
            files.copy_into(source, part, progress)
            wrong = wrong_with(part, rows)
            if wrong:
                raise LogError(
                    f"log {shown(log)}: no backup was written, for the copy is not whole: "
                    f"{wrong[0]}; 'handsfree keep check' says more"
                )
            size = part.stat().st_size
        return Backup(target, size, source.execute("PRAGMA user_version").fetchone()[0], rows)


def count_rows(conn: sqlite3.Connection) -> dict[str, int]:
    """Table → how many rows it has."""
    names = reach.tables(Database(conn, execute_plugins=False))
    sql = "SELECT count(*) FROM {}"
    return {n: conn.execute(sql.format(reach.quoted(n))).fetchone()[0] for n in names}


def unfit(path: Path) -> str | None:
    """Why a whole file is no log to work with, None where it is; what is wrong with it first.

    An entry that this version cannot read is kept as it is.
    """
    with closing(connect(path)) as conn:
        db = Database(conn, execute_plugins=False)
        for kind, name, text in fit.made_otherwise(db):
            return f"its {kind} {name} {text}"
        for table, id, error in fit.unfit_rows(db):
            if not isinstance(error, fit.NotRead):
                return f"{table}, {id[:40]}: {error}"
    return None


def wrong_with(path: Path, rows: dict[str, int] | None = None) -> list[str]:
    """What is wrong with a log's file, looked through to its last page; empty when sound.

    `rows`: what it should hold.
    """
    try:
        with closing(connect(path)) as conn:
            found = [str(r[0]) for r in conn.execute("PRAGMA integrity_check(20)") if r[0] != "ok"]
            broken = conn.execute("PRAGMA foreign_key_check").fetchall()
            found += [f"row {row[1]} of {row[0]} refers to a missing {row[2]}" for row in broken]
            if rows is not None and not found:
                found += [
                    f"{has} rows of {table} instead of {rows.get(table, 0)}"
                    for table, has in count_rows(conn).items()
                    if has != rows.get(table, 0)
                ]
    except (LogError, sqlite3.Error) as error:
        return [str(error)]
    return found
