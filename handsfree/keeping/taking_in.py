"""An archive taken into a log: what is new comes in under its own ids, all of it or nothing."""

import sqlite3
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from sqlite_utils import Database

from handsfree.errors import LogError
from handsfree.keeping import archive
from handsfree.keeping.rows_in import Row, Shape, parsed, rows_of, shapes
from handsfree.keeping.sounds_in import as_flac, samples
from handsfree.keeping.vouching import Bag
from handsfree.log import Log, local_day, schema
from handsfree.log.reach import quoted
from handsfree.log.rows import storable
from handsfree.log.store import name_key


@dataclass(frozen=True)
class Conflict:
    """Something that is otherwise here than in the archive; what is here stays."""

    table: str
    id: str
    text: str

    def __str__(self) -> str:
        return f"{self.table.replace('_', ' ')} {self.id}: {self.text}"


@dataclass
class TakenIn:
    """What became of an archive: rows by table, sounds, and what was not taken."""

    added: Counter[str] = field(default_factory=Counter)
    known: Counter[str] = field(default_factory=Counter)
    conflicts: list[Conflict] = field(default_factory=list)
    cut_off: int = 0
    """References to what is neither here nor in the archive, which are left empty."""


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
    """Add to the log what the archive has and it has not, in one transaction.

    A row that is here already is passed over; where it is here otherwise, the one here stays
    and a conflict is told. Raises ArchiveRefused for an archive that is not as it should be,
    and LogError where a question must be answered first (`choices`).
    """
    about = parsed(bag, "data/archive.json")
    _check_about(bag, about)
    horses = about.get("horses", [])
    if not isinstance(horses, list):
        raise bag.refused("data/archive.json: its horses are no list")
    if choices and choices.rename is not None and len(horses) != 1:
        raise LogError("--as NAME is for an archive of one horse")
    names = sorted(n for n in bag.files if n.endswith(("/horse.json", "/visit.json")))
    # Horses first, then the visits in order of their day.
    names.sort(key=lambda n: (n.endswith("/visit.json"), n.split("/")[-2:]))
    erased: dict[str, str | None] = {}
    with log.taking_in() as db:
        taking = _Taking(
            db, bag, choices or Choices(), lambda id: erased.setdefault(id, log.was_erased(id))
        )
        for done, name in enumerate((*names, "data/more.json"), 1):
            taking.file(name)
            if progress is not None:
                progress(done, len(names) + 1)
        taking.finish()
        broken = db.execute("PRAGMA foreign_key_check").fetchone()
        if broken is not None:
            raise bag.refused(f"a row of {broken[0]} refers to a missing row of {broken[2]}")
    return taking.done


def _check_about(bag: Bag, about: dict[str, Any]) -> None:
    if about.get("format") != archive.FORMAT:
        raise bag.refused("is a bag, but no archive of this program")
    version, newest = about.get("version"), archive.VERSION
    if type(version) is not int or not 1 <= version <= newest:
        raise bag.refused(f"has the format {version!r}, this program knows 1 to {newest}")
    at, newest = about.get("log_version"), len(schema.MIGRATIONS)
    if type(at) is not int or not 1 <= at <= newest:
        raise bag.refused(f"is of a log of format {at!r}, this program knows 1 to {newest}")


class _Taking:
    """One archive on its way in, within one transaction."""

    def __init__(
        self, db: Database, bag: Bag, choices: Choices, erased: Callable[[str], str | None]
    ) -> None:
        self.done = TakenIn()
        self._db, self._bag, self._choices, self._erased = db, bag, choices, erased
        self._shapes = shapes(db)
        self._later: list[tuple[Shape, Row]] = []
        self._horses: dict[str, str] = {}
        self._marks: dict[int, int] = {}
        self._numbers: dict[str, dict[int, int]] = {}
        self._sounds: list[tuple[str, str]] = []

    def file(self, name: str) -> None:
        """Take in the rows of one file, and note which sounds belong to them."""
        data = parsed(self._bag, name)
        rows = rows_of(self._bag, name, data, self._shapes)
        self._marks = {}
        for table, shape in self._shapes.items():
            for row in sorted(rows.get(table, ()), key=lambda r: r.get("_row", 0)):
                self._take(shape, row)
        sounds = data.get("sounds", {})
        if not isinstance(sounds, dict):
            raise self._bag.refused(f"{name}: its sounds are no list")
        folder = name.rpartition("/")[0]
        for utterance_id, file in sounds.items():
            if not isinstance(file, str) or f"{folder}/{file}" not in self._bag.files:
                raise self._bag.refused(f"lacks a sound that {name} names")
            self._sounds.append((utterance_id, f"{folder}/{file}"))

    def finish(self) -> None:
        """Take in what had to wait for rows of other files, and the sounds."""
        while self._again():
            pass
        # What is still waiting refers to something that is nowhere: that reference is cut off.
        waiting, self._later = self._later, []
        for shape, row in waiting:
            loose = [
                link
                for link in shape.links
                if not link.owns and row.get(link.column) and not self._is_there(link, row)
            ]
            for link in loose:
                row[link.column] = None
            self.done.cut_off += len(loose)
            self._later.append((shape, row))
        while self._again():
            pass
        for shape, row in self._later:
            self._conflict(shape, row, "left out, for what it belongs to was not taken")
        for utterance_id, name in self._sounds:
            self._sound(utterance_id, name)

    def _again(self) -> bool:
        waiting, self._later = self._later, []
        for shape, row in waiting:
            self._take(shape, row)
        return len(self._later) < len(waiting)

    def _take(self, shape: Shape, row: Row) -> None:
        if shape.name == "horses" and self._settle_horse(row):
            self.done.known["horses"] += 1
            return
        for link in shape.links:
            if link.parent == "horses":
                row[link.column] = self._horses.get(row.get(link.column, ""), row.get(link.column))
        if shape.name == "lessons_forgotten" and not self._renumber(row):
            return
        found = self._here(shape, row)
        if found is not None:
            self._compare(shape, row, found)
            return
        if not all(self._is_there(link, row) for link in shape.links if row.get(link.column)):
            self._later.append((shape, row))
            return
        new = {k: v for k, v in row.items() if k not in ("_row", shape.number)}
        if shape.name == "utterance_marks":
            before = [n for old, n in self._marks.items() if old <= row["marks_before"]]
            new["marks_before"] = max(before, default=0)
        columns = ", ".join(quoted(k) for k in new)
        sql = f"INSERT INTO {quoted(shape.name)} ({columns}) VALUES ({', '.join('?' * len(new))})"
        try:
            place = self._db.execute(sql, list(new.values())).lastrowid
        except sqlite3.IntegrityError as error:
            self._conflict(shape, row, f"cannot be taken: {error}")
            return
        self._note(shape, row, int(place or 0))
        self.done.added[shape.name] += 1

    def _here(self, shape: Shape, row: Row) -> Row | None:
        where = " AND ".join(f"{quoted(key)} IS ?" for key in shape.keys)
        sql = f"SELECT rowid AS _row, * FROM {quoted(shape.name)} WHERE {where}"
        return next(self._db.query(sql, [row[key] for key in shape.keys]), None)

    def _is_there(self, link: Any, row: Row) -> bool:
        if link.parent not in self._shapes:
            return True
        sql = f"SELECT 1 FROM {quoted(link.parent)} WHERE {quoted(link.parent_column)} IS ?"
        return self._db.execute(sql, [row[link.column]]).fetchone() is not None

    def _compare(self, shape: Shape, row: Row, found: Row) -> None:
        self._note(shape, row, found["_row"])
        loose = {link.column for link in shape.links if not link.owns}
        skipped = {"_row", "marks_before", shape.number} | {k for k in loose if found[k] is None}
        other = [k for k in row if k not in skipped and row[k] != found[k]]
        if other:
            self._conflict(shape, row, f"is here with another {', '.join(sorted(other))}")
        else:
            self.done.known[shape.name] += 1

    def _note(self, shape: Shape, row: Row, place: int) -> None:
        """Where a row of the archive has come to stand."""
        if shape.name == "marks" and "_row" in row:
            self._marks[row["_row"]] = place
        if shape.number and isinstance(row.get(shape.number), int):
            self._numbers.setdefault(shape.name, {})[row[shape.number]] = place

    def _renumber(self, row: Row) -> bool:
        """Which lesson is the last one forgotten, by the numbers they have here."""
        sql = "SELECT 1 FROM lessons WHERE seq = ? AND heard = ? AND meant = ?"
        numbers = self._numbers.get("lessons", {})
        before = [
            here
            for there, here in numbers.items()
            if there <= row["up_to"]
            and self._db.execute(sql, [here, row["heard"], row["meant"]]).fetchone()
        ]
        row["up_to"] = max(before, default=0)
        return bool(before)

    def _settle_horse(self, row: Row) -> bool:
        """Whether a horse of the archive is one that the log has under another id.

        Raises LogError where that must be asked.
        """
        at = self._erased(row["id"])
        if at is not None and not self._choices.even_erased:
            raise LogError(
                f"'{row['name']}' was erased from this log on {local_day(at)}, as its owner asked; "
                "say --even-erased to take it in again"
            )
        alias = "SELECT horse_id FROM horse_aliases WHERE id = ?"
        known = self._db.execute(alias, [row["id"]]).fetchone()
        if known is not None:
            self._horses[row["id"]] = known[0]
            return True
        if self._choices.rename is not None:
            row["name"] = " ".join(storable(self._choices.rename).split())
        row["name_key"] = name_key(row["name"])
        sql = "SELECT id FROM horses WHERE name_key = ? AND id <> ?"
        other = self._db.execute(sql, [row["name_key"], row["id"]]).fetchone()
        if other is None:
            return False
        if not self._choices.same_horse:
            raise LogError(
                f"this log has another horse called '{row['name']}'; say --same-horse if it is "
                "the same one, or --as NAME to call the one of the archive otherwise"
            )
        self._horses[row["id"]] = other[0]
        self._db.execute("INSERT INTO horse_aliases VALUES (?, ?)", [row["id"], other[0]])
        return True

    def _conflict(self, shape: Shape, row: Row, text: str) -> None:
        id = next((str(row[k]) for k in shape.keys if row.get(k) is not None), "")
        self.done.conflicts.append(Conflict(shape.name, id, text))

    def _sound(self, utterance_id: str, name: str) -> None:
        sql = "SELECT 1 FROM utterances WHERE id = ?"
        if self._db.execute(sql, [utterance_id]).fetchone() is None:
            return
        flac = as_flac(self._bag, name)
        sql = "SELECT flac FROM sounds WHERE utterance_id = ?"
        found = self._db.execute(sql, [utterance_id]).fetchone()
        if found is None:
            self._db.execute("INSERT INTO sounds VALUES (?, ?)", [utterance_id, flac])
            self.done.added["sounds"] += 1
        elif bytes(found[0]) == flac or samples(bytes(found[0])) == samples(flac):
            self.done.known["sounds"] += 1
        else:
            text = "has another sound here"
            self.done.conflicts.append(Conflict("utterances", utterance_id, text))
