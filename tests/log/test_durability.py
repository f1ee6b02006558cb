"""What was answered is on the disk, whoever else writes and however a process ends."""

import random
import sqlite3
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from handsfree.errors import LogError
from handsfree.log import Log, UtteranceRow

Start = Callable[..., Any]

APPEND = """
import sys
from handsfree.log import Log, UtteranceRow
path, visit, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
with Log.open(path) as log:
    print("ready", flush=True)
    sys.stdin.readline()
    for n in range(count):
        row = UtteranceRow(heard=f"bruise {n}", status="recorded", limb="LH")
        entry = {"kind": "finding", "limb": "LH", "term": "bruise", "extent_mm": n}
        done = log.append(visit, row, [entry, entry], b"fLaC" + bytes(20000))
        print(done.utterance_id, flush=True)
"""


@pytest.mark.parametrize("seed", range(6))
def test_all_that_was_answered_survives_a_kill(path: Path, start: Start, seed: int) -> None:
    with Log.open(path) as log:
        visit = log.start_visit("microphone")
    process = start(APPEND, path, visit.id, 100)
    assert process.stdout.readline() == "ready\n"
    process.stdin.write("\n")
    process.stdin.flush()
    answered = [process.stdout.readline().strip()]
    time.sleep(random.Random(seed).uniform(0, 0.1))
    process.kill()
    answered += process.communicate()[0].split()

    other = sqlite3.connect(path)
    assert other.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    kept = [row[0] for row in other.execute("SELECT id FROM utterances ORDER BY seq")]
    assert kept[: len(answered)] == answered
    assert len(kept) <= len(answered) + 1  # one may be written but not yet answered
    per_utterance = """SELECT count(*), (SELECT count(*) FROM sounds WHERE utterance_id = u.id)
        FROM utterances AS u JOIN entries_in_force AS e ON e.utterance_id = u.id GROUP BY u.id"""
    assert set(other.execute(per_utterance)) == {(2, 1)}
    other.close()
    with Log.open(path) as log:
        assert log.append(visit.id, UtteranceRow(heard="x", status="unclear")).seq == len(kept) + 1


def test_processes_writing_at_once_all_succeed(path: Path, start: Start) -> None:
    with Log.open(path) as log:
        visit = log.start_visit("microphone")
    processes = [start(APPEND, path, visit.id, 40) for _ in range(3)]
    for process in processes:
        assert process.stdout.readline() == "ready\n"
    for process in processes:
        process.stdin.write("\n")
        process.stdin.flush()
    answered = {line for process in processes for line in process.communicate()[0].split()}
    assert [process.returncode for process in processes] == [0, 0, 0]
    with Log.open(path, read_only=True) as log:
        said = log.utterances(visit.id)
        assert {row.id for row in said} == answered
        assert [row.seq for row in said] == list(range(1, 121))
        assert log.check() == []


def test_processes_opening_a_new_log_at_once_all_succeed(path: Path, start: Start) -> None:
    script = """
import sys
from handsfree.log import Log
sys.stdin.readline()
with Log.open(sys.argv[1]) as log:
    log.add_horse("Bess")
"""
    processes = [start(script, path) for _ in range(4)]
    for process in processes:
        process.stdin.write("\n")
        process.stdin.flush()
    assert [process.wait() for process in processes] == [0] * 4
    with Log.open(path) as log:
        assert log.horse_names() == ["Bess"]


def test_each_write_waits_for_the_disk(log: Log, path: Path) -> None:
    assert log._db.execute("PRAGMA synchronous").fetchone() == (2,)  # 2 is FULL
    assert log._db.execute("PRAGMA foreign_keys").fetchone() == (1,)
    other = sqlite3.connect(path)
    assert other.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    other.close()


def test_a_lock_that_stays_is_told_in_one_line(log: Log, path: Path) -> None:
    visit = log.start_visit("typed")
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with Log.open(path, busy_s=0.2) as waiting:
        before = time.monotonic()
        with pytest.raises(LogError) as caught:
            waiting.append(visit.id, UtteranceRow(heard="x", status="unclear"))
        assert time.monotonic() - before >= 0.2
        assert str(caught.value) == (
            f"log {path}: is in use: another program has kept it locked for 0.2 s; "
            "close it and try again"
        )
        assert waiting.utterances(visit.id) == []  # reading goes on meanwhile
        other.execute("COMMIT")
        assert waiting.append(visit.id, UtteranceRow(heard="x", status="unclear")).seq == 1
    other.close()


def test_reading_while_another_records(log: Log, path: Path) -> None:
    visit = log.start_visit("microphone")
    with Log.open(path) as review, Log.open(path, read_only=True) as list_:
        entry = {"kind": "work", "limb": "LF", "action": "trimmed"}
        said = log.append(visit.id, UtteranceRow(heard="trimmed", status="recorded"), [entry])
        assert review.confirm(said.entry_ids, "review") == said.entry_ids
        assert [each.status for each in log.entries(visit.id)] == ["confirmed"]
        assert [each.status for each in list_.entries(visit.id)] == ["confirmed"]
