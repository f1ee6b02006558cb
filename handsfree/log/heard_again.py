"""Stored sounds heard anew: which there are, what the log holds of them, and what goes in.

A person's word is never touched: what was confirmed, corrected, struck, moved, passed over
or taken back by anybody but this is `judged`, and refused at the write too.
"""

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from sqlite_utils import Database

from handsfree.errors import LogError
from handsfree.log import marks, reading, writing
from handsfree.log.doubt import unsure
from handsfree.log.opened import OpenedLog
from handsfree.log.rows import (
    Appended,
    Author,
    ChangedMeanwhile,
    Entry,
    EntryBody,
    NoticeRow,
    Utterance,
    new_id,
    now,
    to_json,
)

BY = "relisten"
"""Who makes these changes, in the marks."""


@dataclass(frozen=True, kw_only=True)
class NewHearing:
    """How an utterance was heard another time; the fields are those of UtteranceRow."""

    heard: str
    confidence: float
    doubt: str
    engines: tuple[str, ...] = ()
    alternatives: tuple[Any, ...] = ()
    free_text: str | None = None


@dataclass(frozen=True)
class Held:
    """What the log holds of an utterance whose sound is kept.

    `entries` are those in force, `replaced` what they stand in place of. `judged` says that
    a person has dealt with it, `gone` that it had entries of which none counts any more.
    """

    utterance: Utterance
    entries: tuple[Entry, ...]
    replaced: tuple[EntryBody, ...] = ()
    judged: bool = False
    gone: bool = False


_JUDGED = f"""SELECT DISTINCT e.utterance_id FROM utterances AS u
JOIN entries AS e ON e.utterance_id = u.id JOIN marks AS m ON m.entry_id = e.id
WHERE u.visit_id = ? AND (
    e.origin = 'corrected' OR m.undoes IS NOT NULL
    OR (m."by" <> '{BY}' AND NOT (m.seq = 1 AND m.status = 'heard')))"""

_PASSED = """SELECT DISTINCT p.utterance_id FROM utterances AS u
JOIN utterance_marks AS p ON p.utterance_id = u.id WHERE u.visit_id = ?"""


def sounds(
    db: Database, horse_id: str | None, since: str | None, doubtful: bool
) -> list[tuple[str, str]]:
    """Visit and id of each utterance whose sound is kept, oldest visit first.

    `since` is the earliest beginning of a visit; `doubtful` leaves only what is unclear, or
    of which an unconfirmed entry is doubtful.
    """
    where = ["EXISTS (SELECT 1 FROM sounds AS s WHERE s.utterance_id = u.id)"]
    if horse_id is not None:
        where.append("v.horse_id = :horse")
    if since is not None:
        where.append("v.started_at >= :since")
    if doubtful:
        where.append(
            f"""((u.status = 'unclear'
                AND NOT EXISTS (SELECT 1 FROM entries AS e WHERE e.utterance_id = u.id)
                AND coalesce((SELECT p.status FROM utterance_marks AS p
                    WHERE p.utterance_id = u.id ORDER BY p.seq DESC LIMIT 1), '') <> 'passed')
            OR EXISTS (SELECT 1 FROM entries_in_force AS e WHERE e.utterance_id = u.id
                AND e.status <> 'confirmed'
                AND {unsure("e.confidence", "e.doubt")}))"""
        )
    rows = db.query(
        "SELECT v.id AS visit, u.id AS utterance FROM visits AS v "
        f"JOIN utterances AS u ON u.visit_id = v.id WHERE {' AND '.join(where)} "
        "ORDER BY v.started_at, v.rowid, u.seq",
        {"horse": horse_id, "since": since},
    )
    return [(str(row["visit"]), str(row["utterance"])) for row in rows]


def held(db: Database, visit_id: str) -> Iterator[Held]:
    """What the log holds of each utterance of a visit, in order; also those without sound."""
    judged = {str(row[0]) for row in db.execute(_JUDGED, [visit_id])}
    judged |= {str(row[0]) for row in db.execute(_PASSED, [visit_id])}
    everything: dict[str, list[Entry]] = {}
    for entry in reading.entries(db, visit_id, in_force=False):
        everything.setdefault(entry.utterance_id, []).append(entry)
    bodies = {entry.id: entry.body for of in everything.values() for entry in of}
    for utterance in as_last_heard(db, visit_id, reading.utterances(db, visit_id)):
        entries = everything.get(utterance.id, [])
        in_force = tuple(entry for entry in entries if entry.in_force)
        replaced = tuple(
            bodies[e.replaces]
            for e in in_force
            if e.replaces in bodies and e.replaces not in {own.id for own in entries}
        )
        gone = bool(entries) and not in_force
        yield Held(utterance, in_force, replaced, utterance.id in judged, gone)


def as_last_heard(db: Database, visit_id: str, utterances: Sequence[Utterance]) -> list[Utterance]:
    """The utterances with the words and doubts of the hearing that their entries are of."""
    rows = db.query(
        """SELECT e.utterance_id AS utterance, e.hearing AS hearing
        FROM utterances AS u JOIN entries AS e ON e.utterance_id = u.id
        WHERE u.visit_id = ? AND e.hearing IS NOT NULL AND (SELECT m.status FROM marks AS m
            WHERE m.entry_id = e.id ORDER BY m.seq DESC LIMIT 1) IN ('heard', 'confirmed')
        ORDER BY e.seq""",
        [visit_id],
    )
    again = {str(row["utterance"]): json.loads(row["hearing"]) for row in rows}
    result: list[Utterance] = []
    for utterance in utterances:
        hearing = again.get(utterance.id)
        if hearing is not None:
            lists = {key: tuple(hearing[key]) for key in ("engines", "alternatives")}
            utterance = replace(utterance, status="recorded", **hearing | lists)
        result.append(utterance)
    return result


class HeardAgainLog(OpenedLog):
    """The part of the log that hearing stored sounds again reads and writes."""

    def stored_sounds(
        self, horse_id: str | None = None, since: str | None = None, doubtful: bool = False
    ) -> list[tuple[str, str]]:
        """Visit and id of each utterance whose sound is kept, oldest visit first (see `sounds`)."""
        with self._reading() as db:
            return sounds(db, horse_id, since, doubtful)

    def held(self, visit_id: str) -> list[Held]:
        """What the log holds of each utterance of a visit, in order."""
        with self._reading() as db:
            return list(held(db, visit_id))

    def hear_again(
        self,
        utterance_id: str,
        entries: Sequence[EntryBody],
        hearing: NewHearing,
        expects: Sequence[str],
        notices: Sequence[NoticeRow] = (),
    ) -> Appended:
        """Put in what a new hearing says in place of the utterance's entries in force.

        The old ones are marked corrected and kept; the new ones are 'heard', with the doubt of
        `hearing`, so that the review asks about them. `expects` are the entries in force as
        they were when compared. Raises ChangedMeanwhile when they are no longer so, or a
        person has judged the utterance since.
        """
        if not entries:
            raise LogError("a hearing without a note changes nothing")
        writing.check_bodies(entries)
        change = new_id()
        author = Author(BY, f"heard again: {hearing.heard}")
        with self._writing() as db:
            seq = reading.utterance_seq(db, utterance_id)
            visit_id = reading.visit_of(db, utterance_id)
            judged = {str(r[0]) for sql in (_JUDGED, _PASSED) for r in db.execute(sql, [visit_id])}
            if reading.in_force(db, utterance_id) != set(expects) or utterance_id in judged:
                raise ChangedMeanwhile
            old = list(expects)
            marked = marks.mark_in_force(db, old, "corrected", author, change)
            ids = _add(db, utterance_id, entries, hearing, old)
            marks.add(db, ids, "heard", author, change)
            told = writing.add_notices(db, visit_id, notices, utterance_id, ids)
        return Appended(utterance_id, seq, ids, marked, change, told)


def _add(
    db: Database,
    utterance_id: str,
    entries: Sequence[EntryBody],
    hearing: NewHearing,
    replaces: Sequence[str],
) -> tuple[str, ...]:
    first = reading.next_seq(db, "entries", "utterance_id", utterance_id)
    ids: list[str] = []
    for number, body in enumerate(entries):
        row = {
            "id": new_id(),
            "utterance_id": utterance_id,
            "seq": first + number,
            "kind": body["kind"],
            "limb": body.get("limb"),
            "body": to_json(body),
            "replaces": replaces[min(number, len(replaces) - 1)] if replaces else None,
            "created_at": now(),
            "origin": "heard",
            "hearing": to_json(asdict(hearing)),
        }
        db.table("entries").insert(row)
        ids.append(str(row["id"]))
    return tuple(ids)
