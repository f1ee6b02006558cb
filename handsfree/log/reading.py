"""Queries that turn rows of the file into the rows of `handsfree.log.rows`."""

import json
from collections.abc import Sequence
from typing import Any

from sqlite_utils import Database

from handsfree.errors import LogError
from handsfree.log.doubt import unsure
from handsfree.log.rows import (
    Entry,
    Horse,
    HorseEntry,
    Notice,
    Utterance,
    Visit,
    VisitSummary,
    body_of,
)

_VISIT = """v.id AS id, v.horse_id AS horse_id, h.name AS horse, v.started_at AS started_at,
    v.source AS source, v.note AS note, v.horse_said AS horse_said,
    v.zone AS zone
    FROM visits AS v LEFT JOIN horses AS h ON h.id = v.horse_id"""

_COUNTS = f"""
    (SELECT count(*) FROM utterances AS u WHERE u.visit_id = v.id) AS utterances,
    (SELECT count(*) FROM entries_in_force AS e WHERE e.visit_id = v.id) AS entries,
    (SELECT count(*) FROM entries_in_force AS e
        WHERE e.visit_id = v.id AND e.status = 'confirmed') AS confirmed,
    (SELECT count(*) FROM utterances AS u
        WHERE u.visit_id = v.id AND {unsure("u.confidence", "u.doubt")}) AS doubtful"""

_HORSE = "id, name, kind, created, breed, born"

_ENTRY = """id, utterance_id, seq, kind, limb, body, replaces, created_at, origin,
    status, status_at, status_by, heard, start_s, confidence, doubt"""


def horse(db: Database, key: str) -> Horse | None:
    """The horse whose folded name is `key`."""
    rows = db.query(f"SELECT {_HORSE} FROM horses WHERE name_key = ?", [key])
    return next((Horse(**row) for row in rows), None)


def horses(db: Database) -> list[Horse]:
    """All horses in alphabetical order."""
    return [Horse(**row) for row in db.query(f"SELECT {_HORSE} FROM horses ORDER BY name_key")]


def horse_entries(db: Database, horse_id: str) -> list[HorseEntry]:
    """What counts of all visits to a horse, oldest visit first, in the order it was said."""
    rows = db.query(
        """SELECT e.visit_id AS visit_id, e.visit_started AS visit_started, e.id AS entry_id,
            e.status AS status, e.confidence AS confidence, e.doubt AS doubt, e.body AS body,
            e.heard AS heard, e.status_by AS status_by
        FROM visits AS v JOIN entries_in_force AS e ON e.visit_id = v.id
        WHERE v.horse_id = ? ORDER BY v.started_at, v.rowid, e.utterance_seq, e.seq""",
        [horse_id],
    )
    return [HorseEntry(**row | {"body": body_of(row["body"])}) for row in rows]


def visits_of(db: Database, horse_id: str) -> list[Visit]:
    """The visits to a horse, oldest first."""
    sql = f"SELECT {_VISIT} WHERE v.horse_id = ? ORDER BY v.started_at, v.rowid"
    return [Visit(**row) for row in db.query(sql, [horse_id])]


def visit(db: Database, id_or_prefix: str) -> Visit:
    """The one visit whose id is or begins with this; else LogError."""
    wanted = id_or_prefix.strip().lower()
    if not wanted:
        raise LogError("a visit's id is needed, or the beginning of one")
    # The bounds let the index be used; what comes after the beginning is never above the last
    # character there is.
    rows = db.query(
        f"SELECT {_VISIT} WHERE v.id BETWEEN :id AND :id || char(0x10FFFF) "
        "AND substr(v.id, 1, length(:id)) = :id",
        {"id": wanted},
    )
    found = [Visit(**row) for row in rows]
    if not found:
        raise LogError(f"the log has no visit {wanted}")
    if len(found) > 1 and wanted not in (each.id for each in found):
        raise LogError(f"{len(found)} visits have an id that begins with {wanted}; give more of it")
    return next((each for each in found if each.id == wanted), found[0])


def visits(db: Database, limit: int | None, horse_key: str | None) -> list[VisitSummary]:
    """Visits with their counts, latest first."""
    where = "" if horse_key is None else "WHERE h.name_key = :key"
    rows = db.query(
        f"SELECT {_COUNTS}, {_VISIT} {where} ORDER BY v.started_at DESC, v.rowid DESC LIMIT :limit",
        {"key": horse_key, "limit": -1 if limit is None else limit},
    )
    return [VisitSummary(**row) for row in rows]


def visits_between(db: Database, start: str, end: str) -> list[Visit]:
    """Visits that began from `start` on and before `end` (UTC as in the log), in order."""
    rows = db.query(
        f"SELECT {_VISIT} WHERE v.started_at >= ? AND v.started_at < ? "
        "ORDER BY v.started_at, v.rowid",
        [start, end],
    )
    return [Visit(**row) for row in rows]


def entries(db: Database, visit_id: str, in_force: bool) -> list[Entry]:
    """Entries of a visit in the order they were said, with their latest status."""
    view = "entries_in_force" if in_force else "entries_now"
    rows = db.query(
        f"SELECT {_ENTRY} FROM {view} WHERE visit_id = ? ORDER BY utterance_seq, seq", [visit_id]
    )
    return [Entry(**row | {"body": body_of(row["body"])}) for row in rows]


def utterances(db: Database, visit_id: str) -> list[Utterance]:
    """Utterances of a visit in order."""
    rows = db.query(
        """SELECT u.*, EXISTS (SELECT 1 FROM sounds WHERE utterance_id = u.id) AS has_sound
        FROM utterances AS u WHERE u.visit_id = ? ORDER BY u.seq""",
        [visit_id],
    )
    return [_utterance(row) for row in rows]


def _utterance(row: dict[str, Any]) -> Utterance:
    parsed = {key: tuple(json.loads(row[key])) for key in ("engines", "alternatives")}
    return Utterance(**row | parsed | {"has_sound": bool(row["has_sound"])})


def utterance_seq(db: Database, utterance_id: str) -> int:
    """The utterance's number in its visit; LogError for an unknown id."""
    row = db.execute("SELECT seq FROM utterances WHERE id = ?", [utterance_id]).fetchone()
    if row is None:
        raise LogError(f"the log has no utterance {utterance_id}")
    return int(row[0])


def utterance_status(db: Database, utterance_id: str) -> str:
    """Recorded, command or unclear, as it was when heard."""
    sql = "SELECT status FROM utterances WHERE id = ?"
    return str(db.execute(sql, [utterance_id]).fetchone()[0])


def visit_of(db: Database, utterance_id: str) -> str:
    """The visit an utterance of the log belongs to."""
    sql = "SELECT visit_id FROM utterances WHERE id = ?"
    return str(db.execute(sql, [utterance_id]).fetchone()[0])


def in_force(db: Database, utterance_id: str) -> set[str]:
    """Ids of an utterance's entries that count."""
    sql = "SELECT id FROM entries_in_force WHERE utterance_id = ?"
    return {row["id"] for row in db.query(sql, [utterance_id])}


def by_utterance(
    db: Database, entry_ids: Sequence[str]
) -> dict[str, list[tuple[str, dict[str, Any]]]]:
    """Utterance → its entries among these, each with its id, in the order given."""
    found: dict[str, list[tuple[str, dict[str, Any]]]] = {}
    for entry_id in dict.fromkeys(entry_ids):
        sql = "SELECT utterance_id, body FROM entries WHERE id = ?"
        utterance_id, body = db.execute(sql, [entry_id]).fetchone()
        found.setdefault(utterance_id, []).append((entry_id, body_of(body)))
    return found


def next_seq(db: Database, table: str, owner: str, owner_id: str) -> int:
    """One more than the highest `seq` the owner has in the table, 1 at first."""
    sql = f"SELECT coalesce(max(seq), 0) + 1 FROM {table} WHERE {owner} = ?"
    return int(db.execute(sql, [owner_id]).fetchone()[0])


def notices(db: Database, visit_id: str, settled: bool) -> list[Notice]:
    """Notices of a visit; without `settled` only those that still say something.

    These are neither settled nor hang on an entry no longer in force.
    """
    columns = "id, visit_id, utterance_id, entry_id, kind, code, limb, text, source, at"
    table = "notices" if settled else "notices_open"
    sql = f"SELECT {columns} FROM {table} WHERE visit_id = ? ORDER BY rowid"
    return [Notice(**row) for row in db.query(sql, [visit_id])]
