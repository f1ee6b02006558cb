"""Writes that a locked, full or read-only log refused come into it later, in order."""

import math
import sqlite3
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from handsfree.errors import LogError
from handsfree.log import Appended, Log, UtteranceRow, Visit
from handsfree.waiting import Waiting, may_pass

Append = Callable[[str], Callable[[], Appended]]


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with Log.open(tmp_path / "log.db", busy_s=0.01) as opened:
        yield opened


@pytest.fixture
def visit(log: Log) -> Visit:
    return log.start_visit("microphone")


@pytest.fixture
def append(log: Log, visit: Visit) -> Append:
    def job(heard: str) -> Callable[[], Appended]:
        entry = {"kind": "remark", "limb": None, "text": heard}
        row = UtteranceRow(heard=heard, status="recorded", recorded_at="2026-05-01T08:00:00+00:00")
        return lambda: log.append(visit.id, row, [entry], b"fLaC" + bytes(2000))

    return job


@pytest.fixture
def other(log: Log) -> Iterator[sqlite3.Connection]:
    """Another program with the same file open."""
    connection = sqlite3.connect(log.path, isolation_level=None)
    yield connection
    connection.close()


def heard(log: Log, visit: Visit) -> list[str]:
    return [each.heard for each in log.utterances(visit.id)]


def test_a_job_runs_at_once_where_nothing_waits(log: Log, visit: Visit, append: Append) -> None:
    waiting = Waiting()
    assert waiting.put(append("a")).result().seq == 1
    assert (len(waiting), waiting.trouble(), waiting.retry(0.0)) == (0, None, 0)
    assert heard(log, visit) == ["a"]


def test_jobs_behind_a_lock_are_written_in_order_when_it_goes(
    log: Log, visit: Visit, append: Append, other: sqlite3.Connection
) -> None:
    waiting = Waiting()
    waiting.put(append("before"))
    other.execute("BEGIN IMMEDIATE")
    futures = [waiting.put(append(name)) for name in "abc"]
    assert len(waiting) == 3
    assert not any(each.done() for each in futures)
    line = str(waiting.trouble())
    assert line.startswith(f"log {log.path}: is in use")
    assert "\n" not in line
    assert waiting.trouble() is None
    assert waiting.retry(100.0) == 0
    assert waiting.trouble() is None  # told once, however often it is tried
    other.execute("COMMIT")
    # The lock is gone, but what comes later still goes behind.
    futures.append(waiting.put(append("d")))
    assert heard(log, visit) == ["before"]
    assert waiting.retry(101.9) == 0
    assert waiting.retry(102.0) == 4
    assert len(waiting) == 0
    assert waiting.trouble() == "4 notes that waited are in the log now"
    assert waiting.trouble() is None
    assert heard(log, visit) == ["before", *"abcd"]
    assert [each.result().seq for each in futures] == [2, 3, 4, 5]
    texts = [each.body["text"] for each in log.entries(visit.id)]
    assert texts == ["before", *"abcd"]
    assert all(log.sound(each.result().utterance_id) for each in futures)
    assert waiting.put(append("after")).result().seq == 6


def test_a_lock_that_comes_back_in_the_middle(
    log: Log, visit: Visit, append: Append, other: sqlite3.Connection
) -> None:
    waiting = Waiting()

    def lock_again() -> Appended:
        done = append("b")()
        other.execute("BEGIN IMMEDIATE")
        return done

    other.execute("BEGIN IMMEDIATE")
    for job in (append("a"), lock_again, append("c"), append("d")):
        waiting.put(job)
    other.execute("COMMIT")
    assert waiting.retry(0.0) == 2
    assert len(waiting) == 2
    other.execute("COMMIT")
    assert waiting.retry(1.0) == 0  # too soon
    assert waiting.retry(math.inf) == 2
    assert heard(log, visit) == list("abcd")
    assert "is in use" in str(waiting.trouble())
    assert waiting.trouble() == "4 notes that waited are in the log now"


def test_a_job_may_use_what_an_earlier_one_gives(log: Log, other: sqlite3.Connection) -> None:
    waiting = Waiting()
    other.execute("BEGIN IMMEDIATE")
    begun = waiting.put(lambda: log.start_visit("microphone"))
    row = UtteranceRow(heard="pulled seven nails", status="recorded")
    waiting.put(lambda: log.append(begun.result().id, row))
    other.execute("COMMIT")
    assert waiting.retry(0.0) == 2
    assert heard(log, begun.result()) == ["pulled seven nails"]
    assert len(log.visits()) == 1


def test_what_the_log_refuses_for_good_holds_up_nobody(
    log: Log, visit: Visit, append: Append, other: sqlite3.Connection
) -> None:
    waiting = Waiting()

    def nowhere() -> Appended:
        return log.append("no visit", UtteranceRow(heard="x", status="unclear"))

    with pytest.raises(LogError, match="no such horse, visit"):
        waiting.put(nowhere)
    assert len(waiting) == 0
    other.execute("BEGIN IMMEDIATE")
    waiting.put(append("a"))
    refused = waiting.put(nowhere)
    waiting.put(append("b"))
    other.execute("COMMIT")
    assert waiting.retry(0.0) == 2
    assert isinstance(refused.exception(), LogError)
    assert heard(log, visit) == ["a", "b"]
    assert "is in use" in str(waiting.trouble())
    assert str(waiting.trouble()).startswith("a note that waited could not be written: log ")
    assert waiting.trouble() == "2 notes that waited are in the log now"


def test_a_fault_of_the_program_is_raised_and_holds_up_nobody(
    log: Log, visit: Visit, append: Append, other: sqlite3.Connection
) -> None:
    waiting = Waiting()

    def fault() -> None:
        raise KeyError("fault")

    with pytest.raises(KeyError):
        waiting.put(fault)
    other.execute("BEGIN IMMEDIATE")
    for job in (append("a"), fault, append("b")):
        waiting.put(job)
    other.execute("COMMIT")
    with pytest.raises(KeyError):
        waiting.retry(0.0)
    assert len(waiting) == 1
    assert waiting.retry(2.0) == 1
    assert heard(log, visit) == ["a", "b"]


def test_an_interrupted_job_is_not_lost(log: Log, visit: Visit, append: Append) -> None:
    waiting = Waiting()
    interrupts = [KeyboardInterrupt()]

    def job() -> Appended:
        if interrupts:
            raise interrupts.pop()
        return append("a")()

    with pytest.raises(KeyboardInterrupt):
        waiting.put(job)
    assert waiting.retry(0.0) == 1
    assert heard(log, visit) == ["a"]
    assert waiting.trouble() == "1 note that waited is in the log now"


def test_it_is_said_again_when_many_wait(
    log: Log, visit: Visit, append: Append, other: sqlite3.Connection
) -> None:
    waiting = Waiting()
    other.execute("BEGIN IMMEDIATE")
    for number in range(105):
        waiting.put(append(str(number)))
    lines = [waiting.trouble() for _ in range(4)]
    assert lines[1:] == [
        "10 notes wait to be written to the log",
        "100 notes wait to be written to the log",
        None,
    ]
    other.execute("COMMIT")
    assert waiting.retry(0.0) == 105
    assert heard(log, visit) == [str(number) for number in range(105)]


def test_a_full_disk(tmp_path: Path) -> None:
    where = tmp_path / "disk"
    where.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(where)]
    try:
        subprocess.run(command, check=True, capture_output=True)
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("mounting a small disk needs Linux and the superuser")
    try:
        with Log.open(where / "log.db", busy_s=0.01) as log:
            visit, waiting, count = log.start_visit("microphone"), Waiting(), 0
            filler = where / "other"
            filler.write_bytes(bytes(400_000))

            def job(number: int) -> Callable[[], Appended]:
                row = UtteranceRow(heard=str(number), status="unclear")
                return lambda: log.append(visit.id, row, sound_flac=bytes(50_000))

            while len(waiting) < 3:
                waiting.put(job(count))
                count += 1
            assert "the disk is full" in str(waiting.trouble())
            assert waiting.trouble() is None
            assert len(heard(log, visit)) == count - 3
            filler.unlink()
            assert waiting.retry(0.0) == 3
            assert heard(log, visit) == [str(number) for number in range(count)]
            assert log.check() == []
    finally:
        subprocess.run(["umount", "--lazy", str(where)], check=True)


@pytest.mark.parametrize(
    ("cause", "expected"),
    [
        (sqlite3.OperationalError("locked"), True),
        (sqlite3.DatabaseError("malformed"), True),
        (OSError(28, "full"), True),
        (sqlite3.IntegrityError("foreign key"), False),
        (sqlite3.ProgrammingError("closed"), False),
        (ValueError("NaN"), False),
        (None, False),
    ],
)
def test_which_refusals_may_pass(cause: Exception | None, expected: bool) -> None:
    error = LogError("log x: refused")
    error.__cause__ = cause
    assert may_pass(error) == expected
