"""A journal that stayed beside a replaced log is noticed before anything of it is read."""

import os
import shutil
import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from handsfree.errors import LogError
from handsfree.joining import join
from handsfree.keeping import checking, copying, restoring
from handsfree.log import Log, UtteranceRow, journal

BRUISE = {"kind": "finding", "limb": "LH", "term": "bruise"}
SAID = UtteranceRow(heard="bruise", status="recorded")


def fill(log: Log, horse: str, visits: int = 1, utterances: int = 3) -> None:
    known = log.add_horse(horse)
    for _ in range(visits):
        visit = log.start_visit("typed", known.id)
        for _ in range(utterances):
            log.append(visit.id, SAID, [BRUISE], os.urandom(9000))


def broken_off(path: Path, log: Log) -> Path:
    """The files of a log as a power cut leaves them, in a folder of their own."""
    folder = path.parent / "broken-off"
    folder.mkdir()
    for each in (path, journal.beside(path)):
        shutil.copy(each, folder)
    log.close()
    return folder / path.name


def content(path: Path) -> list[bytes]:
    return [each.read_bytes() for each in (path, journal.beside(path))]


def of_another(path: Path) -> Path:
    """A journal that is a whole log by itself, beside the file of another log."""
    log = Log.open(path)
    fill(log, "Bess")
    left = broken_off(path, log)
    with Log.open(path.with_name("other.db")) as other:
        fill(other, "Duke")
    shutil.copy(path.with_name("other.db"), left)
    return left


def of_another_in_part(path: Path) -> Path:
    """As `of_another`, but the journal holds only the pages that were changed last."""
    with Log.open(path) as log:
        fill(log, "Bess", utterances=30)
    log = Log.open(path)
    fill(log, "Bess")
    left = broken_off(path, log)
    with Log.open(path.with_name("other.db")) as other:
        fill(other, "Duke", utterances=60)
    shutil.copy(path.with_name("other.db"), left)
    return left


def of_a_later_state(path: Path) -> Path:
    """A backup of the same log copied over it by hand; the journal is of what came later."""
    with Log.open(path) as log:
        fill(log, "Bess")
    copying.back_up(path, path.with_name("backup.db"))
    with Log.open(path) as log:
        fill(log, "Bess", utterances=30)
    log = Log.open(path)
    fill(log, "Bess")
    left = broken_off(path, log)
    shutil.copy(path.with_name("backup.db"), left)
    return left


def of_a_file_that_is_gone(path: Path) -> Path:
    log = Log.open(path)
    fill(log, "Bess")
    left = broken_off(path, log)
    left.unlink()
    return left


MISFITS = [of_another, of_another_in_part, of_a_later_state]


@pytest.mark.parametrize("make", MISFITS)
def test_a_journal_of_another_state_is_refused_everywhere(
    path: Path, make: Callable[[Path], Path]
) -> None:
    left = make(path)
    before = content(left)
    for read_only in (True, False):
        with pytest.raises(LogError, match=r"the journal beside it .* is of another") as caught:
            Log.open(left, read_only=read_only)
        assert "\n" not in str(caught.value)
    with pytest.raises(LogError, match="the journal beside it"):
        copying.back_up(left, path.with_name("copy.db"))
    with Log.open(path) as log, pytest.raises(LogError, match="the journal beside it") as caught:
        join(log, left)
    assert str(left) in str(caught.value)
    (found,) = checking.look_through(left)
    assert "the journal beside it" in found.text
    assert content(left) == before  # not a page was written into the file


@pytest.mark.parametrize("make", [*MISFITS, of_a_file_that_is_gone])
def test_restore_is_the_way_out_and_keeps_both(path: Path, make: Callable[[Path], Path]) -> None:
    left = make(path)
    backup = path.with_name("good.db")
    with Log.open(backup) as good:
        fill(good, "Sorrel")
    before = [each.read_bytes() for each in (left, journal.beside(left)) if each.exists()]
    kept = restoring.restore(backup, left, datetime(2026, 11, 25, tzinfo=UTC), lose=True)
    assert kept is not None
    assert before == [each.read_bytes() for each in (kept, journal.beside(kept)) if each.exists()]
    with Log.open(left) as log:
        assert log.horse_names() == ["Sorrel"]
        assert log.check() == []


def test_a_journal_whose_log_is_gone_is_not_thrown_away(path: Path) -> None:
    left = of_a_file_that_is_gone(path)
    before = journal.beside(left).read_bytes()
    with pytest.raises(LogError, match="the journal beside it"):
        Log.open(left)
    assert journal.beside(left).read_bytes() == before
    assert not left.exists()


@pytest.mark.parametrize("grown", [0, 40])
def test_what_a_power_cut_left_is_the_logs_own(path: Path, grown: int) -> None:
    with Log.open(path) as log:
        fill(log, "Bess", utterances=grown)
    log = Log.open(path)
    fill(log, "Bess", visits=2)
    heard = [log.utterances(visit.id) for visit in log.visits()]
    left = broken_off(path, log)
    with Log.open(left) as log:
        assert [log.utterances(visit.id) for visit in log.visits()] == heard
        assert log.check() == []


def test_a_journal_cut_off_anywhere_is_still_the_logs_own(path: Path) -> None:
    with Log.open(path) as log:
        fill(log, "Bess", utterances=10)
    log = Log.open(path)
    fill(log, "Bess", visits=2)
    left = broken_off(path, log)
    whole = journal.beside(left).read_bytes()
    for size in (0, 10, 32, 40, 5000, len(whole) // 2, len(whole) - 1):
        journal.beside(left).write_bytes(whole[:size])
        journal.check(left)
        with sqlite3.connect(f"{left.as_uri()}?mode=ro", uri=True) as conn:
            assert conn.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        conn.close()


def test_a_log_in_use_is_opened_by_others_meanwhile(path: Path) -> None:
    with Log.open(path) as log:
        fill(log, "Bess")
        for _ in range(60):  # past the size at which the journal is written into the file
            fill(log, "Bess", utterances=2)
            journal.check(path)
        with Log.open(path) as other:
            fill(other, "Duke")
        fill(log, "Sorrel")
        journal.check(path)
        log._db.execute("VACUUM")
        journal.check(path)
