"""The log looked through: each thing that is wrong, with its id and what to do about it."""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path

from sqlite_utils import Database

from handsfree.errors import LogError
from handsfree.keeping.copying import connect
from handsfree.log import fit, reach, schema

MOST = 50
"""Findings of one kind that are told; a log so broken is restored, not mended line by line."""

_RESTORE = "restore a backup ('handsfree keep restore'), or copy the log and use sqlite3's .recover"

_UPDATE = "it is kept as it is; update the program, or correct it in 'handsfree review'"


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong. `what` it is in, by `id` where there is one; `todo`: what to do."""

    what: str
    id: str | None
    text: str
    todo: str

    def __str__(self) -> str:
        where = f"{self.what} {self.id}" if self.id else self.what
        return f"{where}: {self.text}; {self.todo}"


def look_through(
    log: Path, sounds: bool = False, progress: Callable[[int, int], None] | None = None
) -> list[Finding]:
    """All that is wrong with a log; empty when it is sound. Nothing is written.

    `sounds`: also decode every sound; `progress` gets how many are done, and of how many.
    """
    try:
        conn = connect(log)
    except LogError as error:
        return [Finding("file", None, str(error), _RESTORE)]
    with closing(conn):
        db = Database(conn, execute_plugins=False)
        found: list[Finding] = []
        rules = [_file, _references, _made]
        if schema.version(db) == len(schema.MIGRATIONS):
            rules += [_rules, _rows]
        for rule in rules:
            found += _told(rule, db)
        if sounds:
            found += _told(lambda db: _sounds(db, progress), db)
    return found + left_over(log)


def _told(rule: Callable[[Database], Iterator[Finding]], db: Database) -> list[Finding]:
    found: list[Finding] = []
    try:
        for each in rule(db):
            found.append(each)
            if len(found) == MOST:
                found.append(Finding("file", None, "there are more of this kind", _RESTORE))
                break
    except sqlite3.Error as error:  # too damaged to be looked through with this rule
        found.append(Finding("file", None, f"cannot be read: {error}", _RESTORE))
    return found


def _file(db: Database) -> Iterator[Finding]:
    version, newest = schema.version(db), len(schema.MIGRATIONS)
    if version < newest:
        yield Finding(
            "file",
            None,
            f"has the older format {version} of {newest}",
            "open it once ('handsfree visits') to bring it up",
        )
    for row in db.execute("PRAGMA integrity_check"):
        if row[0] != "ok":
            yield Finding("file", None, str(row[0]), _RESTORE)


def _references(db: Database) -> Iterator[Finding]:
    for table, rowid, parent, _ in db.execute("PRAGMA foreign_key_check").fetchall():
        yield Finding(
            table.replace("_", " "),
            _id_of(db, table, rowid),
            f"refers to one of {parent} that is not there",
            _RESTORE,
        )


def _id_of(db: Database, table: str, rowid: int) -> str:
    """The row's own id, else the first of its columns."""
    columns = [c["name"] for c in db.query(f"PRAGMA table_info({reach.quoted(table)})")]
    column = "id" if "id" in columns else columns[0]
    sql = f"SELECT {reach.quoted(column)} FROM {reach.quoted(table)} WHERE rowid = ?"
    return str(db.execute(sql, [rowid]).fetchone()[0])


def _made(db: Database) -> Iterator[Finding]:
    """Tables, indexes, triggers and views as this version of the file has them."""
    for kind, name, text in fit.made_otherwise(db):
        todo = "remove it" if "of this program" in text else _RESTORE
        yield Finding(f"{kind} {name}", None, text, todo)


_RULES = (
    (
        "entry",
        "SELECT id FROM entries AS e WHERE NOT EXISTS "
        "(SELECT 1 FROM marks AS m WHERE m.entry_id = e.id)",
        "has no mark, so that nobody knows whether it counts",
    ),
    (
        "entry",
        "SELECT entry_id AS id FROM marks GROUP BY entry_id "
        "HAVING min(seq) <> 1 OR max(seq) <> count(*)",
        "has marks missing in its history",
    ),
    (
        "utterance",
        "SELECT utterance_id AS id FROM utterance_marks GROUP BY utterance_id "
        "HAVING min(seq) <> 1 OR max(seq) <> count(*)",
        "has marks missing in its history",
    ),
    (
        "entry",
        "SELECT id FROM entries WHERE replaces = id",
        "says that it replaces itself",
    ),
    (
        "entry",
        "SELECT e.id AS id FROM entries AS e LEFT JOIN entries AS o ON o.id = e.replaces "
        "WHERE e.replaces IS NOT NULL AND o.id IS NULL",
        "replaces an entry that is not there",
    ),
    (
        "utterance",
        "SELECT id FROM utterances AS u WHERE status = 'recorded' AND NOT EXISTS "
        "(SELECT 1 FROM entries AS e WHERE e.utterance_id = u.id)",
        "is marked as recorded and has no entry",
    ),
    (
        "utterance",
        "SELECT utterance_id AS id FROM sounds WHERE substr(flac, 1, 4) <> CAST('fLaC' AS BLOB)",
        "has a sound that is no FLAC",
    ),
)


def _rules(db: Database) -> Iterator[Finding]:
    for what, sql, text in _RULES:
        for row in db.query(sql):
            yield Finding(what, row["id"], text, _RESTORE)


def _rows(db: Database) -> Iterator[Finding]:
    for table, id, error in fit.unfit_rows(db):
        todo = _UPDATE if isinstance(error, fit.NotRead) else _RESTORE
        what = "entry" if table == "entries" else table.removesuffix("s").replace("_", " ")
        yield Finding(what, id, str(error), todo)


def _sounds(db: Database, progress: Callable[[int, int], None] | None) -> Iterator[Finding]:
    from handsfree.audio.speech import from_flac

    ids = [row["utterance_id"] for row in db.query("SELECT utterance_id FROM sounds")]
    for done, each in enumerate(ids, 1):
        sql = "SELECT flac FROM sounds WHERE utterance_id = ?"
        row = db.execute(sql, [each]).fetchone()
        if row is not None:
            try:
                whole = len(from_flac(bytes(row[0]))) > 0
            except Exception as error:  # the decoder raises what it likes on odd bytes
                yield Finding("utterance", each, f"its sound cannot be decoded: {error}", _RESTORE)
            else:
                if not whole:
                    yield Finding("utterance", each, "its sound is empty", _RESTORE)
        if progress is not None:
            progress(done, len(ids))


def left_over(log: Path) -> list[Finding]:
    """Sound of sessions that broke off, which is not in this log yet. Nothing is touched."""
    return list(_left_in(log.with_name(f"{log.name}.spool")))


def _left_in(spool: Path) -> Iterator[Finding]:
    from handsfree.engines.base import SAMPLE_RATE
    from handsfree.spool import layout

    try:
        runs = sorted(path for path in spool.iterdir() if layout.is_run(path))
    except OSError:
        return
    for run in runs:
        if layout.lock_path(run).exists():
            with suppress(OSError):
                lock = layout.claim(layout.lock_path(run))
                if lock is None:
                    continue  # a session that goes on
                lock.release()
        samples = sum(each.end - each.start for each in layout.segments(run))
        if samples:
            yield Finding(
                "spool",
                run.name,
                f"{samples / SAMPLE_RATE:.0f} s of sound of a session that broke off",
                "start 'handsfree listen', it hears this again",
            )
