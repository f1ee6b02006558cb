"""Tracks of measures and findings over the visits, and their slopes."""

import itertools
import math
import statistics
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.grammar.grammar import load
from handsfree.records.entries import Entry, Finding, Measurement, ScaleGrade, Shoe, Work
from handsfree.records.units import Angle, Length, Weight
from handsfree.sums.change import (
    FindingTrack,
    MeasureTrack,
    State,
    finding_tracks,
    lines,
    measure_tracks,
    no_measure_line,
    no_measures,
)
from handsfree.sums.history import DayVisit, History, HorseFacts, Noted, Stage
from handsfree.sums.slopes import Slope, amount, confidence_of, theil_sen
from handsfree.sums.sources import CantSay
from handsfree.sums.standing import Basis
from handsfree.sums.wording import ForEar, ForEye

START = date(2026, 1, 5)
GRAMMAR = load()


def spoken(*utterances: str) -> list[Entry]:
    """The entries of utterances; a limb named once stays in force."""
    entries: list[Entry] = []
    limbs: tuple[str, ...] = ()
    for said in utterances:
        meaning = GRAMMAR.read(said.split()).meaning
        assert meaning is not None, said
        for statement in meaning.statements:
            limbs = statement.limbs or limbs
            entries += [replace(statement.entry, limb=limb) for limb in limbs or (None,)]
    return entries


def day(number: int) -> date:
    return START + timedelta(weeks=6 * number)


def visit(number: int, *said: str | Entry) -> DayVisit:
    entries = [e for each in said for e in (spoken(each) if isinstance(each, str) else [each])]
    return DayVisit(day(number), tuple(Noted(entry) for entry in entries))


def history(*visits: Sequence[str | Entry]) -> History:
    days = tuple(visit(at, *said) for at, said in enumerate(visits))
    return History(HorseFacts("Bramble"), days)


def toe(value: float, unit: str = "mm", limb: str = "LH") -> Measurement:
    return Measurement(limb=limb, quantity="toe_length", value=value, unit=unit)


def trim(limb: str = "LH") -> Work:
    return Work(limb=limb, action="trimmed")


def the_finding(*visits: Sequence[str | Entry]) -> FindingTrack:
    (track,) = finding_tracks(history(*visits))
    return track


def the_measure(*visits: Sequence[str | Entry]) -> MeasureTrack:
    (track,) = measure_tracks(history(*visits))
    return track


# Slopes


def median_of_pairs(months: Sequence[float], values: Sequence[float]) -> float:
    """Theil 1950: the median of the slopes of all pairs, without scipy."""
    pairs = itertools.combinations(zip(months, values, strict=True), 2)
    return statistics.median((v2 - v1) / (m2 - m1) for (m1, v1), (m2, v2) in pairs)


Series = st.lists(
    st.tuples(st.integers(0, 3000), st.integers(-500, 500)),
    min_size=3,
    max_size=12,
    unique_by=lambda point: point[0],
)


def parted(points: list[tuple[int, int]]) -> tuple[list[date], list[float]]:
    return [START + timedelta(days=d) for d, _ in points], [float(v) for _, v in points]


@settings(deadline=None)
@given(Series)
def test_a_slope_is_the_median_of_all_pairs_of_points(points: list[tuple[int, int]]):
    found = theil_sen(*parted(points))
    assert isinstance(found, Slope)
    months = [d / (365.25 / 12) for d, _ in points]
    expected = median_of_pairs(months, [v for _, v in points])
    assert found.per_month == pytest.approx(expected, rel=1e-9, abs=1e-9)
    assert amount(found.low) <= amount(found.per_month) <= amount(found.high)
    assert found.points == len(points)


@settings(deadline=None)
@given(Series)
def test_the_interval_is_sens(points: list[tuple[int, int]]):
    """Sen 1968: the slopes of rank (N ± z·sd)/2 of all N, sd² = n(n-1)(2n+5)/18 but for ties."""
    days, values = parted(points)
    if len(set(values)) < len(values):
        return
    found = theil_sen(days, values)
    assert isinstance(found, Slope)
    n = len(points)
    months = [d / (365.25 / 12) for d, _ in points]
    pairs = itertools.combinations(zip(months, values, strict=True), 2)
    slopes = sorted((v2 - v1) / (m2 - m1) for (m1, v1), (m2, v2) in pairs)
    spread = statistics.NormalDist().inv_cdf(0.975) * math.sqrt(n * (n - 1) * (2 * n + 5) / 18)
    low = max(round((len(slopes) - spread) / 2) - 1, 0)
    high = min(round((len(slopes) + spread) / 2), len(slopes) - 1)
    assert found.low == pytest.approx(slopes[low])
    assert found.high == pytest.approx(slopes[high])


@settings(deadline=None)
@given(Series)
def test_reversing_the_signs_reverses_the_slope(points: list[tuple[int, int]]):
    days, values = parted(points)
    found, reverse = theil_sen(days, values), theil_sen(days, [-v for v in values])
    assert isinstance(found, Slope)
    assert isinstance(reverse, Slope)
    assert amount(reverse.per_month) == pytest.approx(-amount(found.per_month), abs=1e-9)


@settings(deadline=None)
@given(st.permutations(range(6)))
def test_the_order_of_points_does_not_matter(order: list[int]):
    days, values = [day(n) for n in range(6)], [80.0, 82, 81, 85, 90, 86]
    assert theil_sen([days[n] for n in order], [values[n] for n in order]) == theil_sen(
        days, values
    )


@pytest.mark.parametrize("n", [3, 4, 5])
def test_how_sure_few_points_allow_is_counted_out(n: int):
    """Of all n! orders of errors the widest interval misses only the two monotone ones."""
    orders = list(itertools.permutations(range(n)))
    caught = 0
    for order in orders:
        slopes = [(order[b] - order[a]) / (b - a) for a, b in itertools.combinations(range(n), 2)]
        caught += min(slopes) <= 0 <= max(slopes)
    assert confidence_of(n) == pytest.approx(min(0.95, caught / len(orders)))
    found = theil_sen([day(k) for k in range(n)], [80.0 + k * k for k in range(n)])
    assert isinstance(found, Slope)
    assert found.confidence == confidence_of(n)


@pytest.mark.parametrize("points", [0, 1, 2])
def test_under_three_points_there_is_no_slope(points: int):
    found = theil_sen([day(n) for n in range(points)], [80.0] * points)
    assert isinstance(found, CantSay)
    assert str(found).startswith("can't say because a slope needs 3 days")


def test_three_numbers_of_one_day_make_no_slope():
    assert isinstance(theil_sen([START] * 3, [1.0, 2.0, 3.0]), CantSay)


# Measures


def test_a_steady_millimetre_a_week_is_told_a_month():
    track = the_measure(*[[toe(80 + 6 * n)] for n in range(5)])
    assert isinstance(track.slope, Slope)
    a_month = 365.25 / 12 / 7  # mm, at 1 mm a week
    assert amount(track.slope.per_month) == pytest.approx(a_month)
    assert isinstance(track.slope.per_month, Length)
    assert track.last_change is not None
    assert (track.last_change.by, track.last_change.days) == (Length(6.0), 42)
    assert track.last_change.since == day(3)
    assert track.stage is Stage.UNTOUCHED


def test_units_may_change_from_visit_to_visit():
    inches = [3.0, 3.25, 3.25, 3.5]
    pure = the_measure(*[[toe(v, "in")] for v in inches])
    mixed = the_measure(
        [toe(3.0, "in")], [toe(3.25 * 25.4)], [toe(3.25 * 2.54, "cm")], [toe(3.5, "in")]
    )
    assert isinstance(pure.slope, Slope)
    assert isinstance(mixed.slope, Slope)
    assert amount(mixed.slope.per_month) == pytest.approx(amount(pure.slope.per_month))
    assert mixed.unit == "in"
    told = lines(mixed, day(3), ForEye(GRAMMAR))
    assert told[0] == "LH toe length: 3.5 in, 0.25 in more than 6 weeks before"
    assert "mm" not in " ".join(told)


def test_a_measure_is_shown_in_the_unit_last_said_of_it_on_any_foot():
    left, right = measure_tracks(
        history([toe(80, limb="LF"), toe(3.2, "in", limb="RF")], [toe(3.25, "in", limb="RF")])
    )
    assert (left.unit, right.unit) == ("in", "in")
    (only,) = measure_tracks(history([toe(80)], [toe(3.2, "in", "RF")]), limb="LH")
    assert (only.limb, only.unit) == ("LH", "in")


def test_before_and_after_a_trim_are_never_one_series():
    cut = [[toe(88 + n), trim(), toe(80 + n)] for n in range(3)]
    before, after = measure_tracks(history(*cut))
    assert (before.stage, after.stage) == (Stage.BEFORE, Stage.AFTER)
    assert [p.value.amount for p in before.points] == [88, 89, 90]
    assert [p.value.amount for p in after.points] == [80, 81, 82]
    assert lines(before, day(2), ForEye(GRAMMAR))[0].startswith("LH toe length, before the trim: ")


def test_a_visit_without_a_trim_counts_in_both_and_one_unsaid_in_neither():
    visits = [[toe(88), trim(), toe(80)], [toe(84)], [toe(83), Work(limb="LH", action="new_shoe")]]
    found = {t.stage: [p.value.amount for p in t.points] for t in measure_tracks(history(*visits))}
    assert found == {Stage.BEFORE: [88, 84], Stage.AFTER: [80, 84], Stage.UNSAID: [83]}


def test_untouched_and_unsaid_only():
    visits = [[toe(84)], [toe(83), Work(limb="LH", action="new_shoe")], [toe(85)]]
    found = {t.stage: [p.value.amount for p in t.points] for t in measure_tracks(history(*visits))}
    assert found == {Stage.UNSAID: [83], Stage.UNTOUCHED: [84, 85]}


def test_sides_feet_and_the_horse_are_kept_apart_and_in_order():
    visits = [
        [
            "near hind outside heel height forty millimeters",
            "left hind inside heel height forty five millimeters",
            "heart girth two hundred centimeters",
            "right fore hoof angle fifty degrees",
            "left fore hoof angle fifty one degrees",
        ]
    ]
    found = [(t.quantity, t.limb, t.side) for t in measure_tracks(history(*visits))]
    assert found == [
        ("hoof_angle", "LF", None),
        ("hoof_angle", "RF", None),
        ("heel_height", "LH", "lateral"),
        ("heel_height", "LH", "medial"),
        ("heart_girth", None, None),
    ]
    only = measure_tracks(history(*visits), limb="LF", quantity="hoof_angle")
    assert [(t.limb, type(t.points[0].value)) for t in only] == [("LF", Angle)]
    assert measure_tracks(history(*visits), quantity="weight") == []
    words = ForEye(GRAMMAR)
    assert lines(measure_tracks(history(*visits))[-1], day(0), words)[0] == (
        "heart girth: 200 cm, measured once, today"
    )


@pytest.mark.parametrize(
    "bad", [toe(0), toe(-5), toe(math.nan), toe(math.inf), toe(80, "deg"), toe(80, "kg")]
)
def test_what_is_no_such_measure_is_left_out_and_named(bad: Measurement):
    track = the_measure([toe(80)], [bad], [toe(82)])
    assert [p.value.amount for p in track.points] == [80, 82]
    assert len(track.left_out) == 1
    assert lines(track, day(2), ForEye(GRAMMAR))[-1].startswith("left out, as no measure of this")


@pytest.mark.parametrize("bad", [toe(80, "furlong"), Measurement(limb="LH", quantity=None)])
def test_what_has_no_unit_or_name_makes_no_track(bad: Measurement):
    assert measure_tracks(history([bad])) == []
    empty = Measurement(limb="LH", quantity="toe_length", value=None, unit=None)
    assert measure_tracks(history([empty])) == []


def test_nothing_makes_no_tracks():
    assert measure_tracks(history()) == []
    assert finding_tracks(history()) == []


def test_weight_is_a_weight():
    track = the_measure(["weight six hundred kilos"], ["weight thirteen hundred pounds"])
    assert {type(p.value) for p in track.points} == {Weight}
    assert track.unit == "lb"


def test_doubtful_notes_do_not_count():
    unsure = DayVisit(START, (Noted(toe(80), doubtful=True),))
    assert measure_tracks(History(HorseFacts("Bramble"), (unsure,))) == []


@given(st.permutations(range(5)))
@settings(max_examples=20, deadline=None)
def test_the_order_in_which_visits_come_does_not_matter(order: list[int]):
    visits = [
        visit(0, toe(80), "left hind mild bruise"),
        visit(1, toe(84), "left hind moderate bruise"),
        visit(2, toe(82), trim(), toe(79), "left hind thrush in the frog"),
        visit(3, toe(85), "left hind frog clear"),
        visit(4, toe(86), "left hind severe bruise"),
    ]
    facts = HorseFacts("Bramble")
    sorted_, mixed = History(facts, tuple(visits)), History(facts, tuple(visits[n] for n in order))
    assert measure_tracks(mixed) == measure_tracks(sorted_)
    assert finding_tracks(mixed) == finding_tracks(sorted_)


# Findings


@pytest.mark.parametrize(
    ("first", "then", "state", "basis"),
    [
        ("mild bruise", "moderate bruise", State.WORSE, Basis.GRADE),
        ("severe bruise", "slight bruise", State.BETTER, Basis.GRADE),
        ("mild bruise", "mild bruise", State.SAME, Basis.GRADE),
        ("mild crack", "mild crack worse", State.WORSE, Basis.SAID),
        ("crack two inches long", "crack one inch long", State.BETTER, Basis.EXTENT),
        (
            "crack two inches long",
            "crack fifty one millimeters long",
            State.SAME,
            Basis.EXTENT,
        ),  # 2 in = 50.8 mm
        ("lameness grade two", "lameness grade three", State.WORSE, Basis.SCALE),
        ("bruise", "bruise better", State.BETTER, Basis.SAID),
        ("bruise", "bruise same", State.SAME, Basis.SAID),
        ("bruise", "bruise", State.UNKNOWN, None),
        ("mild bruise", "bruise", State.UNKNOWN, None),
    ],
)
def test_better_or_worse_and_by_what(first: str, then: str, state: State, basis: Basis | None):
    track = the_finding([f"left hind {first}"], [f"left hind {then}"])
    assert (track.state, track.rests_on) == (state, basis)
    assert track.first.on == day(0)
    assert track.last.on == day(1)


def test_what_speaks_against_it_is_named():
    track = the_finding(
        ["left hind mild crack two inches long"],
        ["left hind severe crack one inch long better"],
    )
    assert (track.state, track.rests_on) == (State.WORSE, Basis.GRADE)
    assert track.against == (Basis.EXTENT, Basis.SAID)
    told = lines(track, day(1), ForEye(GRAMMAR))
    assert "the contrary by the extent and what was said" in told[0]


def test_body_condition_has_no_better_end():
    track = the_finding(["body condition four"], ["body condition six"])
    assert (track.term, track.limb, track.state) == ("body_condition", None, State.UNKNOWN)


def test_one_scale_is_not_compared_with_another():
    both = [
        Finding(limb="LF", term="lameness", scale_grade=ScaleGrade("lameness", 4)),
        Finding(limb="LF", term="lameness", scale_grade=ScaleGrade("laminitis", 1)),
    ]
    assert the_finding([both[0]], [both[1]]).state is State.UNKNOWN


def test_a_finding_not_mentioned_is_not_gone():
    track = the_finding(["left hind mild bruise"], [trim()], [trim("RF")], [trim()])
    assert track.state is not State.GONE
    assert track.looked_clear == ()
    assert track.not_mentioned == (day(1), day(3))  # at the third visit only another foot had notes
    told = "\n".join(lines(track, day(3), ForEye(GRAMMAR)))
    assert "not mentioned since, 2 visits" in told
    assert "gone" not in told.replace("does not mean gone", "")


@pytest.mark.parametrize(
    ("found", "clear", "gone"),
    [
        ("outside heel bruise", "outside heel clear", True),
        ("outside heel bruise", "heel clear", True),
        ("outside heel bruise", "foot clear", True),
        ("outside heel bruise", "inside heel clear", False),
        ("outside heel bruise", "toe clear", False),
        ("heel bruise", "outside heel clear", False),
        ("thrush", "frog clear", True),
        ("thrush", "heel clear", False),
        ("bruise", "foot clear", True),
        ("lameness", "foot clear", False),
        ("swelling fetlock", "foot clear", False),
        ("brushing", "foot clear", False),
    ],
)
def test_gone_is_what_was_said_clear_of_that_place(found: str, clear: str, gone: bool):
    track = the_finding([f"left hind {found}"], [f"left hind {clear}"])
    assert (track.state is State.GONE) is gone
    assert track.looked_clear == ((day(1),) if gone else ())
    assert track.not_mentioned == (() if gone else (day(1),))


def test_clear_of_another_foot_says_nothing():
    assert the_finding(["left hind bruise"], ["right hind foot clear"]).state is not State.GONE


def test_clear_on_the_day_it_was_seen_or_before_does_not_take_it_away():
    same_day = the_finding([trim()], ["left hind thrush", "left hind frog clear"])
    assert same_day.state is State.NEW
    before = the_finding(["left hind frog clear"], ["left hind thrush"])
    assert (before.state, before.looked_clear) == (State.NEW, (day(0),))


def test_seen_again_after_it_was_clear_is_new():
    track = the_finding(["left hind severe thrush"], ["left hind frog clear"], ["left hind thrush"])
    assert (track.state, track.rests_on) == (State.NEW, Basis.CLEAR)
    assert "back again today, after it was said clear" in lines(track, day(2), ForEye(GRAMMAR))[0]


def test_new_needs_a_visit_before_it():
    assert the_finding(["left hind bruise"]).state is State.UNKNOWN
    assert the_finding([trim()], ["left hind bruise"]).state is State.NEW
    assert the_finding([trim("RF")], ["left hind bruise"]).state is State.UNKNOWN
    assert the_finding([trim()], ["left hind old bruise"]).state is State.UNKNOWN
    assert the_finding(["left hind fresh bruise"]).state is State.NEW
    assert the_finding([trim()], ["left hind bruise"], [trim()]).state is State.UNKNOWN
    assert the_finding(["left hind bruise worse"]).state is State.WORSE


def test_one_said_without_a_side_joins_the_one_side_there_is():
    track = the_finding(["left hind outside heel bruise"], ["left hind heel bruise"])
    assert track.side == "lateral"
    assert [s.side_said for s in track.seen] == [True, False]
    assert "side not said" in lines(track, day(1), ForEye(GRAMMAR))[1]
    earlier = the_finding(["left hind heel bruise"], ["left hind outside heel bruise"])
    assert [s.side_said for s in earlier.seen] == [False, True]


def test_one_said_without_a_side_stays_apart_where_both_sides_had_it():
    said = ["left hind outside heel bruise", "left hind inside heel bruise"]
    tracks = finding_tracks(history(said, ["left hind heel bruise"]))
    assert {(t.side, len(t.seen)) for t in tracks} == {("lateral", 1), ("medial", 1), (None, 1)}


def test_another_place_or_foot_is_another_finding():
    said = ["left hind heel bruise", "left hind toe bruise", "right hind heel bruise"]
    assert len(finding_tracks(history(said))) == 3
    assert len(finding_tracks(history(said), limb="RH")) == 1


def test_said_again_on_one_day_is_one_sighting():
    track = the_finding(["left hind mild bruise", "left hind severe bruise worse"])
    (sighting,) = track.seen
    assert (sighting.grade, sighting.trend) == ("severe", "worse")


def test_a_mark_nearer_the_hairline_may_be_another():
    told = lines(
        the_finding(
            ["left hind bruise thirty millimeters below the hairline"],
            ["left hind bruise eight millimeters below the hairline"],
        ),
        day(1),
        ForEye(GRAMMAR),
    )
    assert any("may be another" in line for line in told)


@pytest.mark.parametrize("bad", [-4.0, math.nan, math.inf])
def test_an_extent_that_is_none_is_not_told(bad: float):
    track = the_finding([Finding(limb="LH", term="crack", extent_mm=bad)])
    assert track.first.extent is None


def test_grades_have_a_slope_with_their_assumption_named():
    grades = ["slight", "mild", "moderate", "severe"]
    track = the_finding(*[[f"left hind {grade} flare"] for grade in grades])
    assert isinstance(track.slope, Slope)
    assert track.slope_of is Basis.GRADE
    assert amount(track.slope.per_month) == pytest.approx(365.25 / 12 / 42)
    told = lines(track, day(3), ForEye(GRAMMAR))[-1]
    assert "common practice, no source" in told
    assert "92 percent interval" in told


def test_extents_have_a_slope_in_millimetres():
    track = the_finding(
        *[[Finding(limb="LH", term="crack", extent_mm=10.0 * n)] for n in (1, 2, 3)]
    )
    assert isinstance(track.slope, Slope)
    assert isinstance(track.slope.per_month, Length)
    assert track.slope_of is Basis.EXTENT


def test_grades_and_terms_that_are_none_do_no_harm():
    odd = Finding(limb="XX", term="bruise", grade="dreadful", side="middle", zone="nowhere")
    track = the_finding([odd], [odd], [Finding(limb="XX")])
    assert track.state is State.UNKNOWN
    assert lines(track, day(2), ForEye(GRAMMAR))


# In words


def a_long_history() -> History:
    return history(
        ["left hind mild outside heel bruise eight millimeters below the hairline", toe(88)],
        ["left hind moderate outside heel bruise", toe(86), trim(), toe(80)],
        ["left hind heel bruise worse", toe(3.25, "in"), "lameness grade two"],
        ["left hind outside heel clear", toe(3.5, "in"), "body condition five"],
        [Shoe(limb="LH", item="pads"), toe(3.5, "in"), "left hind thrush better"],
    )


def test_the_ear_hears_no_digit():
    words = ForEar(GRAMMAR, day(4))
    told = [
        line
        for track in [*finding_tracks(a_long_history()), *measure_tracks(a_long_history())]
        for line in lines(track, day(4), words)
    ]
    assert len(told) > 8
    for line in told:
        assert not any(c.isdigit() for c in line), line
        assert not set(line) & set("°%→_"), line


def test_a_measure_tells_how_it_stands_all_days_and_its_slope():
    track = the_measure(*[[toe(v)] for v in (80, 82, 82, 85, 88)])
    assert lines(track, day(5), ForEye(GRAMMAR)) == [
        "LH toe length: 88 mm, 3 mm more than 6 weeks before",
        "first measured 30 weeks ago, last 6 weeks ago; 2026-01-05 80 mm; 2026-02-16 82 mm; "
        "2026-03-30 82 mm; 2026-05-11 85 mm; 2026-06-22 88 mm",
        # Pairs per 6 weeks: 2 1 5/3 2 0 3/2 2 3 3 3, median 2 = 1.45 a month; all of them, 0 to 3.
        "trend: 1.4 mm more a month, which may be no change (95 percent interval no change to "
        "2.2 mm more; Theil 1950, Sen 1968)",
    ]


def test_no_change_is_told_as_such():
    track = the_measure(*[[toe(80)] for _ in range(4)])
    told = lines(track, day(3), ForEye(GRAMMAR))
    assert told[0] == "LH toe length: 80 mm, no change in 6 weeks"
    assert told[2].startswith("trend: no change from month to month (92 percent interval ")


def test_too_few_points_tell_why_there_is_no_slope():
    told = lines(the_measure([toe(80)], [toe(81)]), day(1), ForEye(GRAMMAR))
    assert told[2] == "trend: can't say because a slope needs 3 days and there are two"


def test_a_finding_tells_how_long_ago_it_was_first_and_last_seen():
    track = the_finding(["left hind mild bruise"], ["left hind severe bruise"], [trim()])
    told = lines(track, day(3), ForEye(GRAMMAR))
    assert told[1].startswith("first seen 18 weeks ago, last 12 weeks ago; 2026-01-05 mild;")
    once = lines(the_finding(["left hind mild bruise"]), day(1), ForEye(GRAMMAR))
    assert once[1] == "first seen 6 weeks ago; 2026-01-05 mild"


def test_what_was_said_in_inches_is_told_in_inches():
    track = the_finding(["left hind heel crack one and an eighth inches long"])
    assert lines(track, day(0), ForEye(GRAMMAR))[1].endswith("2026-01-05 1.125 in long")


@pytest.mark.parametrize("words", [ForEye(GRAMMAR), ForEar(GRAMMAR, START)])
def test_an_odd_number_is_asked_about(words: ForEye | ForEar):
    told = lines(the_measure([toe(80)], [toe(900)]), day(1), words)
    assert told[0].endswith("; is that right?")
    assert ": is that right? usual " in told[1]
    usual = lines(the_measure([toe(900)], [toe(80)]), day(1), words)
    assert not any("is that right" in line for line in usual)


def test_numbers_of_which_none_can_be_are_told_by_themselves():
    # Of numbers of one day the last counts; the other foot has one that can be.
    of_foot = history([toe(0), toe(80, "deg")], [toe(85, limb="RH")], [toe(-1, limb="RH")])
    found = no_measures(of_foot)
    assert [no_measure_line(each, ForEye(GRAMMAR)) for each in found] == [
        "left out, as no measure of this: LH toe length 80° (2026-01-05)"
    ]
    assert no_measures(of_foot, "RH") == []
    assert [m.limb for m in no_measures(of_foot, "LH")] == ["LH"]


def test_the_library_of_slopes_is_loaded_only_for_a_slope():
    script = (
        "import sys\n"
        "from datetime import date, timedelta\n"
        "from handsfree.grammar import load\n"
        "from handsfree.records.entries import Finding, Measurement\n"
        "from handsfree.sums.brief import brief\n"
        "from handsfree.sums.change import finding_tracks, headline, measure_tracks\n"
        "from handsfree.sums.history import DayVisit, History, HorseFacts, Noted\n"
        "from handsfree.sums.wording import ForEye\n"
        "bruise = Finding(limb='LH', term='bruise', grade='mild')\n"
        "toe = Measurement(limb='LH', quantity='toe_length', value=80, unit='mm')\n"
        "days = [date(2026, 1, 5) + timedelta(weeks=6 * n) for n in range(4)]\n"
        "visits = tuple(DayVisit(on, (Noted(bruise), Noted(toe))) for on in days)\n"
        "past, grammar = History(HorseFacts('Bramble'), visits), load()\n"
        "brief(past, grammar, days[-1], ForEye(grammar))\n"
        "tracks = [*finding_tracks(past), *measure_tracks(past)]\n"
        "for track in tracks: headline(track, days[-1], ForEye(grammar))\n"
        "print('scipy' in sys.modules)\n"
        "print([track.slope.points for track in tracks], 'scipy' in sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines() == ["False", "[4, 4] True"]


def test_nothing_heavy_is_loaded_for_it():
    script = (
        "import sys, handsfree.sums.change, handsfree.sums.helped\n"
        "heavy = ['numpy', 'scipy', 'click', 'rich', 'sqlite3', 'matplotlib', 'plotext']\n"
        "print([m for m in heavy if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
