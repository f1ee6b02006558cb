"""Utterances that both logs changed, loaded from both and judged."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sqlite_utils import Database

from handsfree.joining.chains import Stamp, stamps
from handsfree.joining.judged import Known, Verdict, Version, judge

OURS, THEIRS = "main", "other"
BY = "merge"
"""Who judges where only the joining did."""

_STAMP = 'at, change, status, "by", reason, undoes'


@dataclass(frozen=True)
class Judged:
    """A verdict, and the utterance it is about."""

    utterance_id: str
    verdict: Verdict


def chain(db: Database, log: str, entry_id: str) -> tuple[Stamp, ...]:
    """An entry's history in one of the two logs."""
    sql = f"SELECT {_STAMP} FROM {log}.marks WHERE entry_id = ? ORDER BY seq"
    return stamps(db.execute(sql, [entry_id]))


def passes(db: Database, log: str, utterance_id: str) -> tuple[Stamp, ...]:
    """The history of an utterance itself."""
    sql = f"SELECT {_STAMP} FROM {log}.utterance_marks WHERE utterance_id = ? ORDER BY seq"
    return stamps(db.execute(sql, [utterance_id]))


def find(db: Database) -> list[Judged]:
    """Judge the utterances that both logs changed since they were one.

    Wants the lists temp.new_marks and temp.new_passes, and the entries of both logs in ours.
    """
    found: list[Judged] = []
    for utterance_id in _changed_there(db):
        ours, theirs = (_version(db, log, utterance_id) for log in (OURS, THEIRS))
        verdict = judge(utterance_id, ours, theirs) if _changed(ours, theirs) else None
        if verdict is not None:
            found.append(Judged(utterance_id, verdict))
    return found


def _changed_there(db: Database) -> list[str]:
    rows = db.execute(
        """SELECT e.utterance_id FROM temp.new_marks AS n JOIN main.entries AS e ON e.id = n.id
        UNION SELECT id FROM temp.new_passes
        EXCEPT SELECT id FROM temp.new_utterances ORDER BY 1"""
    )
    return [str(row[0]) for row in rows]


def _changed(ours: Version, theirs: Version) -> bool:
    """Whether ours has any mark that theirs has not."""
    if set(ours.passes) - set(theirs.passes):
        return True
    there = theirs.entries
    return any(
        set(e.chain) - set(there[e.id].chain if e.id in there else ())
        for e in ours.entries.values()
    )


def _version(db: Database, log: str, utterance_id: str) -> Version:
    entries: dict[str, Known] = {}
    todo: Sequence[str] = [
        row[0]
        for row in db.execute(
            f"SELECT id FROM {log}.entries WHERE utterance_id = ?", [utterance_id]
        )
    ]
    while todo:
        for known in _known(db, log, todo):
            entries[known.id] = known
        after = f"SELECT id FROM {log}.entries WHERE replaces = ?"
        following = [row[0] for each in todo for row in db.execute(after, [each])]
        todo = [each for each in dict.fromkeys(following) if each not in entries]
    return Version(entries, passes(db, log, utterance_id))


def _known(db: Database, log: str, entry_ids: Sequence[str]) -> Iterator[Known]:
    for entry_id in entry_ids:
        sql = f"SELECT utterance_id, body, replaces FROM {log}.entries WHERE id = ?"
        row = db.execute(sql, [entry_id]).fetchone()
        history = chain(db, log, entry_id)
        if history:  # else it came from the other log a moment ago
            yield Known(entry_id, row[0], row[1], row[2], history)


def write(db: Database, judged: Sequence[Judged]) -> None:
    """Add the marks of the verdicts, and what is left to choose from."""
    for each in judged:
        verdict = each.verdict
        for entry_id, status, reason in verdict.marks:
            db.execute(
                """INSERT INTO main.marks
                SELECT ?, coalesce(max(seq), 0) + 1, ?, ?, ?, ?, NULL, ?, NULL
                FROM main.marks WHERE entry_id = ?""",
                [entry_id, status, verdict.at, BY, reason, verdict.change, entry_id],
            )
        other = f"[{','.join(verdict.other)}]"
        for entry_id in verdict.disputed:
            home = "SELECT utterance_id FROM main.entries WHERE id = ?"
            utterance_id = str(db.execute(home, [entry_id]).fetchone()[0])
            row = {
                "entry_id": entry_id,
                "change": verdict.change,
                "utterance_id": utterance_id,
                "text": verdict.text,
                "other": other if utterance_id == each.utterance_id else json.dumps([]),
                "at": verdict.at,
            }
            db.table("conflicts").insert(row)
