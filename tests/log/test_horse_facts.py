"""Breed and birth of horses, and what the histories are read from."""

import json
import sqlite3
from pathlib import Path

import pytest
from sqlite_utils import Database

from handsfree.log import Log, UtteranceRow, schema

SAID = UtteranceRow(heard="x", status="recorded")


def finding(term: str) -> dict[str, object]:
    return {"kind": "finding", "limb": "LH", "term": term}


# Horses


def test_breed_and_birth_are_kept_and_changed_to_what_is_given(log: Log) -> None:
    first = log.add_horse("Bess", "heavy", "coldblood", "2015")
    assert (first.breed, first.born) == ("coldblood", "2015")
    assert log.add_horse("bess") == first
    later = log.add_horse("BESS", "riding", "Belgian", "2015-04-12")
    assert (later.kind, later.breed, later.born) == ("riding", "Belgian", "2015-04-12")
    assert (later.id, later.created) == (first.id, first.created)
    assert log.horse("bess") == later
    assert log.horses() == [later]


def test_one_fact_leaves_the_others(log: Log) -> None:
    log.add_horse("Bess", "heavy", "coldblood", "2015")
    assert log.add_horse("Bess", breed="cob").born == "2015"
    assert log.add_horse("Bess", born="2016").breed == "cob"
    assert log.add_horse("Bess", breed="", born="").breed == "cob"


def test_horses_in_alphabetical_order_with_their_facts(log: Log) -> None:
    log.add_horse("émile", breed="Breton")
    log.add_horse("Bess")
    log.add_horse("ada", "riding", born="2017")
    assert [(h.name, h.kind, h.breed, h.born) for h in log.horses()] == [
        ("ada", "riding", None, "2017"),
        ("Bess", None, None, None),
        ("émile", None, "Breton", None),
    ]


# What the histories are read from


def test_entries_of_a_horse_from_all_its_visits_in_the_order_of_time(log: Log) -> None:
    bess, other = log.add_horse("Bess"), log.add_horse("Other")
    # Written in another order than they were.
    late = log.start_visit("b", bess.id, started_at="2026-05-01T08:00:00.000+00:00")
    early = log.start_visit("a", bess.id, started_at="2026-03-01T08:00:00.000+00:00")
    log.append(late.id, SAID, [finding("corn"), finding("thrush")])
    log.append(early.id, SAID, [finding("bruise")])
    log.append(early.id, SAID, [finding("crack")])
    log.append(log.start_visit("c", other.id).id, SAID, [finding("canker")])
    log.append(log.start_visit("d").id, SAID, [finding("chip")])
    found = log.horse_entries(bess.id)
    assert [(e.visit_id, e.body["term"]) for e in found] == [
        *((early.id, "bruise"), (early.id, "crack")),
        *((late.id, "corn"), (late.id, "thrush")),
    ]
    assert found[0].visit_started == early.started_at
    assert log.horse_entries(other.id)[0].body["term"] == "canker"
    assert log.horse_entries("nonesuch") == []


def test_only_what_counts_and_how_sure_it_is(log: Log) -> None:
    bess = log.add_horse("Bess")
    visit = log.start_visit("a", bess.id).id
    sure = log.append(visit, SAID, [finding("bruise"), finding("corn")])
    doubted = UtteranceRow(heard="y", status="recorded", confidence=0.5, doubt="faint")
    log.append(visit, doubted, [finding("thrush")])
    log.strike(sure.entry_ids[:1], "review")
    log.correct(sure.utterance_id, [finding("crack")], "review", replaces=sure.entry_ids[1:])
    assert [
        (e.body["term"], e.status, e.confidence, e.doubt) for e in log.horse_entries(bess.id)
    ] == [
        ("crack", "confirmed", None, None),
        ("thrush", "heard", 0.5, "faint"),
    ]


def test_a_visit_moved_to_a_horse_brings_its_entries(log: Log) -> None:
    bess, visit = log.add_horse("Bess"), log.start_visit("a")
    log.append(visit.id, SAID, [finding("bruise")])
    assert (log.horse_entries(bess.id), log.visits_of(bess.id)) == ([], [])
    log.name_horse(visit.id, bess.id)
    assert [e.body["term"] for e in log.horse_entries(bess.id)] == ["bruise"]
    assert log.visits_of(bess.id) == [log.visit(visit.id)]


def test_visits_of_a_horse_oldest_first_also_those_where_nothing_was_said(log: Log) -> None:
    bess = log.add_horse("Bess")
    days = ("2026-05-01", "2024-12-31", "2025-07-01")
    ids = {
        day: log.start_visit("a", bess.id, started_at=f"{day}T08:00:00.000+00:00").id
        for day in days
    }
    log.start_visit("b", log.add_horse("Other").id)
    assert [visit.id for visit in log.visits_of(bess.id)] == [ids[day] for day in sorted(days)]
    assert log.visits_of("nonesuch") == []


# A log from before breed and birth were kept


@pytest.fixture
def old(path: Path) -> Path:
    """A log of format 4 with a horse, a visit and an entry."""
    with sqlite3.connect(path) as conn:
        db = Database(conn)
        assert schema.migrate(db, schema.MIGRATIONS[:4]) == 4
        at = "2025-01-05T08:00:00.000+00:00"
        db.execute("INSERT INTO horses VALUES ('h', 'Bess', 'bess', 'heavy', ?)", [at])
        db.execute("INSERT INTO visits VALUES ('ab12', 'h', ?, 'typed', NULL)", [at])
        db.execute(
            "INSERT INTO utterances (id, visit_id, seq, recorded_at, heard, status, engines, "
            "alternatives) VALUES ('u', 'ab12', 1, ?, 'x', 'recorded', '[]', '[]')",
            [at],
        )
        body = json.dumps(finding("bruise"))
        db.execute(
            "INSERT INTO entries VALUES ('e','u',1,'finding','LH',?,NULL,?,'heard')", [body, at]
        )
        db.execute(
            "INSERT INTO marks VALUES ('e', 1, 'heard', ?, 'voice', NULL, 'u', 'c', NULL)", [at]
        )
    conn.close()
    return path


def test_an_older_log_is_brought_up_and_keeps_everything(old: Path) -> None:
    with Log.open(old, read_only=True) as log:
        assert log.check() == []
    with Log.open(old) as log:
        [horse] = log.horses()
        assert (horse.name, horse.kind, horse.breed, horse.born) == ("Bess", "heavy", None, None)
        [entry] = log.horse_entries("h")
        assert (entry.visit_id, entry.entry_id, entry.body["term"]) == ("ab12", "e", "bruise")
        [visit] = log.visits_of("h")
        assert (visit.id, visit.started_at) == ("ab12", "2025-01-05T08:00:00.000+00:00")
        assert log.add_horse("bess", breed="cob", born="2015").id == "h"
    with Log.open(old, read_only=True) as log:
        assert [(h.breed, h.born) for h in log.horses()] == [("cob", "2015")]


def test_an_older_log_is_brought_up_once(old: Path) -> None:
    Log.open(old).close()
    with sqlite3.connect(old) as conn:
        assert conn.execute("PRAGMA user_version").fetchone()[0] == len(schema.MIGRATIONS)
        assert schema.migrate(Database(conn)) == 0
    conn.close()
