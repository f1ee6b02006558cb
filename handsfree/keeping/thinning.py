"""Which sound is no longer needed: a rule over age and doubt, and what following it frees."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from sqlite_utils import Database

from handsfree.language.known import entry_of
from handsfree.log import Log, local_day
from handsfree.log.rows import body_of
from handsfree.records.checking import BY_THIS_VERSION, Unreadable
from handsfree.records.entries import Remark
from handsfree.records.sureness import unsure

MOST_MONTHS = 1200
UNREAD = f"notes that {BY_THIS_VERSION}"
"""Their sound is all there is; it always stays."""


@dataclass(frozen=True)
class Rule:
    """Sound of visits before `before` goes, but for what is kept.

    `keep_doubtful`: of what was heard unsurely and nobody has confirmed, corrected or struck;
    `keep_unclear`: of what made no entry and nobody has passed over; `keep_remarks`: of
    remarks without words, whose sound is all there is.
    """

    before: date
    keep_doubtful: bool = True
    keep_unclear: bool = True
    keep_remarks: bool = True

    def __str__(self) -> str:
        wanted = {
            "doubtful": self.keep_doubtful,
            "unclear": self.keep_unclear,
            "remarks without words": self.keep_remarks,
        }
        kept = ", ".join(name for name, keep in wanted.items() if keep)
        return f"sound of visits before {self.before}" + (f", but for: {kept}" if kept else "")


@dataclass(frozen=True)
class Thinned:
    """What a rule takes. Bytes are those of the FLAC files; `kept` counts why others stay."""

    rule: Rule
    utterances: tuple[str, ...]
    bytes: int
    kept: dict[str, int]
    kept_bytes: int


def months_before(day: date, months: int) -> date:
    """The day so many months earlier; the last of the month where there is no such day."""
    year, month = divmod(day.year * 12 + day.month - 1 - months, 12)
    for last in range(day.day, 27, -1):
        try:
            return date(year, month + 1, last)
        except ValueError:
            continue
    return date(year, month + 1, min(day.day, 28))


def look(log: Log, rule: Rule) -> Thinned:
    """What the rule would take, and what it leaves. Nothing is changed."""
    taken: list[str] = []
    size = kept_size = 0
    kept = {"newer": 0, "doubtful": 0, "unclear": 0, "remarks without words": 0}
    with log.snapshot() as db:
        for utterance_id, length, day in _all_sounds(db):
            why = "newer" if day >= rule.before else _needed(db, utterance_id, rule)
            if why is None:
                taken.append(utterance_id)
                size += length
            else:
                kept[why] = kept.get(why, 0) + 1
                kept_size += length
    return Thinned(rule, tuple(taken), size, kept, kept_size)


def _all_sounds(db: Database) -> Iterator[tuple[str, int, date]]:
    rows = db.query(
        """SELECT u.id AS id, length(s.flac) AS length, v.started_at AS started_at, v.zone AS zone
        FROM visits AS v JOIN utterances AS u ON u.visit_id = v.id
        JOIN sounds AS s ON s.utterance_id = u.id ORDER BY v.started_at, v.rowid, u.seq"""
    )
    for row in rows:
        yield row["id"], row["length"], local_day(row["started_at"], row["zone"])


def _needed(db: Database, utterance_id: str, rule: Rule) -> str | None:
    """Why an utterance's sound is still needed, None where it is not."""
    sql = "SELECT status, confidence, doubt, body FROM entries_in_force WHERE utterance_id = ?"
    entries = list(db.query(sql, [utterance_id]))
    noted = [entry_of(body_of(row["body"])) for row in entries]
    if any(isinstance(entry, Unreadable) for entry in noted):
        return UNREAD
    if rule.keep_remarks and any(isinstance(e, Remark) and not e.text.strip() for e in noted):
        return "remarks without words"
    doubtful = (r["status"] == "heard" and unsure(r["confidence"], r["doubt"]) for r in entries)
    if rule.keep_doubtful and any(doubtful):
        return "doubtful"
    if rule.keep_unclear and not entries:
        sql = """SELECT u.status AS status, u.doubt AS doubt, u.confidence AS confidence,
                (SELECT p.status FROM utterance_marks AS p WHERE p.utterance_id = u.id
                 ORDER BY p.seq DESC LIMIT 1) AS mark
            FROM utterances AS u WHERE u.id = ?"""
        row = next(db.query(sql, [utterance_id]))
        if row["status"] == "unclear" and row["mark"] != "passed":
            return "unclear"
        command_unsure = row["status"] == "command" and unsure(row["confidence"], row["doubt"])
        if rule.keep_doubtful and command_unsure and row["mark"] != "passed":
            return "doubtful"
    return None


def thin(log: Log, found: Thinned, by: str) -> int:
    """Delete what was found, with a record of when and why; returns how many had sound still."""
    return log.thin_sounds(found.utterances, by, str(found.rule))
