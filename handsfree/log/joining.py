"""The log with another one beside it, what two machines differ about, and recordings taken."""

import json
import sqlite3
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from sqlite_utils import Database

from handsfree.errors import LogError
from handsfree.log import files, fit, journal, schema
from handsfree.log.opened import OpenedLog
from handsfree.log.rows import EntryBody, new_id, now, storable

_TAKEN = "INSERT OR IGNORE INTO recordings_taken VALUES (?, ?, ?, NULL)"


@dataclass(frozen=True)
class Conflict:
    """What two machines differ about in an utterance, until a person has chosen.

    `other` are the entries of the version that is not in force, none where that version
    says that there was nothing to note.
    """

    utterance_id: str
    text: str
    other: tuple[EntryBody, ...]


@dataclass(frozen=True)
class Recording:
    """A recording whose sound the log knows; `visits` are what it became, oldest first."""

    digest: str
    name: str
    taken_at: str
    done_at: str | None
    visits: tuple[str, ...]


class JoiningLog(OpenedLog):
    """The part of the log that joining and bringing in recordings use."""

    @contextmanager
    def joining(self, other: Path, keep: bool) -> Iterator[Database]:
        """One transaction with the log at `other` attached, for reading, as `other`.

        It is of the newest format, if need be as a copy. All or nothing; without `keep`
        nothing. Raises LogError where it is no log, damaged, newer, or this one itself, and
        fit.Unfit where what was written from it does not fit together.
        """
        with newest_format(other, self.path) as uri, files.told_plainly(self.path, self._busy_s):
            # A connection of its own: closing it also ends whatever was still being read.
            db = files.open_database(self.path, read_only=False, busy_s=self._busy_s)
            try:
                with files.told_plainly(other):
                    db.execute("ATTACH DATABASE ? AS other", [uri])
                    check_tables(db, other)
                db.execute("BEGIN IMMEDIATE")
                db.execute("PRAGMA defer_foreign_keys = ON")
                try:
                    yield db
                    if keep:
                        db.commit()
                except sqlite3.IntegrityError as error:
                    # All that is written came from there.
                    raise fit.Unfit(
                        f"is damaged: it holds a row that no log can ({error})"
                    ) from error
            finally:
                # What is still being read would otherwise hold the lock after the closing.
                db.conn.rollback()
                db.close()

    def conflicts(self, visit_id: str) -> list[Conflict]:
        """What is open of a visit: entries judged differently and not judged again since."""
        with self._reading() as db:
            rows = db.query(
                """SELECT c.utterance_id AS utterance_id, c.text AS text, c.other AS other
                FROM utterances AS u JOIN conflicts AS c ON c.utterance_id = u.id
                JOIN entries_now AS e ON e.id = c.entry_id AND e.status = 'heard'
                WHERE u.visit_id = ? ORDER BY u.seq, c.at, c.change""",
                [visit_id],
            )
            latest = {row["utterance_id"]: row for row in rows}
        return [Conflict(i, r["text"], tuple(json.loads(r["other"]))) for i, r in latest.items()]

    def recording(self, digest: str) -> Recording | None:
        """The recording of this sound, None where it was never taken."""
        with self._reading() as db:
            rows = db.query("SELECT * FROM recordings_taken WHERE digest = ?", [digest])
            row = next(rows, None)
            visits = db.execute(
                "SELECT visit_id FROM recording_visits WHERE digest = ? ORDER BY rowid", [digest]
            ).fetchall()
        return None if row is None else Recording(**row, visits=tuple(v[0] for v in visits))

    def take_recording(self, digest: str, name: str) -> None:
        """Say that a recording is being heard; nothing new where that was said."""
        with self._writing() as db:
            db.execute(_TAKEN, [digest, storable(name), now()])

    def recording_became(self, digest: str, visit_ids: Sequence[str], done: bool) -> None:
        """Say which visits a recording became, and whether all of it was heard."""
        with self._writing() as db:
            for each in visit_ids:
                db.execute("INSERT OR IGNORE INTO recording_visits VALUES (?, ?)", [digest, each])
            if done:
                db.execute(
                    "UPDATE recordings_taken SET done_at = coalesce(done_at, ?) WHERE digest = ?",
                    [now(), digest],
                )

    def start_recorded_visit(
        self,
        digest: str,
        source: str,
        horse_id: str | None,
        started_at: str,
        horse_said: str | None = None,
        zone: str | None = None,
    ) -> str:
        """Begin a visit of a recording and keep that it is one, both or neither; returns its id."""
        visit_id = new_id()
        with self._writing() as db:
            db.execute(_TAKEN, [digest, storable(Path(source).name), now()])
            db.execute(
                "INSERT INTO visits (id, horse_id, started_at, source, horse_said, zone) "
                "VALUES (?, ?, ?, ?, ?, ?)",
                [visit_id, horse_id, started_at, storable(source), horse_said, zone],
            )
            db.execute("INSERT INTO recording_visits VALUES (?, ?)", [digest, visit_id])
        return visit_id


@contextmanager
def newest_format(other: Path, ours: Path) -> Iterator[str]:
    """The other log as a URI for reading; one of an older format is copied and brought up."""
    path = files.whole_path(other)
    with files.told_plainly(other):
        if not path.exists():
            raise LogError(f"log {other}: there is no such log")
        if path.is_dir():
            raise LogError(f"log {other}: is a folder; name a file in it")
        if path.samefile(ours):
            raise LogError(f"log {other}: is this log itself")
        journal.check(path)
        with closing(
            sqlite3.connect(files.reading_uri(path), uri=True, timeout=files.BUSY_S)
        ) as conn:
            at = _version(Database(conn, execute_plugins=False), other)
            if at == len(schema.MIGRATIONS):
                yield files.reading_uri(path)
                return
            with tempfile.TemporaryDirectory(prefix="handsfree-") as folder:
                copy = Path(folder) / "other.db"
                with closing(sqlite3.connect(copy)) as into:
                    conn.backup(into)
                    schema.migrate(Database(into, execute_plugins=False))
                yield files.reading_uri(copy)


def _version(db: Database, path: Path) -> int:
    marked = db.execute("PRAGMA application_id").fetchone()[0] == schema.APPLICATION_ID
    at, newest = schema.version(db), len(schema.MIGRATIONS)
    if not marked or at < 1:
        raise LogError(f"log {path}: is no log of this program")
    if at > newest:
        raise LogError(
            f"log {path}: was written by a newer version of this program (format {at}, "
            f"this one knows {newest}); update the program"
        )
    return at


def check_tables(db: Database, path: Path) -> None:
    """Raise LogError unless the attached log is whole and its tables are made as ours are.

    Views or generated columns in the place of tables could do as they like when read.
    """
    kinds = "SELECT name, sql FROM {log}.sqlite_master WHERE type = 'table'"
    ours = {row["name"]: row["sql"] for row in db.query(kinds.format(log="main"))}
    theirs = {row["name"]: row["sql"] for row in db.query(kinds.format(log="other"))}
    for name in ours:
        columns = [
            [(c["name"], c["hidden"]) for c in db.query(f"PRAGMA {log}.table_xinfo('{name}')")]
            for log in ("main", "other")
        ]
        if name not in theirs or columns[0] != columns[1]:
            raise LogError(f"log {path}: is damaged: its table {name} is not as it should be")
    # Its indexes too: what is found damaged after this is found in ours.
    wrong = db.execute("PRAGMA other.integrity_check(1)").fetchone()[0]
    if wrong != "ok":
        raise LogError(f"log {path}: is damaged ({str(wrong)[:60]}); restore a backup of it")
