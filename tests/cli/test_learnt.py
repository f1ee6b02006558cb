"""`handsfree words --learnt` and `--forget`, and lessons that reach `transcribe`."""

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from handsfree.grammar import load
from handsfree.log import Log, UtteranceRow
from handsfree.review.desk import Desk

NONSENSE = "thresh in the fog of war"


@pytest.fixture(scope="module")
def taught_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("taught") / "log.db"
    with Log.open(path) as log:
        visit = log.start_visit("typed").id
        for heard in (NONSENSE, NONSENSE, "moan bruise banana"):
            log.append(visit, UtteranceRow(heard=heard, status="unclear", engines=("neural",)))
        desk = Desk(log, load(), visit)
        for item in desk.items:
            meant = "thrush in the frog" if item.heard == NONSENSE else "bruise"
            assert desk.say(item, f"left hind {meant}").changed
    return path


@pytest.fixture
def taught(taught_once: Path, tmp_path: Path) -> Path:
    """The log of `run`: corrections have taught one thing twice and another once."""
    for file in taught_once.parent.iterdir():  # with what SQLite keeps beside it
        shutil.copy(file, tmp_path / file.name)
    return tmp_path / "log.db"


def test_what_was_learnt_is_listed(run: Any, taught: Path) -> None:
    out = run("words", "--learnt").out.splitlines()
    assert out == [
        f"1: heard '{NONSENSE}', meant 'left hind thrush in the frog', 2 times",
        "2: heard 'moan bruise banana', meant 'left hind bruise', once",
    ]
    assert run("words", "--learnt", "banana").out.splitlines() == out[1:]
    assert "nothing learnt has 'mule'" in run("words", "--learnt", "mule").out
    first, second = (
        json.loads(line) for line in run("words", "--learnt", "--json").out.split("\n")[:2]
    )
    assert (first["number"], first["times"], first["in_use"]) == (1, 2, True)
    assert second["meant"] == "left hind bruise"


@pytest.mark.parametrize("which", ["1", NONSENSE, NONSENSE.upper() + "!"])
def test_one_is_forgotten_by_its_number_or_its_words(run: Any, taught: Path, which: str) -> None:
    done = run("words", "--forget", which)
    assert done.code == 0
    assert done.out == (f"forgotten: heard '{NONSENSE}', meant 'left hind thrush in the frog'\n")
    assert run("words", "--learnt").out.startswith("1: heard 'moan bruise banana'")


@pytest.mark.parametrize("which", ["0", "3", "never heard", ""])
def test_one_that_is_not_there_is_one_line(run: Any, taught: Path, which: str) -> None:
    done = run("words", "--forget", which)
    assert (done.code, done.out) == (1, "")
    assert "there is no lesson" in done.err
    assert len(done.err.splitlines()) == 1


def test_nothing_learnt_is_a_line(run: Any, tmp_path: Path) -> None:
    Log.open(tmp_path / "log.db").close()
    assert run("words", "--learnt").out == "nothing learnt yet\n"


def test_what_was_learnt_is_taken_the_next_time(run: Any, taught: Path) -> None:
    def entries() -> Any:
        done = run("transcribe", "--engine", "text", "--json", "-", stdin=NONSENSE)
        return done.objects[0]["entries"], done.objects[0]["confidence"]

    [entry], confidence = entries()
    assert (entry["limb"], entry["zone"], entry["term"]) == ("LH", "frog", "thrush")
    assert confidence < 1
    run("words", "--forget", NONSENSE)
    assert entries()[0] == []
