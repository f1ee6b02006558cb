"""Horses of two logs: one of the same name is the same horse, whatever its id."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from sqlite_utils import Database

from handsfree.joining.locks import unlocked
from handsfree.joining.rows import Columns, Row, add, there, unfit
from handsfree.log.reach import links, quoted
from handsfree.log.store import name_key

FACTS = ("kind", "breed", "born")


@dataclass(frozen=True)
class FactDiffers:
    """Something said of a horse on each machine; what was said last is taken."""

    horse: str
    fact: str
    taken: str
    other: str


@dataclass
class Horses:
    """What joining did with the horses; `left_out` are ids that were erased here.

    `changed` counts facts that are now another in our log.
    """

    added: list[str] = field(default_factory=list)
    joined: list[str] = field(default_factory=list)
    differ: list[FactDiffers] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)
    changed: int = 0


def join_horses(db: Database, columns: Columns, erased: Iterable[str]) -> Horses:
    """Take the other's horses over; makes temp.horse_map from their ids to ours."""
    db.execute("CREATE TEMP TABLE horse_map (id TEXT PRIMARY KEY, ours TEXT)")
    done = Horses(left_out=sorted(erased))
    for table in ("horse_facts", "horse_aliases"):  # of which only parts are written
        for row in there(db, f"SELECT * FROM other.{table}"):
            columns.check(table, row)
    for theirs in list(there(db, "SELECT * FROM other.horses ORDER BY name_key, id")):
        columns.check("horses", theirs)
        if theirs["name_key"] != name_key(theirs["name"]):
            raise unfit("horses", theirs, "its name is not as it is looked for")
        if theirs["id"] not in done.left_out:
            _take(db, columns, theirs, done)
    for alias in list(there(db, "SELECT * FROM other.horse_aliases ORDER BY id")):
        _alias(db, alias["id"], _mapped(db, alias["horse_id"]))
    return done


def _take(db: Database, columns: Columns, theirs: Row, done: Horses) -> None:
    ours = _ours(db, theirs)
    if ours is None:
        add(db, columns, "horses", [theirs])
        rows = said(db, "other", theirs).items()
        _copy_facts(
            db, theirs["id"], [each for each in rows if _kept(db, "other", theirs, each[0])]
        )
        _map(db, theirs["id"], theirs["id"])
        done.added.append(theirs["name"])
        return
    facts = [said(db, "main", ours), said(db, "other", theirs)]
    kept = {f for f in FACTS if _kept(db, "main", ours, f) or _kept(db, "other", theirs, f)}
    winner = ours["id"]
    known = db.execute("SELECT 1 FROM main.horse_aliases WHERE id = ?", [theirs["id"]]).fetchone()
    if theirs["id"] != ours["id"] and not known:
        done.joined.append(theirs["name"])
        # The same on both machines: the horse that was added first.
        first = min((ours, theirs), key=lambda h: (h["created"], h["id"]))
        winner = first["id"]
        _become(db, ours["id"], first)
        _alias(db, ours["id"] if first is theirs else theirs["id"], winner)
    _map(db, theirs["id"], winner)
    _join_facts(db, winner, (ours, theirs), facts, kept, done)


def _ours(db: Database, theirs: Row) -> dict[str, Any] | None:
    for sql, value in (
        ("SELECT * FROM main.horses WHERE id = ?", theirs["id"]),
        (
            "SELECT h.* FROM main.horse_aliases AS a JOIN main.horses AS h ON h.id = a.horse_id "
            "WHERE a.id = ?",
            theirs["id"],
        ),
        ("SELECT * FROM main.horses WHERE name_key = ?", theirs["name_key"]),
    ):
        found = next(there(db, sql, [value]), None)
        if found is not None:
            return found
    return None


def _become(db: Database, horse_id: str, first: Row) -> None:
    """Give our horse the id, name and time of the one that was added first."""
    if horse_id == first["id"]:
        return
    refers = [link for link in links(db) if (link.parent, link.parent_column) == ("horses", "id")]
    with unlocked(db, [link.table for link in refers]):
        db.execute(
            "UPDATE main.horses SET id = ?, name = ?, created = ? WHERE id = ?",
            [first["id"], first["name"], first["created"], horse_id],
        )
        for link in refers:
            column = quoted(link.column)
            db.execute(
                f"UPDATE main.{quoted(link.table)} SET {column} = ? WHERE {column} = ?",
                [first["id"], horse_id],
            )


def _alias(db: Database, alias: str, horse_id: str | None) -> None:
    if horse_id is not None and alias != horse_id:
        taken = "SELECT 1 FROM main.horses WHERE id = ?"
        if db.execute(taken, [alias]).fetchone() is None:
            db.execute("INSERT OR IGNORE INTO main.horse_aliases VALUES (?, ?)", [alias, horse_id])


def _map(db: Database, theirs: str, ours: str) -> None:
    db.execute("INSERT INTO temp.horse_map VALUES (?, ?)", [theirs, ours])


def _mapped(db: Database, theirs: str) -> str | None:
    row = db.execute("SELECT ours FROM temp.horse_map WHERE id = ?", [theirs]).fetchone()
    return None if row is None else str(row[0])


def said(db: Database, log: str, horse: Row) -> dict[str, list[tuple[str, str]]]:
    """Fact → (when, what) was said of it; one never changed was said when the horse was added."""
    found: dict[str, list[tuple[str, str]]] = {}
    for fact in FACTS:
        sql = f"SELECT at, value FROM {log}.horse_facts WHERE horse_id = ? AND fact = ?"
        rows = [(str(at), str(value)) for at, value in db.execute(sql, [horse["id"], fact])]
        if not rows and horse[fact] is not None:
            rows = [(horse["created"], horse[fact])]
        found[fact] = rows
    return found


def _kept(db: Database, log: str, horse: Row, fact: str) -> bool:
    """Whether a log has rows of a fact: it was changed, or said after the horse was added."""
    sql = f"SELECT 1 FROM {log}.horse_facts WHERE horse_id = ? AND fact = ?"
    return db.execute(sql, [horse["id"], fact]).fetchone() is not None


def _copy_facts(
    db: Database, horse_id: str, facts: Iterable[tuple[str, list[tuple[str, str]]]]
) -> None:
    for fact, rows in facts:
        for at, value in rows:
            db.execute(
                "INSERT OR IGNORE INTO main.horse_facts VALUES (?, ?, ?, ?)",
                [horse_id, fact, value, at],
            )


def _join_facts(
    db: Database,
    horse_id: str,
    horses: tuple[Row, Row],
    facts: list[dict[str, list[tuple[str, str]]]],
    kept: set[str],
    done: Horses,
) -> None:
    ours, theirs = horses
    for fact in FACTS:
        mine, others = facts[0][fact], facts[1][fact]
        both = sorted({*mine, *others})
        if not both:
            continue
        rows = fact in kept or len(both) > 1
        if rows:
            _copy_facts(db, horse_id, [(fact, both)])
        taken = both[-1][1]
        db.execute(f"UPDATE main.horses SET {fact} = ? WHERE id = ?", [taken, horse_id])
        if not rows:  # said once, when the horse was added: that needs no row
            db.execute(
                "DELETE FROM main.horse_facts WHERE horse_id = ? AND fact = ?", [horse_id, fact]
            )
        done.changed += taken != ours[fact]
        values = {ours[fact], theirs[fact]} - {None}
        new = ours[fact] not in {v for _, v in others} and theirs[fact] not in {v for _, v in mine}
        if len(values) == 2 and new:
            other = next(value for value in values if value != taken)
            done.differ.append(FactDiffers(ours["name"], fact, taken, other))
