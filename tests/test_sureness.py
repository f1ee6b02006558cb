"""One limit decides what is sure, in Python and in SQL."""

import sqlite3
from pathlib import Path

import pytest

from handsfree import histories
from handsfree.cli import transcribe
from handsfree.dialogue.dialogue import Dialogue
from handsfree.engines.together import DIFFERED_AT_MOST
from handsfree.grammar.grammar import Grammar, load
from handsfree.log import Log
from handsfree.log.doubt import unsure as in_sql
from handsfree.recording import Heard, Recorder
from handsfree.records.sureness import DOUBTFUL_BELOW, unsure
from handsfree.review.gather import sureness

ALL = [
    (confidence, doubt)
    for confidence in (None, 0.0, 0.5, DIFFERED_AT_MOST, DOUBTFUL_BELOW, 0.9, 1.0)
    for doubt in (None, "heard weakly")
]


@pytest.fixture(scope="module")
def grammar() -> Grammar:
    return load()


@pytest.mark.parametrize(("confidence", "doubt"), ALL)
def test_sql_and_python_say_the_same(confidence: float | None, doubt: str | None) -> None:
    with sqlite3.connect(":memory:") as db:
        [found] = db.execute(f"SELECT {in_sql('?1', '?2')}", [confidence, doubt]).fetchone()
    assert found == unsure(confidence, doubt)


def test_another_limit_needs_a_migration() -> None:
    """Triggers and views of logs that are out there hold this very text."""
    text = "(n.doubt IS NOT NULL OR coalesce(n.confidence < 0.8, 0))"
    assert in_sql("n.confidence", "n.doubt") == text


@pytest.mark.parametrize(("confidence", "doubt"), [each for each in ALL if each[0] is not None])
def test_a_note_is_doubtful_everywhere_or_nowhere(
    confidence: float, doubt: str | None, grammar: Grammar, tmp_path: Path
) -> None:
    reading = grammar.read("left hind thrush".split())
    with Log.open(tmp_path / "log.db") as log:
        horse = log.add_horse("Bramble")
        recorder = Recorder("typed", log, Dialogue(grammar), horse)
        heard = Heard("left hind thrush", reading, confidence, 0.0, 1.0, ("a",), doubt=doubt)
        line = recorder.take(heard)
        assert line is not None
        [visit] = log.visits(1)
        [utterance] = log.utterances(visit.id)
        found = [
            not transcribe.sure(line),
            sureness(utterance) == "doubtful",
            bool(histories.history(log, horse).visits[0].doubtful),
            visit.doubtful == 1,
        ]
    with sqlite3.connect(tmp_path / "log.db") as db:
        found += [
            db.execute("SELECT state FROM findable").fetchone() == ("doubtful",),
            db.execute("SELECT status FROM findings").fetchone() == ("doubtful",),
        ]
    db.close()
    assert found == [unsure(confidence, doubt)] * len(found)


@pytest.mark.parametrize("words", ["strike that", "wrong inside heel bruise"])
@pytest.mark.parametrize("confidence", [0.5, DIFFERED_AT_MOST, DOUBTFUL_BELOW, 1.0])
def test_what_is_unsure_erases_nothing(words: str, confidence: float, grammar: Grammar) -> None:
    dialogue = Dialogue(grammar)
    dialogue.hear(grammar.read("left hind thrush".split()))
    turn = dialogue.hear(grammar.read(words.split()), confidence)
    assert turn is not None
    assert bool(turn.struck or turn.replaced) == (not unsure(confidence))
