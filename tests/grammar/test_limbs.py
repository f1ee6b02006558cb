"""Which feet the words of refused speech name."""

import pytest

from handsfree.grammar import load
from handsfree.grammar.limbs import NO_LIMB, NamedLimbs


@pytest.mark.parametrize(
    ("said", "limbs"),
    [
        ("left front has a bad crack", ("LF",)),
        ("okay the near fore is a wee bit warm", ("LF",)),
        ("off hind she keeps snatching it", ("RH",)),
        ("both hinds want a good look", ("LH", "RH")),
        ("left front left front oh stand still", ("LF",)),
    ],
)
def test_a_name_that_leads_is_the_foot(said: str, limbs: tuple[str, ...]) -> None:
    assert load().refused(said.split()).named == NamedLimbs(limbs)


def test_a_name_among_other_words_is_the_foot_but_not_surely() -> None:
    """It may be yard talk of last week's lameness."""
    said = "he was lame on the left hind last week"
    assert load().refused(said.split()).named == NamedLimbs(("LH",), sure=False)


@pytest.mark.parametrize(
    "said",
    [
        "the left one has a crack",
        "left hand has a bad crack",
        "front wants a good clean",
        "right foot stand still",
        "left front is worse than the right front",
    ],
)
def test_half_a_name_or_two_names_leave_it_open_which(said: str) -> None:
    assert load().refused(said.split()).named == NamedLimbs(sure=False)


@pytest.mark.parametrize(
    "said",
    [
        "",
        "he is a good lad this one",
        "right then stand over",
        "off we go",
        "he left his boots",
        "two nails left in and bent",
        "left barefoot for now",
    ],
)
def test_talk_and_other_words_of_the_trade_name_none(said: str) -> None:
    assert load().refused(said.split()).named == NO_LIMB


def test_an_attention_word_stands_before_the_name() -> None:
    grammar = load().with_attention("hey forge")
    said = "hey forge left front has a bad crack".split()
    assert grammar.refused(said).named == NamedLimbs(("LF",))
