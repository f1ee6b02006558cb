"""How fast horn grows: published, and by the horse's own records."""

import math
from collections.abc import Callable, Iterable
from datetime import date, timedelta
from statistics import median

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.grammar import Grammar
from handsfree.records.entries import Entry, Finding, Measurement, Work
from handsfree.records.units import DAYS_PER_MONTH, Growth, Length
from handsfree.sums.growth import (
    Rate,
    birth_ring_at_ground,
    lines,
    own_rate,
    published,
    rate_for,
    toe_unit,
)
from handsfree.sums.history import Age, DayVisit, History, HorseFacts, Noted
from handsfree.sums.sources import CantSay
from handsfree.sums.wording import ForEar, ForEye

Told = Callable[..., History]
START = date(2024, 1, 1)


def visits(
    *days: tuple[int, Iterable[Entry]], born: date | None = None, exactly: bool = False
) -> History:
    horse = HorseFacts("Bramble", born=born, born_exactly=exactly)
    made = (DayVisit(START + timedelta(d), tuple(map(Noted, entries))) for d, entries in days)
    return History(horse, tuple(made))


def toe(value: float, unit: str = "mm", limb: str = "LF") -> Measurement:
    return Measurement(limb=limb, quantity="toe_length", value=value, unit=unit)


def trim(limb: str | None = "LF") -> Work:
    return Work(limb=limb, action="trimmed")


def ring(mm: float, limb: str = "LF") -> Finding:
    return Finding(limb=limb, term="growth_ring", zone="toe", below_hairline_mm=mm)


def own(history: History, limb: str | None = None) -> Rate:
    rate = own_rate(history, limb)
    assert isinstance(rate, Rate), rate
    return rate


def test_published_rates_of_adults():
    rate = published(Age.ADULT)
    # Kolstrung 2012: 2.1 mm a week, about 13 mm in six weeks.
    assert rate.middle.mm_per_week == pytest.approx(2.1)
    assert rate.middle.in_days(42).mm == pytest.approx(13, abs=0.5)
    # equimed.com: 1/4–3/8 in a month; Lungwitz & Adams: 1/6–1/2.
    assert rate.usual is not None
    assert [g.in_days(DAYS_PER_MONTH).to("in") for g in rate.usual] == pytest.approx([1 / 4, 3 / 8])
    full = [g.in_days(DAYS_PER_MONTH).to("in") for g in (rate.slow, rate.fast)]
    assert full == pytest.approx([1 / 6, 1 / 2])
    assert (rate.own, rate.from_intervals, rate.note) == (False, 0, None)
    assert "Kolstrung 2012" in str(rate.source)
    assert "Lungwitz & Adams" in str(rate.source)


def test_age_not_known_is_reckoned_as_grown_and_says_so():
    rate = published(Age.UNKNOWN)
    assert rate.middle == published(Age.ADULT).middle
    assert rate.note is not None
    assert "age not known" in rate.note


def test_a_foals_toe_grows_down_in_the_time_of_the_birth_ring():
    rate = published(Age.FOAL, Length(60))
    # Curtis 2014: 145 ± 15 days.
    days = [rate.fast, rate.middle, rate.slow]
    assert [g.days_for(Length(60)) for g in days] == pytest.approx([130, 145, 160])
    assert "Curtis 2014" in str(rate.source)


@pytest.mark.parametrize("bad", [None, Length(0), Length(-5), Length(math.nan)])
def test_without_a_usable_toe_a_foal_grows_faster_than_an_adult_and_less_surely(bad):
    foal, adult = published(Age.FOAL, bad), published(Age.ADULT)
    assert foal.note is not None
    assert foal.slow > adult.slow
    assert foal.middle > adult.middle
    assert foal.fast.mm_per_day / foal.slow.mm_per_day > adult.fast.mm_per_day / (
        adult.slow.mm_per_day
    )


def test_the_birth_ring_is_at_the_ground_at_145_days_give_or_take_15():
    # Worked case 11, Curtis 2014.
    born = date(2025, 4, 1)
    assert [(d - born).days for d in birth_ring_at_ground(born)] == [130, 145, 160]


def test_toe_length_after_one_trim_and_before_the_next():
    history = visits(
        (0, [toe(90), trim(), toe(80)]),
        (42, [toe(92), trim(), toe(81)]),
    )
    rate = own(history)
    assert rate.middle.mm_per_week == pytest.approx(2.0)
    # Two readings of ±1 mm, root of the squares, over six weeks (common practice, no source).
    error = math.sqrt(2) / 6
    assert rate.slow.mm_per_week == pytest.approx(2.0 - error)
    assert rate.fast.mm_per_week == pytest.approx(2.0 + error)
    assert (rate.own, rate.from_intervals) == (True, 1)
    assert str(rate.source) == "this horse's own growth"


def test_inches_at_one_visit_and_mm_at_the_next():
    history = visits(
        (0, [trim(), toe(3.25, "in")]),
        (42, [toe(95), trim(), toe(8.2, "cm")]),
        (84, [toe(3.75, "in")]),
    )
    rate = own(history)
    grown = [95 - 3.25 * 25.4, 3.75 * 25.4 - 82]
    assert [i.grown.mm for i in rate.intervals] == pytest.approx(grown)
    assert rate.middle.mm_per_week == pytest.approx(median(grown) / 6)
    assert toe_unit(history) == "in"


def test_middle_is_the_median_and_the_range_the_spread_widened_by_the_error():
    grown = [10.0, 12.0, 14.0]
    days = [(0, [trim(), toe(80)])]
    days += [(42 * (i + 1), [toe(80 + g), trim(), toe(80)]) for i, g in enumerate(grown)]
    rate = own(visits(*days))
    error = math.sqrt(2) / 6
    assert rate.middle.mm_per_week == pytest.approx(2.0)
    assert rate.slow.mm_per_week == pytest.approx(10 / 6 - error)
    assert rate.fast.mm_per_week == pytest.approx(14 / 6 + error)


def test_one_slip_among_many_intervals_hardly_widens_the_range():
    # Thirty intervals of 12 mm, one of 27 mm that is not too much for growth.
    days = [(0, [trim(), toe(80)])]
    days += [(42 * (i + 1), [toe(107 if i == 7 else 92), trim(), toe(80)]) for i in range(31)]
    rate = own(visits(*days))
    assert rate.from_intervals == 31
    assert rate.fast.mm_per_week == pytest.approx(2.0 + math.sqrt(2) / 6)


def test_a_mark_seen_again_gives_growth_too():
    rate = own(visits((0, [ring(10)]), (42, [ring(22)])))
    assert rate.middle.mm_per_week == pytest.approx(2.0)
    assert rate.intervals[0].by == "a mark seen again"


def test_both_kinds_and_all_feet_count_together_unless_one_is_asked_for():
    history = visits(
        (0, [trim("LF"), toe(80), trim("RH"), toe(85, limb="RH"), ring(5, "RH")]),
        (42, [toe(92), toe(99, limb="RH"), ring(18, "RH")]),
    )
    assert own(history).from_intervals == 3
    assert own(history, "LF").middle.mm_per_week == pytest.approx(2.0)
    assert own(history, "RH").middle.mm_per_week == pytest.approx(13.5 / 6)
    # A foot that tells nothing is judged by the others.
    assert isinstance(own_rate(history, "LH"), CantSay)
    assert rate_for(history, START + timedelta(50), "LH").from_intervals == 3


@pytest.mark.parametrize(
    ("second", "days", "why"),
    [
        (75, 42, "shorter"),
        (80.5, 42, "too little"),
        (130, 42, "too much"),
        (84, 13, "too few days"),
        (-80, 42, "not a length"),
        (0, 42, "not a length"),
        (math.nan, 42, "not a length"),
        (math.inf, 42, "not a length"),
    ],
)
def test_what_cannot_be_growth_is_left_out_and_named(second, days, why):
    history = visits((0, [trim(), toe(80)]), (days, [toe(second)]))
    said = own_rate(history)
    assert isinstance(said, CantSay)
    assert why in said.why
    assert "2024-01-01" in said.why
    assert rate_for(history, START + timedelta(100)).own is False


def test_a_slip_is_told_beside_the_intervals_that_count(grammar: Grammar):
    history = visits(
        (0, [trim(), toe(80)]),
        (42, [toe(92), trim(), toe(80)]),
        (84, [toe(180), trim(), toe(80)]),
    )
    rate = own(history)
    assert (rate.from_intervals, len(rate.left_out)) == (1, 1)
    text = "\n".join(lines(rate, ForEye(grammar)))
    assert "growth 2 mm a week (1.8 mm to 2.2 mm): this horse's own growth" in text
    assert "1 mm off at most, common practice" in text
    assert "left out: LF 2024-02-12 to 2024-03-25, too much for growth" in text


@pytest.mark.parametrize("limb", ["LF", None])
def test_a_trim_between_the_readings_spoils_them(limb):
    history = visits((0, [trim(), toe(80)]), (42, [trim(limb)]), (84, [toe(88)]))
    said = own_rate(history)
    assert isinstance(said, CantSay)
    assert "worked on between" in said.why


def test_a_number_before_and_one_after_a_trim_are_never_compared_as_growth():
    # Both before the trim: what was cut off in between is not known.
    history = visits((0, [toe(90), trim()]), (42, [toe(91), trim()]))
    assert isinstance(own_rate(history), CantSay)
    # Worked on, and not said whether the number is of before or after.
    reset = Work(limb="LF", action="shoe_reset")
    history = visits((0, [reset, toe(80)]), (42, [toe(92), trim()]))
    assert isinstance(own_rate(history), CantSay)


def test_feet_left_alone_can_be_compared():
    rate = own(visits((0, [toe(80)]), (42, [toe(92)])))
    assert rate.middle.mm_per_week == pytest.approx(2.0)


def test_a_bare_foot_is_named_because_it_wears(grammar: Grammar):
    bare = Work(limb="LF", action="barefoot")
    rate = own(visits((0, [trim(), toe(80), bare]), (42, [toe(90)])))
    assert rate.intervals[0].shod is False
    assert any("bare foot" in line for line in lines(rate, ForEye(grammar)))


def test_doubtful_numbers_and_angles_said_for_lengths_do_not_count():
    sure = visits((0, [trim(), toe(80)]), (42, [toe(92, "deg")]))
    assert isinstance(own_rate(sure), CantSay)
    doubtful = History(
        sure.horse, (sure.visits[0], DayVisit(sure.visits[1].on, (Noted(toe(92), True),)))
    )
    assert isinstance(own_rate(doubtful), CantSay)


def test_nothing_known_is_said_so():
    assert isinstance(own_rate(visits()), CantSay)
    said = own_rate(visits((0, [])))
    assert isinstance(said, CantSay)
    assert "no toe was measured" in said.why
    assert rate_for(visits(), START).own is False


def test_a_day_to_come_does_not_count():
    history = visits((0, [trim(), toe(80)]), (42, [toe(92)]))
    assert rate_for(history, START + timedelta(41)).own is False
    assert rate_for(history, START + timedelta(42)).own is True


def test_what_it_grew_as_a_foal_says_nothing_of_the_grown_horse():
    born = START - timedelta(100)
    history = visits(
        (0, [trim(), toe(60)]),
        (42, [toe(78)]),
        (400, [trim(), toe(80)]),
        (442, [toe(91)]),
        born=born,
        exactly=True,
    )
    as_foal = rate_for(history, START + timedelta(60))
    assert as_foal.middle.mm_per_week == pytest.approx(3.0)
    grown = rate_for(history, START + timedelta(450))
    assert grown.middle.mm_per_week == pytest.approx(11 / 6)
    assert grown.from_intervals == 1
    # Grown up since the last visit: published, not the foal's.
    between = rate_for(history, START + timedelta(390))
    assert between.own is False


def test_a_foals_published_rate_takes_its_own_toe():
    history = visits((0, [toe(58)]), born=START - timedelta(60), exactly=True)
    rate = rate_for(history, START + timedelta(10), "LF")
    assert rate.middle.days_for(Length(58)) == pytest.approx(145)


@settings(deadline=None)
@given(
    st.lists(st.floats(5.0, 30.0), min_size=1, max_size=30),
    st.integers(14, 120),
    st.sampled_from(["mm", "cm", "in"]),
)
def test_whatever_was_measured_slow_is_below_middle_is_below_fast(grown, days, unit):
    def said(mm: float) -> Measurement:
        return toe(Length(mm).to(unit), unit)

    made = [(0, [trim(), said(80)])]
    made += [(days * (i + 1), [said(80 + more), trim(), said(80)]) for i, more in enumerate(grown)]
    rate = own_rate(visits(*made))
    if isinstance(rate, CantSay):
        return
    assert 0 < rate.slow.mm_per_day <= rate.middle.mm_per_day <= rate.fast.mm_per_day
    error = Growth(math.sqrt(2) / days)
    bounds = published(Age.ADULT)
    if rate.slow.mm_per_day > bounds.slow.mm_per_day / 2:
        assert rate.slow.mm_per_day <= rate.middle.mm_per_day - error.mm_per_day + 1e-9
    assert rate.from_intervals + len(rate.left_out) == len(grown)


def test_the_ear_gets_no_digit(grammar: Grammar):
    history = visits((0, [trim(), toe(80)]), (42, [toe(92), trim(), toe(80)]), (84, [toe(180)]))
    words = ForEar(grammar, START)
    for rate in (own(history), published(Age.ADULT), published(Age.FOAL), published(Age.UNKNOWN)):
        for unit in ("mm", "in"):
            for line in lines(rate, words, unit):
                assert not any(c.isdigit() for c in line), line
