"""Rows of the other log into ours, looked at one by one on the way."""

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import datetime
from itertools import islice
from typing import Any

from sqlite_utils import Database

from handsfree.errors import LogError
from handsfree.log.reach import quoted
from handsfree.records.entries import from_json

Row = dict[str, Any]
_AT_ONCE = 500

_TYPES: dict[str, tuple[type, ...]] = {
    "TEXT": (str,),
    "INTEGER": (int,),
    "REAL": (float, int),
    "BLOB": (bytes,),
}

_TIMES = {"visits": "started_at", "utterances": "recorded_at", "marks": "at"}
"""Columns that are read as times of day; an ill-formed one would stop every later reader."""

_ROW_IDS = {"sounds": "utterance_id", "notices_settled": "notice_id"}
"""What rows are called by where it is not `id`, for the sentence about a bad one."""


class Unfit(LogError):
    """A row of the other log that no log of ours could hold."""

    def __init__(self, table: str, row: Row, why: str) -> None:
        name = row.get(_ROW_IDS.get(table, "id")) or row.get("entry_id") or "?"
        super().__init__(f"the other log is damaged: {table}, {str(name)[:40]}: {why}")


class Columns:
    """The columns of our tables, and rows checked against them."""

    def __init__(self, db: Database) -> None:
        self._db = db
        self._known: dict[str, dict[str, str]] = {}

    def of(self, table: str) -> dict[str, str]:
        """Column → its declared type."""
        if table not in self._known:
            info = self._db.query(f"PRAGMA main.table_info({quoted(table)})")
            self._known[table] = {column["name"]: column["type"] for column in info}
        return self._known[table]

    def check(self, table: str, row: Row) -> Row:
        """The row, if each value is of its column's type and can be read again later."""
        for name, declared in self.of(table).items():
            value = row[name]
            if value is not None and not isinstance(value, _TYPES[declared]):
                raise Unfit(table, row, f"{name} is no {declared.lower()}")
        if table in _TIMES:
            _check_time(table, row, _TIMES[table])
        if table == "entries":
            _check_body(row)
        return row


def _check_time(table: str, row: Row, column: str) -> None:
    try:
        datetime.fromisoformat(row[column]).astimezone()
    except (TypeError, ValueError, OverflowError):
        raise Unfit(table, row, f"{column} is no time") from None


def _check_body(row: Row) -> None:
    try:
        body = json.loads(row["body"])
        from_json(body)
        same = body["kind"] == row["kind"] and body.get("limb") == row["limb"]
    except (AttributeError, KeyError, TypeError, ValueError, RecursionError) as error:
        raise Unfit("entries", row, f"its body cannot be read ({error})") from None
    if not same:
        raise Unfit("entries", row, "its body is of another kind or limb than it says")


def there(db: Database, sql: str, values: Sequence[object] = ()) -> Iterator[Row]:
    """Rows of a query as dictionaries, some at a time."""
    cursor = db.execute(sql, list(values))
    names = [each[0] for each in cursor.description]
    while chunk := cursor.fetchmany(_AT_ONCE):
        for row in chunk:
            yield dict(zip(names, row, strict=True))


def add(db: Database, columns: Columns, table: str, rows: Iterable[Row]) -> int:
    """Insert rows into our table; returns how many."""
    names = list(columns.of(table))
    places = ", ".join("?" * len(names))
    sql = f"INSERT INTO main.{quoted(table)} ({', '.join(map(quoted, names))}) VALUES ({places})"
    count = 0
    checked = ([columns.check(table, row)[name] for name in names] for row in rows)
    while chunk := list(islice(checked, _AT_ONCE)):
        db.conn.executemany(sql, chunk)
        count += len(chunk)
    return count


def in_turn(rows: Iterable[Row], owner: str, last: Callable[[str], int]) -> Iterator[Row]:
    """Rows ordered by owner and `seq`, each with a `seq` that is free in ours.

    `last` says the highest our log has of an owner, 0 for none. Where it is taken, the row
    goes to the end, and those after it with it.
    """
    at, of = 0, None
    for row in rows:
        if row[owner] != of:
            of = row[owner]
            at = last(str(of))
        at = row["seq"] if isinstance(row["seq"], int) and row["seq"] > at else at + 1
        yield row | {"seq": at}


def differing(db: Database, table: str, but: Sequence[str], columns: Columns) -> str | None:
    """The id of a row that both logs have with other contents, None where there is none."""
    names = [quoted(name) for name in columns.of(table) if name not in (*but, "id")]
    ours = ", ".join(f"m.{name}" for name in names)
    theirs = ", ".join(f"o.{name}" for name in names)
    row = db.execute(
        f"SELECT o.id FROM other.{quoted(table)} AS o JOIN main.{quoted(table)} AS m "
        f"ON m.id = o.id WHERE ({ours}) IS NOT ({theirs}) LIMIT 1"
    ).fetchone()
    return None if row is None else str(row[0])
