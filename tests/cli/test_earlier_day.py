"""Typed notes of an earlier day: into the horse's visit of that day."""

import os
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from handsfree.log import Log

TEXT = ("transcribe", "--engine", "text", "--json", "--horse", "Bramble")


@pytest.fixture
def bramble(run):
    assert run("horses", "add", "Bramble").code == 0
    assert run("horses", "add", "Copper").code == 0

    def write(*lines: str, options: tuple[str, ...] = ("--on", "2025-03-04"), **environment: str):
        done = run(*TEXT, *options, "-", stdin="\n".join(lines) + "\n", **environment)
        assert done.code == 0, done.err
        return done.objects

    return write


def local(moment: str) -> datetime:
    return datetime.fromisoformat(moment).astimezone().replace(tzinfo=None)


def visits(tmp_path):
    """(horse, begun, utterances with their times) of every visit, latest first."""
    with Log.open(tmp_path / "log.db") as log:
        return [
            (
                v.horse,
                local(v.started_at),
                [(u.heard, local(u.recorded_at)) for u in log.utterances(v.id)],
            )
            for v in log.visits()
        ]


NOON = datetime(2025, 3, 4, 12)
HALF_PAST_TWO = datetime(2025, 3, 4, 14, 30)


def test_the_visit_is_of_that_day_at_noon(bramble, tmp_path):
    lines = bramble("left fore thrush in the frog", "pulled six nails")
    assert [len(line["entries"]) for line in lines] == [1, 1]
    said = [("left fore thrush in the frog", NOON), ("pulled six nails", NOON)]
    assert visits(tmp_path) == [("Bramble", NOON, said)]


def test_at_the_hour_that_is_said(bramble, tmp_path):
    bramble("left fore bruise", options=("--on", "2025-03-04", "--at", "14:30"))
    assert visits(tmp_path) == [
        ("Bramble", HALF_PAST_TWO, [("left fore bruise", HALF_PAST_TWO)]),
    ]


@pytest.mark.skipif(os.name != "posix", reason="another clock is set by $TZ on POSIX alone")
@pytest.mark.parametrize("zone", ["America/Los_Angeles", "Pacific/Auckland", "UTC"])
def test_it_is_the_day_of_the_clock_here(bramble, tmp_path, zone: str):
    bramble("left fore bruise", options=("--on", "2025-03-04", "--at", "23:45"), TZ=zone)
    bramble("right fore bruise", options=("--on", "2025-03-04", "--at", "00:05"), TZ=zone)
    with Log.open(tmp_path / "log.db") as log:
        (visit,) = log.visits()
        assert visit.utterances == 2
    begun = datetime.fromisoformat(visit.started_at).astimezone(ZoneInfo(zone))
    assert begun.replace(tzinfo=None) == datetime(2025, 3, 4, 23, 45)


def test_notes_go_on_in_the_visit_of_that_day(bramble, tmp_path):
    bramble("left fore bruise", options=("--on", "2025-03-04", "--at", "14:30"))
    (line,) = bramble("mild thrush in the frog")
    # The foot that was in force then is not taken for this one.
    assert line["limb"] is None
    assert line["entries"][0]["limb"] is None
    said = [("left fore bruise", HALF_PAST_TWO), ("mild thrush in the frog", HALF_PAST_TWO)]
    assert visits(tmp_path) == [("Bramble", HALF_PAST_TWO, said)]
    bramble("right hind bruise", options=("--on", "2025-03-04", "--at", "16:00", "--limb", "LH"))
    assert visits(tmp_path)[0][2][-1] == ("right hind bruise", datetime(2025, 3, 4, 16))


def test_strike_that_takes_back_nothing_of_before(bramble, tmp_path):
    bramble("left fore bruise")
    bramble("strike that", "right fore canker", "strike that")
    with Log.open(tmp_path / "log.db") as log:
        (visit,) = log.visits()
    assert visit.entries == 1


def test_another_day_or_horse_is_another_visit(bramble, tmp_path):
    bramble("left fore bruise")
    bramble("left fore bruise", options=("--on", "2025-03-05"))
    bramble("left fore bruise", "horse copper", "right fore bruise")
    bramble("horse copper", "right hind bruise")
    found = [(horse, day.day, len(said)) for horse, day, said in visits(tmp_path)]
    assert sorted(found) == [("Bramble", 4, 2), ("Bramble", 5, 1), ("Copper", 4, 4)]


def test_todays_notes_are_not_of_an_hour_to_come(bramble, tmp_path):
    today = datetime.now().date().isoformat()
    bramble("left fore bruise", options=("--on", today))
    ((_, begun, _),) = visits(tmp_path)
    assert begun <= datetime.now()
    assert begun.date().isoformat() == today


def test_what_is_asked_is_answered_as_of_that_day(bramble, run):
    bramble("left fore eight nails driven", options=("--on", "2025-06-01"))
    bramble("left fore seven nails driven", options=("--on", "2025-01-05"))
    bramble("left fore", "pulled seven nails", options=("--on", "2025-03-04"))
    assert "not accounted" not in run("show").out


TOMORROW = (datetime.now() + timedelta(days=1)).date().isoformat()


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (("--engine", "text", "--horse", "Bramble", "--on", "2025-02-30"), "there is no day"),
        (("--engine", "text", "--horse", "Bramble", "--on", "yesterday"), "there is no day"),
        (("--engine", "text", "--horse", "Bramble", "--on", ""), "there is no day"),
        (("--engine", "text", "--horse", "Bramble", "--on", "0001-01-01"), "too long ago"),
        (("--engine", "text", "--horse", "Bramble", "--on", TOMORROW), "still to come"),
        (
            ("--engine", "text", "--horse", "Bramble", "--on", "2025-03-04", "--at", "25:00"),
            "there is no hour",
        ),
        (("--engine", "text", "--horse", "Bramble", "--at", "12:00"), "--at needs --on"),
        (("--engine", "text", "--on", "2025-03-04"), "--on needs --horse"),
        (("--horse", "Bramble", "--on", "2025-03-04"), "it needs --engine text"),
        (("--engine", "text", "--horse", "Bramble", "--on", "2025-03-04", "--no-log"), "the log"),
        (("--engine", "text", "--horse", "Nobody", "--on", "2025-03-04"), "no horse 'Nobody'"),
    ],
)
def test_what_cannot_be_is_one_line(bramble, run, tmp_path, arguments: tuple[str, ...], why: str):
    done = run("transcribe", *arguments, "-", stdin="left fore bruise\n")
    assert done.code == 1
    assert why in done.err
    assert len(done.err.splitlines()) == 1
    assert visits(tmp_path) == []


def test_an_hour_to_come_today_is_refused(bramble, run, tmp_path):
    soon = datetime.now() + timedelta(minutes=5)
    on, at = soon.strftime("%Y-%m-%d"), soon.strftime("%H:%M")
    done = run(*TEXT, "--on", on, "--at", at, "-", stdin="thrush\n")
    assert done.code == 1
    assert "still to come" in done.err
