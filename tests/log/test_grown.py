"""What is done in one visit costs the same however long the log: in SQLite's steps, not in time."""

from pathlib import Path

import pytest

from handsfree.log import Log, UtteranceRow
from handsfree.records.entries import Finding, to_json

BRUISE = to_json(Finding(limb="LH", zone="heel", side="lateral", term="bruise"))
FEW, MANY = 100, 1600


def undoing(path: Path, visits: int) -> int:
    """Steps that undoing the last judgement takes in a log of so many visits."""
    with Log.open(path) as log:
        horse = log.add_horse("Bramble").id
        for _ in range(visits // 10):
            visit = log.start_visit("typed", horse).id
            said = [
                log.append(visit, UtteranceRow(heard="said", status="recorded"), [BRUISE])
                for _ in range(10)
            ]
            unclear = log.append(visit, UtteranceRow(heard="hm", status="unclear"), [])
            log.strike([], "review", passes=[unclear.utterance_id])
        log.confirm(said[-1].entry_ids, "review")
        steps = [0]

        def one() -> int:
            steps[0] += 1
            return 0

        log._db.conn.set_progress_handler(one, 10)
        for what in ("confirmed", "passed"):
            undone = log.undo(visit, "review")
            assert undone is not None
            assert undone.what == what
        return steps[0]


@pytest.mark.parametrize("more", [FEW, MANY])
def test_undo_is_of_its_visit(tmp_path: Path, more: int) -> None:
    assert undoing(tmp_path / "log.db", more) < 2 * undoing(tmp_path / "short.db", 20)
