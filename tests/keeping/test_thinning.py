"""Old sound goes by a rule, with a record; what may still be needed stays."""

import json
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.errors import LogError
from handsfree.keeping import thinning
from handsfree.keeping.checking import look_through
from handsfree.keeping.thinning import Rule, months_before
from handsfree.log import Log, UtteranceRow


def sounds(log: Log) -> set[str]:
    return {u.id for v in log.visits() for u in log.utterances(v.id) if u.has_sound}


def heard(log: Log, words: str) -> list[str]:
    """Ids of the utterances with sound that were heard so, oldest visit first."""
    visits = sorted(log.visits(), key=lambda v: v.started_at)
    said = [u for v in visits for u in log.utterances(v.id)]
    return [u.id for u in said if u.has_sound and u.heard == words]


def test_what_is_sure_goes_and_what_is_needed_stays(log: Log, path: Path) -> None:
    doubtful = log.append(
        log.visit(next(v.id for v in log.visits() if v.note == "yard 0")).id,
        UtteranceRow(heard="heat", status="recorded", confidence=0.4),
        [{"kind": "finding", "limb": "LH", "term": "heat"}],
        b"fLaC" + bytes(5000),
    )
    rule = Rule(date(2025, 4, 1))  # the fixture's visits are of March, April and May
    found = thinning.look(log, rule)
    assert found.utterances == (heard(log, "heel bruise")[0], heard(log, "thrush")[0])
    assert found.bytes == sum(len(log.sound(each) or b"") for each in found.utterances)
    assert found.kept == {"newer": 8, "doubtful": 1, "unclear": 1, "remarks without words": 1}
    before = sounds(log)
    assert sounds(log) == before  # looking changes nothing

    assert thinning.thin(log, found, "smith") == 2
    assert sounds(log) == before - set(found.utterances)
    assert doubtful.utterance_id in sounds(log)
    with log.snapshot() as db:
        kept = list(db.query("SELECT * FROM sounds_thinned"))
    assert {row["utterance_id"] for row in kept} == set(found.utterances)
    assert sum(row["bytes"] for row in kept) == found.bytes
    assert {(row["by"], row["reason"]) for row in kept} == {("smith", str(rule))}
    assert str(rule) == (
        "sound of visits before 2025-04-01, but for: doubtful, unclear, remarks without words"
    )
    assert log.check() == []
    assert thinning.thin(log, found, "smith") == 0  # nothing is there a second time


def test_each_of_the_kept_goes_where_it_is_said_so(log: Log) -> None:
    for options, words in (
        ({"keep_unclear": False}, "mumble"),
        ({"keep_remarks": False}, "remark"),
    ):
        found = thinning.look(log, Rule(date(2026, 1, 1), **options))
        assert set(heard(log, words)) <= set(found.utterances)
        assert not set(heard(log, words)) & set(
            thinning.look(log, Rule(date(2026, 1, 1))).utterances
        )


def test_what_a_person_settled_is_needed_no_longer(log: Log) -> None:
    rule = Rule(date(2026, 1, 1))
    visit = next(v.id for v in log.visits() if v.note == "yard 0")
    unclear = next(u for u in log.utterances(visit) if u.status == "unclear")
    assert unclear.id not in thinning.look(log, rule).utterances
    log.strike((), "review", passes=[unclear.id])
    assert unclear.id in thinning.look(log, rule).utterances


def test_the_file_gets_smaller(log: Log, path: Path) -> None:
    visit = log.visits()[-1].id
    for _ in range(30):
        row = UtteranceRow(heard="trimmed", status="recorded", confidence=0.99)
        entry = {"kind": "work", "limb": "LF", "action": "trimmed"}
        log.append(visit, row, [entry], b"fLaC" + bytes(100_000))
    assert log.give_back_space() is None
    before = path.stat().st_size
    thinning.thin(log, thinning.look(log, Rule(date(2026, 1, 1))), "smith")
    assert log.give_back_space() is None
    assert before - path.stat().st_size > 2_900_000
    assert path.with_name("log.db-wal").stat().st_size == 0
    with Log.open(path) as other, other.snapshot() as db:
        db.execute("SELECT count(*) FROM utterances").fetchone()
        assert log.give_back_space() is not None  # told, not raised


def test_sound_is_thinned_or_not_by_the_place_s_own_day(log: Log) -> None:
    visit = next(v for v in log.visits() if v.note == "yard 0")
    day = visit.day
    assert not thinning.look(log, Rule(day)).utterances
    assert thinning.look(log, Rule(date.fromordinal(day.toordinal() + 1))).utterances


@given(st.dates(date(1990, 1, 1), date(2100, 1, 1)), st.integers(0, 240))
def test_months_before(day: date, months: int) -> None:
    found = months_before(day, months)
    assert (day.year - found.year) * 12 + day.month - found.month == months
    assert found.day == day.day or (
        found.day < day.day and date.fromordinal(found.toordinal() + 1).day == 1
    )


def test_records_of_thinning_are_never_changed(log: Log, path: Path) -> None:
    thinning.thin(log, thinning.look(log, Rule(date(2026, 1, 1))), "smith")
    with pytest.raises(LogError, match="never deleted"), log._writing() as db:
        db.execute("DELETE FROM sounds_thinned")
    assert look_through(path) == []
    assert json.dumps(log.erasures()) == "[]"
