"""`handsfree find`, over a log in a file."""

import csv
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from handsfree.cli import main
from handsfree.grammar.grammar import load
from handsfree.log import Log, UtteranceRow
from handsfree.records.entries import belongs_to_horse, to_json
from handsfree.review import player

VISITS = {
    ("Bramble", "2026-03-02"): [
        "left hind brushing inside fetlock",
        "toe length eighty two millimeters",
        "left hind mild outside heel bruise",
    ],
    ("Bramble", "2026-05-25"): [
        "left hind interfering",
        "both fronts trimmed",
        "toe length three and a half inches",
    ],
    ("=cmd|' /C calc'!A0", "2026-06-01"): ["left fore severe thrush in the frog"],
    ("Ev\x1b[2Jil", "2026-06-02"): ["left fore canker"],
}


class Done(NamedTuple):
    code: int
    out: str
    err: str


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    grammar = load()
    file = tmp_path_factory.mktemp("find") / "log.db"
    with Log.open(file) as log:
        for (horse, on), utterances in VISITS.items():
            id = log.add_horse(horse).id
            visit = log.start_visit("typed", id, started_at=f"{on}T12:00:00.000+00:00").id
            for said in utterances:
                meaning = grammar.read(said.split()).meaning
                assert meaning is not None, said
                bodies = [
                    to_json(s.entry) | {"limb": None if belongs_to_horse(s.entry) else limb}
                    for s in meaning.statements
                    for limb in s.limbs or ("LH",)
                ]
                log.append(
                    visit,
                    UtteranceRow(heard=said, status="recorded", confidence=0.97),
                    bodies,
                    b"not really sound" if "brushing" in said else None,
                )
            log.append(
                visit,
                UtteranceRow(heard="the \x1b[31m hill", status="unclear", confidence=0.1),
            )
    return file


@pytest.fixture
def find(path: Path, capfdbinary: pytest.CaptureFixture[bytes]) -> Callable[..., Done]:
    def call(*arguments: str) -> Done:
        code = main.run(["find", *arguments, "--log", str(path), "--on", "2026-11-25"])
        out, err = capfdbinary.readouterr()
        return Done(code, out.decode(), err.decode())

    return call


def test_the_question_is_told_and_results_are_by_visit(find):
    done = find("brushing", "near", "hind", "since", "spring")
    assert (done.code, done.err) == (0, "")
    assert done.out == (
        "looked for: LH; brushing or interfering; since 2026-03-01\n"
        "\n"
        "2026-05-25 Bramble\n"
        "  1 LH brushing\n"
        '      "left hind interfering"\n'
        "\n"
        "2026-03-02 Bramble\n"
        "  2 LH inside fetlock brushing (sound kept)\n"
        '      "left hind brushing inside fetlock"\n'
        "\n"
        "2 found\n"
    )


def test_feet_together_and_more(find):
    done = find("trimmed")
    assert "  1 LF RF trimmed\n" in done.out
    done = find("since", "2026", "--limit", "2")
    assert "2 shown, 10 more; --all or --limit N shows them\n" in done.out
    assert "12 found" in find("since", "2026", "--all").out


def test_nothing_is_a_plain_answer(find):
    done = find("canker", "2025")
    assert done.code == 0
    assert done.out.endswith("\nnothing found\n")
    assert "not used: 'xyzzyq'" in find("xyzzyq").out


def test_nothing_asked_is_refused(find):
    done = find()
    assert (done.code, done.out) == (1, "")
    assert done.err == "handsfree: say what to find, as 'handsfree find thrush near hind'\n"
    assert find("thrush", "--json", "--csv").code == 1
    assert find("thrush", "--status", "dead").code == 1
    assert find("toe", "length", "over", "80").err.count("\n") == 1


def test_options(find):
    both = find("--horse", "brambel", "--limb", "lh", "--since", "may", "--until", "june")
    assert "looked for: Bramble; LH; 2026-05-01 to 2026-06-30\n" in both.out
    assert "there is no horse 'brambel'; taken for Bramble" in both.out
    assert "left hind interfering" in both.out
    assert "unclear" in find("--status", "unclear").out


def test_context_of_the_unclear_and_no_control_characters(find):
    done = find("unclear")
    assert "\x1b" not in done.out + done.err
    assert 'before: "left fore canker"' in done.out
    assert max(map(len, done.out.splitlines())) <= 80


def test_context_of_any_result_where_it_is_asked_for(find):
    assert "after:" not in find("interfering", "bramble", "since", "may").out
    done = find("interfering", "bramble", "since", "may", "--context")
    assert '      after: "both fronts trimmed"\n' in done.out
    middle = find("trimmed", "--context").out.splitlines()
    assert middle[middle.index('      "both fronts trimmed"') + 1 :][:2] == [
        '      before: "left hind interfering"',
        '      after: "toe length three and a half inches"',
    ]


def test_json(find):
    done = find("brushing", "--json")
    result = json.loads(done.out)
    assert done.err == ""
    assert (result["looked_for"], result["more"]) == ("brushing or interfering", 0)
    first, second = result["results"]
    assert first["heard"] == "left hind interfering"
    assert second["entries"][0]["term"] == "brushing"
    assert second["entries"][0]["state"] == "sure"
    assert second["sound"] is True
    assert json.loads(find("xyzzyq", "--json").out)["results"] == []


def test_csv_runs_in_no_spreadsheet(find):
    done = find("thrush", "--csv")
    [row] = csv.DictReader(io.StringIO(done.out, newline=""))
    assert row["horse"] == "'=cmd|' /C calc'!A0"
    assert (row["what"], row["limb"], row["status"]) == ("severe frog thrush", "LF", "sure")
    assert done.err == "looked for: thrush\n"
    assert len(list(csv.DictReader(io.StringIO(find("trimmed", "--csv").out)))) == 2
    assert "\x1b" not in find("canker", "--csv").out


def test_sound_to_a_folder(find, tmp_path: Path):
    folder = tmp_path / "sound"
    done = find("brushing", "--sound-to", str(folder))
    assert [file.name for file in folder.iterdir()] == ["Bramble-2026-03-02.flac"]
    assert (folder / "Bramble-2026-03-02.flac").read_bytes() == b"not really sound"
    assert "1 written to" in done.err
    assert "of 1 no sound is kept" in done.err
    find("brushing", "--sound-to", str(folder))
    assert len(list(folder.iterdir())) == 2, "what is there is never written over"


def test_hear(find, monkeypatch: pytest.MonkeyPatch):
    played: list[bytes] = []
    monkeypatch.setattr(
        player.SoundPlayer, "play", lambda self, flac: played.append(flac), raising=True
    )
    assert find("brushing", "--hear", "2").code == 0
    assert played == [b"not really sound"]
    assert "no sound is kept of result 1" in find("brushing", "--hear", "1").err
    assert "there is no result 9" in find("brushing", "--hear", "9").err


def test_sound_that_is_none_is_one_line(find):
    done = find("brushing", "--hear", "2")
    assert done.code == 1
    assert "cannot be played: the sound cannot be read" in done.err
    assert done.err.count("\n") == 1
