"""`handsfree merge`: what it says, looking only, JSON, and names that would drive a terminal."""

import json

import pytest

from handsfree.cli.merge import merge
from handsfree.errors import LogError
from handsfree.log import Log
from handsfree.records.entries import Finding, to_json

CORN = to_json(Finding(limb="LH", zone="heel", term="corn"))
CRACK = to_json(Finding(limb="LH", zone="quarter", term="crack"))


def run(capsys, *arguments: object) -> str:
    merge.main([str(a) for a in arguments], standalone_mode=False)
    return capsys.readouterr().out


@pytest.fixture
def differing(practice, visited, say):
    visit, said = visited
    with Log.open(practice.a) as a, Log.open(practice.b) as b:
        a.correct(said.utterance_id, [CORN], "review", said.entry_ids)
        b.correct(said.utterance_id, [CRACK], "review", said.entry_ids)
        duke = b.add_horse("Duke\x1b[31m")
        say(b, b.start_visit("typed", duke.id).id, CORN)
    return practice, visit


def test_it_says_what_came_and_what_is_to_be_chosen(differing, capsys) -> None:
    practice, visit = differing
    looked = run(capsys, practice.b, "--log", practice.a, "--look")
    told = run(capsys, practice.b, "--log", practice.a)
    assert told.splitlines() == [
        "came: 1 visit, 1 utterance, 2 entries, 3 judgements",
        "new horse: Duke\N{REPLACEMENT CHARACTER}[31m",
        "to choose between in 'handsfree review': 1",
        f"  visit {visit[:8]}, Bramble, 2026-05-14",
        "    two machines differ: corrected to two different things",
        "    LH quarter crack  OR  LH heel corn",
    ]
    assert looked == told.replace("came:", "would come:")
    assert run(capsys, practice.b, "--log", practice.a) == (
        "nothing new: this log holds all of it already\n"
    )


def test_json(differing, capsys) -> None:
    practice, visit = differing
    found = json.loads(run(capsys, practice.b, "--log", practice.a, "--json", "--look"))
    assert found["look"] is True
    assert found["new"]["entries"] == 2
    (asked,) = found["disputed"]
    assert (asked["visit_id"], asked["stands"], asked["other"]) == (visit, [CRACK], [CORN])


def test_a_file_that_is_no_log(practice, tmp_path, capsys) -> None:
    (tmp_path / "x.db").write_text("no log")
    with pytest.raises(LogError, match="not a log of this program"):
        run(capsys, tmp_path / "x.db", "--log", practice.a)
