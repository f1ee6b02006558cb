"""`handsfree marks`: what it prints of a log, and of a distance alone."""

from datetime import datetime
from pathlib import Path

import pytest

from handsfree.cli.marks import length
from handsfree.errors import HandsfreeError
from handsfree.grammar import load
from handsfree.log import Log, UtteranceRow
from handsfree.records.entries import Entry, Finding, Measurement, Work, to_json


def toe(value: float) -> Measurement:
    return Measurement(limb="RH", quantity="toe_length", value=value, unit="mm")


def bruise(mm: float | None, zone: str = "quarter") -> Finding:
    return Finding(limb="RH", term="bruise", zone=zone, side="lateral", below_hairline_mm=mm)


TRIM = Work(limb="RH", action="trimmed")
VISITS: dict[str, list[Entry]] = {
    "2025-01-10": [
        toe(90),
        TRIM,
        toe(80),
        Work(limb="RH", action="new_shoe"),
        Finding(limb="RH", term="nail_bind", zone="quarter", side="lateral"),
    ],
    "2025-02-21": [toe(92), TRIM, toe(80), bruise(10)],
    "2025-04-04": [toe(92.5), TRIM, toe(80), bruise(22), bruise(None, "heel"), bruise(9, "frog")],
}


@pytest.fixture
def bramble(tmp_path: Path) -> None:
    with Log.open(tmp_path / "log.db") as log:
        horse = log.add_horse("Bramble", "heavy", born="2015")
        log.add_horse("Empty")
        for day, entries in VISITS.items():
            at = datetime.fromisoformat(f"{day}T09:00").astimezone().isoformat()
            visit = log.start_visit("typed", horse.id, started_at=at)
            said = UtteranceRow(heard="typed", status="recorded", confidence=1.0)
            log.append(visit.id, said, [to_json(e) for e in entries], confirmed=True)


@pytest.mark.usefixtures("bramble")
def test_the_marks_of_a_horse(run):
    done = run("marks", "bramble", "--on", "2025-05-01", COLUMNS="80")
    assert (done.code, done.err) == (0, "")
    assert all(len(line) <= 80 for line in done.out.splitlines())
    text = " ".join(done.out.split())
    assert "RH outside quarter bruise, 22 mm below the hairline on 2025-04-04" in text
    assert "seen 2 times since 2025-02-21" in text
    # 12 mm, 12.5 mm (toe) and 12 mm (mark) in six weeks: 2 mm a week, 77 and 35 days before.
    assert "at the hairline about 2025-01-17" in text
    assert "growth 2 mm a week" in text
    assert "this horse's own growth" in text
    assert "from 3 intervals" in text
    assert "likeliest between the visits of 2025-01-10 and 2025-02-21; shod; noted:" in text
    assert "outside quarter nail bind (2025-01-10)" in text
    assert "6 to 8 months from hairline to ground at the quarter (Lungwitz & Adams)" in text
    assert "can't say because the frog is not carried down" in text
    assert "not dated, as no distance below the hairline was said: RH outside heel bruise" in text


@pytest.mark.usefixtures("bramble")
def test_json_and_nothing_else(run):
    (found,) = run("marks", "Bramble", "--json", "--on", "2025-05-01").objects
    assert found["horse"] == "Bramble"
    assert found["own_growth"]["own"] is True
    assert found["own_growth"]["middle"]["mm_per_week"] == pytest.approx(2.0)
    by_zone = {m["zone"]: m for m in found["marks"]}
    assert by_zone["quarter"]["range"]["likeliest"] == "2025-01-17"
    assert by_zone["quarter"]["below"] == {"mm": 22}
    assert "cant_say" in by_zone["frog"]["range"]
    assert [u["finding"]["zone"] for u in found["undated"]] == ["heel"]


@pytest.mark.usefixtures("bramble")
def test_only_what_was_known_on_the_day_and_of_the_foot(run):
    (found,) = run("marks", "Bramble", "--json", "--on", "2025-03-01").objects
    assert [m["below"]["mm"] for m in found["marks"]] == [10]
    (found,) = run("marks", "Bramble", "--json", "--limb", "LF").objects
    assert found["marks"] == []


@pytest.mark.usefixtures("bramble")
def test_a_horse_without_visits_and_one_that_is_not_there(run):
    done = run("marks", "Empty")
    assert done.code == 0
    assert "no mark was noted" in done.out
    assert "can't say because there is no visit yet" in done.out
    done = run("marks", "Brambel")
    assert done.code == 5
    assert done.err.count("\n") == 1
    assert "did you mean Bramble?" in done.err


def test_a_distance_alone_needs_no_log(run, tmp_path: Path):
    done = run("marks", "--below", "25 mm", "--place", "toe", "--on", "2025-12-31", COLUMNS="80")
    assert (done.code, done.err) == (0, "")
    # Worked case 10 (Kolstrung 2012; equimed.com; Lungwitz & Adams).
    assert "83 days before, 60 to 180 at the outside; at usual rates 80 to 120" in done.out
    assert "Kolstrung 2012" in done.out
    assert not (tmp_path / "log.db").exists()


def test_a_distance_alone_as_json(run):
    arguments = ("--below", "1 in", "--place", "heel", "--on", "2025-12-31", "--json")
    (found,) = run("marks", *arguments).objects
    assert found["below"] == {"mm": 25.4}
    assert found["days_before"] == {"earliest": 183, "likeliest": 85, "latest": 61}
    assert found["forward"]["place"] == "heel"
    # A foal's toe of 60 mm: 145 ± 15 days from hairline to ground (Curtis 2014).
    arguments = ("--below", "60 mm", "--foal", "--toe", "60 mm", "--on", "2025-12-31", "--json")
    (found,) = run("marks", *arguments).objects
    assert found["days_before"] == {"earliest": 160, "likeliest": 145, "latest": 130}


@pytest.mark.parametrize("below", ["-5 mm", "999 mm"])
def test_an_absurd_distance_is_answered_not_refused(run, below):
    done = run("marks", "--below", below)
    assert done.code == 0
    assert "can't say because" in done.out


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        ((), "name a horse"),
        (("--below", "thick"), "'thick' is no length"),
        (("--below", "1/0 in"), "no length"),
        (("--below", "25"), "no length"),
        (("--below", "25 mm", "--place", "ear"), "'ear' is no place on the foot"),
        (("--below", "25 mm", "--limb", "LF"), "--limb goes with a horse"),
        (("Bramble", "--below", "25 mm"), "go without a horse"),
        (("--below", "25 mm", "--toe", "x"), "no length"),
        (("--place", "toe"), "name a horse"),
        (("Bramble", "--on", "yesterday"), "yesterday"),
    ],
)
def test_a_wrong_command_is_one_line(run, arguments, why):
    done = run("marks", *arguments)
    assert done.code == 1
    assert done.out == ""
    assert done.err.count("\n") == 1
    assert why in done.err


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("25 mm", 25),
        ("25mm", 25),
        ("2.5 cm", 25),
        ("2,5cm", 25),
        ("1 in", 25.4),
        ('1"', 25.4),
        ("3/4 in", 19.05),
        ("1 1/4 inches", 31.75),
        ("25 millimetres", 25),
        ("one inch", 25.4),
        ("three quarters of an inch", 19.05),
        ("Twenty Five millimeters", 25),
    ],
)
def test_lengths_as_they_are_written_and_said(text, mm):
    assert length(text, load())[0].mm == pytest.approx(mm)


@pytest.mark.parametrize(
    "text", ["", " ", "mm", "25", "25 kg", "twenty five kilos", "1e3 mm", "x" * 999]
)
def test_what_is_no_length(text):
    with pytest.raises(HandsfreeError, match="no length"):
        length(text, load())
