"""The attention word in the grammar: before any sentence, alone, and in no meaning."""

import random
from dataclasses import replace
from itertools import product

import pytest

from handsfree.errors import ExitCode, HandsfreeError
from handsfree.grammar import Grammar, load
from handsfree.grammar.acceptor import from_sentences, with_call
from handsfree.grammar.attention import syllables
from handsfree.grammar.compile import acceptor_of
from handsfree.log.rows import Lesson

CALLS = ("smithy", "hey smithy")


@pytest.fixture(scope="module", params=CALLS)
def called(grammar: Grammar, request: pytest.FixtureRequest) -> Grammar:
    return grammar.with_attention(request.param)


def some(grammar: Grammar, count: int = 150) -> list[tuple[str, ...]]:
    rng = random.Random(5)
    return [tuple(grammar.generate(rng)[0].words) for _ in range(count)]


@pytest.mark.parametrize("call", [("x",), ("x", "y")])
def test_the_call_may_come_first_or_alone_and_nowhere_else(call: tuple[str, ...]) -> None:
    plain = from_sentences([["a"], ["a", "b"], ["b", "a"]])
    made = with_call(plain, call)
    for length in range(5):
        for words in product("abxy", repeat=length):
            rest = words[len(call) :]
            after = words[: len(call)] == call and (not rest or plain.accepts(rest))
            assert made.accepts(words) == (plain.accepts(words) or after), words


def test_a_call_that_sentences_begin_with_is_refused() -> None:
    with pytest.raises(ValueError, match="'a'"):
        with_call(from_sentences([["a"]]), ("a",))


def test_without_a_word_all_is_as_it_was(grammar: Grammar, called: Grammar) -> None:
    assert grammar.acceptor is grammar.sentences
    assert grammar.acceptor == acceptor_of(grammar.rules)
    assert grammar.with_attention(None) is grammar
    again = called.with_attention(None)
    assert again.acceptor == grammar.acceptor
    assert again.phrases(50) == grammar.phrases(50)
    assert not again.read(["smithy"]).called


def test_sentences_mean_the_same_with_the_word_and_without(
    grammar: Grammar, called: Grammar
) -> None:
    call = called.attention
    for said in some(grammar):
        plain = grammar.read(said)
        assert called.read(said) == plain
        assert called.read(call + said) == replace(plain, heard=call + said, called=True)
        assert called.acceptor.accepts(said)
        assert called.acceptor.accepts(call + said)
        assert not called.acceptor.accepts(said + call)
        assert not grammar.acceptor.accepts(call + said)


def test_the_word_is_in_no_reading(called: Grammar) -> None:
    reading = called.read([*called.attention, "left", "hind", "outside", "heel", "brews"])
    assert reading.called
    assert "smithy" not in (*reading.words, *repr(reading.meaning).split("'"))
    alone = called.read(called.attention)
    assert (alone.called, alone.words) == (True, ())
    assert alone.meaning is not None
    assert alone.meaning.command == "attention"


def test_a_remark_keeps_its_words_without_the_call(called: Grammar) -> None:
    reading = called.read([*called.attention, "remark", "mind", "the", "dog"])
    assert reading.called
    assert reading.meaning is not None
    assert reading.meaning.statements[0].entry.text == "mind the dog"  # type: ignore[union-attr]


def test_what_sounds_like_the_word_is_not_it(called: Grammar) -> None:
    for said in (["smithie"], ["smith", "left", "hind"], ["left", "hind", *called.attention]):
        assert not called.read(said).called


def test_what_engines_doubt_stays_with_its_word(grammar: Grammar, called: Grammar) -> None:
    said, sure = ["left", "hind", "brews"], [1.0, 1.0, 0.0]
    with_word = called.read([*called.attention, *said], [*(1.0 for _ in called.attention), *sure])
    assert with_word.bend == grammar.read(said, sure).bend


@pytest.mark.parametrize("before", ["", "smithy "])
def test_lessons_hold_with_the_word_and_without(before: str) -> None:
    taught = Lesson(f"{before}left hind brew is", "left hind bruise", 3, "")
    reading = load(lessons=[taught]).with_attention("smithy")
    assert reading.lesson(["smithy", "left", "hind", "brew", "is"]) is not None
    assert (reading.lesson(["left", "hind", "brew", "is"]) is None) == bool(before)


def test_phrases_have_the_word_alone_and_before_what_begins(called: Grammar) -> None:
    call = " ".join(called.attention)
    phrases = called.phrases(10)
    assert {call, f"{call} left", f"{call} foot"} <= set(phrases)
    assert not any(phrase.endswith(f" {call}") for phrase in phrases)


@pytest.mark.parametrize("text", ["Smithy", " Hey  smithy ", "computer", "hey boss"])
def test_plain_words_are_taken(grammar: Grammar, text: str) -> None:
    assert grammar.with_attention(text).attention == tuple(text.lower().split())


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "letters"),
        ("sm1thy", "letters"),
        ("smithy!", "letters"),
        ("one\x1b[2J", "letters"),
        ("my own smithy", "one word or two"),
        ("bob", "one syllable"),
        ("steve", "one syllable"),
        ("fetlock", "said in notes itself"),
        ("bramble", "said in notes itself"),
        ("hey fetlock", "said in notes itself"),
        ("okay boss", "said in notes itself"),
        ("fetlok", "taken for 'fetlock'"),
        ("forehand", "taken for 'fore hind'"),
    ],
)
def test_others_are_refused_in_one_line(grammar: Grammar, text: str, why: str) -> None:
    with pytest.raises(HandsfreeError, match=why) as caught:
        grammar.with_attention(text)
    assert caught.value.exit_code == ExitCode.USAGE
    assert str(caught.value).isprintable()


@pytest.mark.parametrize(
    ("word", "count"),
    [("smithy", 2), ("anvil", 2), ("apple", 2), ("yoyo", 2), ("computer", 3)]
    + [(word, 1) for word in ("bob", "george", "blue", "strength", "tree", "the")],
)
def test_syllables_are_counted(word: str, count: int) -> None:
    assert syllables(word) == count
