"""`handsfree keep` from the outside: what it prints, asks and returns."""

import json
from pathlib import Path
from typing import Any

import pytest

from handsfree.cli import main
from handsfree.log import Log, UtteranceRow


@pytest.fixture(autouse=True)
def _log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(main.COMMANDS, "keep", "handsfree.cli.keep")
    monkeypatch.setenv("HANDSFREE_LOG", str(tmp_path / "log.db"))
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.chdir(tmp_path)
    with Log.open() as log:
        for name in ("Bramble", "Thistle"):
            visit = log.start_visit(
                "typed", log.add_horse(name).id, None, "2025-03-14T09:00:00.000+00:00"
            )
            entry = {"kind": "finding", "limb": "LH", "term": "bruise"}
            row = UtteranceRow(heard=f"bruise {name}", status="recorded", confidence=0.95)
            log.append(visit.id, row, [entry], b"fLaC" + bytes(50_000))


class Done:
    def __init__(self, code: int, out: str, err: str) -> None:
        self.code, self.out, self.err = code, out, err

    @property
    def json(self) -> Any:
        (line,) = self.out.splitlines()
        return json.loads(line)


@pytest.fixture
def keep(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Any:
    def call(*arguments: object, typed: str = "") -> Done:
        import io

        monkeypatch.setattr("sys.stdin", io.StringIO(typed))
        code = main.run(["keep", *map(str, arguments)])
        told = capsys.readouterr()
        return Done(code, told.out, told.err)

    return call


def test_backup_and_restore(keep: Any, tmp_path: Path) -> None:
    done = keep("backup", "b.db")
    assert done.code == 0
    assert done.out.startswith("b.db: ")
    assert done.out.endswith("kB, 2 visits, 2 utterances, 2 sounds; verified\n")
    again = keep("backup", "b.db")
    assert (again.code, again.out) == (1, "")
    assert "b.db: is there already" in again.err
    assert keep("backup", "b.db", "--force", "--json").json["rows"]["visits"] == 2
    named = keep("backup")
    assert (tmp_path / named.out.split(": ")[0]).name.startswith("log-20")

    with Log.open() as log:
        log.add_horse("New")
    refused = keep("restore", "b.db")
    assert refused.code == 5
    assert "not restored, for the log holds what the backup does not: 1 horses" in refused.err
    assert "--lose-newer does it all the same" in refused.err
    forced = keep("restore", "b.db", "--lose-newer", "--json")
    assert forced.code == 0
    with Log.open() as log, Log.open(forced.json["kept"]) as kept:
        assert log.horse_names() == ["Bramble", "Thistle"]
        assert kept.horse_names() == ["Bramble", "New", "Thistle"]


def test_check(keep: Any, tmp_path: Path) -> None:
    assert keep("check").out == f"{tmp_path / 'log.db'}: nothing is wrong\n"
    found = keep("check", "--sound")  # the sounds here are none
    assert found.code == 5
    assert len(found.out.splitlines()) == 2
    assert all("its sound cannot be decoded" in line for line in found.out.splitlines())
    assert [each["what"] for each in keep("check", "--sound", "--json").json] == ["utterance"] * 2
    assert keep("check", "--log", "missing.db").code == 5


def test_archive_and_take_in(keep: Any, tmp_path: Path) -> None:
    with Log.open() as log, log._writing() as db:
        db.execute("DELETE FROM sounds")
    done = keep("archive", "bramble", "--to", "b.zip")
    assert done.out.startswith("b.zip: 1 horse, 1 visit, 1 utterance, 0 sounds, ")
    assert keep("archive", "--to", "all", "--json").json["horses"] == 2
    assert keep("archive", "nobody").code == 5
    new = tmp_path / "new.db"
    taken = keep("take-in", "b.zip", "--log", new)
    assert taken.out == "new: 1 horse, 1 visit, 1 utterance, 1 entry, 1 mark\n"
    assert keep("take-in", "b.zip", "--log", new).out.startswith("new: nothing")
    assert keep("take-in", "all", "--log", new, "--json").json["added"]["horses"] == 1
    (tmp_path / "b.zip").write_bytes(b"no zip")
    bad = keep("take-in", "b.zip", "--log", new)
    assert bad.code == 2
    assert bad.err.startswith("handsfree: archive b.zip: is damaged, or neither .zip nor .tar")


def test_thin_sound_shows_before_it_does(keep: Any) -> None:
    shown = keep("thin-sound", "--older-than", 12, "--on", "2026-11-25")
    assert shown.out.splitlines() == [
        "sound of visits before 2025-11-25, but for: doubtful, unclear, remarks without words",
        "2 sounds of 100.0 kB would go",
        "nothing is changed; --yes does it",
    ]
    done = keep("thin-sound", "--older-than", 12, "--on", "2026-11-25", "--yes", "--json").json
    assert (done["sounds"], done["done"], done["space_not_given_back"]) == (2, True, None)
    assert done["freed_bytes"] > 80_000
    again = keep("thin-sound", "--older-than", 12, "--on", "2026-11-25", "--yes")
    assert "0 sounds of 0 bytes went" in again.out


def test_erase_names_the_copies_it_does_not_reach(
    keep: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    here = tmp_path / "here"
    here.mkdir()
    keep("backup")
    (backup,) = tmp_path.glob("log-20*.db")
    keep("restore", backup, "--lose-newer")
    monkeypatch.chdir(here)
    for archived in ("a.zip", "a.tar.gz", "folder"):
        keep("archive", "thistle", "--to", archived)
    keep("archive", "--to", "all.tar")
    keep("archive", "bramble", "--to", "bramble.zip")
    keep("backup", "bad.db")
    bad = bytearray((here / "bad.db").read_bytes())
    bad[100:] = b"\xa5" * (len(bad) - 100)
    (here / "bad.db").write_bytes(bad)
    (here / "letter.zip").write_text("no archive")
    (here / "Thistle-2025-03-14.html").write_text("a sheet")
    with Log.open(here / "other.db") as other:
        other.add_horse("Bramble")
        (horse,) = (h.id for h in Log.open().horses() if h.name == "Thistle")
    done = keep("erase", "thistle", "--yes")
    begin = "still holds it, delete or replace it: "
    told = [e.removeprefix(begin) for e in done.out.splitlines() if e.startswith(begin)]
    (replaced,) = tmp_path.glob("log.replaced-*.db")
    assert told == [
        f"{backup} (a copy of the log)",
        f"{replaced} (a copy of the log)",
        f"{here / 'Thistle-2025-03-14.html'} (is named after it)",
        f"{here / 'a.tar.gz'} (an archive)",
        f"{here / 'a.zip'} (an archive)",
        f"{here / 'all.tar'} (an archive)",
        f"{here / 'bad.db'} (a copy of the log that cannot be read)",
        f"{here / 'folder'} (an archive)",
        f"{here / 'letter.zip'} (an archive that cannot be read)",
    ]
    assert "if it was sent to a practice's server, this deletes it there:" in done.out
    assert f"  DELETE FROM handsfree.horses WHERE id IN ('{horse}');\n" in done.out
    again = keep("erase", "bramble", "--yes", "--json").json
    assert {"path": str(here / "bramble.zip"), "what": "an archive"} in again["copies_left"]
    assert len(again["sql_for_there"]) == 3


def test_erase_asks_for_the_name_again(keep: Any) -> None:
    wrong = keep("erase", "thistle", typed="Bramble\n")
    assert wrong.code == 5
    assert "that is another name; nothing was erased" in wrong.err
    with Log.open() as log:
        assert log.horse_names() == ["Bramble", "Thistle"]
    done = keep("erase", "thistle", typed="THISTLE\n")
    assert done.code == 0
    assert "1 horse" in done.out
    assert "backups and archives elsewhere that were made before still hold it" in done.out
    with Log.open() as log:
        assert log.horse_names() == ["Bramble"]
    listed = keep("erased")
    assert len(listed.out.splitlines()) == 1
    assert "umpkin" not in listed.out.lower()
    assert keep("erase", "bramble", "--yes", "--json").json["counts"]["visits"] == 1
    assert len(keep("erased", "--json").json) == 2
