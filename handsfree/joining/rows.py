"""Rows of the other log into ours, looked at one by one on the way."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import islice
from typing import Any

from sqlite_utils import Database

from handsfree.log import fit
from handsfree.log.reach import quoted

Row = dict[str, Any]
_AT_ONCE = 500

_ROW_IDS = {"sounds": "utterance_id", "notices_settled": "notice_id"}
"""What rows are called by where it is not `id`, for the sentence about a bad one."""


def unfit(table: str, row: Row, why: str) -> fit.Unfit:
    """The error about a row of the other log that no log of ours could hold."""
    name = row.get(_ROW_IDS.get(table, "id")) or row.get("entry_id") or "?"
    return fit.Unfit(f"is damaged: {table}, {str(name)[:40]}: {why}")


class Columns:
    """The columns of our tables, and rows checked against them."""

    def __init__(self, db: Database) -> None:
        self._db = db
        self._known: dict[str, dict[str, str]] = {}

    def of(self, table: str) -> dict[str, str]:
        """Column → its declared type."""
        if table not in self._known:
            self._known[table] = fit.columns_of(self._db, table)
        return self._known[table]

    def check(self, table: str, row: Row) -> Row:
        """The row, if a log may hold it and it can be read again later."""
        try:
            fit.check_row(table, self.of(table), row)
        except ValueError as error:
            raise unfit(table, row, str(error)) from None
        return row


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
