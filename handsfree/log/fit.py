"""What every row and every part of a log must be, wherever it comes from.

Logs are joined, archives taken in, backups put back and logs looked through by these rules.
SQLite checks less than the rest of the program takes for granted.
"""

import json
import math
import re
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import fields
from datetime import datetime
from typing import Any

from sqlite_utils import Database

from handsfree.errors import LogError
from handsfree.language.known import entry_of
from handsfree.log import reach, schema
from handsfree.log.heard_again import NewHearing
from handsfree.log.rows import body_of
from handsfree.records.checking import BY_THIS_VERSION, Unreadable

Row = Mapping[str, Any]

_TYPES: dict[str, tuple[type, ...]] = {
    "TEXT": (str,),
    "INTEGER": (int,),
    "REAL": (float, int),
    "BLOB": (bytes,),
}
_TIMES = ("at", "started_at", "recorded_at")
"""Columns that are read as times of day; an ill-formed one would stop every later reader."""
_YEARS = range(1900, 2200)
_COUNTS = ("seq", "up_to", "marks_before")
_LISTS = {"engines": str, "alternatives": dict, "other": dict}
"""Columns with a JSON list, and what each of it is."""
_IDS = ("id", "change", "undoes", "replaces", "digest")
"""Columns with an id, as are those that end in `_id`."""
_ID = re.compile(r"[0-9A-Za-z_-]{1,64}")


class Unfit(LogError):
    """What is to be joined holds something that no log can. Whoever joins it knows its name."""


class NotRead(ValueError):
    """The row is whole, but this version cannot read the entry in it: it can be kept as it is."""


def columns_of(db: Database, table: str, log: str = "main") -> dict[str, str]:
    """Column → its declared type."""
    info = db.query(f"PRAGMA {log}.table_info({reach.quoted(table)})")
    return {column["name"]: str(column["type"]).upper() for column in info}


def check_row(table: str, columns: Mapping[str, str], row: Row) -> None:
    """Raise ValueError, one line, for a row that no log could hold; NotRead comes last."""
    if "id" in columns and row.get("id") is None:
        raise ValueError("it has no id")
    for name, declared in columns.items():
        value = row.get(name)
        if value is None:
            continue
        if name in _IDS or name.endswith("_id"):
            _check_id(name, value)
        if not isinstance(value, _TYPES.get(declared, (str, int, float, bytes))):
            raise ValueError(f"{name} is no {declared.lower()}")
        if isinstance(value, float) and not math.isfinite(value):
            raise ValueError(f"{name} is no number")
        if name in _TIMES:
            _check_time(name, value)
        if name in _COUNTS and not isinstance(value, int):
            raise ValueError(f"{name} is no whole number")
        if name in _LISTS:
            _check_list(name, value)
    if table == "horses" and not str(row.get("name") or "").strip():
        raise ValueError("it has no name")
    if table == "entries":
        _check_entry(row)


def _check_id(name: str, value: Any) -> None:
    if not (isinstance(value, str) and _ID.fullmatch(value)):
        raise ValueError(f"its {name} is no id")


def _check_time(name: str, value: Any) -> None:
    try:
        year = datetime.fromisoformat(value).year
    except (TypeError, ValueError):
        raise ValueError(f"{name} is no time ({str(value)[:40]!r})") from None
    if year not in _YEARS:
        raise ValueError(f"{name} is out of all bounds ({str(value)[:40]!r})")


def _check_list(name: str, value: Any) -> None:
    try:
        found = json.loads(value)
    except (TypeError, ValueError, RecursionError):
        found = None
    if not isinstance(found, list):
        raise ValueError(f"{name} is no list")
    if not all(isinstance(each, _LISTS[name]) for each in found):
        raise ValueError(f"{name} is a list of something else")


def _check_entry(row: Row) -> None:
    if row.get("hearing") is not None:
        _check_hearing(row["hearing"])
    entry = entry_of(body_of(row["body"]))
    if isinstance(entry, Unreadable):
        raise NotRead(f"its body {BY_THIS_VERSION}: {entry.why}")
    if (entry.kind, entry.limb) != (row["kind"], row.get("limb")):
        raise ValueError("its body is of another kind or limb than it says")


def _check_hearing(text: str) -> None:
    hearing = body_of(text)
    known = {field.name for field in fields(NewHearing)}
    lists = all(isinstance(hearing.get(key), list) for key in ("engines", "alternatives"))
    whole = known - {"free_text"} <= hearing.keys() <= known
    if not (whole and lists and isinstance(hearing["heard"], str)):
        raise ValueError("its hearing cannot be read")


def made_otherwise(db: Database) -> Iterator[tuple[str, str, str]]:
    """Kind, name and what is wrong of each table, index, trigger and view that is not as this
    version of the file has it."""
    with closing(sqlite3.connect(":memory:")) as conn:
        fresh = Database(conn, execute_plugins=False)
        schema.migrate(fresh, schema.MIGRATIONS[: schema.version(db)])
        wanted, there = _parts(fresh), _parts(db)
    for (kind, name), sql in wanted.items():
        if (kind, name) not in there:
            yield kind, name, "is missing"
        elif there[kind, name] != sql:
            yield kind, name, "is not as this program made it"
    for kind, name in there.keys() - wanted.keys():
        if kind == "trigger":  # tables and views of his own harm nothing; a trigger writes
            yield kind, name, "is not of this program"


def _parts(db: Database) -> dict[tuple[str, str], str]:
    rows = db.query("SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL")
    return {(row["type"], row["name"]): " ".join(row["sql"].split()) for row in rows}


def unfit_rows(db: Database) -> Iterator[tuple[str, str, ValueError]]:
    """Table, id and reason of each row that no log could hold, sounds left out (see `check`)."""
    for table in reach.related(db):
        if table == "sounds":
            continue
        columns = columns_of(db, table)
        for row in db.query(f"SELECT * FROM {reach.quoted(table)}"):
            try:
                check_row(table, columns, row)
            except ValueError as error:
                yield table, str(row.get("id") or next(iter(row.values()))), error
