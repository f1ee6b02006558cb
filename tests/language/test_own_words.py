"""His own words: what may be one, its file, what a correction shows of it."""

import random
from contextlib import suppress

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from handsfree.grammar import load
from handsfree.grammar.meaning import entries_of
from handsfree.language.own_words import (
    Checks,
    Damaged,
    NotTaken,
    OwnWord,
    as_toml,
    learn,
    parse,
    synonyms,
    taken_out,
)
from handsfree.language.understand import Understanding
from handsfree.records.entries import to_json

GRAMMAR = load(horse_names=["Bramble"])
CHECKS = Checks(GRAMMAR)
PLAIN = Understanding(GRAMMAR)
OWN = (
    OwnWord("pritchel lame", "severe lameness"),
    OwnWord("dumpy", "club foot"),
    OwnWord("pillar", "inside heel"),
    OwnWord("sinister", "left hind"),
    OwnWord("acme special", "straight bar shoe"),
    OwnWord("pocket rot", "thrush in the frog"),
    OwnWord("wobbling", "loose"),
    OwnWord("number four special", "size four"),
)
TAUGHT = Understanding(GRAMMAR.with_synonyms(synonyms(OWN)))


def read(understanding: Understanding, text: str) -> list[dict[str, object]]:
    reading = understanding.read(text.split())
    assert reading.heard == tuple(text.split())
    entries = [to_json(e) for e in entries_of(reading.meaning, ())] if reading.meaning else []
    return [{k: v for k, v in e.items() if v not in (None, False)} for e in entries]


@pytest.mark.parametrize("word", OWN)
def test_a_phrase_with_a_meaning_that_is_understood_may_be_one(word: OwnWord) -> None:
    assert CHECKS.checked(f"  {word.phrase.title()} ", word.means) == word


@pytest.mark.parametrize(
    ("said", "plainly"),
    [
        ("left fore pritchel lame", "left fore severe lameness"),
        ("he's pritchel lame off hind", "he's severe lameness off hind"),
        ("it's a bit dumpy that near fore", "it's a bit club foot that near fore"),
        ("bruise in the pillar off fore", "bruise in the inside heel off fore"),
        ("sinister thrush", "left hind thrush"),
        ("acme special on the off fore", "straight bar shoe on the off fore"),
        ("no pocket rot near fore", "no thrush in the frog near fore"),
        ("shoe's wobbling off hind", "shoe's loose off hind"),
        ("number 4 special all round", "size four all round"),
        ("wrong sinister", "wrong left hind"),
    ],
)
def test_a_word_of_his_own_reads_as_its_meaning_does(said: str, plainly: str) -> None:
    assert read(TAUGHT, said) == read(PLAIN, plainly)
    assert TAUGHT.read(said.split()).meaning == PLAIN.read(plainly.split()).meaning
    assert TAUGHT.read(said.split()).meaning is not None


def test_a_remark_stays_as_it_is_said() -> None:
    assert read(TAUGHT, "remark the dumpy one") == [{"kind": "remark", "text": "the dumpy one"}]


@pytest.mark.parametrize(
    ("phrase", "why"),
    [
        ("", "is empty"),
        ("?!", "is empty"),
        ("one two three wobbly four five six", "too long: 6 words at most"),
        ("xq", "too short"),
        ("café", "the letters a to z only"),
        ("remark dumpy", "is kept as it is said"),
        ("Bramble", "is the name of a horse"),
        ("lame", "means something already: lameness"),
        ("dead lame", "means something already: severe lameness"),
        ("left hind", "means something already: left hind"),
        ("outside heel", "means something already: outside, heel"),
        ("left hind outside heel bruise", "means something already"),
        ("strike that", "is a command already: strike"),
        ("what's left", "is a command already: whats left"),
        ("no wait", "puts right what was said before it"),
        ("wrong heel", "puts right what was said before it"),
        ("the other one", "means something already"),
        ("going", "is small words alone"),
        ("good lad", "is said to the horse or to people"),
        ("roofing", "is a part of 'roofing nail'"),
    ],
)
def test_a_phrase_that_is_taken_or_cannot_be_said_is_refused(phrase: str, why: str) -> None:
    with pytest.raises(NotTaken) as refused:
        CHECKS.checked(phrase, "lame")
    assert why in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    ("means", "why"),
    [
        ("", "is empty"),
        ("wibble", "'wibble' says nothing"),
        ("lame wibble", "'wibble' says nothing"),
        ("lame " * 13, "too long a meaning"),
        ("him over there", "says nothing that goes into a record"),
        ("no", "says nothing that goes into a record"),
        ("good lad lame", "it is no note"),
        ("strike that", "is a command"),
        ("wrong heel", "is a command"),
        ("remark lame", "is a command"),
        ("no lame five degrees", "understood only in part"),
    ],
)
def test_a_meaning_that_is_not_understood_is_refused(means: str, why: str) -> None:
    with pytest.raises(NotTaken) as refused:
        CHECKS.checked("dumpy", means)
    assert why in str(refused.value)
    assert "\n" not in str(refused.value)


def test_a_phrase_has_one_meaning() -> None:
    with pytest.raises(NotTaken, match="'dumpy' means 'club foot' already; remove that first"):
        Checks(GRAMMAR, OWN).checked("Dumpy", "lame")


def test_a_meaning_may_be_said_in_words_of_his_own() -> None:
    word = Checks(GRAMMAR, OWN).checked("proper dumpy", "severe dumpy")
    assert word == OwnWord("proper dumpy", "severe club foot")


def test_it_says_what_it_took() -> None:
    assert CHECKS.says("dead lame") == "severe lameness"
    assert CHECKS.says("thrush in the frog") == "frog thrush"
    assert CHECKS.says("outside heel") == "outside, heel"


def test_listeners_get_a_meaning_in_words_of_the_sentences() -> None:
    plainest = CHECKS.plainest(OwnWord("pritchel lame", "dead lame"))
    assert plainest == OwnWord("pritchel lame", "severe lameness")
    for word in OWN[1:]:
        assert CHECKS.plainest(word) == word


WORDS = """left fore hind off near outside heel toe bruise thrush frog lame a the no not pritchel
    special rot pocket four size nails pulled six inches wibble and remark strike that club foot
    number loose shoe""".split()


@given(st.lists(st.sampled_from(WORDS), min_size=1, max_size=8))
@settings(max_examples=300, deadline=None)
@example(["pritchel"])
@example(["lame", "pritchel"])
@example(["club", "foot"])
def test_an_utterance_without_the_phrase_means_what_it_meant(words: list[str]) -> None:
    if synonyms(OWN).put(words)[0] == words:
        assert TAUGHT.read(words) == PLAIN.read(words)


def test_neither_does_any_sentence_of_the_grammar_change() -> None:
    for seed in range(200):
        sentence, _ = GRAMMAR.generate(random.Random(seed))
        assert TAUGHT.read(sentence.words) == PLAIN.read(sentence.words)


# The file


def test_the_file_is_read_as_it_was_written() -> None:
    assert parse(as_toml(OWN)) == OWN
    assert parse(as_toml(())) == () == parse("")
    assert '"pritchel lame" = "severe lameness"\n' in as_toml(OWN)


@given(st.dictionaries(st.text(), st.text()))
def test_any_text_comes_back_as_it_was(words: dict[str, str]) -> None:
    kept = tuple(OwnWord(*pair) for pair in words.items())
    try:
        text = as_toml(kept).encode().decode()
    except UnicodeEncodeError:  # halves of characters
        return
    assert parse(text) == kept


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("means", "is no TOML"),
        ("\x00", "is no TOML"),
        ('[means]\n"a" = "b"\n"a" = "c"', "is no TOML"),
        ("[" * 5000, "is no TOML"),
        ("means = 3", "is no table"),
        ("[means]\nlame = 3", "as text in quotes"),
        ("[words]\n", "'words', which is nothing"),
    ],
)
def test_a_damaged_file_is_one_line(text: str, why: str) -> None:
    with pytest.raises(Damaged) as damaged:
        parse(text)
    assert why in str(damaged.value)


@given(st.text())
def test_no_text_raises_anything_else(text: str) -> None:
    with suppress(Damaged):
        CHECKS.usable(parse(text))


def test_of_a_file_only_what_can_be_used_is_used() -> None:
    bad = (OwnWord("heel", "toe"), OwnWord("dumpy", "wibble"), OwnWord("DUMPY!", "club foot"))
    found, refused = CHECKS.usable((*bad, *OWN))
    assert found == (OWN[1], OWN[0], *OWN[2:])
    assert [line.partition(":")[0] for line in refused] == [
        "'heel' means something already",
        "the meaning 'wibble' is not understood",
        "'dumpy' is there twice; the first one counts",
    ]


def test_a_word_is_taken_out() -> None:
    rest, gone = taken_out(OWN, " Dumpy ")
    assert gone == OwnWord("dumpy", "club foot")
    assert rest == (OWN[0], *OWN[2:])
    with pytest.raises(NotTaken, match="is no word of your own"):
        taken_out(OWN, "pritchel")


# What a correction shows


@pytest.mark.parametrize(
    ("heard", "meant", "learnt"),
    [
        (
            "left fore pritchel lame",
            "left fore severe lameness",
            ("pritchel lame", "severe lameness"),
        ),
        ("dumpy", "club foot", ("dumpy", "club foot")),
        (
            "pocket rot near fore",
            "thrush in the frog near fore",
            ("pocket rot", "thrush in the frog"),
        ),
        ("pritchel lame left fore", "lame left fore", ("pritchel lame", "lame")),
        ("left fore dumpy bruise", "left fore bruise", ("dumpy bruise", "bruise")),
        ("bruise in the pillar", "bruise in the inside heel", ("pillar", "inside heel")),
    ],
)
def test_a_correction_shows_a_word(heard: str, meant: str, learnt: tuple[str, str]) -> None:
    assert learn(heard, meant, CHECKS) == OwnWord(*learnt)
    after = Understanding(GRAMMAR.with_synonyms(synonyms([OwnWord(*learnt)])))
    assert after.read(heard.split()).meaning == PLAIN.read(meant.split()).meaning


@pytest.mark.parametrize(
    ("heard", "meant", "why"),
    [
        ("left fore lame", "left fore lame", "nothing was said otherwise"),
        ("left fore lame", "left hind lame", "means something already"),
        ("dumpy", "strike that", "is a command"),
        ("dumpy", "", "there is nothing to be learnt"),
        ("", "lame", "there is nothing to be learnt"),
        ("remark dumpy", "remark club foot", "a remark is kept as it is said"),
        ("left fore dumpy", "left fore wibble", "is not understood"),
    ],
)
def test_a_correction_that_shows_none_is_refused(heard: str, meant: str, why: str) -> None:
    with pytest.raises(NotTaken) as refused:
        learn(heard, meant, CHECKS)
    assert why in str(refused.value)
