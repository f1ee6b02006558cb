"""The history of entries: every judgement is a mark added, none is ever taken away.

An entry's latest mark is its status. Undoing a change adds marks too: `undoes` names
the change, and the new status is what the entry's marks say without the undone ones.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sqlite_utils import Database

from handsfree.errors import LogError
from handsfree.log.rows import IN_FORCE, Change, Mark, new_id, now, storable


@dataclass(frozen=True)
class Author:
    """Who makes a change, why, and the utterance that asked for it, if one did."""

    by: str
    reason: str | None = None
    utterance_id: str | None = None


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


def undo(db: Database, visit_id: str, author: Author) -> Change | None:
    """Take back the author's latest change in the visit that is not taken back yet.

    Returns what was undone and the statuses its entries now have, or None when nothing
    is left to undo. What others did to the same entries since stays in force.
    """
    last = next(
        db.query(
            """SELECT m.change AS change FROM marks AS m
            JOIN entries AS e ON e.id = m.entry_id JOIN utterances AS u ON u.id = e.utterance_id
            WHERE u.visit_id = ? AND m."by" = ? AND m.undoes IS NULL
              AND NOT EXISTS (SELECT 1 FROM marks AS r WHERE r.undoes = m.change)
            ORDER BY m.rowid DESC LIMIT 1""",
            [visit_id, author.by],
        ),
        None,
    )
    if last is None:
        return None
    undone = last["change"]
    sql = "SELECT entry_id, seq, status FROM marks WHERE change = ? ORDER BY rowid"
    rows = list(db.query(sql, [undone]))
    change, after = new_id(), {}
    for entry_id in [row["entry_id"] for row in rows]:
        after[entry_id] = without(history(db, entry_id), undone)
        add(db, [entry_id], after[entry_id], author, change, undoes=undone)
    # A first mark other than "heard" belongs to an entry put in by a correction.
    if any(row["seq"] == 1 and row["status"] != "heard" for row in rows):
        return Change(undone, "corrected", after)
    return Change(undone, rows[0]["status"], after)
