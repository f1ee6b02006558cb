"""How readings come out, and how little a few of them prove."""

import pytest

from handsfree.engines.together import Verdict
from handsfree.grammar.grammar import Reading, load
from handsfree.voice.outcome import (
    DOUBTFUL,
    RIGHT,
    SURE_WRONG,
    WRONG,
    Tally,
    by_chance,
    interval,
    outcome_of,
    tally,
)
from handsfree.voice.phrases import read_phrases

GRAMMAR = load()
PHRASE = read_phrases(GRAMMAR)[0]


def verdict(text: str, confidence: float, doubt: str | None = None) -> Verdict:
    reading = GRAMMAR.read(text.split())
    return Verdict(reading, confidence, text, ("pocketsphinx",), doubt=doubt)


@pytest.mark.parametrize(
    ("text", "confidence", "doubt", "kind"),
    [
        (PHRASE.text, 0.9, None, RIGHT),
        ("near front outside heel bruise", 0.9, None, RIGHT),
        (PHRASE.text, 0.79, None, DOUBTFUL),
        (PHRASE.text, 0.9, "neural heard it differently", DOUBTFUL),
        ("left fore inside heel bruise", 0.9, None, SURE_WRONG),
        ("left fore inside heel bruise", 0.5, None, WRONG),
        ("much else", 0.9, None, WRONG),
    ],
)
def test_kinds(text: str, confidence: float, doubt: str | None, kind: str) -> None:
    outcome = outcome_of(PHRASE, verdict(text, confidence, doubt))
    assert (outcome.kind, outcome.heard) == (kind, text)
    assert outcome.caught == (kind in (RIGHT, DOUBTFUL))
    assert outcome.unclear == (text == "much else")


def test_counting() -> None:
    readings = [Reading(("x",)), GRAMMAR.read(PHRASE.text.split())]
    counted = tally(outcome_of(PHRASE, Verdict(r, 0.9, "x", ())) for r in readings)
    assert counted == Tally(right=1, wrong=1)
    assert (counted.caught, counted.of) == (1, 2)
    assert counted.as_json() == {RIGHT: 1, DOUBTFUL: 0, WRONG: 1, SURE_WRONG: 0}


@pytest.mark.parametrize(
    ("other", "better"),
    [
        (Tally(10, 5, 4, 1), False),
        (Tally(11, 5, 3, 1), True),
        (Tally(11, 4, 4, 1), True),  # as many caught, more of them sure
        (Tally(12, 6, 0, 2), False),  # no gain is worth a note that is wrong and sure
        (Tally(10, 5, 5, 0), True),
        (Tally(9, 5, 6, 0), False),  # but it may not cost what was caught
    ],
)
def test_what_is_better(other: Tally, better: bool) -> None:
    assert other.better_than(Tally(10, 5, 4, 1)) is better


def test_exact_interval() -> None:
    """All of n: from (0.025)^(1/n); the two bounds solve the binomial tails."""
    low, high = interval(20, 20)
    assert (low, high) == (pytest.approx(0.025 ** (1 / 20)), 1.0)
    low, high = interval(16, 20)
    assert (low, high) == (pytest.approx(0.5634, abs=1e-4), pytest.approx(0.9427, abs=1e-4))


def test_sign_test() -> None:
    assert by_chance(0, 0) == 1.0
    assert by_chance(5, 0) == pytest.approx(2 * 0.5**5)
    assert by_chance(1, 5) == by_chance(5, 1)
