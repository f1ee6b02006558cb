"""What is fitted is judged by what it was not fitted to, and drawn towards nothing."""

import math
import random
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.engines.confidence import load as load_confidence
from handsfree.engines.speaker import Speaker, shifted
from handsfree.voice.adapt import (
    PRIOR,
    Adaptation,
    best_warp,
    fit_shift,
    loss,
    shift_gain,
)
from handsfree.voice.measure import Heard, Offer
from handsfree.voice.outcome import RIGHT, WRONG, tally

from .prepared import PHRASES, Prepared, alone

INF = math.inf


def offer(log_odds: float, right: bool, case: str = "agree") -> Offer:
    return Offer(case, log_odds, 0.005, 0.995, right)


def test_the_warp_with_the_highest_sum_is_chosen() -> None:
    fits = {0.92: [1.0, 2.0, 0.0], 1.0: [1.0, 1.0, 1.5], 1.08: [2.0, 0.0, 1.0]}
    assert best_warp(fits, [0, 1, 2]) == 1.0
    assert best_warp(fits, [0, 1]) == 0.92
    assert best_warp(fits, [0, 2]) == 1.08
    assert best_warp(fits, []) == 1.0


def test_a_phrase_that_fits_nowhere_decides_nothing() -> None:
    fits = {1.0: [1.0, 1.0], 1.08: [1.1, -INF]}
    assert best_warp(fits, [0, 1]) == 1.08


def test_of_equal_warps_the_one_nearest_to_none() -> None:
    assert best_warp({0.88: [1.0], 1.0: [1.0], 1.12: [1.0]}, [0]) == 1.0


@given(
    st.lists(st.tuples(st.floats(-6, 6), st.booleans()), min_size=1, max_size=20),
    st.floats(0.05, 3),
)
def test_the_shift_is_where_the_slope_is_nothing(
    given_: list[tuple[float, bool]], prior: float
) -> None:
    offers = [offer(z, right) for z, right in given_]

    def cost(shift: float) -> float:
        def says(z: float, right: bool) -> float:
            return math.log1p(math.exp(-(z + shift) if right else z + shift))

        return sum(says(z, right) for z, right in given_) + shift**2 / (2 * prior**2)

    found = fit_shift(offers, prior)
    assert all(cost(found) <= cost(found + step) + 1e-9 for step in (-0.3, -0.01, 0.01, 0.3))


@given(st.lists(st.booleans(), min_size=1, max_size=20))
def test_a_narrower_prior_draws_it_nearer_to_nothing(rights: list[bool]) -> None:
    offers = [offer(1.0, right) for right in rights]
    shifts = [abs(fit_shift(offers, prior)) for prior in (0.1, 0.5, 2.0, 100.0)]
    assert all(a <= b + 1e-6 for a, b in pairwise(shifts))
    assert shifts[0] < 0.2


def test_one_surprise_of_twenty_moves_it_less_than_the_prior() -> None:
    offers = [offer(4.0, True)] * 19 + [offer(4.0, False)]
    assert -PRIOR < fit_shift(offers) < 0
    assert fit_shift([]) == 0.0


def test_the_gain_is_of_phrases_left_out() -> None:
    """Against the same worked out by hand; and fitted to all, the gain is never smaller."""
    rng = random.Random(4)
    offers = [offer(3.0, rng.random() < 0.6) for _ in range(15)]
    by_hand = 0.0
    for i, left in enumerate(offers):
        others = [each for j, each in enumerate(offers) if j != i]
        by_hand += (loss(left, 0.0) - loss(left, fit_shift(others))) / len(offers)
    assert shift_gain(offers) == pytest.approx(by_hand)
    fitted_to_all = sum(loss(o, 0.0) - loss(o, fit_shift(offers)) for o in offers) / len(offers)
    assert 0 < shift_gain(offers) < fitted_to_all


def test_the_bounds_of_a_case_stay() -> None:
    assert loss(offer(50.0, False), 0.0) == pytest.approx(-math.log(0.005))
    moved = shifted(load_confidence(), {"agree": 30.0, "no such case": 1.0})
    known = dict.fromkeys(moved.cases["agree"].features)
    assert moved.of("agree", known) == moved.cases["agree"].highest
    assert moved.of("differ", known) == load_confidence().of("differ", known)


def adaptation(
    heard: dict[float, dict[int, Heard]], well: dict[float, list[float]] | None = None
) -> Adaptation:
    measure = Prepared(heard, well)
    clips = measure.clips(sorted(heard[1.0]))
    phrases = [phrase for phrase in PHRASES if phrase.number in clips]
    return Adaptation(measure, phrases, list(clips.values()), tuple(well or ()))


def right() -> dict[int, Heard]:
    return {phrase.number: alone(phrase.text) for phrase in PHRASES}


def test_a_warp_that_helps_phrases_left_out_is_kept() -> None:
    as_they_are = right() | {n: alone("", -9) for n in (1, 2, 3, 4)}
    found = adaptation({1.0: as_they_are, 1.08: right()}, {1.0: [1.0] * 20, 1.08: [1.1] * 20})
    assert found.speaker.warp == 1.08
    assert (tally(found.before).caught, tally(found.after).caught) == (16, 20)
    assert [each.kept for each in found.tried] == [True, False]


def test_a_warp_that_fits_better_and_hears_no_better_is_not_kept() -> None:
    found = adaptation({1.0: right(), 1.08: right()}, {1.0: [1.0] * 20, 1.08: [1.1] * 20})
    assert found.speaker == Speaker()
    assert not any(each.kept for each in found.tried)
    assert found.after == found.before


def test_a_gain_that_only_the_phrase_itself_brings_is_none() -> None:
    """Only phrase 1 speaks for the warp, and only phrase 1 is better with it: left out, nothing
    is left that would choose it."""
    as_they_are = right() | {1: alone("", -9)}
    well = {1.0: [0.0] + [1.0] * 19, 1.08: [20.0] + [0.9] * 19}
    found = adaptation({1.0: as_they_are, 1.08: right()}, well)
    assert found.speaker == Speaker()
    assert found.after[0].kind == WRONG


def test_what_makes_a_wrong_note_sure_is_not_kept() -> None:
    as_they_are = right() | {n: alone("", -9) for n in (1, 2, 3)}
    warped = right() | {3: alone("left fore inside heel bruise")}
    found = adaptation({1.0: as_they_are, 1.08: warped}, {1.0: [1.0] * 20, 1.08: [1.1] * 20})
    assert tally(found.before).sure_wrong == 0
    assert found.speaker == Speaker()


def test_a_speaker_often_wrong_is_believed_less() -> None:
    """Every other note is wrong though it seemed sure: by the others each is less sure."""
    wrong = {n: alone("pads") for n in range(1, 20, 2)}
    found = adaptation({1.0: right() | wrong})
    assert found.speaker.shift["alone-pocketsphinx"] < -0.5
    assert found.speaker.warp == 1.0
    before, after = tally(found.before), tally(found.after)
    assert before.sure_wrong > after.sure_wrong
    assert sum(o.confidence for o in found.after) < sum(o.confidence for o in found.before)


def test_too_few_of_a_case_are_not_fitted() -> None:
    heard = {n: h for n, h in right().items() if n <= 4}
    found = adaptation({1.0: heard})
    assert found.speaker == Speaker()
    assert "too few" in found.tried[-1].why
    assert {outcome.kind for outcome in found.before} == {RIGHT}
