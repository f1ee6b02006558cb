"""A recorder tells the dialogue of the horse's earlier visits, and of no later ones."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from handsfree.dialogue.dialogue import Dialogue
from handsfree.dialogue.session import LIMB_UNSURE
from handsfree.grammar import Grammar, load
from handsfree.grammar.words import plain_words
from handsfree.language import known
from handsfree.log import Log
from handsfree.recording import Heard, Line, Recorder


@pytest.fixture(scope="module")
def grammar() -> Grammar:
    return load(horse_names=["Bramble", "Thistle"])


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with Log.open(tmp_path / "log.db") as opened:
        for name in ("Bramble", "Thistle"):
            opened.add_horse(name)
        yield opened


def say(recorder: Recorder, grammar: Grammar, text: str) -> Line:
    line = recorder.take(Heard(text, grammar.read(plain_words(text)), 1.0, 0.0, 0.0, ("text",)))
    assert line is not None
    return line


def told(line: Line) -> list[str]:
    return [part for answer in line.turn.answers for part in answer.say]


def visit(log: Log, grammar: Grammar, horse: str, day: str, *said: str) -> str:
    found = log.horse(horse)
    assert found is not None
    begun = log.start_visit("typed", found.id, started_at=f"{day}T12:00:00+00:00")
    recorder = Recorder("typed", log, Dialogue(grammar))
    recorder.go_on(begun)
    for text in said:
        say(recorder, grammar, text)
    return begun.id


def test_a_horse_named_at_the_start_is_known_before_the_first_word(
    log: Log, grammar: Grammar
) -> None:
    visit(log, grammar, "Bramble", "2025-01-10", "left hind thrush in the frog")
    recorder = Recorder("microphone", log, Dialogue(grammar), log.horse("Bramble"))
    assert "Look at" in told(say(recorder, grammar, "brief me"))


def test_the_horse_named_by_voice_is_the_one_told_of(log: Log, grammar: Grammar) -> None:
    visit(log, grammar, "Bramble", "2025-01-10", "left hind thrush in the frog")
    visit(log, grammar, "Thistle", "2025-01-10", "left hind mild corn")
    recorder = Recorder("microphone", log, Dialogue(grammar))
    say(recorder, grammar, "horse thistle")
    say(recorder, grammar, "left hind")
    assert told(say(recorder, grammar, "previous visit"))[2:] == ["mild corn"]


def test_an_old_visit_taken_up_again_knows_nothing_of_later_ones(
    log: Log, grammar: Grammar
) -> None:
    old = visit(log, grammar, "Bramble", "2025-01-10", "left hind drove eight nails", "new shoe")
    visit(log, grammar, "Bramble", "2025-03-10", "left hind shoe pulled", "left barefoot")
    recorder = Recorder("typed", log, Dialogue(grammar))
    recorder.go_on(log.visit(old))
    say(recorder, grammar, "left hind")
    assert told(say(recorder, grammar, "previous visit")) == ["left hind", "nothing noted before"]


def test_a_visit_gone_on_with_knows_that_its_foot_is_not_sure(log: Log, grammar: Grammar) -> None:
    recorder = Recorder("microphone", log, Dialogue(grammar))
    say(recorder, grammar, "right front")
    unclear = grammar.refused("the left one looks bruise like".split())
    line = recorder.take(Heard("the left one", unclear, 0.1, 0.0, 0.0, ("text",)))
    assert line is not None
    assert line.as_json()["doubt"] == LIMB_UNSURE
    again = Recorder("microphone", log, Dialogue(grammar))
    again.go_on(log.visits()[0])
    assert say(again, grammar, "new shoe").as_json()["doubt"] == LIMB_UNSURE
    [entry] = log.entries(log.visits()[0].id)
    assert entry.doubt == LIMB_UNSURE
    say(again, grammar, "left front")
    third = Recorder("microphone", log, Dialogue(grammar))
    third.go_on(log.visits()[0])
    assert say(third, grammar, "new shoe").doubt is None


def test_a_name_no_horse_has_begins_a_visit_that_can_be_named_later(
    log: Log, grammar: Grammar
) -> None:
    recorder = Recorder("microphone", log, Dialogue(grammar))
    say(recorder, grammar, "horse bramble")
    say(recorder, grammar, "left hind bruise")
    line = say(recorder, grammar, "horse duke").as_json()
    assert (line["command"], line["horse"], line["horse_said"]) == ("horse", None, "duke")
    line = say(recorder, grammar, "left hind canker").as_json()
    assert (line["horse"], line["horse_said"]) == (None, "duke")
    unnamed, bramble = log.visits()
    assert (unnamed.horse, unnamed.horse_said) == (None, "duke")
    assert [e.body["term"] for e in log.entries(unnamed.id)] == ["canker"]
    assert [e.body["term"] for e in log.entries(bramble.id)] == ["bruise"]
    assert log.name_visit(unnamed.id, "Duke").name == "Duke"
    named = log.visit(unnamed.id)
    assert (named.horse, named.horse_said, named.whose) == ("Duke", "duke", "Duke")


def test_a_name_that_was_nearly_heard_is_put_right_by_saying_it_again(
    log: Log, grammar: Grammar
) -> None:
    visit(log, grammar, "Bramble", "2025-01-10", "left hind thrush in the frog")
    recorder = Recorder("microphone", log, Dialogue(grammar), log.horse("Thistle"))
    say(recorder, grammar, "left hind bruise")
    say(recorder, grammar, "horse brambel")
    assert say(recorder, grammar, "horse bramble").as_json()["horse"] == "Bramble"
    assert "Look at" in told(say(recorder, grammar, "brief me"))
    assert [(v.horse, v.horse_said) for v in log.visits()][:2] == [
        ("Bramble", "brambel"),
        ("Thistle", None),
    ]


def test_a_visit_gone_on_with_keeps_the_name_it_was_not_given(log: Log, grammar: Grammar) -> None:
    recorder = Recorder("microphone", log, Dialogue(grammar))
    say(recorder, grammar, "horse duke")
    again = Recorder("microphone", log, Dialogue(grammar))
    again.go_on(log.visits()[0])
    assert say(again, grammar, "left hind canker").as_json()["horse_said"] == "duke"
    say(again, grammar, "next horse")
    say(again, grammar, "left hind bruise")
    assert [v.horse_said for v in log.visits()] == [None, "duke"]


def test_what_was_heard_stays_where_its_entry_cannot_be_kept(
    log: Log, grammar: Grammar, monkeypatch: pytest.MonkeyPatch
) -> None:
    recorder = Recorder("typed", log, Dialogue(grammar))
    with monkeypatch.context() as older:
        older.setattr(known, "known_ids", dict)  # a table without a word
        say(recorder, grammar, "left hind heel corn")
    say(recorder, grammar, "left hind outside heel bruise")
    assert recorder.visit_id is not None
    first, second = log.utterances(recorder.visit_id)
    assert (first.heard, first.status) == ("left hind heel corn", "unclear")
    assert "cannot be written" in (first.doubt or "")
    assert second.status == "recorded"
