"""The history of entries: every judgement is a mark added, none is ever taken away.

An entry's latest mark is its status. Undoing a change adds marks too: `undoes` names
the change, and the new status is what the entry's marks say without the undone ones.
"""

from collections.abc import Iterable, Sequence
from typing import Any

from sqlite_utils import Database

from handsfree.errors import LogError
from handsfree.log import passing
from handsfree.log.rows import (
    IN_FORCE,
    Author,
    Change,
    ChangedMeanwhile,
    Mark,
    new_id,
    now,
    storable,
)


def history(db: Database, entry_id: str) -> list[Mark]:
    """All marks of one entry, oldest first. Raises LogError for an unknown entry."""
    rows = db.query("SELECT * FROM marks WHERE entry_id = ? ORDER BY seq", [entry_id])
    marks = [Mark(**row) for row in rows]
    if not marks:
        raise LogError(f"the log has no entry {entry_id}")
    return marks


def add(
    db: Database,
    entry_ids: Iterable[str],
    status: str,
    author: Author,
    change: str,
    undoes: str | None = None,
) -> None:
    """Add one mark of this status to each entry."""
    for entry_id in entry_ids:
        count = db.execute(
            "SELECT coalesce(max(seq), 0) FROM marks WHERE entry_id = ?", [entry_id]
        ).fetchone()[0]
        row = {
            "entry_id": entry_id,
            "seq": count + 1,
            "status": status,
            "at": now(),
            "by": storable(author.by),
            "reason": None if author.reason is None else storable(author.reason),
            "utterance_id": author.utterance_id,
            "change": change,
            "undoes": undoes,
        }
        db.table("marks").insert(row)


def check_in_force(db: Database, entry_ids: Sequence[str]) -> None:
    """Raise ChangedMeanwhile when one of the entries does not count any more."""
    if any(history(db, entry_id)[-1].status not in IN_FORCE for entry_id in entry_ids):
        raise ChangedMeanwhile


def mark_in_force(
    db: Database, entry_ids: Sequence[str], status: str, author: Author, change: str
) -> tuple[str, ...]:
    """Mark those of the entries that are in force and not of this status already.

    Returns the ids marked. An entry that another process struck or corrected in the
    meantime stays as it is. Raises LogError for an unknown id.
    """
    latest = {entry_id: history(db, entry_id)[-1].status for entry_id in entry_ids}
    todo = tuple(i for i, old in latest.items() if old in IN_FORCE and old != status)
    add(db, todo, status, author, change)
    return todo


def without(marks: Sequence[Mark], change: str) -> str:
    """The status these marks give when `change` and all undone changes are left out.

    An entry that came into being by an undone change is struck.
    """
    gone = {mark.undoes for mark in marks if mark.undoes} | {change}
    kept = [mark.status for mark in marks if not mark.undoes and mark.change not in gone]
    return kept[-1] if kept else "struck"


# The signs keep SQLite from the index of what is undone: nearly all marks of the log undo nothing.
_LAST = """
SELECT change FROM (
    SELECT m.change AS change, m.rowid AS place, 0 AS after
    FROM utterances AS u JOIN entries AS e ON e.utterance_id = u.id
    JOIN marks AS m ON m.entry_id = e.id
    WHERE u.visit_id = :visit AND m."by" = :by AND +m.undoes IS NULL
      AND NOT EXISTS (SELECT 1 FROM marks AS r WHERE r.undoes = m.change)
    UNION ALL
    SELECT p.change, p.marks_before, p.rowid
    FROM utterances AS u JOIN utterance_marks AS p ON p.utterance_id = u.id
    WHERE u.visit_id = :visit AND p."by" = :by AND +p.undoes IS NULL
      AND NOT EXISTS (SELECT 1 FROM utterance_marks AS r WHERE r.undoes = p.change)
) ORDER BY place DESC, after DESC LIMIT 1"""


def undo(db: Database, visit_id: str, author: Author) -> Change | None:
    """Take back the author's latest change in the visit that is not taken back yet.

    Returns what was undone and the statuses its entries now have, or None when nothing
    is left to undo. What others did to the same entries since stays in force.
    """
    last = next(db.query(_LAST, {"visit": visit_id, "by": author.by}), None)
    if last is None:
        return None
    undone = last["change"]
    sql = """SELECT m.entry_id AS entry_id, m.seq AS seq, m.status AS status, m.reason AS reason,
            e.origin AS origin, u.visit_id AS visit_id
        FROM marks AS m JOIN entries AS e ON e.id = m.entry_id
        JOIN utterances AS u ON u.id = e.utterance_id
        WHERE m.change = ? ORDER BY m.rowid"""
    rows = list(db.query(sql, [undone]))
    change, after = new_id(), {}
    for entry_id in [row["entry_id"] for row in rows]:
        after[entry_id] = without(history(db, entry_id), undone)
        add(db, [entry_id], after[entry_id], author, change, undoes=undone)
    opened = passing.of_change(db, undone)
    for utterance_id in opened:
        status = passing.without(db, utterance_id, undone)
        passing.add(db, [utterance_id], status, author, change, undoes=undone)
    reasons = [row["reason"] for row in rows] + [passing.reason(db, undone)]
    reason = next((r for r in reasons if r is not None), None)
    return Change(undone, _what(rows), after, reason, opened)


def _what(rows: Sequence[dict[str, Any]]) -> str:
    """One word for what a change did to the entries of these marks."""
    if not rows:
        return "passed"
    if len({row["visit_id"] for row in rows}) > 1:
        return "moved"
    new = [row for row in rows if row["seq"] == 1]
    if any(row["origin"] == "corrected" for row in new):
        return "corrected"
    if new and new[0]["status"] == "confirmed":
        return "added"
    return str(rows[0]["status"])
