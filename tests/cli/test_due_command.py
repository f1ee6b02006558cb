"""`handsfree due`, `nails` and `wear` over a log of typed words."""

import json
from collections.abc import Callable
from datetime import datetime
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from handsfree.dialogue.session import Session
from handsfree.errors import LogError
from handsfree.grammar import load
from handsfree.log import Log, UtteranceRow
from handsfree.records.entries import to_json

Call = Callable[..., Result]
ODD = "[b]\x1b[1m:mouse:"


def say(log: Log, horse: str, on: str, *said: str) -> None:
    """A visit in typed words; those after a ? are doubtful."""
    began = datetime.fromisoformat(f"{on}T09:00:00").astimezone().isoformat()
    visit = log.start_visit("typed", log.add_horse(horse).id, started_at=began).id
    grammar = load()
    session = Session(grammar)
    for words in said:
        sure = 0.5 if words.startswith("?") else 1.0
        outcome = session.take(grammar.read(words.strip("?").split()), 1.0)
        assert outcome.entries, words
        row = UtteranceRow(heard=words, status="recorded", engines=("typed",), confidence=sure)
        log.append(visit, row, [to_json(entry) for entry in outcome.entries])


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("due") / "log.db"
    with Log.open(path) as log:
        for on, pulled in (("2026-07-13", "eight"), ("2026-08-24", "seven")):
            say(
                log,
                "Bramble",
                on,
                "left hind shoe pulled",
                f"pulled {pulled} nails",
                "outside branch worn",
                "toe length ninety two millimeters",
                "trimmed",
                "toe length eighty millimeters",
                "new shoe",
                "drove four nails outside",
                "drove four nails inside",
                "size four",
                "?base narrow",
            )
        say(log, "Tansy", "2026-10-01", "come back in eight weeks")
        say(log, "Quick", "2026-11-20", "come back in six weeks")
        say(log, ODD, "2026-05-01", "left hind bruise")
        log.add_horse("Never")
    return path


@pytest.fixture
def call(filled: Path) -> Call:
    def run(name: str, *arguments: str, log: Path = filled) -> Result:
        command = getattr(import_module(f"handsfree.cli.{name}"), name)
        given = [*arguments, "--log", str(log)]
        if "--on" not in arguments:
            given += ["--on", "2026-11-25"]
        return CliRunner().invoke(command, given, env={"COLUMNS": "80"})

    return run


def objects(done: Result) -> list[dict[str, Any]]:
    assert done.exit_code == 0, done.output
    return [json.loads(line) for line in done.stdout.splitlines()]


def test_the_longest_overdue_is_first(call: Call) -> None:
    lines = call("due").output.splitlines()
    assert lines[0].split() == ["horse", "last", "visit", "window", "state", "why"]
    # From 4 to 10 weeks: equimed.com. Around a plan or the own interval a week: common practice.
    assert "2026-05-29–2026-07-10 overdue 138 days sources" in lines[1]
    assert "overdue 44 days" in lines[2]
    assert lines[2].startswith("Bramble")
    assert lines[2].rstrip().endswith("own 6 weeks")
    assert "2026-11-19–2026-12-03" in lines[3]
    assert lines[3].rstrip().endswith("asked 8 weeks")
    assert "Quick" not in "".join(lines)
    assert lines[-2:] == [
        "1 horse not due yet (--all shows them)",
        "1 horse without a visit by then",
    ]


def test_what_is_coming_only_when_asked(call: Call) -> None:
    # The window of Quick opens on 2026-12-25, 30 days on.
    assert "Quick" in call("due", "--all").output
    assert "Quick" in call("due", "--within", "5").output
    assert "Quick" not in call("due", "--within", "4").output
    assert call("due", "--within", "-1").exit_code == 2


def test_another_day(call: Call) -> None:
    done = call("due", "--on", "2026-05-01")
    assert done.output.splitlines() == [
        "nobody is due",
        "1 horse not due yet (--all shows them)",
        "4 horses without a visit by then",
    ]
    assert call("due", "--on", "2199-12-31", "--within", "520").exit_code == 0
    assert call("due", "--on", "9999-12-31").exit_code == 2
    assert call("due", "--on", "25.11.2026").exit_code == 2


def test_names_cannot_drive_the_terminal_and_all_fits_80_columns(call: Call) -> None:
    for done in (call("due", "--all"), call("due", "bramble"), call("nails", "bramble")):
        assert done.exit_code == 0
        assert max(map(len, done.output.splitlines())) <= 80
    out = call("due").output
    assert "\x1b" not in out
    assert "[b]\N{REPLACEMENT CHARACTER}[1m:mouse:" in out


def test_due_as_json(call: Call) -> None:
    found = objects(call("due", "--json"))
    assert [(o["horse"], o["state"], o["days"]) for o in found] == [
        (ODD, "overdue", 138),
        ("Bramble", "overdue", 44),
        ("Tansy", "due", 8),
    ]
    bramble = found[1]
    assert (bramble["best"], bramble["usual_weeks"]) == ("2026-10-05", 6.0)
    assert [r["why"] for r in bramble["reasons"]] == [
        *("usual", "slack", "at_most", "span", "load"),
    ]
    # 12 mm in the six weeks between the trims: this horse's own growth of 2 mm a week.
    [expected] = [e for e in bramble["expected"] if e["on"] == "2026-10-05"]
    assert (expected["limb"], expected["length"]) == ("LH", {"mm": 92.0})
    assert bramble["growth"]["own"]


def test_one_horse_in_full(call: Call) -> None:
    out = " ".join(call("due", "bramble").output.split())
    assert out.startswith("Bramble overdue 44 days; last visit 2026-08-24 window 2026-09-28 to")
    for part in (
        "median of 1 interval (this horse's visits)",
        "no more than 6 weeks (Leśniak 2017)",
        "growth 2 mm a week",
        "Toe length expected toe 2026-09-28 2026-10-05 2026-10-12",
        "LH 90 mm (89–91) 92 mm (91–93) 94 mm (92–96)",
        "a week either way (common practice, no source)",
    ):
        assert part in out
    assert "can't say because" in call("due", "never").output
    assert objects(call("due", "never", "--json")) == [
        {"horse": "Never", "cant_say": "no visit is in the log by that day"}
    ]


def test_without_a_toe_length_it_says_why_none_is_expected(call: Call) -> None:
    out = " ".join(call("due", "tansy").output.split())
    assert out.endswith(
        "toe length expected: can't say because no toe length was said of a foot as it was left "
        "the last time"
    )
    assert "toe length expected:" not in call("due", "bramble").output


@pytest.mark.parametrize("command", ["due", "nails", "wear"])
def test_a_horse_that_is_not_there(call: Call, command: str) -> None:
    done = call(command, "brambel")
    assert isinstance(done.exception, LogError)
    assert str(done.exception).endswith("did you mean Bramble?")


def test_an_empty_log(call: Call, tmp_path: Path) -> None:
    Log.open(tmp_path / "new.db").close()
    assert call("due", log=tmp_path / "new.db").output == "nobody is due\n"
    assert call("due", "--json", log=tmp_path / "new.db").output == ""


def test_nails(call: Call) -> None:
    lines = call("nails", "bramble").output.splitlines()
    assert lines[1].split()[-4:] == ["missing", "driven", "now", "in"]
    assert lines[2].split() == ["LH", "2026-07-13", "–", "8", "0", "0", "–", "8", "8"]
    assert lines[3].split() == ["LH", "2026-08-24", "8", "7", "0", "0", "1", "8", "8"]
    out = " ".join(" ".join(lines).split())
    assert "8 nails in it now; usually 8 (at 2 of 2 shoeings), 4 inside, 4 outside" in out
    assert "LH, 2026-08-24: 1 of 8 nails not accounted for" in out
    assert "an emergency for the vet (common practice, no source)" in out
    assert "To bring LH: size 4, 8 nails 8 nails in all" in out
    assert call("nails", "tansy").output == "Tansy: no visit speaks of nails or shoes\n"


def test_nails_as_json(call: Call) -> None:
    [found] = objects(call("nails", "bramble", "--json"))
    assert [day["unaccounted"] for day in found["ledger"]["LH"]] == [None, 1]
    assert (found["in_shoes"], found["nails_to_bring"]) == ({"LH": 8}, 8)
    assert found["missing"][0]["nails"] == 1
    [before] = objects(call("nails", "bramble", "--json", "--on", "2026-08-23"))
    assert (len(before["ledger"]["LH"]), before["missing"]) == (1, [])


def test_wear(call: Call) -> None:
    out = call("wear", "bramble").output
    assert "LH outside branch worn: 2 of 2 visits, last 2026-08-24" in out
    assert out.count("possible:") >= 2
    assert "(from memory)" in out
    # The narrow stance was not surely heard.
    assert "recorded" not in out
    assert out.rstrip().endswith("(USDA, Diseases of the Horse)")
    assert call("wear", "tansy").output == "Tansy: no visit notes wear\n"
    [found] = objects(call("wear", "bramble", "--json"))
    assert len(found["wear"][0]["causes"]) >= 2
