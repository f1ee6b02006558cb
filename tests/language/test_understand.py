"""Sentences of the grammar, misheard words and natural speech through one reading."""

import pytest

from handsfree.grammar import load
from handsfree.grammar.words import plain_words
from handsfree.language.understand import Understanding
from handsfree.records.entries import to_json


@pytest.fixture(scope="module")
def understanding() -> Understanding:
    return Understanding(load(horse_names=["Rosie", "Barney"]))


def read(understanding: Understanding, text: str) -> list[dict]:
    reading = understanding.read(plain_words(text))
    if reading.meaning is None:
        return []
    return [
        {k: v for k, v in to_json(s.entry).items() if v not in (None, False, "") and k != "kind"}
        | ({"limbs": s.limbs} if s.limbs else {})
        for s in reading.meaning.statements
    ]


@pytest.mark.parametrize(
    ("text", "entries"),
    [
        ("size three oh", [{"item": "size", "detail": "000"}]),
        ("size double oh", [{"item": "size", "detail": "00"}]),
        ("size triple oh", [{"item": "size", "detail": "000"}]),
        (
            "section three quarter by three eighths",
            [{"item": "section", "detail": "three quarter by three eighths"}],
        ),
        ("stone bruise right front", [{"term": "bruise", "limbs": ("RF",)}]),
        ("wire cut pastern", [{"term": "cut", "zone": "pastern"}]),
        ("old abscess track at the toe", [{"term": "abscess", "zone": "toe", "age": "old"}]),
    ],
)
def test_no_word_of_the_trade_is_bent_into_another(understanding, text, entries):
    assert read(understanding, text) == entries


@pytest.mark.parametrize(
    ("heard", "meant"),
    [
        ("left hind outside heal brews", "left hind outside heel bruise"),
        ("mild flair outside quarter", "mild flare outside quarter"),
        ("heat in the coronery band", "heat in the coronary band"),
        ("pulled 7 nails", "pulled seven nails"),
    ],
)
def test_misheard_words_are_still_bent_to_the_nearest_sentence(understanding, heard, meant):
    assert read(understanding, heard) == read(understanding, meant) != []


def test_a_sentence_of_the_grammar_means_what_the_grammar_says(understanding):
    grammar = load(horse_names=["Rosie", "Barney"])
    for sentence in ("left hind outside heel bruise", "wrong inside heel bruise", "horse rosie"):
        words = sentence.split()
        assert understanding.read(words).meaning == grammar.meanings(words)[0]


@pytest.mark.parametrize(
    ("text", "command", "horse", "said"),
    [
        ("right this is rosie", "horse", "Rosie", None),
        ("well let's get started on barney", "horse", "Barney", None),
        ("next up clover", "horse", None, "clover"),
        ("scrap that", "strike", None, None),
        ("no forget that", "strike", None, None),
        ("what did i say last time", "previous_visit", None, None),
        ("what have i got on this foot", "read_back", None, None),
        ("i'm taking a breather", "break", None, None),
        ("that's her done", "horse_done", None, None),
    ],
)
def test_natural_commands(understanding, text, command, horse, said):
    meaning = understanding.read(plain_words(text)).meaning
    assert (meaning.command, meaning.horse, meaning.horse_said) == (command, horse, said)


@pytest.mark.parametrize("text", ["come on rosie stand up", "steady barney", "rosie quit leaning"])
def test_talk_to_a_horse_changes_no_horse(understanding, text):
    assert understanding.read(plain_words(text)).meaning is None


def test_an_unexplained_word_makes_a_note_doubtful(understanding):
    plain = understanding.read(plain_words("bruise at the toe"))
    odd = understanding.read(plain_words("bruise at the toe zork"))
    assert (plain.doubt, plain.bend) == (None, 0.0)
    assert odd.meaning.statements == plain.meaning.statements
    assert "zork" in odd.doubt


def test_a_denial_that_belongs_to_nothing_is_never_passed_over(understanding):
    reading = understanding.read(plain_words("never without bruise heel nor"))
    sure = reading.meaning is not None and reading.doubt is None
    assert not sure or all(s.entry.denied for s in reading.meaning.statements)


def test_the_unit_is_inferred_where_only_one_is_likely(understanding):
    (entry,) = read(understanding, "toe's down to eighty eight near fore")
    assert (entry["unit"], entry["unit_inferred"]) == ("mm", True)
    (entry,) = read(understanding, "toe three and a quarter off hind")
    assert (entry["unit"], entry["unit_inferred"]) == ("in", True)
    either = understanding.read(plain_words("heart girth ninety eight"))
    assert either.meaning is None or either.meaning.statements[0].entry.unit == "in"


@pytest.mark.parametrize(
    ("text", "horse", "said"),
    [
        ("horse rosie", "Rosie", None),
        ("next horse rosie", "Rosie", None),
        ("horse the rosie", "Rosie", None),
        ("next up rosie", "Rosie", None),
        ("horse rosy", None, "rosy"),
        ("horse josie", None, "josie"),
        ("horse chip", None, "chip"),
        ("horse", None, ""),
        ("next horse duke of the hill", None, "duke of the hill"),
        ("next up duke", None, "duke"),
        ("this one's called josie", None, "josie"),
    ],
)
def test_a_name_is_the_log_s_own_or_asked_about(understanding, text, horse, said):
    meaning = understanding.read(plain_words(text)).meaning
    assert meaning is not None
    assert (meaning.command, meaning.horse, meaning.horse_said) == ("horse", horse, said)


@pytest.mark.parametrize(
    ("text", "command"),
    [
        ("horse done", "horse_done"),
        ("horse is done", "horse_done"),
        ("next horse", "next_horse"),
        ("next horse please", "next_horse"),
    ],
)
def test_what_is_done_with_a_horse_is_no_name(understanding, text, command):
    meaning = understanding.read(plain_words(text)).meaning
    assert meaning is not None
    assert (meaning.command, meaning.horse_said) == (command, None)


def test_a_foot_of_the_horse_is_no_name(understanding):
    reading = understanding.read(plain_words("horse left hind bruise"))
    assert reading.meaning is None or reading.meaning.command is None


def test_the_name_of_a_horse_in_a_note_is_no_unexplained_word(understanding):
    reading = understanding.read(plain_words("rosie's got a corn in the off fore"))
    assert (reading.doubt, reading.bend) == (None, 0.0)
