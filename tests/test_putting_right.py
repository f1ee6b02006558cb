"""A part of what was just said is put right, and the rest of it stays."""

import pytest

from handsfree.dialogue.session import Session
from handsfree.grammar import load
from handsfree.grammar.words import plain_words
from handsfree.language.understand import Understanding
from handsfree.records.entries import to_json


@pytest.fixture(scope="module")
def understanding() -> Understanding:
    return Understanding(load())


def spoken(understanding: Understanding, *texts: str) -> list[dict]:
    """The entries of the last utterance, in short."""
    session, outcome = Session(), None
    for text in texts:
        reading = understanding.read(plain_words(text))
        outcome = session.take(reading, 1.0 - reading.bend)
    assert outcome is not None
    return [
        {k: v for k, v in to_json(e).items() if v not in (None, False) and k != "kind"}
        for e in outcome.entries
    ]


@pytest.mark.parametrize(
    ("before", "said", "after"),
    [
        (
            "old bruise at the toe left front",
            "no hang on that's the outside quarter",
            {"limb": "LF", "term": "bruise", "age": "old", "zone": "quarter", "side": "lateral"},
        ),
        (
            "near fore seven nails pulled",
            "wait make that eight",
            {"limb": "LF", "action": "pulled", "count": 8},
        ),
        (
            "chipped at the toe right hind",
            "sorry i meant left hind",
            {"limb": "LH", "term": "chip", "zone": "toe"},
        ),
        (
            "off fore corn inside heel",
            "no bruise not a corn",
            {"limb": "RF", "term": "bruise", "zone": "heel", "side": "medial"},
        ),
        (
            "near fore angle fifty one",
            "angle's fifty three sorry",
            {
                "limb": "LF",
                "quantity": "hoof_angle",
                "value": 53,
                "unit": "deg",
                "unit_inferred": True,
            },
        ),
        ("six weeks", "no make it five", {"action": "return", "weeks": 5}),
    ],
)
def test_only_the_part_that_was_named_changes(understanding, before, said, after):
    assert spoken(understanding, before, said) == [after]


def test_of_several_entries_only_the_one_that_is_meant_changes(understanding):
    entries = spoken(understanding, "off hind shoe's off nine nails pulled", "make that eight")
    assert [e.get("action") for e in entries] == ["shoe_pulled", "pulled"]
    assert [e.get("count") for e in entries] == [None, 8]


def test_nothing_to_put_right_changes_nothing(understanding):
    reading = understanding.read(plain_words("no make that eight"))
    outcome = Session().take(reading, 1.0)
    assert (outcome.status, outcome.entries) == ("unclear", ())
    assert outcome.doubt


def test_an_unsure_correction_changes_nothing(understanding):
    session = Session()
    session.take(understanding.read(plain_words("near fore seven nails pulled")), 1.0)
    reading = understanding.read(plain_words("make that eight"))
    assert session.take(reading, 0.5).status == "unclear"


@pytest.mark.parametrize(
    ("before", "said", "limbs"),
    [
        ("near fore", "bruise on the other one", ["RF"]),
        ("off hind", "thrush in the pair of them", ["LH", "RH"]),
        ("both fores", "the left one's got a corn", ["LF"]),
    ],
)
def test_feet_named_by_the_one_in_force(understanding, before, said, limbs):
    assert [e["limb"] for e in spoken(understanding, before, said)] == limbs


def test_the_other_foot_of_none_is_doubtful(understanding):
    outcome = Session().take(understanding.read(plain_words("corn in the other one")), 1.0)
    assert outcome.entries[0].limb is None
    assert outcome.doubt
