"""What takes away from the log, and the records of it: thinned sound, erased horses."""

import hashlib
import json
import secrets
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from sqlite_utils import Database

from handsfree.errors import LogError
from handsfree.log import files
from handsfree.log.opened import OpenedLog
from handsfree.log.reach import Reach, quoted, tables
from handsfree.log.rows import new_id, now, storable


@dataclass(frozen=True)
class Erasure:
    """That something was erased: when, by whom, and how many rows of each table."""

    id: str
    at: str
    by: str
    counts: dict[str, int]


class KeptLog(OpenedLog):
    """The part of the log that keeping uses."""

    @contextmanager
    def snapshot(self) -> Iterator[Database]:
        """The rows of one moment, for reading."""
        with self._reading() as db:
            db.execute("BEGIN")
            try:
                yield db
            finally:
                db.rollback()

    def erasures(self) -> list[Erasure]:
        """The records of erasing, oldest first."""
        with self._reading() as db:
            rows = db.query('SELECT id, at, "by", counts FROM erasures ORDER BY rowid')
            return [Erasure(**row | {"counts": json.loads(row["counts"])}) for row in rows]

    def was_erased(self, horse_id: str) -> str | None:
        """When the horse of this id was erased from this log, None where it was not."""
        with self._reading() as db:
            for row in db.query("SELECT at, salt, horse_hash FROM erasures"):
                if row["horse_hash"] == _hash(row["salt"], horse_id):
                    return str(row["at"])
        return None

    def thin_sounds(self, utterance_ids: Sequence[str], by: str, reason: str) -> int:
        """Delete the sound of utterances, with a record of it; returns how many had some."""
        at, done = now(), 0
        with self._writing() as db:
            # What is deleted is overwritten, also where the file cannot be made smaller.
            db.execute("PRAGMA secure_delete = ON")
            for each in utterance_ids:
                size = db.execute(
                    "SELECT length(flac) FROM sounds WHERE utterance_id = ?", [each]
                ).fetchone()
                if size is None:
                    continue
                db.execute("DELETE FROM sounds WHERE utterance_id = ?", [each])
                row = {"utterance_id": each, "at": at, "by": storable(by), "reason": reason}
                db.table("sounds_thinned").insert(row | {"bytes": size[0]})
                done += 1
        return done

    def give_back_space(self) -> str | None:
        """Make the file as small as what is in it; else why not (None: done)."""
        try:
            with self._reading() as db:
                db.execute("VACUUM")
                busy = db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
        except LogError as error:
            return str(error)
        return "another program is reading the log" if busy else None

    def erase_horse(self, horse_id: str, by: str) -> Erasure:
        """Erase a horse with all that belongs to it, for good, and record that it was done.

        Nobody else may have the log open: else a copy of the erased could stay in the journal.
        Raises LogError then, before anything is erased.
        """
        with files.told_plainly(self.path, self._busy_s):
            _alone(self._db)
        try:
            with self._writing() as db:
                db.execute("PRAGMA secure_delete = ON")
                erasure = _erase(db, horse_id, by)
            with self._reading() as db:
                # Older forms of rows may lie in unused parts of pages; a file made anew has none.
                db.execute("VACUUM")
        finally:
            with files.told_plainly(self.path, self._busy_s):
                self._db.execute("PRAGMA journal_mode = WAL").fetchone()
        return erasure


def _hash(salt: str, horse_id: str) -> str:
    return hashlib.sha256((salt + horse_id).encode()).hexdigest()


def _alone(db: Database) -> None:
    """Leave the write-ahead journal, which only the one connection to a file can."""
    mode = db.execute("PRAGMA journal_mode = DELETE").fetchone()[0]
    if mode == "wal":
        raise LogError("the log is open in another program (listen, review?); close it first")


def _erase(db: Database, horse_id: str, by: str) -> Erasure:
    # The triggers refuse to delete anything; they are back before the transaction ends.
    triggers = list(
        db.query("SELECT name, sql FROM sqlite_master WHERE type = 'trigger' ORDER BY rowid")
    )
    db.execute("PRAGMA defer_foreign_keys = ON")
    aliases = aliases_of(db, horse_id)
    reach = Reach(db)
    reach.begin("horses", [horse_id])
    reach.begin("utterances", moved_away(db, reach))
    reach.add_shared(alone=True)
    counts = reach.counts()
    for trigger in triggers:
        # Those that keep a full-text table in step with deleted rows are needed now.
        if "RAISE(" in trigger["sql"].upper():
            db.execute(f"DROP TRIGGER {quoted(trigger['name'])}")
    counts |= _forget_lessons(db, reach)
    for link in reach.links:
        if not link.owns:
            column, within = quoted(link.column), reach.within(link.parent)
            db.execute(
                f"UPDATE {quoted(link.table)} SET {column} = NULL WHERE {column} IN (SELECT "
                f"{quoted(link.parent_column)} FROM {quoted(link.parent)} WHERE {within}) "
                f"AND NOT {reach.within(link.table)}"
            )
    # What belongs to others first: triggers on a row look at what it belongs to.
    for table in reversed(tables(db)):
        if table in counts:
            db.execute(f"DELETE FROM {quoted(table)} WHERE {reach.within(table)}")
    reach.close()
    _tidy_full_text(db)
    for trigger in triggers:
        if "RAISE(" in trigger["sql"].upper():
            db.execute(trigger["sql"])
    broken = db.execute("PRAGMA foreign_key_check").fetchone()
    if broken:
        raise sqlite3.IntegrityError(f"erasing would break a reference: {tuple(broken)}")
    for each in aliases:  # under these ids it must not come back either
        _record(db, each, by, {})
    return _record(db, horse_id, by, counts)


def aliases_of(db: Database, horse_id: str) -> list[str]:
    """The ids that the horse had in other logs before they were joined."""
    sql = "SELECT id FROM horse_aliases WHERE horse_id = ?"
    return [row["id"] for row in db.query(sql, [horse_id])]


def moved_away(db: Database, reach: Reach) -> list[str]:
    """Utterances that were said into another horse's visit and wholly moved to this one's.

    The same words stand in both; where the other horse still has an entry of it, it stays.
    """
    rows = db.query(
        f"""SELECT DISTINCT o.utterance_id AS id FROM entries AS e
        JOIN entries AS o ON o.id = e.replaces
        WHERE e.{reach.within("entries")} AND o.rowid NOT IN
            (SELECT r FROM temp.reached WHERE t = 'entries')
          AND NOT EXISTS (SELECT 1 FROM entries_in_force AS f
                          WHERE f.utterance_id = o.utterance_id)"""
    )
    return [row["id"] for row in rows]


def _forget_lessons(db: Database, reach: Reach) -> dict[str, int]:
    """The words of erased lessons stand in the list of forgotten ones too."""
    done = db.execute(
        f"""DELETE FROM lessons_forgotten WHERE
            EXISTS (SELECT 1 FROM lessons AS l WHERE l.{reach.within("lessons")}
                AND l.heard = lessons_forgotten.heard AND l.meant = lessons_forgotten.meant)
            AND NOT EXISTS (SELECT 1 FROM lessons AS l WHERE NOT l.{reach.within("lessons")}
                AND l.heard = lessons_forgotten.heard AND l.meant = lessons_forgotten.meant)"""
    )
    return {"lessons_forgotten": done.rowcount} if done.rowcount > 0 else {}


def _tidy_full_text(db: Database) -> None:
    """Take erased words out of full-text tables: they keep them until their parts are merged."""
    made = "SELECT name, sql FROM sqlite_master WHERE sql LIKE 'CREATE VIRTUAL%USING fts5%'"
    for row in list(db.query(made)):
        name = quoted(row["name"])
        parts = row["sql"].replace('"', "'").replace(" ", "")
        if "content='" in parts and "content=''" not in parts:
            db.execute(f"INSERT INTO {name} ({name}) VALUES ('rebuild')")
        db.execute(f"INSERT INTO {name} ({name}) VALUES ('optimize')")
    statistics = "SELECT 1 FROM sqlite_master WHERE name = 'sqlite_stat4'"
    if db.execute(statistics).fetchone():  # it has samples of what was in the columns
        db.execute("DELETE FROM sqlite_stat4")


def _record(db: Database, horse_id: str, by: str, counts: dict[str, int]) -> Erasure:
    erasure = Erasure(new_id(), now(), storable(by), counts)
    salt = secrets.token_hex(16)
    row = {
        "id": erasure.id,
        "at": erasure.at,
        "by": erasure.by,
        "salt": salt,
        "horse_hash": _hash(salt, horse_id),
        "counts": json.dumps(counts),
    }
    db.table("erasures").insert(row)
    return erasure
