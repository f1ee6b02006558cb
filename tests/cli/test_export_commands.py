"""`handsfree calendar`, `export` and `bill`, by their command line."""

import csv
import io
import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from handsfree.cli import main
from handsfree.dialogue.session import Session
from handsfree.grammar import Grammar, load
from handsfree.grammar.words import plain_words
from handsfree.log import Log, UtteranceRow
from handsfree.records.entries import to_json

Command = Callable[..., tuple[int, str, str]]

SAID = [
    "left fore new shoe size seven and drove eight nails",
    "right fore trimmed",
    "left hind outside heel bruise",
    "watch this foot",
    "come back in six weeks",
]
RTL = "שלום <b>'&\u202e"
PRICES = """
currency = "EUR"
[tax]
name = "VAT"
percent = 19
[price]
work.new_shoe = 30
work.trimmed = 15.50
"""


@pytest.fixture(scope="module")
def grammar() -> Grammar:
    return load()


@pytest.fixture
def command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> Command:
    """Run a command with a log of its own; exit code, what it printed, what it complained."""
    for name in ("calendar", "export", "bill"):
        monkeypatch.setitem(main.COMMANDS, name, f"handsfree.cli.{name}")
    monkeypatch.setenv("HANDSFREE_LOG", str(tmp_path / "log.db"))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "settings"))
    monkeypatch.setenv("COLUMNS", "80")

    def call(*arguments: str | Path) -> tuple[int, str, str]:
        capfd.readouterr()
        code = main.run([str(each) for each in arguments])
        done = capfd.readouterr()
        return code, done.out, done.err

    return call


@pytest.fixture
def visit(tmp_path: Path, grammar: Grammar) -> str:
    """A visit to Bramble, one to a horse of an odd name, and a horse never seen."""
    with Log.open(tmp_path / "log.db") as log:
        log.add_horse("Never Seen")
        ids = [tell(log, grammar, name, at) for name, at in (("Bramble", 12), (RTL, 13))]
    return ids[0]


def tell(log: Log, grammar: Grammar, name: str, hour: int) -> str:
    horse = log.add_horse(name, "heavy")
    # By the clock of this place, whatever its zone.
    began = datetime(2024, 3, 2, hour).astimezone(UTC).isoformat(timespec="milliseconds")
    visit = log.start_visit("typed", horse.id, started_at=began).id
    session = Session()
    for text in SAID:
        outcome = session.take(grammar.read(plain_words(text)), 1.0, 0.0, 1.0)
        assert outcome is not None
        row = UtteranceRow(heard=text, status=outcome.status, confidence=1.0)
        log.append(visit, row, [to_json(entry) for entry in outcome.entries])
    doubtful = UtteranceRow(heard="right hind trimmed", status="recorded", confidence=0.4)
    body = {"kind": "work", "limb": "RH", "action": "trimmed"}
    log.append(visit, doubtful, [body])
    return visit


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_a_calendar_is_printed_or_written_once(
    command: Command, visit: str, tmp_path: Path
) -> None:
    vobject = pytest.importorskip("vobject")
    code, out, _ = command("calendar", "bramble", "--on", "2024-03-02")
    assert code == 0
    event = vobject.readOne(out).vevent
    assert event.summary.value == "Bramble: visit"
    assert event.dtstart.value.isoformat() == "2024-04-13"
    file = tmp_path / "due.ics"
    code, out, err = command("calendar", "--on", "2024-03-02", "--to", file)
    assert (code, out) == (0, "")
    assert err == f"{file}: 4 entries for 2 horses\n"
    assert file.read_bytes().count(b"BEGIN:VEVENT\r\n") == 2
    before = file.read_bytes()
    code, _, err = command("calendar", "bramble", "--to", file)
    assert (code, err) == (
        1,
        f"handsfree: {file}: is there already; name another file, or say --force to replace it\n",
    )
    assert file.read_bytes() == before
    assert command("calendar", "bramble", "--to", file, "--force", "--remind")[0] == 0
    assert file.read_bytes().count(b"BEGIN:VALARM\r\n") == 1


def test_a_calendar_as_json_and_of_horses_that_can_not_be_said(
    command: Command, visit: str
) -> None:
    _, out, _ = command("calendar", "--on", "2024-03-02", "--json")
    found = [json.loads(line) for line in out.splitlines()]
    assert [(each["kind"], each["on"]) for each in found] == [
        ("visit", "2024-04-13"),
        ("watch", "2024-04-13"),
    ] * 2
    code, out, err = command("calendar", "never seen")
    assert (code, out) == (1, "")
    assert err.splitlines() == [
        "Never Seen: can't say because no visit is in the log by that day",
        "handsfree: there is nothing to put into a calendar",
    ]
    code, _, err = command("calendar", "brambel")
    assert (code, err) == (
        5,
        "handsfree: there is no horse 'brambel' in the log; did you mean Bramble?\n",
    )
    code, _, err = command("calendar", "--on", "2025-03-02")
    assert code == 1
    assert err.startswith("left out: 2 horses overdue by more than half a year")
    assert command("calendar", "bramble", "--on", "2025-03-02")[0] == 0
    assert command("calendar", "--on", "tomorrow")[0] == 1


def test_an_export_printed_and_written_is_the_same(
    command: Command, visit: str, tmp_path: Path
) -> None:
    with Log.open(tmp_path / "log.db") as log:
        of_visit = log.entries(visit, in_force=True)
    _, out, _ = command("export", "bramble", "--csv")
    table = rows(out)
    assert [row["entry"] for row in table] == [entry.id for entry in of_visit]
    assert [row["doubtful"] for row in table] == [*["no"] * (len(table) - 1), "yes"]
    file = tmp_path / "all.csv"
    code, out, err = command("export", "bramble", "--csv", "--bom", "--to", file)
    assert (code, out) == (0, "")
    assert err == f"{file}: {file.stat().st_size:,} bytes written\n"
    assert rows(file.read_bytes().decode("utf-8-sig")) == table
    assert file.read_bytes().startswith(b"\xef\xbb\xbf")
    assert command("export", "--csv", "--to", file)[0] == 1
    assert rows(file.read_bytes().decode("utf-8-sig")) == table


def test_an_export_as_json_of_all(command: Command, visit: str) -> None:
    _, out, _ = command("export", "--json")
    whole = json.loads(out)
    assert [horse["name"] for horse in whole["horses"]] == ["Bramble", "Never Seen", RTL]
    (only,) = whole["horses"][0]["visits"]
    assert only["id"] == visit
    assert only["entries"][-1]["doubtful"] is True


@pytest.mark.parametrize("options", [(), ("--csv", "--json"), ("--json", "--bom")])
def test_an_export_needs_one_form(command: Command, options: tuple[str, ...]) -> None:
    code, out, err = command("export", *options)
    assert (code, out) == (1, "")
    assert len(err.splitlines()) == 1


def money(made: dict[str, Any]) -> tuple[str, str, str]:
    return made["net"], made["tax"], made["total"]


def test_a_bill_in_its_three_forms(command: Command, visit: str, tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(PRICES)
    _, out, _ = command("bill", "bramble", "--prices", file, "--json")
    made = json.loads(out)
    # 30.00 + 15.50 = 45.50; 19 % of it is 8.645, half up 8.65.
    assert money(made) == ("45.50", "8.65", "54.15")
    assert made["doubtful"] == ["RH trimmed"]
    assert [(line["key"], line["amount"]) for line in made["lines"]] == [
        ("work.new_shoe", "30.00"),
        ("work.trimmed", "15.50"),
        ("nails.each", None),
    ]
    _, out, _ = command("bill", visit[:8], "--prices", file, "--csv")
    table = {(row["row"], row["item"]): row for row in rows(out)}
    assert table["line", "nails.each"]["note"] == "no price"
    assert table["line", "nails.each"]["amount"] == ""
    assert [table[name, ""]["amount"] for name in ("net", "tax", "total")] == [
        "45.50",
        "8.65",
        "54.15",
    ]
    code, out, err = command("bill", "bramble", "--prices", file)
    assert (code, err) == (0, "")
    assert max(map(len, out.splitlines())) <= 80
    for text in ("no price", "54.15", "VAT 19%", "not surely heard, left out: RH trimmed"):
        assert text in out
    assert out.splitlines()[-1] == "a basis for your bill, not an invoice"


def test_a_bill_without_a_list_says_so(command: Command, visit: str, tmp_path: Path) -> None:
    code, out, err = command("bill", "bramble")
    assert code == 0
    assert "total of what has a price" in out
    assert err.startswith("no prices: there is no ")
    if (tmp_path / "settings").exists() or "settings" in err:  # where settings are as on Linux
        mine = tmp_path / "settings" / "handsfree" / "prices.toml"
        mine.parent.mkdir(parents=True)
        mine.write_text(PRICES)
        assert "54.15" in command("bill", "bramble")[1]


def test_a_bill_of_an_odd_name_drives_no_terminal(command: Command, visit: str) -> None:
    _, out, _ = command("bill", RTL)
    assert "\u202e" not in out
    assert "שלום" in out


@pytest.mark.parametrize(
    ("arguments", "code", "why"),
    [
        ((), 1, "name a horse or a visit"),
        (("bramble", "--csv", "--json"), 1, "say one of"),
        (("nobody",), 5, "there is no horse 'nobody'"),
        (("ffffffff",), 5, "the log has no visit ffffffff"),
        (("never seen",), 1, "Never Seen has no visit in the log"),
        (("bramble", "--on", "2020-01-01"), 1, "has no visit in the log by 2020-01-01"),
        (("bramble", "--prices", "none.toml"), 1, "none.toml: cannot be read"),
    ],
)
def test_a_bill_that_can_not_be_made_is_one_line(
    command: Command, visit: str, arguments: tuple[str, ...], code: int, why: str
) -> None:
    done, out, err = command("bill", *arguments)
    assert (done, out) == (code, "")
    assert why in err
    assert len(err.splitlines()) == 1


def test_the_template_can_be_used_at_once(command: Command, visit: str, tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(command("bill", "--template")[1])
    code, out, err = command("bill", "bramble", "--prices", file)
    assert (code, err) == (0, "")
    assert "no price" in out
