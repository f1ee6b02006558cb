"""Lessons: words that were heard, and the sentence that a person says was meant."""

from sqlite_utils import Database

from handsfree.log.rows import Lesson, now, storable


def add(db: Database, heard: str, meant: str, utterance_id: str, change: str, by: str) -> None:
    """Add one lesson of the correction `change`.

    With `meant` empty those that the utterance taught before do not count any more.
    """
    if not meant:
        known = "SELECT 1 FROM lessons WHERE utterance_id = ?"
        if db.execute(known, [utterance_id]).fetchone() is None:
            return
    row = {
        "heard": storable(heard),
        "meant": storable(meant),
        "utterance_id": utterance_id,
        "change": change,
        "at": now(),
        "by": storable(by),
    }
    db.table("lessons").insert(row)


def all_now(db: Database) -> list[Lesson]:
    """Lessons that count, most often taught first, of equals the latest first."""
    rows = db.query(
        """SELECT heard, meant, times, last_at FROM lessons_now
        WHERE meant <> '' ORDER BY times DESC, last_at DESC, heard, meant"""
    )
    return [Lesson(**row) for row in rows]


def forget(db: Database, heard: str, meant: str, by: str, at: str) -> bool:
    """Note that the lessons of these words so far do not count; False where none does."""
    words = [storable(heard), storable(meant)]
    known = db.execute("SELECT 1 FROM lessons_now WHERE heard = ? AND meant = ?", words)
    if known.fetchone() is None:
        return False
    last = db.execute("SELECT max(seq) FROM lessons WHERE heard = ? AND meant = ?", words)
    row = {
        "heard": words[0],
        "meant": words[1],
        "up_to": last.fetchone()[0],
        "at": at,
        "by": storable(by),
    }
    db.table("lessons_forgotten").insert(row)
    return True
