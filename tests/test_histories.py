"""From the log to histories: days of this place, what is doubtful, names."""

import time
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from handsfree import histories
from handsfree.errors import ExitCode, LogError
from handsfree.log import Horse, Log, UtteranceRow
from handsfree.records.entries import Finding, Measurement
from handsfree.sums.history import HorseFacts, measures

clocks = pytest.mark.skipif(not hasattr(time, "tzset"), reason="the clock cannot be moved here")


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with Log.open(tmp_path / "log.db") as opened:
        yield opened


@pytest.fixture
def place(monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """Go to a time zone."""

    def go(zone: str) -> None:
        monkeypatch.setenv("TZ", zone)
        time.tzset()

    yield go
    monkeypatch.undo()
    time.tzset()


def bruise(limb: str = "LH") -> dict[str, Any]:
    return {"kind": "finding", "limb": limb, "term": "bruise"}


def say(log: Log, visit: str, *bodies: dict[str, Any], **heard: Any) -> tuple[str, ...]:
    row = UtteranceRow(heard="x", status="recorded", **heard)
    return log.append(visit, row, bodies).entry_ids


def begin(log: Log, horse: Horse, at: str) -> str:
    return log.start_visit("typed", horse.id, started_at=at).id


# The horse


@pytest.mark.parametrize(
    ("born", "day", "exactly"),
    [
        ("2015", date(2015, 1, 1), False),
        ("2017-04-12", date(2017, 4, 12), True),
        (None, None, False),
        ("", None, False),
        ("20", None, False),
        ("2017-02-30", None, False),
        ("when he was young", None, False),
    ],
)
def test_a_birth_that_is_none_is_left_out(
    born: str | None, day: date | None, exactly: bool
) -> None:
    horse = Horse("h", "bess", "heavy", "2025", "coldblood", born)
    assert histories.facts(horse) == HorseFacts("bess", "heavy", "coldblood", day, exactly)


def test_a_horse_by_its_name_in_any_case(log: Log) -> None:
    bess = log.add_horse("Bess")
    assert histories.named(log, "BESS") == bess


@pytest.mark.parametrize(("name", "near"), [("lantren", "Lantern"), ("THISTLES", "thistle")])
def test_a_name_that_is_nearly_one_brings_it_up(log: Log, name: str, near: str) -> None:
    log.add_horse("thistle")
    log.add_horse("Lantern")
    with pytest.raises(LogError) as caught:
        histories.named(log, name)
    said = f"there is no horse '{name}' in the log; did you mean {near}?"
    assert str(caught.value) == said
    assert caught.value.exit_code == ExitCode.LOG


@pytest.mark.parametrize("name", ["zzz", "", "x" * 5000])
def test_a_name_that_is_near_none_is_one_plain_line(log: Log, name: str) -> None:
    with pytest.raises(LogError, match="there is no horse") as caught:
        histories.named(log, name)
    assert "did you mean" not in str(caught.value)
    log.add_horse("thistle")
    with pytest.raises(LogError) as caught:
        histories.named(log, name)
    assert "did you mean" not in str(caught.value)


# Visits


def test_two_visits_of_a_day_are_one_and_the_oldest_comes_first(log: Log) -> None:
    bess = log.add_horse("bess")
    later = begin(log, bess, "2026-05-06T12:00:00.000+00:00")
    noon = begin(log, bess, "2026-03-04T12:00:00.000+00:00")
    one = begin(log, bess, "2026-03-04T13:00:00.000+00:00")
    for visit, limb in ((later, "RF"), (one, "LH"), (noon, "LF"), (noon, "RH")):
        say(log, visit, bruise(limb))
    found = histories.history(log, bess)
    assert [(v.on, [e.limb for e in v.entries]) for v in found.visits] == [
        (date(2026, 3, 4), ["LF", "RH", "LH"]),
        (date(2026, 5, 6), ["RF"]),
    ]


def test_a_trim_after_dinner_is_of_the_same_day(log: Log) -> None:
    bess = log.add_horse("bess")
    toe = {"kind": "measurement", "limb": "LF", "quantity": "toe_length", "unit": "mm"}
    say(log, begin(log, bess, "2026-03-04T12:00:00.000+00:00"), toe | {"value": 90})
    afternoon = begin(log, bess, "2026-03-04T13:00:00.000+00:00")
    say(log, afternoon, {"kind": "work", "limb": "LF", "action": "trimmed"}, toe | {"value": 80})
    found = measures(histories.history(log, bess), "toe_length", "LF")
    assert [(m.stage.name, m.value.amount) for m in found] == [("BEFORE", 90), ("AFTER", 80)]


@clocks
@pytest.mark.parametrize(
    ("zone", "days"),
    [
        ("UTC", [date(2026, 3, 4), date(2026, 3, 5)]),
        ("Pacific/Auckland", [date(2026, 3, 5)]),
        ("America/Los_Angeles", [date(2026, 3, 4)]),
    ],
)
def test_days_are_those_of_this_place(log: Log, place: Any, zone: str, days: list[date]) -> None:
    bess = log.add_horse("bess")
    say(log, begin(log, bess, "2026-03-04T20:00:00.000+00:00"), bruise())
    say(log, begin(log, bess, "2026-03-05T01:00:00.000+00:00"), bruise())
    place(zone)
    found = histories.history(log, bess)
    assert [v.on for v in found.visits] == days
    assert sum(len(v.entries) for v in found.visits) == 2


def test_a_visit_of_which_nothing_counts_is_one_too(log: Log) -> None:
    bess = log.add_horse("bess")
    begin(log, bess, "2026-03-04T12:00:00.000+00:00")
    struck = begin(log, bess, "2026-05-06T12:00:00.000+00:00")
    log.strike(say(log, struck, bruise()), "review")
    found = histories.history(log, bess)
    assert [(v.on, v.notes) for v in found.visits] == [
        (date(2026, 3, 4), ()),
        (date(2026, 5, 6), ()),
    ]


def test_a_visit_may_be_left_out(log: Log) -> None:
    bess = log.add_horse("bess")
    morning = begin(log, bess, "2026-03-04T12:00:00.000+00:00")
    noon = begin(log, bess, "2026-03-04T13:00:00.000+00:00")
    alone = begin(log, bess, "2026-05-06T12:00:00.000+00:00")
    for visit, limb in ((morning, "LF"), (noon, "RF"), (alone, "LH")):
        say(log, visit, bruise(limb))
    but_noon = histories.history(log, bess, but=noon)
    assert [[e.limb for e in v.entries] for v in but_noon.visits] == [["LF"], ["LH"]]
    but_alone = histories.history(log, bess, but=alone)
    assert [v.on for v in but_alone.visits] == [date(2026, 3, 4)]


def test_only_what_had_begun_by_a_moment(log: Log) -> None:
    bess = log.add_horse("bess")
    hours = [f"2026-03-04T{hour}:00:00.000+00:00" for hour in (12, 13, 14)]
    for at, limb in zip(hours, ("LF", "RF", "LH"), strict=True):
        say(log, begin(log, bess, at), bruise(limb))
    by_one = histories.history(log, bess, begun_by=hours[1])
    assert [[e.limb for e in v.entries] for v in by_one.visits] == [["LF", "RF"]]


def test_no_visit_is_an_empty_history(log: Log) -> None:
    assert histories.history(log, log.add_horse("bess", "riding")).visits == ()


@pytest.mark.parametrize(
    ("heard", "doubtful"),
    [
        ({}, False),
        ({"confidence": 1.0}, False),
        ({"confidence": 0.8}, False),
        ({"confidence": 0.79}, True),
        ({"confidence": 0.99, "doubt": "the listeners differ"}, True),
    ],
)
def test_what_was_not_surely_heard_is_doubtful_until_it_is_confirmed(
    log: Log, heard: dict[str, Any], doubtful: bool
) -> None:
    bess = log.add_horse("bess")
    ids = say(log, begin(log, bess, "2026-03-04T12:00:00.000+00:00"), bruise(), **heard)
    [visit] = histories.history(log, bess).visits
    finding = Finding(limb="LH", term="bruise")
    assert (visit.entries, visit.doubtful) == (((), (finding,)) if doubtful else ((finding,), ()))
    assert visit.notes[0].id == ids[0]
    log.confirm(ids, "review")
    [visit] = histories.history(log, bess).visits
    assert (visit.entries, visit.doubtful) == ((finding,), ())


def test_a_correction_stands_in_the_place_of_what_it_corrects(log: Log) -> None:
    bess = log.add_horse("bess")
    visit = begin(log, bess, "2026-03-04T12:00:00.000+00:00")
    toe = {"kind": "measurement", "limb": "LF", "quantity": "toe_length", "unit": "mm"}
    first = log.append(
        visit, UtteranceRow(heard="x", status="recorded", confidence=0.3), [toe | {"value": 19}]
    )
    log.append(visit, UtteranceRow(heard="y", status="recorded"), [bruise()])
    log.correct(first.utterance_id, [toe | {"value": 90}], "review", replaces=first.entry_ids)
    [day] = histories.history(log, bess).visits
    assert day.entries == (
        Measurement(limb="LF", quantity="toe_length", value=90, unit="mm"),
        Finding(limb="LH", term="bruise"),
    )


def test_all_horses_in_alphabetical_order_each_with_its_own(log: Log) -> None:
    for name in ("lantern", "Ada", "thistle"):
        say(log, begin(log, log.add_horse(name), "2026-03-04T12:00:00.000+00:00"), bruise())
    log.add_horse("never seen")
    found = list(histories.histories(log))
    assert [(h.horse.name, len(h.visits)) for h in found] == [
        *(("Ada", 1), ("lantern", 1), ("never seen", 0), ("thistle", 1)),
    ]
