"""Small errors are bent back; what is too far is unclear, never a guess."""

import random

import pytest

from handsfree.grammar.nearest import limit
from handsfree.grammar.words import plain_words


@pytest.mark.parametrize(
    ("heard", "meant"),
    [
        ("left hind outside heal brews", "left hind outside heel bruise"),
        ("uh left hind the outside heel bruise", "left hind outside heel bruise"),
        ("mild flair outside quarter", "mild flare outside quarter"),
        ("near for thrush in frog", "near fore thrush in frog"),
        ("bruise at seat corn", "bruise at seat of corn"),
        ("pulled 7 nails", "pulled seven nails"),
        ("what is left", "what's left"),
        ("left hind under run heels", "left hind underrun heels"),
        ("toe length 19 millimetres", "toe length nineteen millimeters"),
        ("heat in the coronery band", "heat in the coronary band"),
    ],
)
def test_small_errors_are_bent_back(grammar, heard: str, meant: str):
    reading = grammar.read(heard.split())
    assert " ".join(reading.words) == meant
    assert reading.meaning is not None
    assert reading.bend <= limit(len(heard.split()))


@pytest.mark.parametrize(
    "heard",
    [
        "steady now old boy",
        "no heat in the coronary band",
        "it is not lame",
        "never lost a shoe",
        "i think the weather will be better tomorrow",
        "stand up you great lump",
        "can you hold her head please",
        "the left one was fine last time i looked at it",
        "toe length three inches wrong",
        "heel heel heel heel",
        "",
    ],
)
def test_other_talk_stays_unclear(grammar, heard: str):
    assert grammar.read(plain_words(heard)).meaning is None


def test_content_is_never_put_in(grammar):
    """Whatever is recorded was said: every limb, side, zone, term and number of the reading."""
    rng = random.Random(11)
    heard = [word for word in grammar.table if word.in_sentences]
    content = {w for word in heard for f in word.forms for w in f.split()}
    content -= {"the", "of", "in", "left", "at", "on"}
    for _ in range(300):
        sentence, _ = grammar.generate(rng)
        words = list(sentence.words)
        del words[rng.randrange(len(words))]
        reading = grammar.read(words)
        if reading.meaning is not None and words and words[0] != "remark":
            new = set(reading.words) - set(words)
            assert not new & content or all(
                w in {"fore", "four", "nail", "nails", "weeks", "week", "inch", "inches"}
                or any(w in pair for pair in SINGULAR_AND_PLURAL)
                for w in new & content
            ), (words, reading.words)


SINGULAR_AND_PLURAL = [
    {"heel", "heels"},
    {"clinch", "clench"},
    {"clinched", "clenched"},
    {"clinches", "clenches"},
    {"coronet"},
    {"eight"},
    {"two"},
]


def test_words_the_engine_doubts_bend_more_easily(grammar):
    words = "left hind outside heel snails brews".split()
    sure = grammar.read(words, [1.0] * 6)
    unsure = grammar.read(words, [1.0, 1.0, 1.0, 1.0, 0.1, 0.1])
    assert unsure.bend < sure.bend or sure.meaning is None


def test_two_equally_near_sentences_of_different_meaning_are_unclear(grammar):
    # "for" may be fore or four: alone it says nothing.
    reading = grammar.read(["for"])
    assert reading.meaning is None
