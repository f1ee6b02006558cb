"""An archive taken into a log: it becomes a log of its own first, and that one is joined."""

import sqlite3
import tempfile
from collections import Counter
from collections.abc import Callable, Mapping
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from handsfree.errors import LogError
from handsfree.joining.join import Joined, taken_over
from handsfree.joining.rows import there
from handsfree.keeping import archive
from handsfree.keeping.rows_in import Row, columns, parsed, rows_of
from handsfree.keeping.sounds_in import as_flac, samples
from handsfree.keeping.vouching import Bag
from handsfree.log import Log, files, fit, local_day, schema
from handsfree.log.reach import links, quoted
from handsfree.log.rows import storable
from handsfree.log.store import name_key


@dataclass(frozen=True)
class Conflict:
    """Something of the archive that is not taken, and why."""

    table: str
    id: str
    text: str

    def __str__(self) -> str:
        return f"{self.table.replace('_', ' ')} {self.id}: {self.text}"


@dataclass
class TakenIn:
    """What became of an archive: rows by table, what was not taken, and what joining told."""

    added: Counter[str] = field(default_factory=Counter)
    known: Counter[str] = field(default_factory=Counter)
    conflicts: list[Conflict] = field(default_factory=list)
    cut_off: int = 0
    """References to what is neither here nor in the archive, which are left empty."""
    thinned: int = 0
    """Sounds that were let go here, and stay so."""
    joined: Joined | None = None


@dataclass(frozen=True)
class Choices:
    """What only a person can decide of horses that are called alike."""

    same_horse: bool = False
    rename: str | None = None
    even_erased: bool = False


def take_in(
    log: Log,
    bag: Bag,
    choices: Choices | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> TakenIn:
    """Add to the log what the archive has and it has not, all or nothing.

    What is in both stays once, and what was judged differently in both is asked about in the
    review, as where two logs are merged. Raises ArchiveRefused for an archive that is not as
    it should be, and LogError where a question must be answered first (`choices`).
    """
    choices, done = choices or Choices(), TakenIn()
    with tempfile.TemporaryDirectory(prefix=".handsfree-", dir=log.path.parent) as folder:
        path = Path(folder) / "archive.db"
        with files.told_plainly(log.path), closing(sqlite3.connect(path)) as conn:
            there = _Making(Database(conn, execute_plugins=False), log, bag, done)
            there.make(choices.rename, progress)
            conn.commit()
        try:
            joined = taken_over(
                log,
                path,
                ask=lambda db: _ask(log, db, choices, done),
                even_erased=choices.even_erased,
            )
        except fit.Unfit as error:
            raise bag.refused(f"{error}; nothing was taken") from None
    done.joined = joined
    done.added.update(joined.new)
    done.thinned = there.rows["sounds"] - joined.new["sounds"]
    for table, count in there.rows.items():
        # Sounds are counted already, and of facts only those that changed something.
        old = 0 if table in ("sounds", "horse_facts") else count - joined.new.get(table, count)
        done.known.update({table: old} if old else {})
    return done


def _check_about(bag: Bag, about: dict[str, Any]) -> None:
    if about.get("format") != archive.FORMAT:
        raise bag.refused("is a bag, but no archive of this program")
    version, newest = about.get("version"), archive.VERSION
    if type(version) is not int or not 1 <= version <= newest:
        raise bag.refused(f"has the format {version!r}, this program knows 1 to {newest}")
    at, newest = about.get("log_version"), len(schema.MIGRATIONS)
    if type(at) is not int or not 1 <= at <= newest:
        raise bag.refused(f"is of a log of format {at!r}, this program knows 1 to {newest}")


def _ask(log: Log, db: Database, choices: Choices, done: TakenIn) -> None:
    """Raise LogError for a horse about which a person must be asked first."""
    for horse in there(db, "SELECT * FROM other.horses ORDER BY name_key"):
        at = None if choices.even_erased else log.was_erased(horse["id"])
        if at is not None:
            raise LogError(
                f"'{horse['name']}' was erased from this log on {local_day(at)}, as its owner "
                "asked; say --even-erased to take it in again"
            )
        known = """SELECT name FROM main.horses WHERE id = ?1
            OR id IN (SELECT horse_id FROM main.horse_aliases WHERE id = ?1)"""
        ours = db.execute(known, [horse["id"]]).fetchone()
        alike = "SELECT 1 FROM main.horses WHERE name_key = ?"
        if ours is not None:
            if choices.rename is not None and name_key(ours[0]) != horse["name_key"]:
                text = f"is here already, called '{ours[0]}'"
                done.conflicts.append(Conflict("horses", horse["id"], text))
        elif not choices.same_horse and db.execute(alike, [horse["name_key"]]).fetchone():
            raise LogError(
                f"this log has another horse called '{horse['name']}'; say --same-horse if it is "
                "the same one, or --as NAME to call the one of the archive otherwise"
            )


class _Making:
    """A log of what is in an archive, on its way. `rows`: table → how many it has at the end."""

    def __init__(self, db: Database, log: Log, bag: Bag, done: TakenIn) -> None:
        self.rows: Counter[str] = Counter()
        self._db, self._log, self._bag, self._done = db, log, bag, done
        schema.migrate(db)
        self._columns = columns(db)

    def make(self, rename: str | None, progress: Callable[[int, int], None] | None) -> None:
        """Fill it with the rows of all files, then let go what belongs to nothing."""
        about = parsed(self._bag, "data/archive.json")
        _check_about(self._bag, about)
        horses = about.get("horses", [])
        if not isinstance(horses, list):
            raise self._bag.refused("data/archive.json: its horses are no list")
        if rename is not None and len(horses) != 1:
            raise LogError("--as NAME is for an archive of one horse")
        # What they see to is seen to when the rows are joined.
        for (name,) in self._db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'"):
            self._db.execute(f"DROP TRIGGER {quoted(name)}")
        names = sorted(n for n in self._bag.files if n.endswith(("/horse.json", "/visit.json")))
        sounds: dict[str, str] = {}
        for at, name in enumerate((*names, "data/more.json"), 1):
            sounds |= self._file(name, rename)
            if progress is not None:
                progress(at, len(names) + 1)
        self._leave_out()
        for utterance_id, name in sounds.items():
            self._sound(utterance_id, name)
        for table in (*self._columns, "sounds"):
            sql = f"SELECT count(*) FROM main.{quoted(table)}"
            self.rows[table] = self._db.execute(sql).fetchone()[0]

    def _file(self, name: str, rename: str | None) -> Mapping[str, str]:
        """Add the rows of one file; returns which sounds belong to them, by utterance."""
        data = parsed(self._bag, name)
        for table, rows in rows_of(self._bag, name, data, self._columns).items():
            for row in rows:
                if table == "horses" and rename is not None:
                    shown = " ".join(storable(rename).split())
                    row |= {"name": shown, "name_key": name_key(shown)}
                self._add(name, table, row)
        sounds = data.get("sounds", {})
        if not isinstance(sounds, dict):
            raise self._bag.refused(f"{name}: its sounds are no list")
        folder = name.rpartition("/")[0]
        for file in sounds.values():
            if not isinstance(file, str) or f"{folder}/{file}" not in self._bag.files:
                raise self._bag.refused(f"lacks a sound that {name} names")
        return {each: f"{folder}/{file}" for each, file in sounds.items()}

    def _add(self, name: str, table: str, row: Row) -> None:
        # A row keeps its place, for other rows name it by that.
        names = ["rowid" if key == "_row" else quoted(key) for key in row]
        into, places = f"{quoted(table)} ({', '.join(names)})", ", ".join("?" * len(row))
        try:
            self._db.execute(f"INSERT INTO {into} VALUES ({places})", list(row.values()))
        except sqlite3.IntegrityError as error:
            # What several visits share, as a recording, stands in the file of each.
            same = " AND ".join(f"{each} IS ?" for each in names)
            sql = f"SELECT 1 FROM {quoted(table)} WHERE {same}"
            if self._db.execute(sql, list(row.values())).fetchone() is None:
                raise self._bag.refused(f"{name}: a row of {table} cannot be so: {error}") from None

    def _leave_out(self) -> None:
        """Leave out rows that belong to none of the archive, and references to what is nowhere."""
        self._db.execute("ATTACH DATABASE ? AS ours", [files.reading_uri(self._log.path)])
        known = [link for link in links(self._db) if {link.table, link.parent} <= {*self._columns}]
        lost = "FROM main.{0} WHERE {1} IS NOT NULL AND {1} NOT IN (SELECT {3} FROM main.{2})"
        found = True
        while found:
            found = False
            for link in (each for each in known if each.owns):
                parts = (link.table, link.column, link.parent, link.parent_column)
                sql = lost.format(*map(quoted, parts))
                for row in self._db.execute(f"SELECT * {sql}").fetchall():
                    text = "left out, for what it belongs to is not in the archive"
                    self._done.conflicts.append(Conflict(link.table, str(row[0]), text))
                    found = True
                self._db.execute(f"DELETE {sql}")
        for link in (each for each in known if not each.owns):
            table, column, parent, key = map(
                quoted, (link.table, link.column, link.parent, link.parent_column)
            )
            self._done.cut_off += self._db.execute(
                f"""UPDATE main.{table} SET {column} = NULL WHERE {column} IS NOT NULL
                AND {column} NOT IN (SELECT {key} FROM main.{parent})
                AND {column} NOT IN (SELECT {key} FROM ours.{parent})"""
            ).rowcount

    def _sound(self, utterance_id: str, name: str) -> None:
        sql = "SELECT 1 FROM main.utterances WHERE id = ?"
        if self._db.execute(sql, [utterance_id]).fetchone() is None:
            return
        flac, here = as_flac(self._bag, name), self._log.sound(utterance_id)
        if here is None:
            self._db.execute("INSERT INTO main.sounds VALUES (?, ?)", [utterance_id, flac])
        elif here == flac or samples(here) == samples(flac):
            self._done.known["sounds"] += 1
        else:
            text = "has another sound here"
            self._done.conflicts.append(Conflict("utterances", utterance_id, text))
