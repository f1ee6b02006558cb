"""Asleep until the attention word is said: the state machine alone, with times given."""

import random

import pytest

from handsfree.dialogue.dialogue import Dialogue
from handsfree.dialogue.session import Outcome, Session
from handsfree.grammar import Grammar, load
from handsfree.grammar.words import plain_words
from handsfree.visit.answer import Tone

STAYS_S = 20.0
NOTE = "left hind outside heel bruise"


@pytest.fixture(scope="module")
def grammar() -> Grammar:
    return load(horse_names=["Bramble"]).with_attention("smithy")


class Spoken:
    """Each utterance takes two seconds, from the time given."""

    def __init__(self, grammar: Grammar, attention_s: float | None = STAYS_S):
        self.grammar, self.session = grammar, Session(attention_s=attention_s)

    def __call__(self, at_s: float, text: str, confidence: float = 1.0) -> Outcome | None:
        reading = self.grammar.read(plain_words(text))
        return self.session.take(reading, confidence, at_s, at_s + 2)


@pytest.fixture
def say(grammar: Grammar) -> Spoken:
    return Spoken(grammar)


def test_asleep_nothing_is_taken_and_nothing_changes(say: Spoken) -> None:
    before = say.session.state
    talk = "lovely weather for the time of year"
    for text in (NOTE, "left hind", "strike that", "ears off", "next horse", talk):
        assert say(1, text) is None
    assert say.session.state == before
    assert say.session.asleep(3)


def test_the_word_before_a_note_takes_it(say: Spoken) -> None:
    outcome = say(1, f"smithy {NOTE}")
    assert outcome is not None
    assert (outcome.status, outcome.limb) == ("recorded", "LH")
    assert not say.session.asleep(3 + STAYS_S)
    assert say.session.asleep(3.01 + STAYS_S)


def test_the_word_alone_wakes_and_is_a_command(say: Spoken) -> None:
    assert say(1, "smithy") == Outcome("command", "attention")
    assert say(10, NOTE).status == "recorded"  # type: ignore[union-attr]


def test_what_is_taken_keeps_it_awake_from_its_end(say: Spoken) -> None:
    say(0, "smithy")
    for at_s in (22, 44, 66):  # each begins as the time since the last runs out
        assert say(at_s, "foot up") is not None
    assert say(88.01, "foot up") is None


def test_an_utterance_that_begins_in_time_may_end_later(say: Spoken) -> None:
    say(0, "smithy")
    assert say(21.9, NOTE) is not None


def test_talk_while_awake_does_not_keep_it_awake(say: Spoken) -> None:
    say(0, "smithy")
    assert say(15, "lovely weather for the time of year").status == "unclear"  # type: ignore[union-attr]
    assert say(15, "strike that", confidence=0.3).status == "unclear"  # type: ignore[union-attr]
    assert say(22.5, NOTE) is None


def test_the_word_before_what_is_not_understood_wakes(say: Spoken) -> None:
    assert say(0, "smithy lovely weather for the time").status == "unclear"  # type: ignore[union-attr]
    assert say(10, NOTE) is not None


def test_a_new_horse_does_not_put_it_to_sleep(say: Spoken) -> None:
    say(0, "smithy horse bramble")
    assert say(10, "next horse") is not None
    assert say(20, NOTE) is not None


def test_the_limb_is_still_in_force_when_it_wakes(say: Spoken) -> None:
    say(0, "smithy left hind")
    assert say(300, "smithy outside heel bruise").entries[0].limb == "LH"  # type: ignore[union-attr]


def test_with_the_ears_off_only_ears_on_is_heard(say: Spoken) -> None:
    say(0, "smithy ears off")
    for at_s in (5, 500):  # soon, and when it would be asleep as well
        assert say(at_s, "smithy") is None
        assert say(at_s, f"smithy {NOTE}") is None
        assert say(at_s, NOTE) is None
    assert say(501, "ears on").command == "ears_on"  # type: ignore[union-attr]
    assert say(510, NOTE) is not None


def test_ears_on_with_the_word_will_do_too(say: Spoken) -> None:
    say(0, "smithy ears off")
    assert say(100, "smithy ears on") is not None
    assert say.session.state.ears_on


def test_without_the_option_it_never_sleeps(grammar: Grammar) -> None:
    say = Spoken(load(horse_names=["Bramble"]), None)
    assert say(0, NOTE) is not None
    assert say(1e6, NOTE) is not None
    assert not say.session.asleep(2e6)
    assert say.session.state.awake_until_s is None


def test_kept_awake_it_does_what_it_does_without_the_option(grammar: Grammar) -> None:
    """Random visits, also with what nobody understands and weak hearings."""
    for seed in range(20):
        rng = random.Random(seed)
        plain, awake = Spoken(load(horse_names=["Bramble"]), None), Spoken(grammar, 1e9)
        awake(-2, "smithy")
        for number in range(12):
            text = " ".join(grammar.generate(rng)[0].words) if rng.random() < 0.9 else "dear me"
            said = text if rng.random() < 0.5 else f"smithy {text}"
            sure, at_s = rng.choice((0.5, 1.0)), 10.0 * number
            assert plain(at_s, text, sure) == awake(at_s, said, sure), text


def test_answers_by_ear(grammar: Grammar) -> None:
    """Asleep there is no answer; waking has the tone of a command; then all is as usual."""
    dialogue = Dialogue(grammar, Session(restating=True, attention_s=STAYS_S))

    def tones(at_s: float, text: str) -> list[Tone | None]:
        turn = dialogue.hear(grammar.read(plain_words(text)), 1.0, at_s, at_s + 2)
        return [] if turn is None else [answer.tone for answer in turn.answers]

    assert dialogue.attention == "smithy"
    assert tones(0, NOTE) == []
    assert tones(3, "lovely weather for the time of year") == []
    assert tones(6, "smithy") == [Tone.COMMAND]
    assert tones(9, NOTE) == [Tone.FINDING]
    assert tones(12, "lovely weather for the time of year") == [Tone.UNCLEAR]
    assert tones(40, NOTE) == []
    assert tones(43, f"smithy {NOTE}") == [Tone.FINDING]


def test_no_attention_word_is_told_where_it_never_sleeps(grammar: Grammar) -> None:
    assert Dialogue(grammar).attention is None
