"""`handsfree brief`: one screen, JSON, and speech."""

import json
from pathlib import Path

import pytest
import soundfile
from click.testing import CliRunner

from handsfree import years
from handsfree.answers import voice
from handsfree.cli.main import handsfree, run
from handsfree.log import Log

ON = ("--on", "2026-11-25")


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("brief") / "years.db"
    with Log.open(path) as opened:
        years.tell(opened)
        opened.add_horse("Newcomer")
    return path


def brief(log: Path, *arguments: str) -> str:
    command = ["brief", *arguments, *ON, "--log", str(log)]
    result = CliRunner().invoke(handsfree, command, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.stdout


@pytest.mark.parametrize("horse", ["juniper", "lantern", "Newcomer"])
def test_it_fits_one_screen(log: Path, horse: str) -> None:
    lines = brief(log, horse).splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 80


def test_a_full_screen_says_what_it_leaves_out(log: Path) -> None:
    short, whole = brief(log, "juniper"), brief(log, "juniper", "--all")
    assert "[+" in short
    assert "[+" not in whole
    assert len(whole.splitlines()) > len(short.splitlines())


def test_every_section_is_on_the_screen(log: Path) -> None:
    shown = {line.split("  ")[0] for line in brief(log, "juniper").splitlines()[1:]}
    told = json.loads(brief(log, "juniper", "--json"))
    assert {key.replace("_", " ") for key in told} - {"horse", "on"} <= {s.lower() for s in shown}


def test_json_holds_every_line(log: Path) -> None:
    told = json.loads(brief(log, "juniper", "--json"))
    assert (told["horse"], told["on"]) == ("juniper", "2026-11-25")
    assert any("bites" in line for line in told["mind"])
    assert any("1 of 7 nails not accounted for" in line for line in told["ask"])


def test_a_day_in_the_past_knows_nothing_of_what_came_later(log: Path) -> None:
    early = CliRunner().invoke(
        handsfree, ["brief", "juniper", "--on", "2024-12-01", "--log", str(log)]
    )
    assert "2026" not in early.stdout
    assert "2024-11-20" in early.stdout


def test_a_horse_of_which_nothing_is_known(log: Path) -> None:
    assert "nothing is known of this horse yet" in brief(log, "Newcomer")


def test_a_misspelt_name_is_one_line_with_the_likeliest(
    log: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["brief", "junper", "--log", str(log)]) == 5
    assert capsys.readouterr().err.splitlines() == [
        "handsfree: there is no horse 'junper' in the log; did you mean juniper?"
    ]


@pytest.mark.skipif(voice.unavailable() is not None, reason="the voice is not installed")
def test_it_is_spoken_into_a_file(log: Path, tmp_path: Path) -> None:
    file = tmp_path / "brief.wav"
    brief(log, "lantern", "--to", str(file))
    assert soundfile.info(file).duration > 10
