"""The same line for the eye and for the ear."""

import math
import re
from datetime import date
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.grammar import Grammar, load
from handsfree.records.entries import (
    Entry,
    Finding,
    Measurement,
    Nails,
    Plan,
    Remark,
    ScaleGrade,
    Shoe,
    Work,
)
from handsfree.records.units import Angle, Length, Quantity, Weight
from handsfree.sums.wording import DECIMALS, MONTHS, ForEar, ForEye, Words, count, said_in


@cache
def grammar() -> Grammar:
    return load()


@cache
def eye() -> ForEye:
    return ForEye(grammar())


@cache
def ear(today: date | None = None) -> ForEar:
    return ForEar(grammar(), today)


# For the eye


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        (Length(82.0), "mm", "82 mm"),
        (Length(82.4), "mm", "82 mm"),
        (Length(82.55), "in", "3.25 in"),
        (Length(101.6), "in", "4 in"),
        (Length(2063.0), "cm", "206.3 cm"),
        (Length(2060.0), "cm", "206 cm"),
        (Angle(50.0), "deg", "50°"),
        (Weight(865.4), "kg", "865 kg"),
        (Weight(0.45359237 * 1900), "lb", "1900 lb"),
        (Length(-6.0), "mm", "-6 mm"),
        (Length(-0.2), "mm", "0 mm"),
        (Length(0.0), "in", "0 in"),
    ],
)
def test_a_measure_for_the_eye(value: Quantity, unit: str, shown: str) -> None:
    assert eye().measure(value, unit) == shown


def test_as_many_decimals_as_wanted() -> None:
    assert eye().measure(Length(12.34), "mm", 1) == "12.3 mm"
    assert eye().measure(Length(12.0), "mm", 1) == "12 mm"
    assert eye().number(2.04, 1) == "2"
    assert eye().number(2.06, 1) == "2.1"
    assert eye().number(100) == "100"
    assert eye().number(-0.4) == "0"


def test_limbs_words_and_days_for_the_eye() -> None:
    assert (eye().limb("LH"), eye().limb(None)) == ("LH", "a foot")
    assert (eye().word("quantity", "hoof_angle"), eye().word("quantity", None)) == (
        "hoof angle",
        "",
    )
    assert eye().day(date(2026, 3, 4)) == "2026-03-04"
    assert eye().plain("the 2 mares") == "the 2 mares"
    bruise = Finding(limb="LH", zone="heel", side="lateral", term="bruise", below_hairline_mm=25)
    assert eye().entry(bruise) == "outside heel bruise, 25 mm below the hairline"


def test_lengths_of_a_finding_are_told_in_the_unit_they_were_said_in() -> None:
    # The log keeps mm alone: 1 5/8 in = 41.275 mm, kept to hundredths.
    crack = Finding(term="crack", below_hairline_mm=41.28, extent_mm=28.57, trend="better")
    assert eye().entry(crack) == "crack, 1.625 in below the hairline, 1.125 in long, better"
    assert [said_in(Length(mm)) for mm in (41.28, 25.4, 30.0, 30.5, math.nan)] == [
        *("in", "in", "mm", "mm", "mm")
    ]


def test_the_same_difference_looks_the_same_whatever_its_crumbs() -> None:
    pairs = ((2.75, 2.625), (3.125, 3.0))
    one, other = (Length.of(high, "in").mm - Length.of(low, "in").mm for high, low in pairs)
    assert one != other
    assert eye().measure(Length(one), "in") == eye().measure(Length(other), "in")


# For the ear


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        (Length(82.4), "mm", "eighty two millimeters"),
        (Length(1.0), "mm", "one millimeter"),
        (Length(82.55), "in", "three and a quarter inches"),
        (Length(101.6), "in", "four inches"),
        (Length(104.775), "in", "four and one eighth inches"),
        (Length(103.1875), "in", "four and one sixteenth inches"),
        (Length(19.05), "in", "three quarters of an inch"),
        (Length(2063.0), "cm", "two hundred six point three centimeters"),
        (Angle(50.0), "deg", "fifty degrees"),
        (Weight(865.4), "kg", "eight hundred sixty five kilos"),
        (Weight(0.45359237 * 1900), "lb", "nineteen hundred pounds"),
        (Length(-6.0), "mm", "minus six millimeters"),
    ],
)
def test_a_measure_for_the_ear(value: Quantity, unit: str, said: str) -> None:
    got = ear().measure(value, unit)
    assert got.replace("an eighth", "one eighth").replace("a sixteenth", "one sixteenth") == said


@pytest.mark.parametrize(
    ("inches", "said"),
    [
        (3.26, "three and a quarter inches"),
        (3.28, "three and a quarter inches"),  # 4.48 sixteenths
        (3.29, "three and five sixteenths inches"),  # 4.64 sixteenths
        (2.97, "three inches"),
        (0.99, "one inch"),
    ],
)
def test_inches_for_the_ear_are_read_off_a_rule(inches: float, said: str) -> None:
    assert ear().measure(Length.of(inches, "in"), "in") == said


def test_decimals_of_an_inch_where_they_are_wanted() -> None:
    assert ear().measure(Length.of(0.62, "in"), "in", 2) == "zero point six two inches"


@pytest.mark.parametrize(
    ("day", "today", "said"),
    [
        (date(2026, 6, 14), date(2026, 11, 25), "June fourteen"),
        (date(2026, 6, 14), None, "June fourteen"),
        (date(2025, 12, 31), date(2026, 1, 1), "December thirty one twenty twenty five"),
        (date(2027, 1, 1), date(2026, 12, 31), "January one twenty twenty seven"),
        (date(2010, 5, 9), date(2026, 1, 1), "May nine twenty ten"),
        (date(2009, 5, 9), date(2026, 1, 1), "May nine two thousand nine"),
        (date(2000, 2, 29), date(2026, 1, 1), "February twenty nine two thousand"),
        (date(1998, 8, 20), date(2026, 1, 1), "August twenty nineteen ninety eight"),
    ],
)
def test_a_day_for_the_ear_has_its_year_where_it_is_another(
    day: date, today: date | None, said: str
) -> None:
    assert ear(today).day(day) == said


def test_limbs_and_words_for_the_ear() -> None:
    assert (ear().limb("LH"), ear().limb(None)) == ("left hind", "a foot")
    assert (ear().word("term", "underrun_heels"), ear().word("term", None)) == (
        "underrun heels",
        "",
    )
    assert ear().plain("size 4.5 for 2 feet") == "size four point five for two feet"
    # Words heard and kept as they came are words for the ear too.
    assert ear().entry(Shoe(item="size", detail="4.5")) == "size four and a half"


def test_one_and_several() -> None:
    assert [count(eye(), n, "week") for n in (0, 1, 2)] == ["0 weeks", "1 week", "2 weeks"]
    assert count(ear(), 1, "foot", "feet") == "one foot"
    assert count(ear(), 4, "foot", "feet") == "four feet"


def test_there_are_twelve_months() -> None:
    assert [MONTHS.index(date(2026, m, 1).strftime("%B")) + 1 for m in range(1, 13)] == list(
        range(1, 13)
    )


# Whatever is told: no digit ever reaches the voice

NUMBERS = st.floats(-1e7, 1e7) | st.integers(-3000, 3000).map(float)
TYPED: dict[str, type[Length] | type[Angle] | type[Weight]] = {
    **dict.fromkeys(("mm", "cm", "in"), Length),
    "deg": Angle,
    **dict.fromkeys(("kg", "lb"), Weight),
}
TEXT = st.none() | st.text(max_size=12)
IDS = st.none() | st.sampled_from(["LF", "heel", "lateral", "bruise", "mm", "in", "x_9", "7"])
ENTRIES: st.SearchStrategy[Entry] = st.one_of(
    st.builds(
        Finding,
        limb=IDS,
        zone=IDS,
        side=IDS,
        term=IDS,
        below_hairline_mm=st.none() | NUMBERS,
        extent_mm=st.none() | NUMBERS,
        scale_grade=st.none()
        | st.builds(ScaleGrade, st.sampled_from(["lameness", "body_condition"]), NUMBERS),
    ),
    st.builds(Measurement, quantity=IDS, side=IDS, value=st.none() | NUMBERS, unit=IDS),
    st.builds(Nails, action=IDS, count=st.none() | st.integers(-99, 9999)),
    st.builds(Shoe, item=IDS, detail=TEXT),
    st.builds(Work, action=IDS),
    st.builds(
        Plan,
        action=st.sampled_from(["return", "next_time", "watch", "call_vet", None]),
        weeks=st.none() | st.integers(-99, 999),
        text=TEXT,
    ),
    st.builds(Remark, text=st.text(max_size=20)),
)


def has_digit(text: str) -> bool:
    return re.search(r"\d", text) is not None


@settings(deadline=None)
@given(NUMBERS, st.sampled_from(sorted(TYPED)), st.none() | st.integers(0, 4))
def test_no_digit_in_a_number(value: float, unit: str, decimals: int | None) -> None:
    said = ear().measure(TYPED[unit].of(value, unit), unit, decimals)
    assert said
    assert not has_digit(said)
    assert not has_digit(ear().number(value, decimals or 0))


@settings(deadline=None)
@given(st.dates(date(1900, 1, 1), date(2199, 12, 31)), st.none() | st.dates())
def test_no_digit_in_a_day(day: date, today: date | None) -> None:
    said = ForEar(grammar(), today).day(day) if today else ear().day(day)
    assert not has_digit(said)
    assert said.startswith(MONTHS[day.month - 1])


@settings(deadline=None)
@given(ENTRIES, st.text(max_size=30))
def test_no_digit_in_an_entry_or_in_free_words(entry: Entry, text: str) -> None:
    assert not has_digit(ear().entry(entry))
    assert not has_digit(ear().plain(text))


@settings(deadline=None)
@given(st.integers(1, 16 * 300))
def test_sixteenths_of_an_inch_come_back_as_they_were_said(sixteenths: int) -> None:
    said = ear().measure(Length.of(sixteenths / 16, "in"), "in")
    reading = grammar().read(f"left fore toe length {said}".split())
    assert reading.meaning is not None
    [statement] = reading.meaning.statements
    assert isinstance(statement.entry, Measurement)
    assert (statement.entry.value, statement.entry.unit) == (sixteenths / 16, "in")


@settings(deadline=None)
@given(st.floats(0, 500), st.sampled_from(["mm", "cm", "in"]))
def test_what_is_shown_is_what_was_measured_to_the_last_digit(value: float, unit: str) -> None:
    shown, _, name = eye().measure(Length.of(value, unit), unit).partition(" ")
    assert name == unit
    assert float(shown) == pytest.approx(value, abs=0.5001 * 10 ** -DECIMALS[unit])


def test_both_are_words() -> None:
    both: list[Words] = [eye(), ear()]
    assert [words.limb("RF") for words in both] == ["RF", "right fore"]
