"""Dating a mark in the wall by how far it has grown down."""

import math
from collections.abc import Callable, Iterable
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.grammar import Grammar
from handsfree.records.entries import Entry, Finding, Measurement, Nails, Work
from handsfree.records.units import DAYS_PER_MONTH, Growth, Length
from handsfree.sums.diary import shod_between
from handsfree.sums.forward import Forward
from handsfree.sums.growth import Rate, published
from handsfree.sums.history import Age, DayVisit, History, HorseFacts, Noted
from handsfree.sums.marks import birth_ring, date_mark, dated, lines, undated
from handsfree.sums.ranges import DateRange
from handsfree.sums.sources import CantSay, Source
from handsfree.sums.wording import ForEar, ForEye

Told = Callable[..., History]
START = date(2024, 1, 1)
ADULT = HorseFacts("Bramble", born=date(2015, 1, 1))
SOME = Source("test", "test")


def visits(*days: tuple[int, Iterable[Entry]], horse: HorseFacts = ADULT) -> History:
    made = (DayVisit(START + timedelta(d), tuple(map(Noted, entries))) for d, entries in days)
    return History(horse, tuple(made))


def bruise(mm: float | None, zone: str | None = "toe", limb: str | None = "LF") -> Finding:
    return Finding(limb=limb, term="bruise", zone=zone, below_hairline_mm=mm)


def toe(mm: float) -> Measurement:
    return Measurement(limb="LF", quantity="toe_length", value=mm, unit="mm")


def on(day: int) -> date:
    return START + timedelta(day)


def before(found: DateRange | CantSay, seen_on: date) -> list[int]:
    assert isinstance(found, DateRange), found
    return [(seen_on - day).days for day in (found.earliest, found.likeliest, found.latest)]


def test_25_mm_of_an_adult():
    # Worked case 10: 83 d at 2.1 mm/week (Kolstrung 2012), 80–120 d at 1/4–3/8 in a month
    # (equimed.com), 60–180 d at 1/6–1/2 (Lungwitz & Adams).
    found = date_mark(Length(25), "toe", published(Age.ADULT), START)
    assert before(found, START) == [180, 83, 60]
    assert isinstance(found, DateRange)
    assert found.usual is not None
    assert [(START - day).days for day in found.usual] == [120, 80]


@pytest.mark.parametrize("zone", ["toe", "quarter", "heel", "wall", "clip", "coronary_band", None])
def test_growth_is_the_same_round_the_foot(zone):
    # Kolstrung 2012.
    found = date_mark(Length(25), zone, published(Age.ADULT), START)
    assert before(found, START) == [180, 83, 60]


@pytest.mark.parametrize("zone", ["frog", "sole", "bulb", "bar", "white_line", "pastern", "knee"])
def test_what_the_wall_does_not_carry_cannot_be_dated(zone):
    found = date_mark(Length(25), zone, published(Age.ADULT), START)
    assert isinstance(found, CantSay)
    assert zone.replace("_", " ") in found.why


@pytest.mark.parametrize("mm", [-1, -1e9, math.nan, math.inf, -math.inf])
def test_no_distance_is_no_date(mm):
    assert isinstance(date_mark(Length(mm), "toe", published(Age.ADULT), START), CantSay)


def test_longer_than_any_wall_is_asked_about():
    found = date_mark(Length(400), "toe", published(Age.ADULT), START)
    assert isinstance(found, CantSay)
    assert "400 mm" in found.why
    assert found.why.endswith("?")


def test_at_the_hairline_it_is_fresh(grammar: Grammar):
    # Common practice, no source; a rule is read to a millimetre.
    found = date_mark(Length(0), "heel", published(Age.ADULT), START)
    assert before(found, START) == [7, 0, 0]
    (mark,) = dated(visits((0, [bruise(0)])), START)
    assert any("fresh, common practice, no source" in s for s in lines(mark, ForEye(grammar)))


def test_an_own_rate_reckons_the_reading_both_ways():
    two = Growth.weekly(Length(2))
    rate = Rate(two, two, two, SOME, own=True, from_intervals=9)
    assert before(date_mark(Length(20), "toe", rate, START), START) == [74, 70, 66]


def test_the_ends_of_the_calendar_are_no_obstacle():
    found = date_mark(Length(25), "toe", published(Age.ADULT), date.min)
    assert isinstance(found, DateRange)
    assert found.earliest == date.min
    (mark,) = dated(
        History(ADULT, (DayVisit(date.max, (Noted(bruise(25)),)),)),
        date.max,
    )
    assert isinstance(mark.forward, Forward)
    assert mark.forward.reach.latest == date.max


rates = st.lists(st.floats(0.05, 1.0), min_size=3, max_size=3).map(sorted)
lengths = st.floats(0, 160, allow_subnormal=False)


def rate_of(three: list[float], own: bool = False) -> Rate:
    slow, middle, fast = map(Growth, three)
    return Rate(slow, middle, fast, SOME, own=own)


@settings(deadline=None)
@given(lengths, rates, st.booleans())
def test_earliest_likeliest_latest_are_always_in_order(mm, three, own):
    found = date_mark(Length(mm), "toe", rate_of(three, own), START)
    assert isinstance(found, DateRange)
    assert found.earliest <= found.likeliest <= found.latest <= START


@settings(deadline=None)
@given(lengths, lengths, rates, st.booleans())
def test_further_down_is_never_later(one, other, three, own):
    near, far = sorted((one, other))
    first = date_mark(Length(far), "toe", rate_of(three, own), START)
    then = date_mark(Length(near), "toe", rate_of(three, own), START)
    assert isinstance(first, DateRange)
    assert isinstance(then, DateRange)
    assert first.earliest <= then.earliest
    assert first.likeliest <= then.likeliest
    assert first.latest <= then.latest


@settings(deadline=None)
@given(lengths, rates, st.floats(1, 3))
def test_faster_growth_is_never_earlier(mm, three, times):
    slower = date_mark(Length(mm), "toe", rate_of(three), START)
    faster = date_mark(Length(mm), "toe", rate_of([each * times for each in three]), START)
    assert isinstance(slower, DateRange)
    assert isinstance(faster, DateRange)
    assert slower.earliest <= faster.earliest
    assert slower.likeliest <= faster.likeliest
    assert slower.latest <= faster.latest


@settings(deadline=None)
@given(st.floats(0.1, 6), st.sampled_from(["mm", "cm", "in"]))
def test_the_unit_it_is_given_in_makes_no_difference(inches, unit):
    mm = Length.of(inches, "in")
    again = Length.of(mm.to(unit), unit)
    rate = published(Age.ADULT)
    one, other = date_mark(mm, None, rate, START), date_mark(again, None, rate, START)
    assert isinstance(one, DateRange)
    assert isinstance(other, DateRange)
    assert abs((one.likeliest - other.likeliest).days) <= 1


def test_sightings_narrow_the_range_to_the_days_that_suit_all():
    one = visits((0, [bruise(10)]))
    two = visits((0, [bruise(10)]), (42, [bruise(23)]))
    (once,) = dated(one, on(42))
    (twice,) = dated(two, on(42))
    assert isinstance(once.range, DateRange)
    assert isinstance(twice.range, DateRange)
    assert len(twice.sightings) == 2
    assert twice.agree
    assert twice.seen_on == on(42)
    assert twice.below == Length(23)
    # It was seen on two days, so its own growth is known: 13 mm in six weeks.
    assert twice.rate.own
    span = twice.range.latest - twice.range.earliest
    assert span < once.range.latest - once.range.earliest
    assert twice.range.earliest <= on(0) - timedelta(32) <= twice.range.latest


def test_sightings_that_no_day_suits_are_said_and_all_taken(grammar: Grammar):
    # It has not moved in 150 days: at 25 mm it left the hairline 60–180 days before each.
    history = visits((0, [bruise(25)]), (150, [bruise(25)]))
    (mark,) = dated(history, on(150))
    assert not mark.agree
    assert before(mark.range, on(0))[0] == 180
    assert before(mark.range, on(150))[2] == 60
    text = " ".join(lines(mark, ForEye(grammar)))
    assert "no day suits all its sightings" in text


@pytest.mark.parametrize(
    ("first", "days", "second"),
    [
        (40, 42, 8),  # horn does not go up
        (10, 700, 30),  # at the hairline only after the first had been seen
    ],
)
def test_what_horn_cannot_have_carried_is_another_mark(first, days, second):
    found = dated(visits((0, [bruise(first)]), (days, [bruise(second)])), on(days))
    assert [m.below.mm for m in found] == [second, first]


def test_two_rings_are_followed_each_for_itself():
    def rings(*mm: float) -> list[Entry]:
        return [Finding(limb="LF", term="growth_ring", below_hairline_mm=each) for each in mm]

    history = visits((0, rings(10, 40)), (42, rings(52, 23)), (84, rings(35)))
    found = dated(history, on(84))
    seen = sorted([s.below.mm for s in m.sightings] for m in found)
    assert seen == [[10, 23, 35], [40, 52]]


def test_said_again_on_the_same_day_is_one_mark_and_the_last_counts():
    (mark,) = dated(visits((0, [bruise(10), bruise(10.5)])), START)
    assert mark.below == Length(10.5)
    assert len(mark.sightings) == 1


def test_another_foot_side_or_place_is_another_mark():
    found = dated(
        visits((0, [bruise(10), bruise(10, "heel"), bruise(10, limb="RF"), bruise(10, limb=None)])),
        START,
    )
    assert len(found) == 4
    assert {m.limb for m in dated(visits((0, [bruise(10)])), START, "RF")} == set()


def test_further_down_than_the_toe_is_long_is_asked_about(grammar: Grammar):
    (mark,) = dated(visits((0, [toe(82), bruise(95)])), START)
    assert isinstance(mark.range, CantSay)
    assert mark.range.why.endswith("?")
    assert isinstance(mark.forward, CantSay)
    text = lines(mark, ForEye(grammar))
    assert "95 mm" in text[1]
    assert "82 mm" in text[1]
    # At the ground, or two readings off: still a date.
    (mark,) = dated(visits((0, [toe(82), bruise(84)])), START)
    assert isinstance(mark.range, DateRange)


def test_forward_by_the_toes_own_length_after_the_trim():
    history = visits((0, [toe(90), Work(limb="LF", action="trimmed"), toe(80), bruise(38)]))
    (mark,) = dated(history, START)
    assert isinstance(mark.forward, Forward)
    # 42 mm to go at 2.1 mm a week (Kolstrung 2012) and at 1/6–1/2 in a month.
    reach = mark.forward.reach
    assert reach.likeliest == on(140)
    assert (reach.earliest - START).days == round(42 / 12.7 * DAYS_PER_MONTH)
    assert (reach.latest - START).days == round(42 / (25.4 / 6) * DAYS_PER_MONTH)
    assert mark.forward.wall is not None
    assert mark.forward.wall.length == Length(80)


def test_forward_at_the_heel_by_the_heels_own_length():
    heel = Measurement(limb="LF", quantity="heel_length", value=40, unit="mm")
    (mark,) = dated(visits((0, [toe(80), heel, bruise(19, "heel")])), START)
    assert isinstance(mark.forward, Forward)
    assert mark.forward.reach.likeliest == on(70)


@pytest.mark.parametrize(("zone", "months"), [("toe", 12), ("quarter", 7), ("heel", 4)])
def test_forward_without_a_length_by_the_months_of_the_place(zone, months):
    # Lungwitz & Adams: toe 11–13, side walls 6–8, quarters (modern heel) 3–5 months.
    (mark,) = dated(visits((0, [bruise(12, zone)])), START)
    assert isinstance(mark.range, DateRange)
    assert isinstance(mark.forward, Forward)
    reach = mark.forward.reach
    assert (reach.likeliest - mark.range.likeliest).days == round(months * DAYS_PER_MONTH)
    assert START <= reach.earliest <= reach.likeliest <= reach.latest
    assert mark.forward.source is not None
    assert "Lungwitz" in str(mark.forward.source)


def test_a_quarter_is_not_as_long_as_the_toe():
    by_toe, by_quarter = (
        dated(visits((0, [toe(85), bruise(12, zone)])), START)[0].forward
        for zone in ("toe", "quarter")
    )
    assert isinstance(by_toe, Forward)
    assert isinstance(by_quarter, Forward)
    assert by_quarter.reach.likeliest < by_toe.reach.likeliest
    assert by_quarter.wall is None


def test_a_place_not_said_is_taken_as_the_toe_and_that_is_said(grammar: Grammar):
    (mark,) = dated(visits((0, [toe(85), bruise(12, None)])), START)
    assert any("taken as the toe" in line for line in lines(mark, ForEye(grammar)))


@pytest.mark.parametrize(
    ("today", "words"),
    [(10, "at the ground about"), (100, "may be at the ground"), (900, "should be trimmed out")],
)
def test_what_should_be_out_by_now_is_said(today, words, grammar: Grammar):
    (mark,) = dated(visits((0, [toe(80), bruise(60)])), on(today))
    assert any(line.startswith(words) for line in lines(mark, ForEye(grammar)))


def test_the_diary_tells_what_was_going_on(grammar: Grammar, told: Told):
    history = told(
        ADULT,
        v2024_11_20=["left hind left barefoot"],
        v2025_01_10=["left hind new shoe", "nail bind outside quarter", "toe length eighty mm"],
        v2025_02_21=[
            "left hind lameness grade two",
            "right hind abscess toe",
            "thrush in the frog",
        ],
        v2025_04_04=["left hind bruise outside quarter twenty four millimeters below the hairline"],
    )
    (mark,) = dated(history, date(2025, 4, 4))
    # 24 mm at 2.1 mm a week: 80 days before, 2025-01-14.
    (likeliest,) = [i for i in mark.diary if i.likeliest]
    assert (likeliest.start, likeliest.end) == (date(2025, 1, 10), date(2025, 2, 21))
    assert likeliest.shod is True
    terms = [n.entry for n in likeliest.noted]
    assert Finding(limb="LH", zone="quarter", side="lateral", term="nail_bind") in terms
    assert not any(getattr(e, "term", None) in ("abscess", "bruise") for e in terms)
    assert len(terms) <= 3
    assert [i.shod for i in mark.diary] == [None, False, True]
    assert mark.diary[0].start is None
    text = lines(mark, ForEye(grammar))
    assert any(t.startswith("or before the first visit in the log, 2024-11-20") for t in text)
    wanted = "likeliest between the visits of 2025-01-10 and 2025-02-21; shod; noted: "
    assert any(t.startswith(wanted) and "nail bind" in t for t in text)


def work(action: str) -> Work:
    return Work(limb="LF", action=action)


def driven() -> Nails:
    return Nails(limb="LF", action="driven", count=7)


@pytest.mark.parametrize(
    ("first", "second", "shod"),
    [
        ([work("new_shoe")], [], True),
        ([work("shoe_pulled"), work("trimmed"), work("shoe_reset")], [], True),
        ([work("shoe_pulled"), driven()], [], True),
        ([work("shoe_pulled")], [], False),
        ([work("shoe_pulled"), work("barefoot")], [], False),
        ([work("trimmed")], [], None),
        ([], [Nails(limb="LF", action="pulled", count=7)], True),
        ([], [work("shoe_pulled")], True),
        ([], [Finding(limb="LF", term="sprung_shoe")], True),
        ([], [work("new_shoe")], None),
        ([Work(limb="RF", action="new_shoe")], [], None),
    ],
)
def test_shod_or_bare_between_two_visits(first, second, shod):
    assert shod_between(visits((0, first), (42, second)), "LF", on(0), on(42)) is shod


def test_a_later_visit_that_tells_nothing_changes_nothing():
    history = visits((0, [work("new_shoe")]), (20, []), (42, []))
    assert shod_between(history, "LF", on(20), on(42)) is True


def test_marks_without_a_distance_are_named():
    history = visits((0, [bruise(None), bruise(None, "frog"), Finding(limb="LF", term="thrush")]))
    (one,) = undated(history, START)
    assert one.finding == bruise(None)
    assert "distance below the hairline was not said" in one.why.why
    # Once it has been measured it is dated.
    assert undated(visits((0, [bruise(None)]), (1, [bruise(5)])), on(1)) == []


FOAL = HorseFacts("Bramble", born=START - timedelta(50), born_exactly=True)


def test_a_foals_growth_ring_may_be_its_birth_ring(grammar: Grammar):
    ring = Finding(limb="LF", term="growth_ring", below_hairline_mm=25)
    (mark,) = dated(visits((0, [ring]), horse=FOAL), START)
    # Worked case 11, Curtis 2014.
    assert FOAL.born is not None
    assert mark.birth_ring is not None
    days = (mark.birth_ring.earliest, mark.birth_ring.likeliest, mark.birth_ring.latest)
    assert [(d - FOAL.born).days for d in days] == [130, 145, 160]
    assert any("birth ring" in line for line in lines(mark, ForEye(grammar)))
    (mark,) = dated(visits((0, [ring])), START)
    assert mark.birth_ring is None


@pytest.mark.parametrize(
    "horse", [HorseFacts("Bramble"), HorseFacts("Bramble", born=date(2023, 1, 1))]
)
def test_without_the_day_of_birth_there_is_no_day_of_the_ring(horse):
    assert isinstance(birth_ring(visits(horse=horse)), CantSay)


def test_a_foals_heel_has_no_published_time():
    (mark,) = dated(visits((0, [bruise(10, "heel")]), horse=FOAL), START)
    assert isinstance(mark.forward, CantSay)


def test_a_date_before_its_birth_is_explained(grammar: Grammar):
    (mark,) = dated(visits((0, [toe(60), bruise(40)]), horse=FOAL), START)
    assert any("before its birth" in line for line in lines(mark, ForEye(grammar)))


def test_later_visits_and_doubtful_entries_do_not_count():
    history = visits((0, [bruise(10)]), (42, [bruise(23)]))
    (mark,) = dated(history, on(41))
    assert mark.below == Length(10)
    doubtful = History(ADULT, (DayVisit(START, (Noted(bruise(10), True),)),))
    assert dated(doubtful, START) == []
    assert dated(visits(), START) == []


def test_the_distance_is_shown_in_the_unit_it_was_said_in(grammar: Grammar):
    for mm, shown in ((25.4, "1 in"), (31.75, "1.25 in"), (24, "24 mm"), (15.3, "15 mm")):
        (mark,) = dated(visits((0, [bruise(mm)])), START)
        assert f"{shown} below the hairline" in lines(mark, ForEye(grammar))[0]


entries = st.one_of(
    st.builds(
        Finding,
        limb=st.sampled_from(["LF", "RH", None]),
        term=st.sampled_from(["bruise", "growth_ring", "clear", None]),
        zone=st.sampled_from(["toe", "quarter", "heel", "frog", None]),
        side=st.sampled_from(["medial", None]),
        below_hairline_mm=st.one_of(st.none(), st.floats(-10, 300), st.just(math.nan)),
    ),
    st.builds(
        Measurement,
        limb=st.sampled_from(["LF", "RH", None]),
        quantity=st.sampled_from(["toe_length", "heel_length"]),
        value=st.one_of(st.none(), st.floats(allow_nan=True, allow_infinity=True)),
        unit=st.sampled_from(["mm", "in", "deg", "kg", None]),
    ),
    st.builds(
        Work,
        limb=st.sampled_from(["LF", "RH", None]),
        action=st.sampled_from(["trimmed", "new_shoe", "shoe_pulled", "barefoot", None]),
    ),
)


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 900), st.lists(entries, max_size=6)), max_size=6),
    st.sampled_from([ADULT, FOAL, HorseFacts("Bramble")]),
)
def test_whatever_is_in_the_log_is_dated_in_order_or_not_at_all(grammar, days, horse):
    by_day = dict(days)
    history = visits(*((d, by_day[d]) for d in sorted(by_day)), horse=horse)
    found = dated(history, on(900))
    sightings = sum(len(m.sightings) for m in found)
    said = [e for v in history.visits for e in v.entries if isinstance(e, Finding)]
    assert sightings <= sum(e.below_hairline_mm is not None for e in said)
    for mark in found:
        assert [s.on for s in mark.sightings] == sorted({s.on for s in mark.sightings})
        if isinstance(mark.range, DateRange):
            assert mark.range.earliest <= mark.range.likeliest <= mark.range.latest
        if isinstance(mark.forward, Forward):
            reach = mark.forward.reach
            assert mark.seen_on <= reach.earliest <= reach.likeliest <= reach.latest
        assert lines(mark, ForEye(grammar))
        for line in lines(mark, ForEar(grammar, on(900))):
            assert not any(c.isdigit() for c in line), line
