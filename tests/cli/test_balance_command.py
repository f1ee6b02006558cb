"""`handsfree balance` and `handsfree weight` over a log, and weight without one."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from handsfree.cli.balance import balance
from handsfree.cli.weight import weight
from handsfree.errors import LogError
from handsfree.log import Log, UtteranceRow
from handsfree.records.entries import Entry, Measurement, Work, to_json

COMMANDS = {"balance": balance, "weight": weight}


def said(limb: str | None, quantity: str, value: float, unit: str) -> Measurement:
    return Measurement(limb=limb, quantity=quantity, value=value, unit=unit)


FIRST: list[Entry] = [
    said("LF", "hoof_angle", 50, "deg"),
    said("LF", "heel_angle", 44, "deg"),
    Work(limb="LF", action="trimmed"),
    said("LF", "hoof_angle", 52, "deg"),
    said("LF", "heel_angle", 50, "deg"),
    said("RF", "hoof_angle", 51, "deg"),
    said(None, "heart_girth", 90, "in"),
    said(None, "body_length", 185, "cm"),
]
SECOND: list[Entry] = [said("LH", "frog_width", 40, "mm"), said("LH", "frog_length", 65, "mm")]


@pytest.fixture
def log_file(tmp_path: Path) -> Path:
    path = tmp_path / "log.db"
    with Log.open(path) as log:
        horse = log.add_horse("Bramble", "heavy")
        for day, entries in (("2026-03-02", FIRST), ("2026-04-20", SECOND)):
            visit = log.start_visit("typed", horse.id, started_at=f"{day}T12:00:00+00:00")
            row = UtteranceRow(heard="typed", status="recorded", confidence=1.0)
            log.append(visit.id, row, [to_json(entry) for entry in entries])
    return path


def call(name: str, *arguments: str | Path) -> Result:
    return CliRunner().invoke(COMMANDS[name], [str(each) for each in arguments])


def test_balance_tells_number_direction_and_source(log_file):
    done = call("balance", "bramble", "--log", log_file, "--on", "2026-05-01")
    assert done.exit_code == 0, done.output
    text = " ".join(done.output.split())
    assert "Bramble, balance on 2026-05-01" in text
    assert "LF heel angle 6° less than the toe angle: 44° and 50°" in text
    assert "before the trim" in text
    assert "after the trim" in text
    assert "beyond: Turner 1992 calls 5° or more under-run" in text
    assert "LH frog width 61.5 per cent of its length" in text
    assert "no guideline" in text
    assert text.count("they don't diagnose") == 1
    assert max(map(len, done.output.splitlines())) <= 80


def test_a_later_visit_is_not_known_yet(log_file):
    done = call("balance", "Bramble", "--log", log_file, "--on", "2026-04-01", "--json")
    assert "frog" not in {each["id"] for each in json.loads(done.output)["checks"]}


def test_one_foot_only_and_what_is_missing(log_file):
    done = call("balance", "Bramble", "--log", log_file, "--limb", "lh", "--json")
    answer = json.loads(done.output)
    assert [each["id"] for each in answer["checks"]] == ["frog"]
    assert answer["checks"][0]["number"] == pytest.approx(61.5385)
    assert answer["checks"][0]["source"] == "Turner 1992"
    assert set(answer["missing"]) == {"LH"}
    assert "no hoof angle or heel angle was measured" in answer["missing"]["LH"][0]["cant_say"]


def test_nothing_yet(log_file):
    with Log.open(log_file) as log:
        log.add_horse("Clover")
    done = call("balance", "Clover", "--log", log_file)
    assert done.exit_code == 0
    assert "nothing to hold against each other yet" in done.output


def test_a_number_that_cannot_be_is_asked_about_though_nothing_can_be_checked(log_file):
    with Log.open(log_file) as log:
        horse = log.add_horse("Clover")
        visit = log.start_visit("typed", horse.id, started_at="2026-04-20T12:00:00+00:00")
        row = UtteranceRow(heard="typed", status="recorded", confidence=1.0)
        log.append(visit.id, row, [to_json(said("RH", "hoof_angle", 120, "deg"))])
    done = call("balance", "Clover", "--log", log_file)
    assert "nothing to hold against each other yet" in done.output
    assert "RH hoof angle 120°: is that right? usual 40 to 65°" in done.output
    found = json.loads(call("balance", "Clover", "--log", log_file, "--json").output)
    assert found["questions"] == {
        "LF": [],
        "RF": [],
        "LH": [],
        "RH": ["hoof angle 120°: is that right? usual 40 to 65°"],
    }


def test_a_question_is_put_once(log_file):
    with Log.open(log_file) as log:
        horse = log.add_horse("Clover")
        visit = log.start_visit("typed", horse.id, started_at="2026-04-20T12:00:00+00:00")
        row = UtteranceRow(heard="typed", status="recorded", confidence=1.0)
        angles = said("RH", "hoof_angle", 80, "deg"), said("RH", "heel_angle", 60, "deg")
        log.append(visit.id, row, [to_json(each) for each in angles])
    out = call("balance", "Clover", "--log", log_file, "--limb", "RH").output
    text = " ".join(out.split())
    # Within the check it belongs to, and not again at the end.
    assert "hoof angle 80 degrees: is that right?" in text
    assert "RH hoof angle 80°: is that right?" not in text


@pytest.mark.parametrize("command", ["balance", "weight"])
def test_no_such_horse(log_file, command):
    done = call(command, "Brambel", "--log", log_file)
    assert isinstance(done.exception, LogError)
    assert "did you mean Bramble" in str(done.exception)


def test_weight_of_a_horse_in_the_log(log_file):
    done = call("weight", "Bramble", "--log", log_file, "--on", "2026-05-01")
    text = " ".join(done.output.split())
    # 90 in = 228.6 cm: 228.6^2 x 185 / 11900 = 812.4 kg.
    assert "1791 lb (812 kg) for light horses (Carroll and Huntington 1988)" in text
    assert "for that of draft horses measure height and neck girth" in text
    assert "Coldblood" in text
    assert max(map(len, done.output.splitlines())) <= 80


def test_weight_without_a_log():
    tape = ("--girth", "230 cm", "--length", "1.85 m", "--height", "170cm", "--neck", "1200 mm")
    answer = json.loads(call("weight", *tape, "--kind", "heavy", "--json").output)
    first = answer["estimates"][0]
    # Worked case 6 (Catalano et al.).
    assert (first["formula"], first["chosen"]) == ("catalano_draft", True)
    assert first["weight"]["kg"] == pytest.approx(849.5, abs=0.05)
    assert answer["ideal"]["weight"]["kg"] == pytest.approx(748.0, abs=0.05)


def test_weight_in_inches_and_a_fraction():
    done = call("weight", "--girth", "75 1/2 in", "--length", '69.5"', "--json")
    (estimate,) = [
        each for each in json.loads(done.output)["estimates"] if each["formula"] == "lb_330"
    ]
    assert estimate["weight"]["kg"] == pytest.approx(75.5**2 * 69.5 / 330 * 0.45359237, abs=0.01)


def test_a_question_for_a_girth_no_horse_has():
    done = call("weight", "--girth", "20 in", "--length", "65 in")
    assert done.exit_code == 0
    assert "heart girth 20 in: is that right?" in " ".join(done.output.split())


@pytest.mark.parametrize("girth", ["190", "-190 cm", "190 stone", "", "75 1/0 in", "1e9 cm"])
def test_a_length_needs_its_unit(girth):
    done = call("weight", "--girth", girth)
    assert done.exit_code == 2
    assert "is no length with its unit" in done.output


@pytest.mark.parametrize("arguments", [(), ("Bramble", "--girth", "190 cm")])
def test_a_horse_or_numbers(arguments):
    assert call("weight", *arguments).exit_code == 2


def test_control_signs_in_a_name_do_not_reach_the_terminal(log_file):
    with Log.open(log_file) as log:
        log.add_horse("Sly\x1b[31m")
    for command in COMMANDS:
        assert "\x1b" not in call(command, "Sly\x1b[31m", "--log", log_file).output


def test_from_spoken_words_to_the_answer(run):
    run("horses", "add", "Bramble")
    words = (
        "horse Bramble",
        "left hind hoof angle fifty degrees",
        "heel angle forty five degrees",
        "heart girth seventy five inches",
        "body length one hundred sixty five centimeters",
    )
    done = run("transcribe", "--engine", "text", "-", stdin="\n".join(words) + "\n")
    assert done.code == 0, done.err
    (answer,) = run("balance", "Bramble", "--limb", "LH", "--json").objects
    # Turner 1992 (worked case 9): the boundary counts.
    assert (answer["checks"][0]["number"], answer["checks"][0]["beyond"]) == ({"deg": 5}, True)
    (answer,) = run("weight", "Bramble", "--json").objects
    expected = 190.5**2 * 165 / 11900
    assert answer["estimates"][0]["weight"]["kg"] == pytest.approx(expected, abs=0.01)
    wrong = run("weight", "--girth", "190", "--json")
    assert (wrong.code, wrong.out, wrong.err.count("\n")) == (1, "", 1)


def test_a_height_in_hands_on_the_command_line():
    tape = ("--girth", "240 cm", "--length", "200 cm", "--neck", "125 cm", "--kind", "heavy")
    kilos = [
        json.loads(call("weight", *tape, "--height", tall, "--json").output)["estimates"][0]
        for tall in ("17.3 hands", "17.3hh", "71 in")
    ]
    assert kilos[0]["weight"] == kilos[1]["weight"] == kilos[2]["weight"]
    refused = call("weight", *tape, "--height", "17.5 hands")
    assert refused.exit_code == 2
    assert "17.5 is no number of hands" in refused.output
