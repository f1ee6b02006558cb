"""Which rows of which tables belong to a horse or a visit, found by the references themselves.

Nothing here knows the tables: one that is added later is archived and erased with the rest,
if its column says `REFERENCES` or is called as the columns of _NAMED.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from sqlite_utils import Database

_NAMED = {
    "horse_id": "horses",
    "visit_id": "visits",
    "utterance_id": "utterances",
    "entry_id": "entries",
    "notice_id": "notices",
}


_ALONE = ("lessons_forgotten", "erasures")
"""Tables with notes in them that refer to no other."""


@dataclass(frozen=True)
class Link:
    """`table.column` names a row of `parent`; `owns`: the row belongs to that one."""

    table: str
    column: str
    parent: str
    parent_column: str
    owns: bool


def tables(db: Database) -> list[str]:
    """The real tables: no views, no full-text tables and nothing of SQLite's own."""
    rows = db.query("SELECT name, sql FROM sqlite_master WHERE type = 'table' ORDER BY rowid")
    found = {row["name"]: row["sql"] or "" for row in rows}
    virtual = [name for name, sql in found.items() if sql.upper().startswith("CREATE VIRTUAL")]
    return [
        name
        for name in found
        if not name.startswith("sqlite_")
        and name not in virtual
        and not any(name.startswith(f"{each}_") for each in virtual)
    ]


def related(db: Database) -> list[str]:
    """The tables that hold what was said and done: without those made out of them for finding."""
    tied = {name for link in links(db) for name in (link.table, link.parent)}
    return [name for name in tables(db) if name in tied or name in _ALONE]


def quoted(name: str) -> str:
    """A table's or column's name as SQL takes it."""
    return '"' + name.replace('"', '""') + '"'


def links(db: Database) -> list[Link]:
    """All references between tables.

    A row belongs to what a column of it that is never empty refers to; where a table has no
    such column, to whatever it refers to. A visit belongs to its horse, once it has one.
    """
    found: list[Link] = []
    names = tables(db)
    for table in names:
        columns = {c["name"]: c for c in db.query(f"PRAGMA table_info({quoted(table)})")}
        refers: dict[str, tuple[str, str]] = {
            name: (_NAMED[name], "id") for name in columns if _NAMED.get(name) in names
        }
        for key in db.query(f"PRAGMA foreign_key_list({quoted(table)})"):
            refers[key["from"]] = (key["table"], key["to"] or "id")
        needed = {name for name in refers if columns[name]["notnull"] or columns[name]["pk"]}
        for name, (parent, parent_column) in refers.items():
            owns = parent != table and (not needed or name in needed)
            found.append(Link(table, name, parent, parent_column, owns))
    return found


class Reach:
    """The rows that belong to the given ones, listed in a temporary table by their rowids.

    Use one at a time on a connection.
    """

    def __init__(self, db: Database, but: Collection[str] = ()) -> None:
        """`but`: tables that are left out, with what belongs to their rows."""
        self._db = db
        self._links = [link for link in links(db) if link.table not in but]
        db.execute(
            "CREATE TEMP TABLE IF NOT EXISTS reached (t TEXT, r INTEGER, PRIMARY KEY (t, r))"
        )
        self.clear()

    @property
    def links(self) -> list[Link]:
        """All references between tables."""
        return self._links

    def clear(self) -> None:
        """Begin with nothing."""
        self._db.execute("DELETE FROM temp.reached")

    def begin(self, table: str, ids: Iterable[str]) -> None:
        """Add the rows of these ids and all that belong to them."""
        for each in ids:
            self._db.execute(
                f"INSERT OR IGNORE INTO temp.reached SELECT ?, rowid FROM {quoted(table)} "
                "WHERE id = ?",
                [table, each],
            )
        while self._widen():
            pass

    def _widen(self) -> bool:
        grown = False
        for link in self._links:
            if link.owns:
                done = self._db.execute(
                    f"""INSERT OR IGNORE INTO temp.reached SELECT ?, c.rowid
                    FROM temp.reached AS r CROSS JOIN {quoted(link.parent)} AS p ON p.rowid = r.r
                    CROSS JOIN {quoted(link.table)} AS c
                        ON c.{quoted(link.column)} = p.{quoted(link.parent_column)}
                    WHERE r.t = ?""",
                    [link.table, link.parent],
                )
                grown = grown or done.rowcount > 0
        return grown

    def add_shared(self, alone: bool) -> None:
        """Add what these rows hang on and what belongs to nobody itself (as a recording).

        `alone`: only where no other row hangs on it too.
        """
        owned = {link.table for link in self._links if link.owns}
        for link in self._links:
            if not link.owns or link.parent in owned or link.parent == "horses":
                continue
            parent, column = quoted(link.parent), quoted(link.column)
            others = f"AND NOT EXISTS (SELECT 1 FROM {quoted(link.table)} AS o WHERE "
            others += f"o.{column} = p.{quoted(link.parent_column)} AND o.rowid NOT IN "
            others += f"(SELECT r FROM temp.reached WHERE t = '{link.table}'))"
            self._db.execute(
                f"""INSERT OR IGNORE INTO temp.reached SELECT ?, p.rowid
                FROM temp.reached AS r CROSS JOIN {quoted(link.table)} AS c ON c.rowid = r.r
                CROSS JOIN {parent} AS p ON p.{quoted(link.parent_column)} = c.{column}
                WHERE r.t = ? {others if alone else ""}""",
                [link.parent, link.table],
            )

    def counts(self) -> dict[str, int]:
        """Table → how many of its rows belong."""
        rows = self._db.query("SELECT t, count(*) AS n FROM temp.reached GROUP BY t ORDER BY t")
        return {row["t"]: row["n"] for row in rows}

    def within(self, table: str) -> str:
        """SQL for `rowid IN` the rows of a table that belong."""
        name = table.replace("'", "''")
        return f"rowid IN (SELECT r FROM temp.reached WHERE t = '{name}')"

    def close(self) -> None:
        """Forget the list."""
        self._db.execute("DROP TABLE IF EXISTS temp.reached")
