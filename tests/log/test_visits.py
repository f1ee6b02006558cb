"""Horses by name, visits by id and by beginnings of ids."""

import sqlite3
from pathlib import Path

import pytest

from handsfree.errors import LogError
from handsfree.log import Log, UtteranceRow

BRUISE = {"kind": "finding", "limb": "LH", "term": "bruise"}


def test_a_horse_is_one_in_any_case(log: Log) -> None:
    first = log.add_horse("  Élan   Vital ", "riding")
    assert first.name == "Élan Vital"
    assert log.add_horse("ÉLAN vital") == first
    assert log.add_horse("e\u0301lan vital") == first
    assert log.horse("élan VITAL") == first
    assert log.horse("Elan Vital") is None
    log.add_horse("bess")
    assert log.horse_names() == ["bess", "Élan Vital"]


def test_a_kind_is_learnt_later_and_may_be_put_right(log: Log) -> None:
    log.add_horse("Bess")
    assert log.add_horse("bess", "heavy").kind == "heavy"
    assert log.add_horse("Bess", "riding").kind == "riding"
    assert log.add_horse("Bess").kind == "riding"
    with pytest.raises(LogError, match="CHECK constraint failed: kind"):
        log.add_horse("Duke", "pony")


def test_a_horse_needs_a_name(log: Log) -> None:
    with pytest.raises(LogError, match="needs a name"):
        log.add_horse(" \t ")


def test_visits_latest_first_with_counts(log: Log) -> None:
    bess = log.add_horse("Bess")
    old = log.start_visit("a.wav", bess.id, started_at="2026-01-05T08:00:00.000+00:00")
    new = log.start_visit("b.wav", started_at="2026-02-05T08:00:00.000+00:00", note="yard gate")
    ids = log.append(
        old.id, UtteranceRow(heard="x", status="recorded", doubt="faint"), [BRUISE] * 4
    ).entry_ids
    log.append(old.id, UtteranceRow(heard="y", status="unclear"))
    log.strike(ids[:1], "review")
    log.confirm(ids[1:3], "review")
    latest, first = log.visits()
    assert (latest.id, latest.horse, latest.note) == (new.id, None, "yard gate")
    assert (latest.utterances, latest.entries) == (0, 0)
    assert (first.id, first.horse, first.source) == (old.id, "Bess", "a.wav")
    assert (first.utterances, first.entries, first.confirmed, first.doubtful) == (2, 3, 2, 1)
    assert [visit.id for visit in log.visits(limit=1)] == [new.id]
    assert [visit.id for visit in log.visits(horse="BESS")] == [old.id]
    assert log.visits(horse="nobody") == []


def test_the_horse_may_be_named_later(log: Log) -> None:
    visit = log.start_visit("microphone")
    assert visit.horse is None
    log.name_horse(visit.id, log.add_horse("Bess").id)
    assert log.visit(visit.id).horse == "Bess"
    with pytest.raises(LogError, match="no such horse"):
        log.name_horse(visit.id, "nonesuch")


_VISIT = "INSERT INTO visits (id, started_at, source) VALUES (?, 't', 'typed')"


def test_a_visit_by_the_beginning_of_its_id(log: Log, path: Path) -> None:
    with sqlite3.connect(path) as other:
        for visit_id in ("ab12cd", "ab12ef", "c0ffee", "c0"):
            other.execute(
                "INSERT INTO visits (id, started_at, source) VALUES (?, 't', 'typed')", [visit_id]
            )
    other.close()
    assert log.visit("AB12C ").id == "ab12cd"
    with pytest.raises(LogError, match=r"^2 visits have an id that begins with ab12; give more"):
        log.visit("ab12")
    with pytest.raises(LogError, match="no visit ff"):
        log.visit("ff")
    with pytest.raises(LogError, match="no visit %"):
        log.visit("%")
    with pytest.raises(LogError, match="id is needed"):
        log.visit("")
    assert log.visit("c0ff").id == "c0ffee"


def test_a_whole_id_wins_over_longer_ones(log: Log, path: Path) -> None:
    with sqlite3.connect(path) as other:
        for visit_id in ("c0", "c0ffee"):
            other.execute(
                "INSERT INTO visits (id, started_at, source) VALUES (?, 't', 'typed')", [visit_id]
            )
    other.close()
    assert log.visit("c0").id == "c0"
