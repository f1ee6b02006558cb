"""Joining costs in step with the size of the logs: counted in SQLite's own steps, not in time."""

from pathlib import Path

import pytest

from handsfree.joining import join
from handsfree.log import Log, files
from handsfree.records.entries import Finding, to_json

BRUISE = to_json(Finding(limb="LH", zone="heel", side="lateral", term="bruise"))
FEW, MANY = 150, 1200


@pytest.fixture
def steps(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Hundreds of instructions of SQLite's machine in every connection that is opened."""
    counted = [0]
    opened = files.open_database

    def counting(*arguments, **options):
        db = opened(*arguments, **options)

        def one() -> int:
            counted[0] += 1
            return 0

        db.conn.set_progress_handler(one, 100)
        return db

    monkeypatch.setattr(files, "open_database", counting)
    return counted


def joined(practice, say, steps: list[int], entries: int) -> int:
    """What joining two such logs takes, each of which judged a note of its own."""
    with Log.open(practice.a) as log:
        visit = log.start_visit("typed", log.add_horse("Bramble").id).id
        said = [say(log, visit, BRUISE) for _ in range(entries)]
        for _ in range(entries // 10):
            log.strike([], "review", passes=[say(log, visit).utterance_id])
    practice.copy()
    with Log.open(practice.b) as log:
        log.confirm(said[0].entry_ids, "review")
        new = say(log, visit)
        log.strike([], "review", passes=[new.utterance_id])
    with Log.open(practice.a) as log:
        log.confirm(said[1].entry_ids, "review")
        steps[0] = 0
        done = join(log, practice.b)
    assert (done.new["marks"], done.new["utterance_marks"]) == (1, 1)
    return steps[0]


def test_eight_times_the_entries_are_not_sixty_four_times_the_work(
    practice_in, say, steps: list[int], tmp_path: Path
) -> None:
    took = []
    for entries in (FEW, MANY):
        folder = tmp_path / str(entries)
        folder.mkdir()
        took.append(joined(practice_in(folder), say, steps, entries))
    assert took[0] > 0
    assert took[1] < 2 * MANY / FEW * took[0]
