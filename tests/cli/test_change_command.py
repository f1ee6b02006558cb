"""`handsfree change`, over a log in a file."""

import json
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from handsfree.cli import main
from handsfree.grammar.grammar import load
from handsfree.log import Log, UtteranceRow
from handsfree.records.entries import to_json

VISITS = {
    "2026-03-02": [
        "left hind toe length eighty two millimeters",
        "left hind mild outside heel bruise",
        "left hind thrush in the frog",
        "left hind shoe reset",
        "left fore toe length eighty five millimeters",
    ],
    "2026-04-13": [
        "left hind toe length eighty four millimeters",
        "left hind moderate outside heel bruise",
        "left hind pads",
        "left hind full outside",
        "left fore mild flare outside quarter",
        "right fore hoof angle fifty degrees",
    ],
    "2026-05-25": [
        "left hind toe length eighty eight millimeters",
        "left hind severe outside heel bruise",
        "left hind frog clear",
        "left fore toe length eighty five millimeters",
    ],
}


class Done(NamedTuple):
    code: int
    out: str
    err: str


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    grammar = load()
    file = tmp_path_factory.mktemp("change") / "log.db"
    with Log.open(file) as log:
        horse = log.add_horse("Bramble", "heavy")
        log.add_horse("Duke")
        for on, utterances in VISITS.items():
            visit = log.start_visit("typed", horse.id, started_at=f"{on}T12:00:00.000+00:00").id
            for said in utterances:
                meaning = grammar.read(said.split()).meaning
                assert meaning is not None, said
                bodies = [
                    to_json(s.entry) | {"limb": limb}
                    for s in meaning.statements
                    for limb in s.limbs
                ]
                row = UtteranceRow(heard=said, status="recorded", confidence=0.97)
                log.append(visit, row, bodies)
        row = UtteranceRow(heard="?", status="recorded", confidence=0.4, doubt="they differ")
        log.append(visit, row, [{"kind": "finding", "limb": "RH", "term": "canker"}])
    return file


Change = Callable[..., Done]


@pytest.fixture
def change(path: Path, capfd: Any, monkeypatch: pytest.MonkeyPatch) -> Change:
    monkeypatch.setitem(main.COMMANDS, "change", "handsfree.cli.change")
    monkeypatch.setenv("COLUMNS", "80")

    def call(*arguments: str | Path) -> Done:
        capfd.readouterr()
        code = main.run(["change", *map(str, arguments), "--log", str(path)])
        return Done(code, *capfd.readouterr())

    return call


def test_worse_and_new_come_first_and_all_fits_a_screen(change: Change):
    done = change("bramble", "--on", "2026-06-01")
    assert (done.code, done.err) == (0, "")
    assert done.out.splitlines() == [
        "Bramble, 2026-06-01: 3 visits, 2026-03-02 to 2026-05-25",
        "1 doubtful note not counted; 'handsfree review' confirms them",
        "worse, or new:",
        "  LH outside heel bruise: worse by the grade said (moderate, then severe)",
        "better, or gone:",
        "  LH thrush: gone, said clear 7 days ago",
        "measures that changed:",
        "  LH toe length: 88 mm, 4 mm more than 6 weeks before",
        "the same, or not said:",
        "  LF outside quarter flare: seen once, 7 weeks ago; not mentioned since, 1 visit",
        "  LF toe length: 85 mm, no change in 12 weeks",
        "  RF hoof angle: 50°, measured once, 7 weeks ago",
        "  LH toe length, before or after the trim was not said: 82 mm, measured once, 13",
        "    weeks ago",
    ]


def test_a_horse_with_much_to_tell_still_fits_a_screen(change: Change, path: Path):
    zones = ("toe", "quarter", "heel", "bulb", "sole", "wall", "bar")
    with Log.open(path) as log:
        horse = log.add_horse("Colossus")
        for at, grade in enumerate(("mild", "severe")):
            started = f"2026-0{at + 3}-02T12:00:00.000+00:00"
            visit = log.start_visit("typed", horse.id, started_at=started).id
            bodies = [
                {"kind": "finding", "limb": limb, "zone": zone, "term": "bruise", "grade": grade}
                for limb in ("LF", "RF", "LH", "RH")
                for zone in zones
            ]
            row = UtteranceRow(heard="all", status="recorded", confidence=0.97)
            log.append(visit, row, bodies)
    lines = change("Colossus", "--on", "2026-06-01").out.splitlines()
    assert len(lines) <= 24
    shown = sum("worse by the grade said" in line for line in lines)
    assert lines[-1].startswith(f"and {28 - shown} more; --limb shows one foot")
    one = change("Colossus", "--limb", "RH", "--on", "2026-06-01").out
    assert one.count("worse by the grade said") == len(zones)
    assert " more; --limb" not in one


def test_one_thing_is_told_with_all_its_days(change: Change):
    out = change("Bramble", "--of", "outside heel bruise", "--on", "2026-06-01").out
    assert "2026-03-02 mild; 2026-04-13 moderate; 2026-05-25 severe" in " ".join(out.split())
    assert "67 percent interval" in out
    assert "toe length" not in out


@pytest.mark.parametrize(
    ("words", "findings", "measures"),
    [
        ("toe length", 0, 3),
        ("heel", 1, 0),
        ("thrush", 1, 0),
        ("thrush in the frog", 1, 0),
        ("outside", 2, 0),
        ("flare", 1, 0),
        ("toe angle", 0, 1),
        ("hoof angle", 0, 1),
        ("canker", 0, 0),
    ],
)
def test_of_takes_the_words_of_the_trade(change: Change, words: str, findings: int, measures: int):
    done = change("Bramble", "--of", words, "--json")
    assert (done.code, done.err) == (0, "")
    found = json.loads(done.out)
    assert len(found["findings"]) == findings
    assert len(found["measures"]) == measures


def test_a_slip_of_the_typing_is_taken_for_the_nearest_word_and_said(change: Change):
    done = change("Bramble", "--of", "tow lenght", "--json")
    assert done.err == "'tow lenght' taken for 'toe length'\n"
    assert {m["quantity"] for m in json.loads(done.out)["measures"]} == {"toe_length"}


@pytest.mark.parametrize("words", ["zebra", "", "\x1b[31m", "clear the table"])
def test_words_that_are_none_are_one_line(change: Change, words: str):
    done = change("Bramble", "--of", words)
    assert (done.code, done.out) == (1, "")
    assert "is no measure, finding or place" in done.err
    assert len(done.err.splitlines()) == 1
    assert "\x1b" not in done.err


def test_a_number_that_cannot_be_is_said_with_its_day(change: Change, path: Path):
    with Log.open(path) as log:
        horse = log.add_horse("Pixie")
        visit = log.start_visit("typed", horse.id, started_at="2026-05-25T12:00:00+00:00").id
        toe = {"kind": "measurement", "limb": "LH", "quantity": "toe_length"}
        row = UtteranceRow(heard="typed", status="recorded", confidence=0.97)
        log.append(visit, row, [toe | {"value": 0, "unit": "mm"}])
    for arguments in ([], ["--of", "toe length"], ["--limb", "LH"]):
        out = change("Pixie", *arguments, "--on", "2026-06-01").out
        assert out.endswith("left out, as no measure of this: LH toe length 0 mm (2026-05-25)\n")
    assert "left out" not in change("Pixie", "--of", "hoof angle").out
    (none,) = json.loads(change("Pixie", "--json").out)["no_measures"]
    assert (none["limb"], none["value"]) == ("LH", {"mm": 0})


def test_json_has_the_slopes(change: Change):
    found = json.loads(change("Bramble", "--json").out)
    bruise = next(t for t in found["findings"] if t["term"] == "bruise")
    assert bruise["slope_of"] == "the grade said"
    assert bruise["slope"]["points"] == 3
    toes = [t["slope"] for t in found["measures"] if t["quantity"] == "toe_length"]
    assert any("cant_say" in slope for slope in toes)


def test_what_was_never_noted_is_said(change: Change):
    done = change("Bramble", "--of", "weight", "--on", "2026-06-01")
    assert done.code == 0
    assert "can't say because no 'weight' of Bramble was noted up to 2026-06-01" in done.out
    assert "can't say because no measure or finding of Duke" in change("Duke").out


def test_later_visits_do_not_count(change: Change):
    found = json.loads(change("Bramble", "--on", "2026-04-20", "--json").out)
    days = [s["on"] for f in found["findings"] for s in f["seen"]]
    assert max(days) == "2026-04-13"
    assert found["on"] == "2026-04-20"


def test_only_one_foot(change: Change):
    found = json.loads(change("Bramble", "--limb", "lf", "--json").out)
    assert {t["limb"] for t in found["findings"] + found["measures"]} == {"LF"}


def test_before_and_after_side_by_side(change: Change):
    done = change("Bramble", "--helped", "--on", "2026-06-01")
    assert done.code == 0
    assert "LH pads, full outside, since 2026-04-13" in done.out
    assert done.out.rstrip().endswith("before and after, not a cause")
    assert max(map(len, done.out.splitlines())) <= 80
    row = next(line for line in done.out.splitlines() if "outside heel" in line)
    before, after = row.split("│")[2:4]
    assert "2026-03-02 mild" in before
    assert "2026-05-25" in after
    found = json.loads(change("Bramble", "--helped", "--json").out)
    assert found["note"] == "before and after, not a cause"
    assert [c["change"]["item"] for c in found["comparisons"]] == ["pads", "fit"]


def test_helped_of_one_shoe_or_finding(change: Change):
    pads = json.loads(change("Bramble", "--helped", "--of", "pads", "--json").out)
    assert [c["change"]["item"] for c in pads["comparisons"]] == ["pads"]
    none = change("Bramble", "--helped", "--of", "bar shoe")
    assert "no change of shoe or work was noted" in none.out
    assert json.loads(change("Bramble", "--helped", "--of", "bruise", "--json").out)["comparisons"]


def test_a_plot_fits_the_terminal(change: Change):
    done = change("Bramble", "--plot", "--of", "toe length")
    assert done.code == 0
    lines = done.out.splitlines()
    assert lines[0] == "Bramble: toe length (mm)"
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 80
    assert "\x1b" not in done.out


def test_without_of_the_plot_is_of_what_was_measured_most(change: Change):
    done = change("Bramble", "--plot")
    assert done.out.startswith("Bramble: toe length")
    assert done.err == "also measured: hoof angle (--of draws one)\n"


def test_svg_is_written_once(change: Change, tmp_path: Path):
    file = tmp_path / "toe.svg"
    done = change("Bramble", "--of", "toe length", "--svg", file)
    assert (done.code, done.err) == (0, "")
    assert ET.parse(file).getroot().tag.endswith("svg")
    again = change("Bramble", "--of", "toe length", "--svg", file)
    assert again.code == 1
    assert "is there already" in again.err
    assert "--force" in again.err
    forced = change("Bramble", "--of", "toe length", "--svg", file, "--force", "--json")
    assert forced.code == 0
    assert json.loads(forced.out)["measures"]


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (["nobody"], "there is no horse 'nobody'"),
        (["Brambel"], "did you mean Bramble?"),
        (["Bramble", "--plot", "--of", "thrush"], "no series of numbers to draw"),
        (["Duke", "--plot"], "can't draw"),
        (["Bramble", "--plot", "--json"], "leave one of them out"),
        (["Bramble", "--helped", "--plot"], "leave out"),
        (["Bramble", "--limb", "XX"], "'XX' is not one of"),
        (["Bramble", "--on", "yesterday"], "does not match the format"),
    ],
)
def test_what_cannot_be_done_is_one_line(change: Change, arguments: list[str], why: str):
    done = change(*arguments)
    assert done.code != 0
    assert done.out == ""
    assert why in done.err
    assert len(done.err.splitlines()) == 1
