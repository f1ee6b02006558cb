"""The second look makes notes doubtful and changes nothing else."""

import json
from pathlib import Path

import pytest

from handsfree.grammar.meaning import Statement
from handsfree.grammar.words import plain_words
from handsfree.language import second_look
from handsfree.language.known import known_ids
from handsfree.language.reader import Reader
from handsfree.language.second_look import odds, surprises, things
from handsfree.language.spans import cut
from handsfree.language.tables import split_words
from handsfree.records.entries import Finding, to_json

SAID = Path(__file__).parent / "said"


def _surprises(tables, text: str, *entries: Finding) -> list[str]:
    words, _ = split_words(plain_words(text), tables.dialect)
    statements = [Statement(entry, ("LF",)) for entry in entries]
    return surprises(words, cut(words, tables), statements)


def test_what_words_seldom_tell_is_a_surprise(tables) -> None:
    text = "his sole's a bit bruised left front"
    assert _surprises(tables, text, Finding(term="bruise", zone="sole")) == []
    assert "finding canker" in _surprises(tables, text, Finding(term="canker", zone="sole"))


def test_what_words_mostly_tell_is_missed(tables) -> None:
    assert "finding bruise" in _surprises(tables, "bruised sole left front")


def test_the_opposite_is_a_surprise(tables) -> None:
    said = Finding(term="thrush", denied=True)
    assert "finding thrush denied" in _surprises(tables, "bad thrush left front frog", said)


@pytest.mark.parametrize("name", ["a", "k", "u"])
def test_it_changes_no_meaning(tables, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    texts = [
        json.loads(line)["text"]
        for line in (SAID / f"said_{name}.jsonl").read_text(encoding="utf-8").splitlines()
    ]
    reader = Reader(tables)
    looked = [reader.read(plain_words(text)) for text in texts]
    monkeypatch.setattr(second_look, "UNLIKELY", -1.0)
    monkeypatch.setattr(second_look, "LIKELY", 2.0)
    plain = [reader.read(plain_words(text)) for text in texts]
    assert [u.meaning for u in looked] == [u.meaning for u in plain]
    assert all(one.unsure >= other.unsure for one, other in zip(looked, plain, strict=True))


def test_everything_that_was_learnt_is_an_id() -> None:
    known = {id for ids in known_ids().values() for id in ids}
    learnt = {thing.split()[1] for thing in odds(()) if len(thing.split()) > 1}
    assert len(learnt) > 100
    assert learnt <= known | {
        "medial",
        "lateral",
        "both",
        "old",
        "fresh",
        "better",
        "worse",
        "same",
    }


def test_things_are_told_once() -> None:
    body = to_json(Finding(term="thrush", zone="frog", denied=True))
    assert things([body, body]) == {"finding thrush denied", "zone frog"}
