"""What a review writes: whole transactions that can be taken back, and lessons."""

import sqlite3
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
from sqlite_utils import Database

from handsfree.errors import LogError
from handsfree.log import ChangedMeanwhile, Lesson, Log, NoticeRow, UtteranceRow, schema

BRUISE = {"kind": "finding", "limb": "LH", "zone": "heel", "side": "lateral", "term": "bruise"}
FLARE = {"kind": "finding", "limb": "LH", "zone": "quarter", "side": "medial", "term": "flare"}
SAID = UtteranceRow(
    heard="left hind outside heel bruise", status="recorded", limb="LH", start_s=1.5, end_s=3.0
)
TALK = UtteranceRow(heard="stand still", status="unclear", limb="LH")


def in_force(log: Log, visit_id: str) -> list[str]:
    return [entry.body["term"] for entry in log.entries(visit_id, in_force=True)]


def test_an_entry_put_in_by_hand_is_confirmed_and_undo_takes_it_out(log: Log) -> None:
    visit = log.start_visit("microphone")
    done = log.append(visit.id, SAID, [BRUISE], by="review", confirmed=True)
    (mark,) = log.history(done.entry_ids[0])
    assert (mark.status, mark.by) == ("confirmed", "review")
    undone = log.undo(visit.id, "review")
    assert undone is not None
    assert (undone.what, dict(undone.now)) == ("added", {done.entry_ids[0]: "struck"})


def test_nothing_is_confirmed_when_one_of_them_is_gone(log: Log) -> None:
    visit = log.start_visit("microphone")
    first, second = log.append(visit.id, SAID, [BRUISE, FLARE]).entry_ids
    log.strike([second], "voice")
    with pytest.raises(ChangedMeanwhile):
        log.confirm([first, second], "review", whole=True)
    with pytest.raises(ChangedMeanwhile):
        log.strike([first, second], "review", whole=True)
    assert [e.status for e in log.entries(visit.id)] == ["heard", "struck"]
    assert log.undo(visit.id, "review") is None


def test_a_correction_is_refused_when_the_utterance_has_other_entries_by_now(log: Log) -> None:
    visit = log.start_visit("microphone")
    said = log.append(visit.id, TALK)
    log.correct(said.utterance_id, [BRUISE], "someone", expects=())
    with pytest.raises(ChangedMeanwhile, match="look at it again"):
        log.correct(said.utterance_id, [FLARE], "review", expects=())
    assert in_force(log, visit.id) == ["bruise"]


def test_one_more_entry_may_be_left_unconfirmed(log: Log) -> None:
    visit = log.start_visit("microphone")
    said = log.append(visit.id, SAID, [BRUISE])
    log.correct(said.utterance_id, [BRUISE], "review", confirmed=False, reason="split")
    assert [e.status for e in log.entries(visit.id)] == ["heard", "heard"]
    undone = log.undo(visit.id, "review")
    assert undone is not None
    assert (undone.what, undone.reason) == ("corrected", "split")
    assert [e.status for e in log.entries(visit.id)] == ["heard", "struck"]


def test_a_notice_hangs_on_the_corrected_entry(log: Log) -> None:
    visit = log.start_visit("microphone")
    said = log.append(visit.id, SAID, [BRUISE])
    notice = NoticeRow(kind="caution", code="puncture", text="call the vet", entry=0)
    log.correct(said.utterance_id, [FLARE], "review", said.entry_ids, notices=[notice])
    assert [n.code for n in log.notices(visit.id)] == ["puncture"]
    log.undo(visit.id, "review")
    assert log.notices(visit.id) == []
    assert [n.code for n in log.notices(visit.id, settled=True)] == ["puncture"]


def test_a_settled_notice_is_not_open_any_more(log: Log) -> None:
    visit = log.start_visit("microphone")
    notice = log.notice(visit.id, NoticeRow(kind="nails", code="count", text="one is missing"))
    log.settle([notice])
    log.settle([notice])
    assert log.notices(visit.id) == []
    assert [n.id for n in log.notices(visit.id, settled=True)] == [notice]


# Passed over


def test_an_utterance_is_passed_over_and_open_again(log: Log) -> None:
    visit = log.start_visit("microphone")
    said = log.append(visit.id, TALK)
    log.strike([], "review", passes=[said.utterance_id])
    assert log.passed(visit.id) == {said.utterance_id}
    undone = log.undo(visit.id, "review")
    assert undone is not None
    assert (undone.what, undone.utterances, dict(undone.now)) == (
        "passed",
        (said.utterance_id,),
        {},
    )
    assert log.passed(visit.id) == set()
    assert log.undo(visit.id, "review") is None
    marks = [(m.status, m.by, m.undoes) for m in log.passing_history(said.utterance_id)]
    assert marks == [("passed", "review", None), ("open", "review", undone.id)]


def test_undo_goes_back_in_order_through_entries_and_utterances(log: Log, path: Path) -> None:
    visit = log.start_visit("microphone")
    talk = [log.append(visit.id, TALK).utterance_id for _ in range(3)]
    entry = log.append(visit.id, SAID, [BRUISE]).entry_ids
    log.strike([], "review", passes=talk[:1])
    log.strike([], "review", passes=talk[1:2])
    log.confirm(entry, "review")
    log.strike([], "review", passes=talk[2:])
    log.strike(entry, "review")
    log.close()
    with Log.open(path) as again:
        undone = [again.undo(visit.id, "review") for _ in range(6)]
        assert [change and (change.what, change.utterances) for change in undone] == [
            ("struck", ()),
            ("passed", (talk[2],)),
            ("confirmed", ()),
            ("passed", (talk[1],)),
            ("passed", (talk[0],)),
            None,
        ]
        assert again.passed(visit.id) == set()
        assert [e.status for e in again.entries(visit.id)] == ["heard"]


def test_striking_what_was_put_into_an_unclear_utterance_passes_it_over_at_once(log: Log) -> None:
    visit = log.start_visit("microphone")
    said = log.append(visit.id, TALK)
    put = log.correct(said.utterance_id, [BRUISE], "review")
    log.strike(put.entry_ids, "review", passes=[said.utterance_id])
    undone = log.undo(visit.id, "review")
    assert undone is not None
    assert (undone.what, undone.utterances) == ("struck", (said.utterance_id,))
    assert (log.passed(visit.id), in_force(log, visit.id)) == (set(), ["bruise"])


# Moving


@pytest.mark.parametrize("undone_from", [0, 1])
def test_entries_move_to_another_visit_and_back(log: Log, undone_from: int) -> None:
    visits = [log.start_visit("microphone", log.add_horse(name).id) for name in ("Duke", "Bella")]
    here, there = visits
    log.append(there.id, UtteranceRow(heard="right fore", status="command", limb="RF"))
    said = log.append(here.id, SAID, [BRUISE, FLARE], b"fLaC sound")
    moved = log.move(said.entry_ids, there.id, "review", "moved to Bella")
    (copy,) = moved
    assert (copy.seq, copy.marked) == (2, said.entry_ids)
    assert in_force(log, here.id) == []
    new = log.entries(there.id)
    assert [(e.body, e.status, e.replaces, e.heard, e.start_s) for e in new] == [
        (BRUISE, "confirmed", said.entry_ids[0], SAID.heard, 1.5),
        (FLARE, "confirmed", said.entry_ids[1], SAID.heard, 1.5),
    ]
    stored = log.utterances(there.id)[-1]
    assert (stored.heard, stored.start_s, stored.end_s, stored.limb, stored.has_sound) == (
        *(SAID.heard, 1.5, 3.0),
        *("RF", True),  # the limb in force there is still the one that was named there
    )
    assert log.sound(stored.id) == b"fLaC sound"
    change = log.undo(visits[undone_from].id, "review")
    assert change is not None
    assert (change.what, change.reason) == ("moved", "moved to Bella")
    assert in_force(log, here.id) == ["bruise", "flare"]
    assert in_force(log, there.id) == []
    assert [log.undo(v.id, "review") for v in visits] == [None, None]


def test_entries_of_two_utterances_move_together_or_not_at_all(log: Log) -> None:
    here, there = log.start_visit("microphone"), log.start_visit("microphone")
    ids = [log.append(here.id, SAID, [body]).entry_ids[0] for body in (BRUISE, FLARE)]
    log.strike(ids[1:], "voice")
    with pytest.raises(ChangedMeanwhile):
        log.move(ids, there.id, "review")
    assert (in_force(log, here.id), log.utterances(there.id)) == (["bruise"], [])
    log.undo(here.id, "voice")
    assert len(log.move(ids, there.id, "review")) == 2
    assert (in_force(log, here.id), in_force(log, there.id)) == ([], ["bruise", "flare"])
    with pytest.raises(LogError, match="no visit"):
        log.move(ids, "f" * 32, "review")


def test_nothing_is_left_of_an_unclear_utterance_that_was_moved(log: Log) -> None:
    here, there = log.start_visit("microphone"), log.start_visit("microphone")
    said = log.append(here.id, TALK)
    put = log.correct(said.utterance_id, [BRUISE], "review")
    log.move(put.entry_ids, there.id, "review")
    assert log.passed(here.id) == {said.utterance_id}
    assert log.utterances(there.id)[0].status == "recorded"
    log.undo(there.id, "review")
    assert (log.passed(here.id), in_force(log, here.id)) == (set(), ["bruise"])


# Lessons


def teach(log: Log, visit_id: str, heard: str, meant: str) -> str:
    said = log.append(visit_id, SAID, [BRUISE])
    done = log.correct(said.utterance_id, [FLARE], "review", said.entry_ids, taught=(heard, meant))
    return done.utterance_id


def pairs(log: Log) -> list[tuple[str, str, int]]:
    return [(lesson.heard, lesson.meant, lesson.times) for lesson in log.lessons()]


def test_lessons_are_counted_most_often_taught_first(log: Log) -> None:
    visit = log.start_visit("microphone")
    teach(log, visit.id, "tow crack", "toe crack")
    for _ in range(2):
        teach(log, visit.id, "mild flair", "mild flare")
    teach(log, visit.id, "mild flair", "mild chip")
    assert pairs(log) == [
        ("mild flair", "mild flare", 2),
        ("mild flair", "mild chip", 1),
        ("tow crack", "toe crack", 1),
    ]
    first = log.lessons()[0]
    assert isinstance(first, Lesson)
    assert datetime.fromisoformat(first.last_at).tzinfo is not None


def test_a_lesson_goes_with_its_correction(log: Log, path: Path) -> None:
    visit = log.start_visit("microphone")
    for _ in range(2):
        teach(log, visit.id, "tow crack", "toe crack")
    log.undo(visit.id, "review")
    assert pairs(log) == [("tow crack", "toe crack", 1)]
    log.undo(visit.id, "review")
    log.close()
    with Log.open(path) as again:
        assert pairs(again) == []


def test_a_refused_correction_teaches_nothing(log: Log) -> None:
    visit = log.start_visit("microphone")
    said = log.append(visit.id, SAID, [BRUISE])
    log.strike(said.entry_ids, "voice")
    with pytest.raises(ChangedMeanwhile):
        log.correct(said.utterance_id, [FLARE], "review", said.entry_ids, taught=("a", "b"))
    assert pairs(log) == []


def test_the_later_lesson_of_an_utterance_counts_until_it_is_undone(log: Log) -> None:
    visit = log.start_visit("microphone")
    utterance = teach(log, visit.id, "tow crack", "quarter crack")
    log.correct(utterance, [BRUISE], "review", taught=("tow crack", "toe crack"))
    assert pairs(log) == [("tow crack", "toe crack", 1)]
    log.correct(utterance, [BRUISE], "review", taught=("tow crack", ""))
    assert pairs(log) == []
    log.undo(visit.id, "review")
    assert pairs(log) == [("tow crack", "toe crack", 1)]
    log.undo(visit.id, "review")
    assert pairs(log) == [("tow crack", "quarter crack", 1)]


def test_a_forgotten_lesson_may_be_taught_again(log: Log) -> None:
    visit = log.start_visit("microphone")
    for _ in range(3):
        teach(log, visit.id, "tow crack", "toe crack")
    teach(log, visit.id, "mild flair", "mild flare")
    assert log.forget_lesson("tow crack", "toe crack")
    assert not log.forget_lesson("tow crack", "toe crack")
    assert not log.forget_lesson("never", "taught")
    assert pairs(log) == [("mild flair", "mild flare", 1)]
    teach(log, visit.id, "tow crack", "toe crack")
    assert ("tow crack", "toe crack", 1) in pairs(log)


@pytest.mark.parametrize("table", ["lessons", "lessons_forgotten", "utterance_marks"])
def test_what_a_review_wrote_is_never_changed(log: Log, path: Path, table: str) -> None:
    visit = log.start_visit("microphone")
    utterance = teach(log, visit.id, "tow crack", "toe crack")
    log.forget_lesson("tow crack", "toe crack")
    log.strike([], "review", passes=[utterance])
    with sqlite3.connect(path) as conn:
        for sql in (f"DELETE FROM {table}", f"UPDATE {table} SET at = ''"):
            with pytest.raises(sqlite3.IntegrityError, match="never"):
                conn.execute(sql)
        with pytest.raises(sqlite3.IntegrityError, match="never replaced"):
            conn.execute(f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}")


# Reading


def test_data_version_tells_of_what_others_wrote(log: Log, path: Path) -> None:
    before = log.data_version()
    log.start_visit("microphone")
    assert log.data_version() == before
    with Log.open(path) as other:
        other.start_visit("microphone")
    assert log.data_version() != before


def test_visits_of_a_day_by_the_clock_of_the_place(
    log: Log, monkeypatch: pytest.MonkeyPatch
) -> None:
    import time

    monkeypatch.setenv("TZ", "Australia/Sydney")  # 11 hours ahead of UTC in March
    time.tzset()
    try:
        times = ("2026-03-01T12:59", "2026-03-01T13:00", "2026-03-02T12:59", "2026-03-02T13:00")
        for at in reversed(times):
            log.start_visit("microphone", started_at=f"{at}:00.000+00:00")
        found = [visit.started_at[:16] for visit in log.visits_on(date(2026, 3, 2))]
        assert found == list(times[1:3])
        assert log.visits_on(date(2026, 3, 5)) == []
    finally:
        monkeypatch.undo()
        time.tzset()


OPENED = {
    "entries": lambda log, id: log.entries(id, in_force=True),
    "utterances": lambda log, id: log.utterances(id),
    "notices": lambda log, id: log.notices(id),
    "passed": lambda log, id: log.passed(id),
    "undo": lambda log, id: log.undo(id, "review"),
    "visits_on": lambda log, id: log.visits_on(date(2026, 3, 2)),
    "sound": lambda log, id: log.sound(id),
}


@pytest.mark.parametrize("name", OPENED)
def test_opening_a_visit_reads_no_whole_table(path: Path, name: str) -> None:
    """EXPLAIN QUERY PLAN says SCAN where every row of a table is read (sqlite.org/eqp.html)."""
    statements: list[tuple[str, Any]] = []
    with Log.open(path) as log:
        horse = log.add_horse("Duke")
        visit = log.start_visit("microphone", horse.id, started_at="2026-03-02T09:00:00+00:00")
        said = log.append(visit.id, SAID, [BRUISE])
        log.notice(visit.id, NoticeRow(kind="nails", code="count", text="one is missing"))
        log.confirm(said.entry_ids, "review")
    db = Database(path, tracer=lambda sql, params: statements.append((sql, params)))
    log = Log(db, path)
    OPENED[name](log, visit.id)
    reads = [(sql, params) for sql, params in statements if sql.lstrip().startswith("SELECT")]
    assert reads
    for sql, params in list(reads):
        plan = db.conn.execute(f"EXPLAIN QUERY PLAN {sql}", params or []).fetchall()
        scans = [row[3] for row in plan if row[3].startswith("SCAN") and "CONSTANT" not in row[3]]
        # A subquery's own rows may be scanned, and there is one for each change of the visit.
        scans = [line for line in scans if "subquery" not in line and "MATERIALIZE" not in line]
        assert scans == [], sql
    log.close()


def test_an_older_log_is_brought_up(path: Path) -> None:
    with sqlite3.connect(path) as conn:
        db = Database(conn, execute_plugins=False)
        schema.migrate(db, schema.MIGRATIONS[:3])
        conn.execute("INSERT INTO visits VALUES ('v', NULL, '2026-01-01', 'typed', NULL)")
        conn.execute(
            "INSERT INTO notices VALUES ('n', 'v', NULL, NULL, 'nails', 'c', 'LH', 'one', NULL, '')"
        )
    conn.close()
    with Log.open(path) as log:
        assert [n.text for n in log.notices("v")] == ["one"]
        assert (log.lessons(), log.passed("v"), log.check()) == ([], frozenset(), [])
