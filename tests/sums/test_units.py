"""Units against pint, a library of units of its own making."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.records.units import Angle, Growth, Length, Weight, quantity, to_mm

pint = pytest.importorskip("pint")
REFERENCE = pint.UnitRegistry()
PINT = {"mm": "mm", "cm": "cm", "in": "inch", "deg": "degree", "kg": "kg", "lb": "pound"}
LENGTHS, WEIGHTS = ("mm", "cm", "in"), ("kg", "lb")
numbers = st.floats(min_value=-1e6, max_value=1e6)


def same(one: float, other: float) -> bool:
    return math.isclose(one, other, rel_tol=1e-12, abs_tol=1e-12)


@given(numbers, st.sampled_from(LENGTHS), st.sampled_from(LENGTHS))
def test_lengths_are_those_of_the_reference(value: float, said: str, shown: str):
    expected = REFERENCE.Quantity(value, PINT[said]).to(PINT[shown]).magnitude
    assert same(Length.of(value, said).to(shown), expected)


@given(numbers, st.sampled_from(WEIGHTS), st.sampled_from(WEIGHTS))
def test_weights_are_those_of_the_reference(value: float, said: str, shown: str):
    expected = REFERENCE.Quantity(value, PINT[said]).to(PINT[shown]).magnitude
    assert same(Weight.of(value, said).to(shown), expected)


@given(numbers, st.sampled_from(tuple(PINT)))
def test_there_and_back_is_the_same(value: float, unit: str):
    assert same(quantity(value, unit).to(unit), value)


@given(numbers, st.sampled_from(tuple(PINT)))
def test_each_unit_makes_its_own_kind(value: float, unit: str):
    dimension = REFERENCE.Unit(PINT[unit]).dimensionality
    kinds = {"[length]": Length, "[mass]": Weight}
    assert type(quantity(value, unit)) is kinds.get(str(dimension), Angle)


@given(st.floats(min_value=0.1, max_value=50), st.sampled_from(LENGTHS))
def test_growth_is_that_of_the_reference(value: float, unit: str):
    each = REFERENCE.Quantity(value, PINT[unit])
    weekly = (each / REFERENCE.week).to("mm/day").magnitude
    assert same(Growth.weekly(Length.of(value, unit)).mm_per_day, weekly)
    # pint's month is a twelfth of its year of 365.25 days.
    monthly = (each / REFERENCE.month).to("mm/day").magnitude
    assert math.isclose(Growth.monthly(Length.of(value, unit)).mm_per_day, monthly, rel_tol=1e-9)


@given(numbers, numbers, st.sampled_from(LENGTHS), st.sampled_from(LENGTHS))
def test_mixed_units_add_up(one: float, other: float, unit: str, other_unit: str):
    total = REFERENCE.Quantity(one, PINT[unit]) + REFERENCE.Quantity(other, PINT[other_unit])
    ours = Length.of(one, unit) + Length.of(other, other_unit)
    assert math.isclose(ours.mm, total.to("mm").magnitude, rel_tol=1e-12, abs_tol=1e-6)


@pytest.mark.parametrize("unit", ["", "m", "IN", "degrees", "stone"])
def test_another_unit_is_refused_by_name(unit: str):
    with pytest.raises(ValueError, match=repr(unit)):
        quantity(1, unit)


@pytest.mark.parametrize("kind", [Length, Angle, Weight])
def test_no_kind_takes_the_unit_of_another(kind):
    foreign = {Length: "deg", Angle: "kg", Weight: "mm"}[kind]
    with pytest.raises(ValueError, match=foreign):
        kind.of(1, foreign)


@given(st.integers(0, 30), st.integers(0, 3))
def test_hands_are_those_of_the_reference(whole: int, inches: int):
    """pint's hand is 4 inches; what stands after the point is ours: whole inches."""
    expected = REFERENCE.Quantity(whole, "hand") + REFERENCE.Quantity(inches, "inch")
    said = float(f"{whole}.{inches}")
    assert same(Length.of(said, "hands").mm, expected.to("mm").magnitude)
    assert Length.of(said, "hands").to("hands") == said


@pytest.mark.parametrize(
    ("hands", "inches"),
    [(16.1, 65), (16, 64), (14.2, 58), (15.35, 63.5), (15.325, 63.25), (0, 0), (0.1, 1)],
)
def test_heights_in_hands(hands: float, inches: float):
    assert same(Length.of(hands, "hands").to("in"), inches)
    assert Length.of(inches, "in").to("hands") == hands


def test_inches_make_a_hand_before_they_are_four():
    assert Length.of(63.999, "in").to("hands") == 16
    assert Length.of(165, "cm").to("hands") == pytest.approx(16.096)
    assert Length.of(-1, "in").to("hands") == -0.1


@pytest.mark.parametrize("value", [16.4, 16.5, 15.9, -1.0, math.nan, math.inf])
def test_no_number_of_hands_is_taken_for_one(value: float):
    with pytest.raises(ValueError, match="is no number of hands"):
        quantity(value, "hands")


def test_kept_lengths_are_rounded_to_hundredths():
    assert to_mm(5 / 16, "in") == 7.94
