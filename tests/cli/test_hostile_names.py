"""A horse's name with escape codes, markup and formulas goes through every command unharmed."""

import csv
import io
import json
import unicodedata
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from handsfree.cli.main import handsfree
from handsfree.dialogue.dialogue import Dialogue
from handsfree.grammar import load
from handsfree.grammar.words import plain_words
from handsfree.log import Log
from handsfree.recording import Heard, Recorder

NAME = '=1+1\x1b[31m\x07[b]<b>"&\u202eevil\u2066:horse:\x9b2J'
SAID = (
    "left hind bruise outside heel twenty five millimeters below the hairline",
    "inside branch worn",
    "hoof angle fifty degrees",
    "heel angle forty four degrees",
    "nail count eight",
    "shoe pulled",
    "pulled seven nails",
    "toe length three inches",
    "trimmed",
    "new shoe",
    "heart girth seventy five inches",
    "body length sixty five inches",
    "next time full outside",
    "come back in six weeks",
)


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("hostile") / "log.db"
    grammar = load()
    with Log.open(path) as opened:
        horse = opened.add_horse(NAME)
        for day in ("2025-01-10", "2025-03-01"):
            visit = opened.start_visit("typed", horse.id, started_at=f"{day}T09:00:00+00:00")
            recorder = Recorder("typed", opened, Dialogue(grammar))
            recorder.go_on(visit)
            for text in SAID:
                reading = grammar.read(plain_words(text))
                assert reading.meaning is not None, text
                recorder.take(Heard(text, reading, 1.0, 0.0, 0.0, ("text",)))
            opened.confirm([e.id for e in opened.entries(visit.id)], "review")
    return path


def run(log: Path, *arguments: str) -> Result:
    found = CliRunner().invoke(
        handsfree, [*arguments], env={"HANDSFREE_LOG": str(log)}, catch_exceptions=False
    )
    assert found.exit_code == 0, found.output
    return found


COMMANDS = [
    ("horses",),
    ("visits",),
    ("show",),
    *[(name, NAME) for name in ("brief", "balance", "marks", "nails", "wear", "weight", "bill")],
    ("change", NAME),
    ("change", NAME, "--helped"),
    ("change", NAME, "--of", "toe length"),
    ("due", "--all"),
    ("find", "bruise"),
    ("keep", "check"),
]


@pytest.mark.parametrize("command", COMMANDS, ids=lambda c: " ".join(c).replace(NAME, "NAME"))
def test_nothing_reaches_the_terminal_that_could_drive_it(
    log: Path, command: tuple[str, ...]
) -> None:
    printed = run(log, *command).output
    bad = {c for c in printed if unicodedata.category(c)[0] == "C" and c != "\n"}
    assert not bad, bad


@pytest.mark.parametrize("name", ["brief", "balance", "marks", "nails", "wear", "weight"])
def test_json_keeps_the_name_as_it_is(log: Path, name: str) -> None:
    printed = run(log, name, NAME, "--json").stdout
    assert not set(printed) & {"\x1b", "\x9b", "\x07"}
    assert NAME in _texts(json.loads(printed))


def _texts(value: object) -> set[str]:
    if isinstance(value, str):
        return {value}
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return {text for each in inner for text in _texts(each)}


def test_no_cell_of_the_csv_is_a_formula(log: Path) -> None:
    rows = list(csv.reader(io.StringIO(run(log, "export", "--csv").stdout)))
    assert len(rows) > len(SAID)
    for row in rows[1:]:
        for cell in row:
            assert not cell.startswith(("=", "+", "@", "\t", "\r")), cell
