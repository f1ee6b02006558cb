"""Two machines of one practice, each with a log, and what they hold, put side by side."""

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from handsfree.log import Appended, Log, UtteranceRow
from handsfree.records.entries import Finding, to_json


def _say(log: Log, visit_id: str, *bodies: dict[str, Any], heard: str = "said", **row: Any) -> Any:
    sound = row.pop("sound", None)
    status = row.pop("status", "recorded" if bodies else "unclear")
    utterance = UtteranceRow(heard=heard, status=status, confidence=0.97, limb="LH", **row)
    return log.append(visit_id, utterance, list(bodies), sound)


@pytest.fixture(scope="session")
def say() -> Callable[..., Appended]:
    """Write one utterance with these entries; unclear where there are none."""
    return _say


_HISTORIES = {
    "marks": ("entry_id", 'status, at, "by", reason, utterance_id, change, undoes'),
    "utterance_marks": ("utterance_id", 'status, at, "by", reason, change, undoes'),
}
_PLAIN = (
    *("horses", "visits", "utterances", "sounds", "entries", "notices", "notices_settled"),
    *("conflicts", "horse_aliases", "horse_facts", "sounds_thinned"),
    *("recordings_taken", "recording_visits", "lessons_now", "entries_in_force"),
)
_OWN = ("seq", "utterance_seq")


def _content(log: Log) -> dict[str, Any]:
    db = log._db
    found: dict[str, Any] = {}
    for table in _PLAIN:
        rows = db.query(f"SELECT * FROM {table}")
        kept = [{k: v for k, v in row.items() if k not in _OWN} for row in rows]
        found[table] = sorted(map(repr, kept))
    for table, (owner, columns) in _HISTORIES.items():
        each: dict[str, list[Any]] = {}
        for row in db.execute(f"SELECT {owner}, {columns} FROM {table} ORDER BY {owner}, seq"):
            each.setdefault(row[0], []).append(row[1:])
        found[table] = each
    return found


@pytest.fixture(scope="session")
def content() -> Callable[[Log], dict[str, Any]]:
    """All a log holds but its own places in lists; histories in their order."""
    return _content


class Practice:
    """Log A and log B as files."""

    def __init__(self, folder: Path) -> None:
        self.a, self.b = folder / "a.db", folder / "b.db"

    def copy(self) -> None:
        """B becomes a copy of A as it is now."""
        with Log.open(self.a) as log:
            log._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        shutil.copy(self.a, self.b)


@pytest.fixture
def practice(tmp_path: Path) -> Practice:
    return Practice(tmp_path)


@pytest.fixture(scope="session")
def practice_in() -> type[Practice]:
    """A practice in a folder of its own choosing."""
    return Practice


@pytest.fixture
def visited(practice: Practice) -> tuple[str, Appended]:
    """One visit to Bramble with a bruise in it, on both machines."""
    bruise = to_json(Finding(limb="LH", zone="heel", side="lateral", term="bruise"))
    with Log.open(practice.a) as log:
        horse = log.add_horse("Bramble", "heavy")
        visit = log.start_visit("microphone", horse.id, started_at="2026-05-14T09:00:00+00:00")
        said = _say(log, visit.id, bruise, heard="left hind outside heel bruise")
    practice.copy()
    return visit.id, said
