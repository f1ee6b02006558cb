"""An entry that this version cannot read: shown as such, counted, kept, and in nobody's way."""

import csv
import io
import json
import sqlite3
from pathlib import Path

import pytest

from handsfree.cli import main
from handsfree.grammar.grammar import load
from handsfree.log import Log, UtteranceRow
from handsfree.records.checking import BY_THIS_VERSION
from handsfree.review.desk import Desk
from handsfree.transcribe import kept_lines

ON = ("--on", "2026-11-25")
CORN = {"kind": "finding", "limb": "LH", "zone": "heel", "term": "corn"}
BODIES = {
    "a new key": '{"kind": "finding", "limb": "LH", "term": "corn", "mood": "sour"}',
    "a list for a word": '{"kind": "finding", "limb": "LH", "term": ["corn"]}',
    "a new word": '{"kind": "finding", "limb": "LH", "term": "moonstone"}',
    "a new kind": '{"kind": "song", "limb": "LH"}',
    "text for a number": '{"kind": "measurement", "limb": "LH", "quantity": "toe_length", '
    '"value": "long", "unit": "mm"}',
    "a number without end": '{"kind": "plan", "limb": null, "action": "return", "weeks": 1e300}',
    "weeks past all time": '{"kind": "plan", "limb": null, "action": "return", "weeks": 900000000}',
    "a plan of nothing": '{"kind": "plan", "limb": null}',
    "a grade of nothing": '{"kind": "finding", "limb": "LH", "scale_grade": [1]}',
    "half a grade": '{"kind": "finding", "limb": "LH", "scale_grade": {"scale": "lameness"}}',
    "no object": "[1, 2]",
}


@pytest.fixture(params=BODIES)
def log(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A visit with a corn, confirmed, and an entry of another version."""
    path = tmp_path / "log.db"
    monkeypatch.setenv("HANDSFREE_LOG", str(path))
    monkeypatch.chdir(tmp_path)
    with Log.open(path) as log:
        horse = log.add_horse("Bramble", "heavy").id
        visit = log.start_visit("typed", horse, started_at="2026-11-20T12:00:00.000+00:00").id
        row = UtteranceRow(heard="left hind heel corn", status="recorded", confidence=0.97)
        log.confirm(log.append(visit, row, [CORN]).entry_ids, "review")
        row = UtteranceRow(heard="something newer", status="recorded", confidence=0.97)
        (other,) = log.append(visit, row, [CORN]).entry_ids
    with sqlite3.connect(path) as conn:
        guard = "SELECT sql FROM sqlite_master WHERE name = 'entries_no_update'"
        (sql,) = conn.execute(guard).fetchone()
        conn.execute("DROP TRIGGER entries_no_update")
        conn.execute("UPDATE entries SET body = ? WHERE id = ?", [BODIES[request.param], other])
        conn.execute(sql)
    conn.close()
    return path


def printed(capfd: pytest.CaptureFixture[str], *arguments: str) -> str:
    """What a command prints; it must end well."""
    code = main.run([str(each) for each in arguments])
    out, err = capfd.readouterr()
    assert code == 0, err
    return out + err


def kept(path: Path) -> list[str]:
    with sqlite3.connect(path) as conn:
        return sorted(row[0] for row in conn.execute("SELECT body FROM entries"))


def test_every_command_goes_on_and_says_so(log: Path, capfd: pytest.CaptureFixture[str]) -> None:
    before = kept(log)
    assert "corn" in printed(capfd, "visits") + printed(capfd, "show")
    for command in (
        ("show",),
        ("brief", "Bramble", "--all", *ON),
        ("change", "Bramble", *ON),
        ("find", "bramble"),
        ("sheet", "Bramble", *ON),
        ("bill", "Bramble", *ON),
    ):
        assert BY_THIS_VERSION in printed(capfd, *command), command
    (page,) = log.parent.glob("*.html")
    assert BY_THIS_VERSION in page.read_text("utf-8")
    for command in (("due", *ON), ("marks", "Bramble", *ON), ("wear", "Bramble"), ("nails",)):
        main.run(command)
        assert "Error" not in "".join(capfd.readouterr()), command
    for line in printed(capfd, "show", "--json").splitlines():
        json.loads(line)
    assert kept(log) == before


def test_it_is_exported_and_archived(log: Path, capfd: pytest.CaptureFixture[str]) -> None:
    body = next(each for each in kept(log) if json.loads(each) != CORN)
    rows = list(csv.DictReader(io.StringIO(printed(capfd, "export", "--csv"))))
    (cell,) = [row["unreadable"] for row in rows if row["unreadable"]]
    assert json.loads(cell.removeprefix("'")) in (json.loads(body), {"unreadable": body})
    whole = json.loads(printed(capfd, "export", "--json"))
    assert sum("unreadable" in e for e in whole["horses"][0]["visits"][0]["entries"]) == 1
    printed(capfd, "keep", "archive", "--to", "all")
    (page,) = log.parent.glob("all/data/*/*/visit.html")
    assert BY_THIS_VERSION in page.read_text("utf-8")


def test_the_check_names_it(log: Path, capfd: pytest.CaptureFixture[str]) -> None:
    assert main.run(["keep", "check"]) == 5
    assert BY_THIS_VERSION in capfd.readouterr().out


def test_the_review_shows_it_and_puts_it_right(log: Path) -> None:
    before = kept(log)
    with Log.open(log) as opened:
        desk = Desk(opened, load(), opened.visits()[0].id)
        (item,) = [each for each in desk.items if each.state == "doubtful"]
        assert BY_THIS_VERSION in item.parts[0].text
        assert desk.slots(item, 0) == ()
        for done in (desk.put(item, 0, "term", "bruise"), desk.split(item, 0)):
            assert not done.changed
            assert BY_THIS_VERSION in done.text
        assert not desk.move(item, "RF").changed
        assert desk.history(item)
        assert desk.notices() is not None
        done = desk.say(item, "left hind thrush")
        assert done.changed
        assert desk.undo().changed
        (item,) = [each for each in desk.items if each.state == "doubtful"]
        assert desk.strike(item).changed
        assert set(before) <= set(kept(log))


def test_a_recording_that_is_known_says_so(log: Path) -> None:
    with Log.open(log) as opened:
        first, second = kept_lines("a.wav", opened, [opened.visits()[0].id])
    assert [e["term"] for e in first.as_json()["entries"]] == ["corn"]
    assert first.doubt is None
    assert second.as_json()["entries"] == []
    assert BY_THIS_VERSION in (second.doubt or "")


def test_a_body_without_a_key_of_its_kind_is_read(tmp_path: Path) -> None:
    with Log.open(tmp_path / "log.db") as log:
        visit = log.start_visit("typed", log.add_horse("Bramble").id)
        row = UtteranceRow(heard="x", status="recorded")
        log.append(visit.id, row, [{"kind": "finding", "limb": "LH", "term": "corn"}])
        desk = Desk(log, load(), visit.id)
        assert [part.text for item in desk.items for part in item.parts] == ["corn"]
