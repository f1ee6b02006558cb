"""When a horse is due. Sources: Leśniak 2017 (at most six weeks), equimed.com (6–10 usual, 4–14
possible), Kolstrung 2012 (growth); a week either way: common practice, no source."""

from collections.abc import Sequence
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.grammar import load
from handsfree.records.entries import Entry, Measurement, Plan, Work
from handsfree.records.units import Growth, Length
from handsfree.sums import interval
from handsfree.sums.due_reasons import Why
from handsfree.sums.growth import Rate
from handsfree.sums.history import DayVisit, History, HorseFacts, Noted
from handsfree.sums.interval import Basis, Standing, State, When, Window
from handsfree.sums.sources import CantSay, Source
from handsfree.sums.wording import ForEar, ForEye

GRAMMAR = load()
START = date(2026, 1, 5)
TODAY = date(2027, 1, 4)


def after(weeks: float) -> date:
    return START + timedelta(days=round(weeks * 7))


def back(weeks: int | None) -> Plan:
    return Plan(action="return", weeks=weeks)


def toe(value: float, unit: str = "mm", limb: str = "LF") -> Measurement:
    return Measurement(limb=limb, quantity="toe_length", value=value, unit=unit)


TRIM = Work(limb="LF", action="trimmed")


def history(visits: dict[float, Sequence[Entry]]) -> History:
    days = [DayVisit(after(w), tuple(map(Noted, e))) for w, e in sorted(visits.items())]
    return History(HorseFacts("Bramble"), tuple(days))


def due(visits: dict[float, Sequence[Entry]], today: date = TODAY) -> Window:
    found = interval.window(history(visits), today)
    assert isinstance(found, Window)
    return found


def kinds(found: When) -> list[Why]:
    return [reason.why for reason in found.reasons]


SOURCES = [Why.AT_MOST, Why.SPAN, Why.LOAD]


def test_without_a_visit_it_cannot_be_said():
    assert isinstance(interval.window(history({}), TODAY), CantSay)
    assert isinstance(interval.window(history({6: []}), after(5)), CantSay)


def test_with_one_visit_the_sources_say():
    found = due({0: []})
    # Possible from 4 weeks (equimed.com), at most 6 (Leśniak 2017), usual to 10 (equimed.com).
    assert (found.earliest, found.best, found.latest) == (after(4), after(6), after(10))
    assert (found.basis, found.asked_weeks, found.usual_weeks) == (Basis.SOURCES, None, None)
    assert kinds(found) == SOURCES


def test_the_own_usual_interval_is_the_median():
    found = due({0: [], 6: [], 13: [], 20: []})
    assert (found.basis, found.usual_weeks) == (Basis.USUAL, 7)
    # A week either way: common practice, no source.
    assert (found.earliest, found.best, found.latest) == (after(26), after(27), after(28))
    assert kinds(found) == [Why.USUAL, Why.SLACK, *SOURCES]


def test_gaps_over_sixteen_weeks_are_no_intervals():
    assert interval.own_gaps(history({0: [], 16: [], 33: []})) == [112]
    assert interval.own_gaps(history({0: [], 17: []})) == []


def test_a_call_back_within_two_weeks_begins_no_new_interval():
    found = due({0: [], 6: [], 12: [], 13: []})
    assert (found.best, found.since, found.last) == (after(18), after(12), after(13))
    assert Why.CALLED_BACK in kinds(found)
    # The interval goes on from the shoeing, not from the call-back.
    assert interval.own_gaps(history({0: [], 1: [], 6: []})) == [42]


def test_a_plan_decides():
    found = due({0: [], 6: [], 12: [back(8)]})
    assert (found.basis, found.asked_weeks, found.usual_weeks) == (Basis.ASKED, 8, 6)
    assert (found.earliest, found.best, found.latest) == (after(19), after(20), after(21))
    assert kinds(found) == [Why.ASKED, Why.USUAL, Why.SLACK, *SOURCES]


def test_the_plan_said_last_counts_and_a_visit_overtakes_it():
    assert due({0: [back(8), back(5)]}).asked_weeks == 5
    assert due({0: [back(6)], 6: []}).basis is Basis.USUAL
    # Two weeks before the day asked for is that visit already; a lost shoe in between is not.
    assert due({0: [back(8)], 6: []}).basis is Basis.USUAL
    kept = due({0: [back(8)], 3: []})
    assert (kept.basis, kept.best, kept.last) == (Basis.ASKED, after(8), after(3))


def test_a_doubtful_plan_is_not_taken():
    visit = DayVisit(START, (Noted(back(8), doubtful=True),))
    found = interval.when(History(HorseFacts("Bramble"), (visit,)), TODAY)
    assert isinstance(found, When)
    assert found.basis is Basis.SOURCES


@pytest.mark.parametrize("weeks", [0, -3, 53, 10**12])
def test_an_absurd_plan_is_asked_about_and_not_taken(weeks: int):
    found = due({0: [back(weeks)]})
    assert (found.basis, kinds(found)[0]) == (Basis.SOURCES, Why.ODD)
    assert "is that right?" in found.reasons[0].text(ForEye(GRAMMAR))


def test_a_plan_without_weeks_is_none():
    assert due({0: [back(None)]}).basis is Basis.SOURCES


def test_longer_than_the_sources_call_possible_is_said():
    found = due({0: [back(16)]})
    assert found.best == after(16)
    [text] = [r.text(ForEye(GRAMMAR)) for r in found.reasons if r.why is Why.BEYOND]
    assert text == "16 weeks is more than 14 weeks, the longest called possible (equimed.com)"
    assert Why.BEYOND not in kinds(due({0: [back(14)]}))


def test_due_next_week_is_not_due_today():
    found = due({0: [back(1)]})
    assert found.earliest > START
    assert interval.state(found, START).standing is Standing.COMING


def test_later_visits_do_not_count():
    visits: dict[float, Sequence[Entry]] = {0: [], 6: [], 12: [back(10)]}
    assert due(visits, after(11)) == due({0: [], 6: []}, after(11))


@pytest.mark.parametrize(
    ("weeks", "expected"),
    [
        (2, State(Standing.COMING, 21)),
        (5, State(Standing.DUE, 14)),
        (7, State(Standing.DUE, 0)),
        (7 + 1 / 7, State(Standing.OVERDUE, 1)),
        (9, State(Standing.OVERDUE, 14)),
    ],
)
def test_state(weeks: float, expected: State):
    assert interval.state(due({0: [back(6)]}), after(weeks)) == expected


def test_the_longest_overdue_comes_first():
    ends = {name: due({0: [back(w)]}) for name, w in (("c", 9), ("a", 2), ("d", 20), ("b", 4))}
    today = after(9)
    assert sorted(ends, key=lambda n: interval.by_lateness(ends[n], today)) == list("abcd")


def test_expected_toe_lengths_by_the_published_rate():
    found = due({0: [toe(90), TRIM, toe(80)]})
    assert [e.on for e in found.expected] == [found.earliest, found.best, found.latest]
    # Kolstrung 2012: 2.1 mm a week, 12.6 mm in 6 weeks (trade-facts, computed); Lungwitz & Adams:
    # 1/6 to 1/2 in a month.
    six = found.expected[1]
    assert six.length.mm == pytest.approx(80 + 12.6)
    months = 42 / (365.25 / 12)
    assert six.low.mm == pytest.approx(80 + months * 25.4 / 6)
    assert six.high.mm == pytest.approx(80 + months * 25.4 / 2)


def test_expected_from_what_was_left_in_the_unit_said_last():
    # Inches at one visit, millimetres at the next.
    found = due({0: [toe(3.5, "in"), TRIM, toe(3.25, "in")], 6: [toe(95), TRIM, toe(84)]})
    assert {(e.limb, e.unit) for e in found.expected} == {("LF", "mm")}
    assert all(e.length.mm > 84 for e in found.expected)


@pytest.mark.parametrize(
    "visits",
    [
        {0: []},
        {0: [toe(90), TRIM]},
        {0: [TRIM, toe(80)], 6: [TRIM]},
        {0: [TRIM, toe(80)], 6: [toe(92), TRIM]},
        {0: [TRIM, toe(0)]},
        {0: [TRIM, toe(-5)]},
        {0: [TRIM, Measurement(limb="LF", quantity="toe_length", value=80, unit="kg")]},
        {0: [TRIM, Measurement(limb="LF", quantity="toe_length", value=None, unit="mm")]},
    ],
)
def test_a_foot_whose_length_is_not_known_is_left_out(visits: dict[float, Sequence[Entry]]):
    assert due(visits).expected == ()


def test_lines():
    found = due({0: [TRIM, toe(80)], 6: [TRIM, toe(80), back(6)]})
    assert interval.lines(found, after(12), ForEye(GRAMMAR))[:8] == [
        "due now; last visit 2026-02-16",
        "window 2026-03-23 to 2026-04-06, best 2026-03-30",
        "come back in 6 weeks, said 2026-02-16 (your own plan)",
        "its own usual interval is 6 weeks, the median of 1 interval (this horse's visits)",
        "a week either way (common practice, no source)",
        "no more than 6 weeks (Leśniak 2017)",
        "6 to 10 weeks are usual, 4 to 14 possible (equimed.com)",
        "the load on the foot shifts measurably over 8 weeks (van Heel 2005, Moleman 2006)",
    ]


WEEKS = st.one_of(st.none(), st.integers(-2, 200))
TOES = st.builds(
    toe, st.floats(-10, 400, allow_nan=False), st.sampled_from(["mm", "in", "cm", "kg", "yd"])
)
ENTRIES = st.lists(st.one_of(st.builds(back, WEEKS), st.just(TRIM), TOES), max_size=5)
VISITS = st.dictionaries(st.integers(0, 120).map(float), ENTRIES, min_size=1, max_size=8)


@settings(deadline=None)
@given(VISITS, st.integers(0, 150))
def test_a_window_is_ordered_whatever_was_said(visits: dict[float, Sequence[Entry]], weeks: int):
    today = after(weeks)
    found = interval.window(history(visits), today)
    if isinstance(found, CantSay):
        assert min(visits) > weeks
        return
    assert found.since <= found.last <= today
    assert found.since < found.earliest < found.best < found.latest
    for each in found.expected:
        assert Length(0) < each.low <= each.length <= each.high
    order = [Standing.COMING, Standing.DUE, Standing.OVERDUE]
    seen = [
        interval.state(found, found.since + timedelta(days=n)).standing for n in range(0, 800, 5)
    ]
    assert seen == sorted(seen, key=order.index)
    assert interval.state(found, today).days >= 0
    ear = ForEar(GRAMMAR, today)
    assert not any(c.isdigit() for line in interval.lines(found, today, ear) for c in line)


@settings(deadline=None)
@given(st.integers(14, 112), st.integers(1, 12))
def test_a_regular_horse_is_due_after_its_own_interval(gap: int, times: int):
    visits = {n * gap / 7: () for n in range(times + 1)}
    found = due(visits, after(times * gap / 7))
    assert (found.best - found.last).days == gap


@settings(deadline=None)
@given(st.floats(0.1, 5), st.floats(0, 2), st.floats(0, 2), st.integers(0, 400))
def test_expected_grows_with_rate_and_days(slow: float, more: float, yet: float, days: int):
    rates = [Growth.weekly(Length(mm)) for mm in (slow, slow + more, slow + more + yet)]
    rate = Rate(*rates, source=Source("test", ""), own=False, from_intervals=0)
    at = (START + timedelta(days=days), START + timedelta(days=days + 7))
    first, second = interval.expected(history({0: [TRIM, toe(80)]}), at, rate)
    assert first.low <= first.length <= first.high
    assert (second.length - first.length).mm == pytest.approx(slow + more)
