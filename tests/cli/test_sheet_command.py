"""`handsfree sheet` over a log of typed words: one sheet, files, and all horses at once."""

import json
import os
import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from handsfree.cli.sheet import sheet
from handsfree.dialogue.session import Session
from handsfree.errors import HandsfreeError
from handsfree.grammar import load
from handsfree.log import Log, UtteranceRow
from handsfree.records.entries import to_json

Call = Callable[..., Result]
ODD = '<b>\x1b[1m"../Zoë"'


def say(log: Log, horse: str | None, on: str, *said: str) -> str:
    """A visit in typed words, confirmed; those after a ~ are not. Its id."""
    began = datetime.fromisoformat(f"{on}T09:00:00").astimezone().isoformat()
    known = log.add_horse(horse).id if horse and log.horse(horse) is None else None
    if horse and known is None:
        found = log.horse(horse)
        assert found is not None
        known = found.id
    visit = log.start_visit("typed", known, started_at=began).id
    grammar, session = load(), Session()
    for words in said:
        outcome = session.take(grammar.read(words.strip("~").split()), 1.0)
        assert outcome.entries, words
        row = UtteranceRow(heard=words, status="recorded", engines=("typed",), confidence=0.9)
        made = log.append(visit, row, [to_json(entry) for entry in outcome.entries])
        if not words.startswith("~"):
            log.confirm(made.entry_ids, by="review")
    return visit


@pytest.fixture
def filled(tmp_path: Path) -> Path:
    path = tmp_path / "log.db"
    with Log.open(path) as log:
        say(log, "Bramble", "2026-07-13", "left hind outside heel bruise", "come back in six weeks")
        say(
            log,
            "Bramble",
            "2026-08-24",
            "left hind toe length ninety millimeters",
            "~puncture in the frog",
        )
        say(log, ODD, "2026-08-24", "right fore trimmed")
        say(log, "Tansy", "2026-08-01", "~left hind bruise")
        say(log, "Zo", "2026-08-24", "left hind trimmed")
        log.add_horse("Never seen")
    return path


@pytest.fixture
def call(filled: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Call:
    """The command in a folder of its own."""
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")

    def run(*arguments: str | Path) -> Result:
        given = [*map(str, arguments), "--log", str(filled), "--on", "2026-11-25"]
        return CliRunner().invoke(sheet, given, standalone_mode=False, env={"COLUMNS": "80"})

    return run


def files() -> list[str]:
    return sorted(os.listdir())


def test_the_latest_visit_of_a_horse(call: Call) -> None:
    done = call("bramble")
    assert done.exception is None
    assert files() == ["Bramble-2026-08-24.html"]
    assert done.stdout == "Bramble-2026-08-24.html\n"
    text = Path("Bramble-2026-08-24.html").read_text(encoding="utf-8")
    assert "90 mm" in text
    # What is not confirmed yet and cannot wait is on it, and told to whoever makes it.
    box = text[text.index('<div class="caution">') :]
    assert box.index("Stop. Call the vet.") < box.index("frog puncture")
    assert box.index("frog puncture") < box.index("not confirmed yet")
    assert "1 note is not confirmed yet and is left out." in text
    err = " ".join(done.stderr.split())
    assert "as a caution: Stop. Call the vet. Puncture in the frog" in err
    assert "Left hind: frog puncture (not confirmed yet)" in err
    assert "left out, not confirmed: 1" in done.stderr


def test_an_earlier_visit_by_its_id_or_its_day(call: Call, filled: Path) -> None:
    with Log.open(filled) as log:
        first = log.visits(horse="Bramble")[-1].id
    assert call(first[:8], "--for", "vet").exception is None
    assert files() == ["Bramble-2026-07-13-vet.html"]
    text = Path(files()[0]).read_text(encoding="utf-8")
    assert "lateral heel bruise" in text


def test_what_is_there_is_not_replaced_without_asking(call: Call) -> None:
    Path("mine.html").write_text("mine")
    done = call("bramble", "--to", "mine.html")
    assert isinstance(done.exception, HandsfreeError)
    assert Path("mine.html").read_text() == "mine"
    assert call("bramble", "--to", "mine.html", "--force").exception is None
    assert Path("mine.html").read_text() != "mine"
    assert files() == ["mine.html"]  # nothing half written is left


def test_nothing_confirmed_is_no_sheet_unless_asked(call: Call) -> None:
    done = call("tansy")
    assert isinstance(done.exception, HandsfreeError)
    assert "nothing is confirmed yet" in str(done.exception)
    assert "handsfree review" in str(done.exception)
    assert files() == []
    assert call("tansy", "--with-doubtful").exception is None
    assert "not confirmed" in Path(files()[0]).read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "name a horse"),
        (("Nobody",), "there is no horse"),
        (("Never seen",), "no visit"),
        (("--all-horses",), "go together"),
        (("--into", "."), "go together"),
        (("bramble", "--all-horses", "--into", "."), "takes no horse"),
        (("--all-horses", "--into", "nowhere"), "no such folder"),
        (("bramble", "--to", "nowhere/x.html"), "folder"),
        (("0123abcd",), "no visit"),
    ],
)
def test_what_is_wrong_is_one_line(call: Call, arguments: tuple[str, ...], said: str) -> None:
    done = call(*arguments)
    assert done.exception is not None
    assert said in str(getattr(done.exception, "message", done.exception))
    assert "\n" not in str(done.exception)
    assert files() == []


def test_all_horses_and_one_that_fails(call: Call) -> None:
    done = call("--all-horses", "--into", ".")
    assert done.return_value == 1
    assert "nothing is confirmed yet" in done.stderr
    assert "Tansy" in done.stderr
    assert "3 sheets written" in done.stdout
    assert "1 failed" in done.stdout
    assert "\x1b[1m" not in done.output
    names = files()
    assert len(names) == 3
    assert all("/" not in name and "<" not in name for name in names)
    # With everything shown none fails.
    done = call("--all-horses", "--into", ".", "--with-doubtful", "--force")
    assert done.return_value == 0
    assert len(files()) == 4


def test_names_that_clash_are_numbered(call: Call, filled: Path) -> None:
    with Log.open(filled) as log:
        say(log, "Zo!", "2026-08-24", "left hind trimmed")
    call("--all-horses", "--into", ".", "--with-doubtful")
    assert {"Zo-2026-08-24.html", "Zo-2026-08-24-2.html"} <= set(files())


def test_one_that_is_there_fails_alone(call: Call) -> None:
    Path("Bramble-2026-08-24.html").write_text("mine")
    done = call("--all-horses", "--into", ".", "--with-doubtful")
    assert done.return_value == 1
    assert Path("Bramble-2026-08-24.html").read_text() == "mine"
    assert len(files()) == 4


def test_a_visit_without_a_horse(call: Call, filled: Path) -> None:
    with Log.open(filled) as log:
        visit = say(log, None, "2026-09-01", "left hind toe length ninety one millimeters")
    assert call(visit).exception is None
    assert files() == ["horse-not-named-2026-09-01.html"]
    assert "91 mm" in Path(files()[0]).read_text(encoding="utf-8")


def test_no_heavy_library_is_loaded_for_a_page(filled: Path, tmp_path: Path) -> None:
    import subprocess

    code = (
        "import json, sys; from handsfree.cli.sheet import sheet; "
        f"sheet.main(['Zo', '--log', {str(filled)!r}, '--to', {str(tmp_path / 'z.html')!r}], "
        "standalone_mode=False); "
        "print(json.dumps([m for m in ('matplotlib', 'fpdf', 'icalendar', 'vosk') "
        "if m in sys.modules]))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert json.loads(done.stdout.splitlines()[-1]) == []
