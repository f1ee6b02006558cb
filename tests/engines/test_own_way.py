"""What was said in his own way: how ways of writing become one meaning, and when it is believed."""

from dataclasses import replace

import pytest

from handsfree.engines.base import Dictated, HeardWord, Hearing, Hypothesis
from handsfree.engines.own_way import ways
from handsfree.engines.together import Together
from handsfree.grammar import load
from handsfree.language.understand import Understanding
from handsfree.records.sureness import DOUBTFUL_BELOW


@pytest.fixture(scope="module")
def grammar():
    return load(horse_names=["Bramble"])


@pytest.fixture(scope="module")
def understanding(grammar):
    return Understanding(grammar)


def written(text: str, score: float, fit: float = -0.2, margin: float = -0.05) -> Dictated:
    return Dictated(tuple(text.split()), score, fit, margin, -3.0)


def heard(*dictated: Dictated, sentence: str = "", score: float = -3.0, margin: float = -2.8):
    words = tuple(HeardWord(word) for word in sentence.split())
    hypotheses = (Hypothesis(words, score),) if sentence else ()
    return Hearing("neural", hypotheses, margin, margin > -3.0, "whatever", dictated=dictated)


def nothing(name: str = "pocketsphinx") -> Hearing:
    return Hearing(name, (), float("-inf"), False)


def test_wordings_of_the_same_entries_are_one_answer(understanding):
    found = ways(
        [
            heard(
                written("there's a bruise on the left hind", -0.50),
                written("the left hind's got a bruise", -0.55),
                written("there's a bruise on the right hind", -0.52),
            )
        ],
        understanding.read,
        2.0,
    )
    assert [way.reading.meaning.statements[0].limbs for way in found] == [("LH",), ("RH",)]
    assert found[0].share > 0.6, "two of three wordings"
    assert sum(way.share for way in found) == pytest.approx(1.0)


def test_what_cannot_be_read_takes_its_share(understanding):
    """A wording that means nothing speaks against those that mean something."""
    alone = ways([heard(written("left hind bruise", -0.5))], understanding.read, 2.0)
    beside = ways(
        [heard(written("let him bruise", -0.3), written("left hind bruise", -0.5))],
        understanding.read,
        2.0,
    )
    assert alone[0].share == 1.0
    assert all(way.share < 0.5 for way in beside if way.written.text == "left hind bruise")


def test_no_sentence_of_the_grammar_gives_way_to_what_he_said(grammar):
    ears = Together((), grammar)
    said = heard(written("there's a bit of a bruise on the left hind", -0.5))
    verdict = ears.weigh([said, nothing()])
    assert verdict.heard == "there's a bit of a bruise on the left hind"
    [statement] = verdict.reading.meaning.statements
    assert (statement.entry.term, statement.limbs) == ("bruise", ("LH",))


def test_a_sentence_that_fits_as_well_stands(grammar):
    ears = Together((), grammar)
    plain = heard(sentence="left hind bruise", score=-0.2, margin=-0.25)
    agreed = replace(plain, engine="pocketsphinx")
    other = replace(plain, dictated=(written("left hind bruised badly", -0.5, fit=-0.15),))
    before, after = ears.weigh([plain, agreed]), ears.weigh([other, agreed])
    assert after.heard == before.heard == "left hind bruise"
    assert after.confidence == before.confidence


def test_what_fits_far_better_than_a_sure_sentence_takes_its_place(grammar):
    """Both listeners know only sentences: they agree on the nearest to what is none."""
    sentence = heard(sentence="heat at the toe near fore", score=-2.5, margin=-2.3)
    agreed = replace(sentence, engine="pocketsphinx")
    said = replace(sentence, dictated=(written("he's sore at the toe near fore", -0.4),))
    verdict = Together((), grammar).weigh([said, agreed])
    assert verdict.reading.meaning.statements[0].entry.term == "tender"


def test_what_only_one_listener_wrote_is_never_sure_and_does_no_command(grammar):
    said = heard(written("there's a bruise on the left hind", -0.1, fit=0.0, margin=0.0))
    verdict = Together((), grammar).weigh([said, nothing()])
    assert 0.5 < verdict.confidence < DOUBTFUL_BELOW
    assert verdict.doubt == "written by one listener"
    said = heard(written("would you strike that please", -0.1, fit=0.0, margin=0.0))
    assert Together((), grammar).weigh([said, nothing()]).reading.meaning is None


def test_words_that_nobody_says_of_the_trade_are_talk(grammar):
    """The demo's radio: "… number one record …" was a shoe of size one."""
    text = "that was the number one record this week in nineteen eighty four"
    said = heard(replace(written(text, -0.9, fit=0.0, margin=0.0), said=-6.9))
    assert Together((), grammar).weigh([said, nothing()]).reading.meaning is None
    note = heard(replace(written("left hind bruise on the inside", -0.9), said=-6.9))
    assert Together((), grammar).weigh([note, nothing()]).reading.meaning is not None


def test_where_nobody_writes_nothing_changes(grammar):
    plain = heard(sentence="left hind bruise", score=-0.2, margin=-0.25)
    one = Together((), grammar).weigh([plain, nothing()])
    two = Together((), grammar, natural=False).weigh([plain, nothing()])
    assert one == two
