"""What is said back. Unit lengths: 1 inch = 25.4 mm exactly (agreement of 1959)."""

import random

import pytest

from handsfree.grammar import Grammar
from handsfree.grammar.meaning import Statement
from handsfree.grammar.words import plain_words
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
from handsfree.visit.spoken import Spoken

RULES = ["measurement", "finding", "finding-limb-last", "nails", "shoe", "work", "plan", None]


def generated(grammar: Grammar, rule: str | None, draws: int) -> list[Entry]:
    rng = random.Random(f"spoken {rule}")
    meanings = (grammar.generate(rng, rule)[1] for _ in range(draws))
    return [statement.entry for meaning in meanings for statement in meaning.statements]


@pytest.mark.parametrize("rule", RULES)
def test_every_entry_is_said_so_that_it_reads_back_to_itself(
    grammar: Grammar, spoken: Spoken, rule: str | None
):
    entries = generated(grammar, rule, 500)
    assert len(entries) > 100
    for entry in entries:
        said = spoken.entry(entry)
        assert said.replace(",", "").replace(" ", "").isalpha(), said
        assert grammar.meanings(plain_words(said))[0].statements == (Statement(entry),), said
        part = spoken.number_part(entry)
        assert part is None or part.replace(",", "").replace(" ", "").isalpha()


def test_every_spoken_measurement_reads_back_to_its_value_and_unit(
    grammar: Grammar, spoken: Spoken
):
    for entry in generated(grammar, "measurement", 600):
        assert isinstance(entry, Measurement)
        reading = grammar.read(plain_words(spoken.entry(entry)))
        assert reading.meaning is not None
        assert reading.bend == 0
        assert reading.meaning.statements[0].entry == entry
        assert spoken.entry(entry).endswith(spoken.number_part(entry) or "no number")


@pytest.mark.parametrize("value", [*range(0, 1000, 7), *range(1000, 10000, 97), 1100, 2100, 9999])
def test_whole_numbers_are_said_as_the_grammar_says_them(
    grammar: Grammar, spoken: Spoken, value: int
):
    heard = ["weight", *spoken.measure(value, "kg").split()]
    assert grammar.meanings(heard)[0].statements[0].entry.value == value  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        (3.25, "in", "three and a quarter inches"),
        (3.375, "in", "three and three eighths inches"),
        (5.6875, "in", "five and eleven sixteenths inches"),
        (0.5, "in", "half an inch"),
        (0.75, "in", "three quarters of an inch"),
        (0.375, "in", "three eighths of an inch"),
        (1, "in", "one inch"),
        (1.5, "in", "one and a half inches"),
        (3.2, "in", "three point two inches"),
        (0, "in", "zero inches"),
        (12.5, "mm", "twelve point five millimeters"),
        (1, "mm", "one millimeter"),
        (3.25, "cm", "three point two five centimeters"),
        (0.05, "cm", "zero point zero five centimeters"),
        (3.3125, "mm", "three and five sixteenths millimeters"),
        (52, "deg", "fifty two degrees"),
        (1, "deg", "one degree"),
        (52.5, "deg", "fifty two point five degrees"),
        (740, "kg", "seven hundred forty kilos"),
        (1800, "lb", "eighteen hundred pounds"),
        (2150, "lb", "two thousand one hundred fifty pounds"),
        (12345, "lb", "twelve thousand three hundred forty five pounds"),
        (3.14159, "mm", "about three point one four millimeters"),
        (-2, "mm", "minus two millimeters"),
        (-0.5, "in", "minus zero point five inches"),
        (1_234_567, "kg", "one two three four five six seven kilos"),
        (1e300, "mm", "a very large number millimeters"),
        (10**400, "mm", "a very large number millimeters"),
        (float("nan"), "mm", "no number millimeters"),
        (float("-inf"), "in", "minus a very large number inches"),
        (4, None, "four"),
        (4, "furlong_long", "four furlong long"),
    ],
)
def test_measures(spoken: Spoken, value: float, unit: str | None, said: str):
    assert spoken.measure(value, unit) == said


@pytest.mark.parametrize(
    ("entry", "said", "number"),
    [
        (Nails(action="pulled", count=7), "seven nails pulled", "seven nails"),
        (Nails(action="left_in", count=1), "one nail left in", "one nail"),
        (Nails(action="in_shoe", count=8), "nail count eight", "eight nails"),
        (Nails(action="lost"), "nails lost", None),
        (
            Finding(term="lameness", scale_grade=ScaleGrade("lameness", 3)),
            "lameness grade three",
            "grade three",
        ),
        (
            Finding(scale_grade=ScaleGrade("body_condition", 5.5), trend="better"),
            "body condition five and a half, better",
            "five and a half",
        ),
        # 19.05 mm is three quarters of an inch: said as it was said to us.
        (
            Finding(term="bruise", side="lateral", zone="heel", below_hairline_mm=19.05),
            "outside heel bruise, three quarters of an inch below the hairline",
            "three quarters of an inch below the hairline",
        ),
        (
            Finding(term="crack", zone="toe", extent_mm=50.8),
            "toe crack, two inches long",
            "two inches long",
        ),
        (
            Finding(term="crack", extent_mm=25),
            "crack, twenty five millimeters long",
            "twenty five millimeters long",
        ),
        (
            Finding(term="crack", extent_mm=4000.0),
            "crack, four hundred centimeters long",
            "four hundred centimeters long",
        ),
        # Ten inches too, but a whole number of millimetres was more likely said as such.
        (
            Finding(term="crack", extent_mm=254),
            "crack, two hundred fifty four millimeters long",
            "two hundred fifty four millimeters long",
        ),
        (Finding(term="clear"), "foot clear", None),
        (Finding(term="clear", zone="sole"), "sole clear", None),
        (Shoe(item="size", detail="4"), "size four", "size four"),
        (Shoe(item="size", detail="4.5"), "size four and a half", "size four and a half"),
        (Shoe(item="crease"), "creased", None),
        (Shoe(item="crease", detail="lengthened outside"), "crease lengthened outside", None),
        (Shoe(item="clips", detail="toe"), "toe clip", None),
        (Shoe(item="fit", detail="full outside"), "full outside", None),
        (Work(action="shoe_reset"), "shoe reset", None),
        (Plan(action="return", weeks=1), "come back in one week", "one week"),
        (Plan(action="call_vet"), "call the vet", None),
        (Plan(action="next_time", text="full outside"), "next time full outside", None),
        (
            Remark(text="seen on the 12th, 3.5 mm at 0800_x"),
            "remark: seen on the twelve th, three point five mm at eight hundred x",
            None,
        ),
        (Remark(), "remark: sound only", None),
    ],
)
def test_entries(spoken: Spoken, entry: Entry, said: str, number: str | None):
    assert spoken.entry(entry) == said
    assert spoken.number_part(entry) == number


@pytest.mark.parametrize(
    "entry",
    [
        Finding(),
        Finding(zone="far_side", term="odd_thing", below_hairline_mm=float("nan")),
        Finding(below_hairline_mm=-3.0, extent_mm=float("inf")),
        Finding(extent_mm=123456.789, scale_grade=ScaleGrade("made_up", -1.25)),
        Measurement(),
        Measurement(quantity="toe_length", value=1e-9, unit="in"),
        Measurement(value=float("inf"), unit="stone"),
        Nails(),
        Nails(action="eaten", count=-7),
        Nails(action="in_shoe", count=10**30, side="medial"),
        Shoe(),
        Shoe(item="bar_shoe", detail="9" * 400),
        Shoe(item="size", detail="inf"),
        Work(),
        Plan(),
        Plan(action="return"),
        Plan(action="return", weeks=10**9),
        Plan(action="next_time", text="4.5 and 7_8"),
        Remark(text="1" * 500 + " 0.0000001 1.2.3 ٣"),
    ],
)
def test_odd_entries_are_still_words(spoken: Spoken, entry: Entry):
    for said in (spoken.entry(entry), spoken.number_part(entry) or "none"):
        assert said.strip() == said != ""
        assert not any(ch.isdigit() or ch == "_" for ch in said), said


def test_limbs(spoken: Spoken):
    assert spoken.limb("LH") == "left hind"
    assert spoken.limb(None) == "a foot"
    assert spoken.limbs(["LF", "RF"]) == ("both fores",)
    assert spoken.limbs(["RH", "LF", "RF", "LH"]) == ("all four",)
    assert spoken.limbs(["LF", "RH"]) == ("left fore", "right hind")
    assert spoken.limbs(["LH"]) == ("left hind",)
    assert spoken.limbs([]) == ()


def test_read_back(spoken: Spoken):
    entries = [
        Finding(limb="LH", side="lateral", zone="heel", term="bruise"),
        Nails(limb="LH", action="pulled", count=7),
        Measurement(quantity="weight", value=740, unit="kg"),
        Work(limb="LH", action="trimmed"),
        Finding(limb="RF", term="thrush"),
        Finding(term="cut"),
    ]
    assert spoken.read_back(entries, {1, 4}) == (
        "left hind",
        "outside heel bruise",
        "perhaps seven nails pulled",
        "weight seven hundred forty kilos",
        "trimmed",
        "right fore",
        "perhaps thrush",
        "a foot",
        "cut",
    )
    assert spoken.read_back([], set()) == ()


def test_one_thing_of_several_limbs_is_read_back_once(spoken: Spoken):
    def of(*limbs: str) -> list[Entry]:
        return [Finding(limb=limb, term="thrush") for limb in limbs]

    assert spoken.read_back(of("LF", "RF"), set()) == ("both fores", "thrush")
    assert spoken.read_back(of("LF", "RF", "LH", "RH"), {2}) == ("all four", "perhaps thrush")
    # No name for these two together: said one after the other, so that neither seems bare.
    assert spoken.read_back(of("LF", "LH"), set()) == (
        "left fore",
        "thrush",
        "left hind",
        "thrush",
    )
    # Twice the same note of one limb stays two notes.
    assert spoken.read_back(of("LF", "LF"), set()) == ("left fore", "thrush", "thrush")


def test_number_words_end_at_999(grammar: Grammar):
    assert grammar.number_words(206) == ("two", "hundred", "six")
    for value in (-1, 1000):
        with pytest.raises(ValueError, match="0 to 999"):
            grammar.number_words(value)
