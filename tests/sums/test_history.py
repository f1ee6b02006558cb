"""What is known of a horse visit by visit: stages of the trim, units, what is left out."""

from dataclasses import replace
from datetime import date, timedelta
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.dialogue.session import Session
from handsfree.grammar import Grammar, load
from handsfree.records.entries import Entry, Finding, Measurement, Work
from handsfree.records.units import Angle, Length, Weight
from handsfree.sums.history import (
    Age,
    DayVisit,
    History,
    HorseFacts,
    Noted,
    Stage,
    findings,
    measures,
)

DAY = date(2026, 3, 4)
LIMBS = ("LF", "RF", "LH", "RH")


@cache
def grammar() -> Grammar:
    return load()


def noted(*said: str) -> tuple[Noted, ...]:
    """What is said in one visit; after a "?" it is doubtful."""
    session, notes = Session(), []
    for text in said:
        reading = grammar().read(text.strip("? ").split())
        assert reading.bend == 0, text
        outcome = session.take(reading)
        assert outcome is not None
        notes += [Noted(entry, text.endswith("?")) for entry in outcome.entries]
    return tuple(notes)


def history(*visits: DayVisit) -> History:
    return History(HorseFacts("bess"), visits)


def spoken(*said: str, on: date = DAY) -> History:
    return history(DayVisit(on, noted(*said)))


def stages(found: History, quantity: str = "toe_length", limb: str | None = "LF") -> list[object]:
    return [(m.stage, m.value.amount) for m in measures(found, quantity, limb)]


# Stages where "trimmed" was said


def test_before_and_after_the_word_trimmed() -> None:
    one = spoken(
        "left fore",
        "toe length ninety millimeters",
        "trimmed",
        "toe length eighty millimeters",
        "new shoe",
    )
    assert stages(one) == [(Stage.BEFORE, 90), (Stage.AFTER, 80)]


def test_only_one_of_the_two_was_measured() -> None:
    before = spoken("left fore toe length ninety millimeters and trimmed")
    assert stages(before) == [(Stage.BEFORE, 90)]
    after = spoken("left fore trimmed and toe length eighty millimeters")
    assert stages(after) == [(Stage.AFTER, 80)]


def test_what_is_said_again_is_said_better() -> None:
    one = spoken(
        "left fore toe length ninety millimeters",
        "toe length ninety one millimeters",
        "trimmed",
        "toe length eighty millimeters",
        "toe length seventy nine millimeters",
        "toe length eighty one millimeters",
    )
    assert stages(one) == [(Stage.BEFORE, 91), (Stage.AFTER, 81)]


def test_the_first_cut_parts_the_visit() -> None:
    one = spoken(
        "left fore toe length ninety millimeters",
        "trimmed",
        "toe length eighty four millimeters",
        "trimmed",
        "toe length eighty millimeters",
    )
    assert stages(one) == [(Stage.BEFORE, 90), (Stage.AFTER, 80)]


def test_each_foot_has_its_own_trim() -> None:
    one = spoken(
        "left fore trimmed",
        "right fore toe length ninety millimeters",
        "left fore toe length eighty millimeters",
        "right fore trimmed",
    )
    assert stages(one) == [(Stage.AFTER, 80)]
    assert stages(one, limb="RF") == [(Stage.BEFORE, 90)]
    both = spoken("left fore toe length ninety millimeters", "both fronts trimmed")
    assert stages(both) == [(Stage.BEFORE, 90)]


# Stages where it was not said


def test_no_work_at_all_is_before_and_after_alike() -> None:
    assert stages(spoken("left fore toe length ninety millimeters")) == [(Stage.UNTOUCHED, 90)]
    twice = spoken("left fore toe length ninety millimeters", "toe length ninety one millimeters")
    assert stages(twice) == [(Stage.UNTOUCHED, 91)]


def test_work_on_another_foot_is_no_work_on_this_one() -> None:
    one = spoken("left fore toe length ninety millimeters", "right fore new shoe")
    assert stages(one) == [(Stage.UNTOUCHED, 90)]


@pytest.mark.parametrize("work", ["clinched", "packed"])
def test_work_that_cuts_nothing_leaves_the_measure(work: str) -> None:
    one = spoken("left fore toe length ninety millimeters", work)
    assert stages(one) == [(Stage.UNTOUCHED, 90)]


@pytest.mark.parametrize(
    "work", ["new shoe", "shoe reset", "shoe pulled", "left barefoot", "rasped"]
)
def test_a_shoe_set_and_one_number_does_not_say_when(work: str) -> None:
    one = spoken("left fore toe length ninety millimeters", work)
    assert stages(one) == [(Stage.UNSAID, 90)]
    assert stages(spoken(f"left fore {work}", "toe length ninety millimeters")) == [
        (Stage.UNSAID, 90)
    ]


def test_a_shoe_set_and_two_numbers_are_before_and_after() -> None:
    one = spoken(
        "left fore toe length ninety millimeters",
        "new shoe",
        "toe length eighty three millimeters",
        "toe length eighty millimeters",
    )
    assert stages(one) == [(Stage.BEFORE, 90), (Stage.AFTER, 80)]


def test_two_quantities_do_not_make_each_other_two() -> None:
    one = spoken("left fore toe length ninety millimeters", "hoof angle fifty degrees", "new shoe")
    assert stages(one) == [(Stage.UNSAID, 90)]
    assert stages(one, "hoof_angle") == [(Stage.UNSAID, 50)]


def test_the_horse_itself_is_not_trimmed() -> None:
    one = spoken("all four trimmed", "heart girth two hundred and six centimeters")
    assert stages(one, "heart_girth", None) == [(Stage.UNTOUCHED, 2060)]


def test_sides_are_measures_of_their_own() -> None:
    one = spoken(
        "left fore inside heel length thirty three millimeters",
        "outside heel length thirty one millimeters",
        "heel length thirty two millimeters",
    )
    given = {
        side: [m.value.amount for m in measures(one, "heel_length", "LF", side)]
        for side in (None, "medial", "lateral")
    }
    assert given == {None: [32], "medial": [33], "lateral": [31]}


# Units


def test_units_may_change_from_visit_to_visit() -> None:
    mixed = history(
        DayVisit(DAY, noted("left fore toe length three and a quarter inches")),
        DayVisit(DAY + timedelta(42), noted("left fore toe length nine point five centimeters")),
        DayVisit(DAY + timedelta(84), noted("left fore toe length eighty two millimeters")),
    )
    found = measures(mixed, "toe_length", "LF")
    assert [(m.value, m.unit) for m in found] == [
        (Length(82.55), "in"),
        (Length(95.0), "cm"),
        (Length(82.0), "mm"),
    ]
    assert [m.on for m in found] == [DAY, DAY + timedelta(42), DAY + timedelta(84)]


def test_each_quantity_has_its_type() -> None:
    one = spoken("left fore hoof angle fifty two degrees", "weight eighteen hundred pounds")
    assert measures(one, "hoof_angle", "LF")[0].value == Angle(52)
    # 1 lb = 0.45359237 kg exactly (international agreement of 1959)
    [weight] = measures(one, "weight")
    assert weight.value == Weight(1800 * 0.45359237)
    assert weight.unit == "lb"


def with_entries(*entries: Entry) -> History:
    return history(DayVisit(DAY, tuple(Noted(entry) for entry in entries)))


def test_a_measure_that_is_none_is_left_out() -> None:
    whole = Measurement(limb="LF", quantity="toe_length", value=90, unit="mm")
    broken = [replace(whole, value=None), replace(whole, unit=None), replace(whole, unit="ell")]
    assert stages(with_entries(*broken)) == []
    assert stages(with_entries(*broken, whole)) == [(Stage.UNTOUCHED, 90)]


def test_a_measure_that_is_none_does_not_decide_on_the_stage() -> None:
    whole = Measurement(limb="LF", quantity="toe_length", value=90, unit="mm")
    shoe = Work(limb="LF", action="new_shoe")
    # Only one number was really said, so nobody knows whether before or after.
    assert stages(with_entries(replace(whole, value=None), shoe, whole)) == [(Stage.UNSAID, 90)]


@pytest.mark.parametrize("value", [0.0, -4.0, 1e9])
def test_zero_negative_and_absurd_numbers_are_handed_on_as_said(value: float) -> None:
    whole = Measurement(limb="LF", quantity="toe_length", value=value, unit="mm")
    assert stages(with_entries(whole)) == [(Stage.UNTOUCHED, value)]


# What is left out


def test_what_is_doubtful_takes_no_part() -> None:
    one = spoken(
        "left fore toe length ninety millimeters?",
        "trimmed",
        "toe length eighty millimeters",
        "outside heel bruise?",
        "thrush in the frog",
    )
    assert stages(one) == [(Stage.AFTER, 80)]
    assert [f.term for _, f in findings(one)] == ["thrush"]
    [visit] = one.visits
    assert [e.kind for e in visit.doubtful] == ["measurement", "finding"]
    assert len(visit.entries) + len(visit.doubtful) == len(visit.notes)


def test_doubtful_work_does_not_make_a_trim() -> None:
    one = spoken("left fore toe length ninety millimeters", "trimmed?")
    assert stages(one) == [(Stage.UNTOUCHED, 90)]


def test_findings_of_one_foot_or_all_in_order_of_time() -> None:
    both = history(
        DayVisit(DAY, noted("left fore bruise", "right fore corn", "trimmed")),
        DayVisit(DAY + timedelta(42), noted("left fore thrush in the frog", "body condition six")),
    )
    assert [(on, f.limb, f.term) for on, f in findings(both, "LF")] == [
        (DAY, "LF", "bruise"),
        (DAY + timedelta(42), "LF", "thrush"),
    ]
    assert [f.limb for _, f in findings(both)] == ["LF", "RF", "LF", None]
    assert findings(both, "RH") == []


def test_nothing_known_is_no_error() -> None:
    empty = history()
    assert (measures(empty, "toe_length", "LF"), findings(empty), empty.last) == ([], [], None)
    assert measures(spoken("left fore bruise"), "no_such_quantity", "LF") == []


# The history itself


def test_until_a_day_and_the_last_visit() -> None:
    days = [DayVisit(DAY + timedelta(weeks), ()) for weeks in (0, 42, 84)]
    whole = history(*days)
    assert whole.last == days[2]
    assert whole.until(days[1].on).visits == tuple(days[:2])
    assert whole.until(days[1].on - timedelta(1)).last == days[0]
    assert whole.until(DAY - timedelta(1)).last is None


def test_more_of_a_day_joins_the_visit_of_that_day() -> None:
    trim, toe = noted("left fore trimmed"), noted("left fore toe length eighty millimeters")
    other = DayVisit(DAY + timedelta(42), noted("left fore bruise"))
    joined = history(DayVisit(DAY, trim), other).plus(DAY, toe)
    assert [v.on for v in joined.visits] == [DAY, other.on]
    assert joined.visits[0].notes == trim + toe
    assert stages(joined) == [(Stage.AFTER, 80)]
    earlier = history(other).plus(DAY, toe)
    assert [v.on for v in earlier.visits] == [DAY, other.on]


@pytest.mark.parametrize(
    ("born", "on", "age"),
    [
        (date(2026, 3, 1), date(2026, 3, 1), Age.FOAL),
        (date(2025, 3, 4), date(2026, 3, 3), Age.FOAL),
        (date(2025, 3, 4), date(2026, 3, 4), Age.ADULT),
        (date(2015, 1, 1), date(2026, 3, 4), Age.ADULT),
        (None, date(2026, 3, 4), Age.UNKNOWN),
    ],
)
def test_foal_until_a_year_old(born: date | None, on: date, age: Age) -> None:
    # 365 days: common practice, no source
    assert HorseFacts("bess", born=born).age(on) is age


# Whatever is noted

MEASUREMENTS = st.builds(
    Measurement,
    limb=st.sampled_from([*LIMBS, None]),
    side=st.sampled_from(["medial", "lateral", None]),
    quantity=st.sampled_from(["toe_length", "heel_length", "hoof_angle", "weight"]),
    value=st.none() | st.floats(-1e4, 1e4),
    unit=st.sampled_from(["mm", "cm", "in", "deg", "kg", "lb", "ell", None]),
)
WORK = st.builds(
    Work,
    limb=st.sampled_from([*LIMBS, None]),
    action=st.sampled_from(["trimmed", "new_shoe", "shoe_pulled", "clinched", None]),
)
FINDINGS = st.builds(
    Finding, limb=st.sampled_from([*LIMBS, None]), term=st.sampled_from(["bruise", "wear"])
)
NOTES = st.lists(st.builds(Noted, MEASUREMENTS | WORK | FINDINGS, st.booleans()), max_size=12)
DAYS = st.dates(date(2020, 1, 1), date(2027, 1, 1))


@st.composite
def histories(draw: st.DrawFn) -> History:
    days = sorted(draw(st.sets(DAYS, max_size=4)))
    return history(*(DayVisit(day, tuple(draw(NOTES))) for day in days))


@settings(deadline=None)
@given(histories(), st.sampled_from(["toe_length", "weight"]), st.sampled_from([*LIMBS, None]))
def test_one_measure_for_each_stage_of_a_day_in_order(
    whole: History, quantity: str, limb: str | None
) -> None:
    found = measures(whole, quantity, limb)
    order = [Stage.BEFORE, Stage.UNTOUCHED, Stage.UNSAID, Stage.AFTER]
    places = [(m.on, order.index(m.stage)) for m in found]
    assert places == sorted(set(places))
    for each in found:
        entries = next(v.entries for v in whole.visits if v.on == each.on)
        assert any(
            isinstance(e, Measurement)
            and (e.quantity, e.limb, e.side) == (quantity, limb, None)
            and e.unit == each.unit
            and e.value == pytest.approx(each.value.to(each.unit))
            for e in entries
        )


@settings(deadline=None)
@given(histories(), st.sampled_from(LIMBS))
def test_a_foot_is_cut_or_it_is_not(whole: History, limb: str) -> None:
    for visit in whole.visits:
        seen = {m.stage for m in measures(history(visit), "toe_length", limb)}
        cut = any(
            isinstance(e, Work) and (e.limb, e.action) == (limb, "trimmed") for e in visit.entries
        )
        assert seen <= ({Stage.BEFORE, Stage.AFTER} if cut else set(Stage))
        assert len(seen) < 2 or seen == {Stage.BEFORE, Stage.AFTER}


@settings(deadline=None)
@given(histories(), DAYS)
def test_what_came_later_changes_nothing(whole: History, day: date) -> None:
    before = [m for m in measures(whole, "toe_length", "LF") if m.on <= day]
    assert measures(whole.until(day), "toe_length", "LF") == before
    assert findings(whole.until(day)) == [f for f in findings(whole) if f[0] <= day]
