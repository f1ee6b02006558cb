"""Rows into the file: the parts of one write, inside the caller's transaction."""

from collections.abc import Sequence
from typing import Any

from sqlite_utils import Database

from handsfree.errors import LogError
from handsfree.language.known import check_body
from handsfree.log import reading
from handsfree.log.rows import (
    BadEntry,
    EntryBody,
    NoticeRow,
    UtteranceRow,
    new_id,
    now,
    storable,
    to_json,
)


def _storable(text: str | None) -> str | None:
    return None if text is None else storable(text)


def add_utterance(
    db: Database, utterance_id: str, visit_id: str, seq: int, utterance: UtteranceRow
) -> None:
    """Add the utterance as number `seq` of its visit."""
    row = vars(utterance) | {
        "id": utterance_id,
        "visit_id": visit_id,
        "seq": seq,
        "recorded_at": utterance.recorded_at or now(),
        "heard": storable(utterance.heard),
        "free_text": _storable(utterance.free_text),
        "doubt": _storable(utterance.doubt),
        "engines": to_json(utterance.engines),
        "alternatives": to_json(utterance.alternatives),
    }
    db.table("utterances").insert(row)


def copy_utterance(db: Database, utterance_id: str, visit_id: str) -> tuple[str, int]:
    """Copy an utterance with its sound to the end of another visit; returns id and number.

    The limb in force there stays as it was, and no command is given a second time.
    """
    found = db.query("SELECT * FROM utterances WHERE id = ?", [utterance_id])
    seq = reading.next_seq(db, "utterances", "visit_id", visit_id)
    last = "SELECT limb FROM utterances WHERE visit_id = ? AND seq = ?"
    before = db.execute(last, [visit_id, seq - 1]).fetchone()
    copy = next(found) | {
        "id": new_id(),
        "visit_id": visit_id,
        "seq": seq,
        "status": "recorded",
        "command": None,
        "limb": before[0] if before else None,
    }
    db.table("utterances").insert(copy)
    db.execute(
        "INSERT INTO sounds (utterance_id, flac) SELECT ?, flac FROM sounds WHERE utterance_id = ?",
        [copy["id"], utterance_id],
    )
    return str(copy["id"]), seq


def add_entries(
    db: Database,
    utterance_id: str,
    entries: Sequence[EntryBody],
    origin: str,
    replaces: Sequence[str],
) -> tuple[str, ...]:
    """Add the entries after those the utterance has; returns their ids in order.

    Each refers to the old entry in its place in `replaces`, the surplus to the last.
    """
    first = reading.next_seq(db, "entries", "utterance_id", utterance_id)
    ids: list[str] = []
    for number, body in enumerate(entries):
        if not isinstance(body.get("kind"), str):
            raise LogError(f"an entry without a kind cannot be written to the log: {body}")
        row: dict[str, Any] = {
            "id": new_id(),
            "utterance_id": utterance_id,
            "seq": first + number,
            "kind": body["kind"],
            "limb": body.get("limb"),
            "body": to_json(body),
            "replaces": replaces[min(number, len(replaces) - 1)] if replaces else None,
            "created_at": now(),
            "origin": origin,
        }
        db.table("entries").insert(row)
        ids.append(row["id"])
    return tuple(ids)


def check_bodies(entries: Sequence[EntryBody]) -> None:
    """Raise BadEntry for an entry that could not be read again."""
    for body in entries:
        try:
            check_body(body)
        except ValueError as error:
            raise BadEntry(str(error)) from None


def add_notices(
    db: Database,
    visit_id: str,
    notices: Sequence[NoticeRow],
    utterance_id: str | None = None,
    entry_ids: Sequence[str] = (),
) -> tuple[str, ...]:
    """Add notices of a visit; returns their ids in order."""
    ids: list[str] = []
    for notice in notices:
        row: dict[str, Any] = vars(notice) | {
            "id": new_id(),
            "visit_id": visit_id,
            "utterance_id": utterance_id,
            "entry_id": None if notice.entry is None else entry_ids[notice.entry],
            "text": storable(notice.text),
            "at": now(),
        }
        del row["entry"]
        db.table("notices").insert(row)
        ids.append(row["id"])
    return tuple(ids)


def settle(db: Database, notice_ids: Sequence[str], utterance_id: str | None) -> None:
    """Mark notices as settled; one that is settled already stays as it is."""
    for notice_id in notice_ids:
        known = "SELECT 1 FROM notices_settled WHERE notice_id = ?"
        if db.execute(known, [notice_id]).fetchone() is None:
            row = {"notice_id": notice_id, "utterance_id": utterance_id, "at": now()}
            db.table("notices_settled").insert(row)
