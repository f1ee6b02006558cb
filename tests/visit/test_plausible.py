"""Numbers that are asked about, each limit checked on both sides."""

from dataclasses import replace

import pytest

from handsfree.grammar import Grammar
from handsfree.records.entries import Finding, Measurement, Nails, Plan, Remark, Work
from handsfree.visit.plausible import RANGES, question, unlikely_unit


def measured(quantity: str, value: float | None, unit: str | None) -> Measurement:
    return Measurement(limb="LF", quantity=quantity, value=value, unit=unit)


def test_every_quantity_of_the_grammar_has_a_range_with_its_source(grammar: Grammar) -> None:
    assert {w.id for w in grammar.table if w.slot == "quantity"} == set(RANGES)
    for known in RANGES.values():
        assert known.source
        for least, most in (known.riding, known.heavy):
            assert 0 < least < most


@pytest.mark.parametrize(
    ("quantity", "value", "unit"),
    [
        # 7.6 to 8.9 cm for 360 to 575 kg: common practice, no source.
        *[("toe_length", value, "cm") for value in (7.6, 8.25, 8.9)],
        ("toe_length", 3.25, "in"),
        # Anatomy texts: about 50 degrees fore, 55 hind; Lungwitz and Adams 1897: hind 50 to 55.
        *[("hoof_angle", value, "deg") for value in (50, 52, 55)],
        # Turner (AAEP 1992): under-run is 5 degrees less than the toe, which is no slip.
        ("heel_angle", 44, "deg"),
        ("frog_width", 40, "mm"),
        ("frog_length", 65, "mm"),
        # Jensen et al. 2019, Table 2: Icelandic and Warmblood.
        *[("heart_girth", value, "cm") for value in (166, 204)],
        *[("body_length", value, "cm") for value in (158, 185)],
        *[("weight", value, "kg") for value in (366, 640)],
        # Worked cases to Catalano et al.: 849.5 and 971.8 kg.
        *[("heart_girth", value, "cm") for value in (230, 240)],
        *[("weight", value, "kg") for value in (849.5, 971.8)],
        ("weight", 1353, "lb"),
        # US shoe sizes 00 and 9: width and length.
        *[("hoof_width", value, "in") for value in (4.5, 7.875)],
        *[("hoof_length", value, "in") for value in (5.25, 9)],
    ],
)
def test_what_was_measured_on_real_horses_is_not_asked_about(
    quantity: str, value: float, unit: str
) -> None:
    assert question(measured(quantity, value, unit)) is None


@pytest.mark.parametrize(
    ("entry", "kind", "asked"),
    [
        (
            measured("toe_length", 32.5, "in"),
            None,
            "toe length 32.5 in: is that right? usual 2.5 to 6 in",
        ),
        (
            measured("toe_length", 32.5, "in"),
            "heavy",
            "toe length 32.5 in: is that right? usual 3 to 6 in",
        ),
        (
            measured("toe_length", 5.5, "in"),
            "riding",
            "toe length 5.5 in: is that right? usual 2.5 to 4.5 in",
        ),
        (measured("toe_length", 5.5, "in"), "heavy", None),
        (measured("toe_length", 5.5, "in"), None, None),
        (
            measured("toe_length", 8, "mm"),
            "riding",
            "toe length 8 mm: is that right? usual 64 to 114 mm",
        ),
        (
            measured("toe_length", 80, "cm"),
            "riding",
            "toe length 80 cm: is that right? usual 6.5 to 11.5 cm",
        ),
        (
            measured("hoof_angle", 15, "deg"),
            None,
            "hoof angle 15°: is that right? usual 40 to 65°",
        ),
        (
            measured("weight", 90, "lb"),
            "riding",
            "weight 90 lb: is that right? usual 180 to 1760 lb",
        ),
        (measured("weight", 200, "lb"), "riding", None),
        (Nails(count=8, action="driven"), None, None),
        # Nineteenth-century texts: never more than eight.
        (Nails(count=9, action="driven"), None, "9 nails: is that right? seldom more than 8"),
        (Nails(count=None, action="driven"), None, None),
        # 4 to 14 weeks are possible (equimed.com).
        *[(Plan(action="return", weeks=weeks), None, None) for weeks in (4, 6, 10, 14)],
        (
            Plan(action="return", weeks=60),
            None,
            "60 weeks: is that right? usual 1 to 14",
        ),
        (Plan(action="return", weeks=0), None, "0 weeks: is that right? usual 1 to 14"),
        (Finding(term="bruise", below_hairline_mm=25), None, None),
        (
            Finding(term="bruise", below_hairline_mm=254),
            None,
            "254 mm below the hairline: is that right? the longest toes are 152 mm",
        ),
        (Finding(term="crack", extent_mm=50.8), None, None),
        (
            Finding(term="crack", extent_mm=500),
            None,
            "500 mm long: is that right? seldom more than 300",
        ),
        (Work(action="trimmed"), None, None),
        (Remark(text="99 nails"), None, None),
        (measured("toe_length", None, "in"), None, None),
        (measured("toe_length", 900, None), None, None),
        (measured("tail_length", 900, "cm"), None, None),
    ],
)
def test_what_is_asked(entry: object, kind: str | None, asked: str | None) -> None:
    assert question(entry, kind) == asked  # type: ignore[arg-type]


@pytest.mark.parametrize("quantity", RANGES)
@pytest.mark.parametrize("kind", ["riding", "heavy"])
def test_the_limits_themselves_are_usual_and_what_is_beyond_is_not(
    quantity: str, kind: str
) -> None:
    unit = {"hoof_angle": "deg", "heel_angle": "deg", "pastern_angle": "deg", "weight": "kg"}
    of = unit.get(quantity, "mm")
    least, most = RANGES[quantity].of(kind)
    assert question(measured(quantity, least, of), kind) is None
    assert question(measured(quantity, most, of), kind) is None
    for beyond in (least * 0.98, most * 1.02):
        asked = question(measured(quantity, beyond, of), kind)
        assert asked is not None
        assert quantity.replace("_", " ") in asked


@pytest.mark.parametrize(("mm", "unit"), [(82.55, "mm"), (8.255, "cm"), (3.25, "in")])
@pytest.mark.parametrize("factor", [0.5, 1, 2])
def test_a_length_is_judged_the_same_in_every_unit(mm: float, unit: str, factor: float) -> None:
    asked = question(measured("toe_length", mm * factor, unit), "riding")
    assert (asked is None) is (factor == 1)


@pytest.mark.parametrize(("value", "kind"), [(16.1, None), (18.2, "heavy"), (9.3, "riding")])
def test_usual_heights_in_hands_are_not_asked_about(value: float, kind: str | None) -> None:
    assert question(measured("height", value, "hands"), kind) is None


@pytest.mark.parametrize(
    ("value", "asked"),
    [
        (61, "height 61 hands: is that right? usual 7 to 21 hands"),
        (3.2, "height 3.2 hands: is that right? usual 7 to 21 hands"),
        (16.5, "height 16.5 hands: is that right? 16.5 is no number of hands"),
    ],
)
def test_odd_heights_in_hands_are(value: float, asked: str) -> None:
    assert str(question(measured("height", value, "hands"))).startswith(asked)


def test_a_toe_is_not_three_hands_long() -> None:
    assert question(measured("toe_length", 3, "hands")) is not None


def test_only_a_unit_that_was_not_said_is_unlikely() -> None:
    odd = measured("toe_length", 850, "mm")
    meant = replace(odd, unit_inferred=True)
    assert unlikely_unit([odd, replace(meant, value=85), Work(action="trimmed")]) is None
    assert str(unlikely_unit([odd, meant])).startswith("the unit was not said, toe length 850 mm")
