"""A horse's name that the log does not know is neither bent into another's nor passed over."""

import pytest

from handsfree.grammar import Grammar, load
from handsfree.grammar.names import like


@pytest.fixture(scope="module")
def grammar() -> Grammar:
    return load(horse_names=["Rosie", "Old Bob", "Jack of Hearts"])


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("horse duke", "duke"),
        ("horse josie", "josie"),
        ("horse rosy", "rosy"),
        ("horse bob", "bob"),
        ("horse dunn", "dunn"),
        ("horse chip", "chip"),
        ("horse duke of the hill", "duke of the hill"),
        ("um horse duke", "duke"),
        ("next horse duke", "duke"),
        ("horse rosie left hind bruise", "rosie left hind bruise"),
        ("horse", ""),
    ],
)
def test_no_horse_of_the_log(grammar: Grammar, text: str, said: str) -> None:
    meaning = grammar.read(text.split()).meaning
    assert meaning is not None
    assert (meaning.command, meaning.horse, meaning.horse_said) == ("horse", None, said)


@pytest.mark.parametrize(
    ("text", "horse"),
    [
        ("horse rosie", "Rosie"),
        ("horse um rosie", "Rosie"),
        ("horse the old bob", "Old Bob"),
        ("horse jack hearts", "Jack of Hearts"),
        ("next horse rosie", "Rosie"),
    ],
)
def test_a_horse_of_the_log_whose_name_was_said_in_full(
    grammar: Grammar, text: str, horse: str
) -> None:
    meaning = grammar.read(text.split()).meaning
    assert meaning is not None
    assert (meaning.command, meaning.horse, meaning.horse_said) == ("horse", horse, None)


@pytest.mark.parametrize(
    "text",
    ["horse is lame", "horse left hind", "horse won't stand", "horse fell in that ditch"],
)
def test_talk_about_a_horse_names_none(grammar: Grammar, text: str) -> None:
    assert grammar.read(text.split()).meaning is None


def test_other_commands_with_the_word_stay(grammar: Grammar) -> None:
    for text, command in (("horse done", "horse_done"), ("next horse", "next_horse")):
        meaning = grammar.read(text.split()).meaning
        assert meaning is not None
        assert meaning.command == command


def test_the_name_that_was_nearly_said() -> None:
    assert like("josie", ["Bramble", "Rosie"]) == "Rosie"
    assert like("duke", ["Bramble", "Rosie"]) is None
