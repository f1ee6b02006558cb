"""What corrections teach: nearer readings, never another meaning for a sentence as it stands."""

from dataclasses import dataclass
from functools import cache

import pytest

from handsfree.engines.base import HeardWord, Hearing, Hypothesis
from handsfree.engines.together import CONTESTED, LESSON, Together
from handsfree.grammar import Grammar, load
from handsfree.grammar.lessons import AS_CORRECTED, ONCE_CORRECTED, TAUGHT_BEND, by_heard
from handsfree.records.sureness import DOUBTFUL_BELOW as SURE


@dataclass(frozen=True)
class Taught:
    heard: str
    meant: str
    times: int = 1


NONSENSE = "thresh in the fog of war"
FIFTY_FIVE, FIFTY_FOUR = "toe angle fifty five degrees", "toe angle fifty four degrees"
BENDS = "left hind outside heel brews"
"""Bends into "left hind outside heel bruise" by itself, for a known price."""


@cache
def compiled() -> Grammar:
    grammar = load(horse_names=["Bramble"])
    assert grammar.acceptor.accepts(["trimmed"])
    return grammar


def taught(*lessons: Taught) -> Grammar:
    return compiled().with_lessons(lessons)


def said(grammar: Grammar, text: str) -> str | None:
    reading = grammar.read(text.split())
    return " ".join(reading.words) if reading.meaning is not None else None


def test_words_that_are_no_sentence_become_what_was_taught():
    assert said(taught(), NONSENSE) is None
    grammar = taught(Taught(NONSENSE, "thrush in the frog"))
    reading = grammar.read(NONSENSE.split())
    assert said(grammar, NONSENSE) == "thrush in the frog"
    assert reading.by_lesson
    assert reading.heard == tuple(NONSENSE.split())
    assert said(grammar, "thresh in the fog of peace") is None, "only the very words are taught"


def test_each_time_bends_less_but_never_to_nothing():
    bends = [
        taught(Taught(NONSENSE, "trimmed", times)).read(NONSENSE.split()).bend
        for times in (1, 2, 3, 1000)
    ]
    assert bends == sorted(bends, reverse=True)
    assert len(set(bends)) == 4
    assert bends[0] == TAUGHT_BEND
    assert bends[-1] > 0


def test_the_cheaper_of_the_bending_and_the_lesson_wins():
    own = taught().read(BENDS.split())
    assert own.meaning is not None
    assert 0 < own.bend < TAUGHT_BEND, "else this test shows nothing"
    meant = "left hind outside heel crack"
    once = taught(Taught(BENDS, meant, 1)).read(BENDS.split())
    often = taught(Taught(BENDS, meant, 20)).read(BENDS.split())
    assert (" ".join(once.words), once.by_lesson) == ("left hind outside heel bruise", False)
    assert " ".join(once.taught) == meant
    assert (" ".join(often.words), often.by_lesson) == (meant, True)


def test_a_lesson_decides_between_two_sentences_that_are_equally_near():
    assert said(taught(), "for") is None
    assert said(taught(Taught("for", "left fore")), "for") == "left fore"


@pytest.mark.parametrize("times", [1, 1000])
def test_a_sentence_as_it_stands_keeps_its_meaning(times: int):
    grammar = taught(Taught(FIFTY_FIVE, FIFTY_FOUR, times))
    reading = grammar.read(FIFTY_FIVE.split())
    assert reading.meaning == taught().read(FIFTY_FIVE.split()).meaning
    assert reading.meaning is not None
    assert not reading.by_lesson
    assert " ".join(reading.taught) == FIFTY_FOUR
    digits = grammar.read("toe angle 55 degrees".split())
    assert digits.meaning == reading.meaning
    assert " ".join(digits.taught) == FIFTY_FOUR, "the same words written in digits"


@pytest.mark.parametrize(
    "lesson",
    [
        Taught(NONSENSE, "horse shadow"),
        Taught(NONSENSE, "the moon is made of cheese"),
        Taught(NONSENSE, ""),
        Taught(NONSENSE, "strike that"),
        Taught(NONSENSE, "wrong right hind"),
        Taught(NONSENSE, "remark she pulls back"),
        Taught(NONSENSE, "trimmed", 0),
        Taught("", "trimmed"),
    ],
)
def test_what_the_grammar_lacks_and_what_would_act_is_ignored(lesson: Taught):
    """Horses that are gone, sentences there are no more, and anything that is a command."""
    assert taught(lesson).read(NONSENSE.split()) == taught().read(NONSENSE.split())


def test_a_command_stays_a_command_without_a_doubt():
    grammar = taught(Taught("strike that", "trimmed"))
    assert grammar.read(["strike", "that"]) == taught().read(["strike", "that"])


def test_the_more_frequent_of_two_lessons_counts_and_no_more_than_it_leads_by():
    lessons = by_heard([Taught("a b", "trimmed", 5), Taught("A, b!", "thrush", 2)])
    assert (lessons["a", "b"].meant, lessons["a", "b"].times) == (("trimmed",), 3)
    # The log lists the latest first.
    even = by_heard([Taught("a b", "trimmed"), Taught("a b", "thrush")])
    assert (even["a", "b"].meant, even["a", "b"].times) == (("trimmed",), 1)


def test_the_same_meaning_in_other_words_is_no_doubt():
    words = "near hind loose clench outside"
    grammar = taught(Taught(words, "left hind loose clinch outside"))
    assert grammar.read(words.split()) == taught().read(words.split())


def test_lessons_are_given_to_the_grammar_when_it_is_read():
    grammar = load(lessons=[Taught(NONSENSE, "thrush in the frog")])
    assert said(grammar, NONSENSE) == "thrush in the frog"


# What several listeners together make of it.


def heard(engine: str, text: str, accepted: bool = True, free: str | None = None) -> Hearing:
    words = tuple(HeardWord(w) for w in text.split())
    return Hearing(engine, (Hypothesis(words, 0.0),), -0.5, accepted, free)


def test_talk_that_was_taught_becomes_the_note_but_never_a_sure_one():
    free = "Thresh in the fog of war."
    hearings = [heard("pocketsphinx", "pads", False), heard("neural", "trimmed", False, free)]
    assert Together((), taught()).weigh(hearings).reading.meaning is None
    for times in (1, 50):
        grammar = taught(Taught(free, "thrush in the frog", times))
        verdict = Together((), grammar).weigh(hearings)
        assert verdict.reading.meaning == grammar.read("thrush in the frog".split()).meaning
        assert 0 < verdict.confidence <= CONTESTED
        assert verdict.doubt == AS_CORRECTED
        assert verdict.heard == free, "what was heard stays"
        assert {a.text for a in verdict.alternatives} == {"pads", "trimmed"}


def test_a_lesson_does_not_let_the_listener_accept_what_it_turned_away():
    grammar = taught(Taught(NONSENSE, "thrush in the frog"))
    verdict = Together((), grammar).weigh(
        [
            heard("pocketsphinx", "thrush in the frog", False),
            heard("neural", "thrush in the frog", False, NONSENSE),
        ]
    )
    assert verdict.reading.meaning is not None
    assert (verdict.confidence <= CONTESTED, verdict.doubt) == (True, AS_CORRECTED)


def test_a_sentence_that_was_turned_away_teaches_nothing_about_talk():
    """Talk is forced into some sentence by every listener: that one may have been taught."""
    hearings = [heard("pocketsphinx", "pads", False), heard("neural", "pads", False, "Good boy.")]
    verdict = Together((), taught(Taught("pads", "packed", 9))).weigh(hearings)
    assert verdict.reading.meaning is None
    assert verdict.confidence == Together((), taught()).weigh(hearings).confidence


def test_a_listener_alone_that_hears_words_which_were_taught_is_doubtful():
    grammar = taught(Taught(NONSENSE, "thrush in the frog", 9))
    verdict = Together((), grammar).weigh([heard("vosk", NONSENSE)])
    assert verdict.reading.by_lesson
    assert (verdict.confidence <= CONTESTED, verdict.doubt) == (True, AS_CORRECTED)


def test_agreement_on_what_was_once_corrected_is_doubtful_and_offers_the_other():
    hearings = [heard("pocketsphinx", FIFTY_FIVE), heard("neural", FIFTY_FIVE)]
    assert Together((), taught()).weigh(hearings).confidence >= SURE
    grammar = taught(Taught(FIFTY_FIVE, FIFTY_FOUR))
    verdict = Together((), grammar).weigh(hearings)
    assert verdict.reading.meaning == taught().read(FIFTY_FIVE.split()).meaning
    assert verdict.confidence == CONTESTED
    assert verdict.doubt == ONCE_CORRECTED
    assert (verdict.alternatives[0].engine, verdict.alternatives[0].text) == (LESSON, FIFTY_FOUR)


def test_other_notes_are_as_sure_as_before():
    hearings = [heard("pocketsphinx", FIFTY_FOUR), heard("neural", FIFTY_FOUR)]
    verdict = Together((), taught(Taught(FIFTY_FIVE, FIFTY_FOUR))).weigh(hearings)
    assert verdict.confidence >= SURE
    assert (verdict.doubt, verdict.alternatives) == (None, ())
