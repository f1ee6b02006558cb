"""Phrases of the user's own in the automaton and before the parser."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.errors import HandsfreeError
from handsfree.grammar import Grammar, load
from handsfree.grammar.acceptor import from_sentences
from handsfree.grammar.synonyms import Synonyms

MEANS = {
    ("pritchel", "lame"): ("severe", "lameness"),
    ("dutch", "slipper"): ("left", "hind"),
    ("pillar",): ("inside", "heel"),
    ("pillar", "rot"): ("thrush", "in", "the", "frog"),
}
OWN = Synonyms(MEANS)
PLAIN = load(horse_names=["Bramble"])
GRAMMAR = PLAIN.with_synonyms(OWN)


@pytest.mark.parametrize(
    ("said", "becomes"),
    [
        ("dutch slipper pritchel lame", "left hind severe lameness"),
        ("pillar rot", "thrush in the frog"),
        ("pillar bruise", "inside heel bruise"),
        ("pritchel", "pritchel"),
        ("lame pritchel", "lame pritchel"),
        ("pillars", "pillars"),
        ("", ""),
    ],
)
def test_whole_phrases_give_way_the_longest_first(said: str, becomes: str) -> None:
    assert " ".join(OWN.put(said.split())[0]) == becomes


def test_what_stands_for_a_phrase_is_as_sure_as_its_least_sure_word() -> None:
    words, sure = OWN.put(["bruise", "dutch", "slipper"], [0.9, 0.8, 0.3])
    assert (words, sure) == (["bruise", "left", "hind"], [0.9, 0.3, 0.3])
    assert OWN.put(["pillar", "x"], [0.5])[1] == [0.5, 0.5, None]


def test_an_automaton_takes_the_phrase_wherever_its_meaning_may_stand() -> None:
    small = from_sentences([("a", "b", "c"), ("b", "d"), ("x", "b")])
    got = Synonyms({("b",): ("b",), ("x", "y"): ("b",), ("q",): ("b", "c")}).within(small)
    allowed = ["a b c", "a x y c", "a q", "b d", "x y d", "x b", "x x y"]
    assert all(got.accepts(each.split()) for each in allowed)
    assert not any(got.accepts(each.split()) for each in ["a", "q", "x y", "a x", "x", "x y c"])


@given(st.integers())
@settings(max_examples=200, deadline=None)
def test_what_is_heard_is_always_a_sentence_once_phrases_are_put(seed: int) -> None:
    rng = random.Random(seed)
    acceptor, said, state = GRAMMAR.acceptor, [], GRAMMAR.acceptor.start
    while not (state in acceptor.finals and (rng.random() < 0.3 or not acceptor.arcs[state])):
        own = [w for w in acceptor.arcs[state] if w in OWN.vocabulary]
        word = rng.choice(own if own and rng.random() < 0.5 else list(acceptor.arcs[state]))
        said.append(word)
        state = acceptor.arcs[state][word]
    assert PLAIN.sentences.accepts(OWN.put(said)[0])


@given(st.integers())
@settings(max_examples=200, deadline=None)
def test_every_sentence_may_have_phrases_in_it_and_means_the_same(seed: int) -> None:
    sentence, meaning = PLAIN.generate(random.Random(seed))
    assert GRAMMAR.acceptor.accepts(sentence.words)
    assert GRAMMAR.read(sentence.words) == PLAIN.read(sentence.words)
    text = f" {' '.join(sentence.words)} "
    for phrase, means in MEANS.items():
        with_phrase = text.replace(f" {' '.join(means)} ", f" {' '.join(phrase)} ").split()
        if meaning.command != "remark":
            assert GRAMMAR.acceptor.accepts(with_phrase)
            assert GRAMMAR.read(with_phrase).meaning == meaning


def test_a_remark_stays_as_it_is_said() -> None:
    (statement,) = GRAMMAR.read("remark he is pritchel lame".split()).meaning.statements
    assert statement.entry.text == "he is pritchel lame"


def test_nothing_is_bent_into_a_phrase() -> None:
    assert GRAMMAR.read("pillor bruise".split()) == PLAIN.read("pillor bruise".split())


def test_a_foot_named_in_words_of_his_own_counts_in_refused_speech_too() -> None:
    assert GRAMMAR.refused("dutch slipper wobbles along".split()).named.limbs == ("LH",)


def test_the_name_of_a_horse_stays_its_name() -> None:
    own = Synonyms({("bramble",): ("left", "hind")})
    assert PLAIN.with_synonyms(own).read(["horse", "bramble"]).meaning.horse == "Bramble"


def test_a_horse_may_be_called_as_a_phrase_is() -> None:
    meaning = GRAMMAR.read(["horse", "pillar"]).meaning
    assert (meaning.command, meaning.horse, meaning.horse_said) == ("horse", None, "pillar")


def test_an_attention_word_may_not_be_in_a_phrase() -> None:
    with pytest.raises(HandsfreeError, match="is said in notes itself"):
        GRAMMAR.with_attention("pritchel")
    called: Grammar = GRAMMAR.with_attention("anvil")
    assert called.acceptor.accepts("anvil dutch slipper".split())
    assert called.read("anvil dutch slipper bruise".split()).called
