"""Utterances that hold no note: said so by a person, as marks that can be taken back."""

from collections.abc import Iterable

from sqlite_utils import Database

from handsfree.log.rows import Author, Mark, now, storable


def add(
    db: Database,
    utterance_ids: Iterable[str],
    status: str,
    author: Author,
    change: str,
    undoes: str | None = None,
) -> None:
    """Mark utterances 'passed' or 'open' again."""
    for utterance_id in utterance_ids:
        seq = "SELECT coalesce(max(seq), 0) + 1 FROM utterance_marks WHERE utterance_id = ?"
        last = "SELECT coalesce(max(rowid), 0) FROM marks"
        row = {
            "utterance_id": utterance_id,
            "seq": db.execute(seq, [utterance_id]).fetchone()[0],
            "status": status,
            "at": now(),
            "by": storable(author.by),
            "reason": None if author.reason is None else storable(author.reason),
            "change": change,
            "undoes": undoes,
            "marks_before": db.execute(last).fetchone()[0],
        }
        db.table("utterance_marks").insert(row)


def of_change(db: Database, change: str) -> tuple[str, ...]:
    """The utterances a change passed over."""
    sql = "SELECT utterance_id FROM utterance_marks WHERE change = ? ORDER BY rowid"
    return tuple(row["utterance_id"] for row in db.query(sql, [change]))


def reason(db: Database, change: str) -> str | None:
    """What was given with a change that passed utterances over."""
    row = db.execute("SELECT reason FROM utterance_marks WHERE change = ?", [change]).fetchone()
    return None if row is None else row[0]


def without(db: Database, utterance_id: str, change: str) -> str:
    """The status an utterance has when this change and all undone ones are left out."""
    sql = """SELECT p.status AS status FROM utterance_marks AS p
        WHERE p.utterance_id = ? AND +p.undoes IS NULL AND p.change <> ?
          AND NOT EXISTS (SELECT 1 FROM utterance_marks AS r WHERE r.undoes = p.change)
        ORDER BY p.seq DESC LIMIT 1"""
    row = db.execute(sql, [utterance_id, change]).fetchone()
    return "open" if row is None else str(row[0])


def history(db: Database, utterance_id: str) -> list[Mark]:
    """All marks of an utterance, oldest first; they have no entry."""
    rows = db.query(
        """SELECT '' AS entry_id, seq, status, at, "by", reason, utterance_id, change, undoes
        FROM utterance_marks WHERE utterance_id = ? ORDER BY seq""",
        [utterance_id],
    )
    return [Mark(**row) for row in rows]


def passed(db: Database, visit_id: str) -> frozenset[str]:
    """Ids of a visit's utterances whose latest mark is 'passed'."""
    rows = db.query(
        """SELECT u.id AS id FROM utterances AS u JOIN utterance_marks AS p
            ON p.utterance_id = u.id AND p.status = 'passed'
            AND p.seq = (SELECT max(seq) FROM utterance_marks WHERE utterance_id = u.id)
        WHERE u.visit_id = ?""",
        [visit_id],
    )
    return frozenset(row["id"] for row in rows)
