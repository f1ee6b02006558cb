"""Lines, prices and totals of a visit.

All prices here are made up; what is checked is the arithmetic, done by hand.
"""

import re
import tomllib
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.dialogue.session import Session
from handsfree.grammar import Grammar, load
from handsfree.grammar.words import plain_words
from handsfree.records.entries import Entry, Nails, Shoe, Work
from handsfree.sheets import prices
from handsfree.sheets.bill import Bill, bill
from handsfree.sheets.prices import KEYS, PriceListError, Prices, parse, read, template
from handsfree.sums.history import DayVisit, HorseFacts, Noted
from handsfree.sums.wording import ForEye

DAY = date(2026, 3, 2)
LIST = """
currency = "GBP"
[tax]
name = "VAT"
percent = 20
[price]
visit.call_out = 12.50
work.new_shoe = 22.005
work.shoe_reset = 18
work.trimmed = 15
set.trimmed_four = 45
set.new_shoe_two = 40
nails.each = 0.125
shoe.pads = 7.5
shoe.clips = 0
size.7 = 30
[heavy]
work.new_shoe = 50
"""
FOUR = ("left fore", "right fore", "left hind", "right hind")


@pytest.fixture(scope="module")
def grammar() -> Grammar:
    return load()


def spoken(grammar: Grammar, said: Sequence[str]) -> list[Entry]:
    session = Session()
    entries: list[Entry] = []
    for text in said:
        outcome = session.take(grammar.read(plain_words(text)), 1.0, 0.0, 1.0)
        assert outcome is not None
        assert outcome.status != "unclear", text
        entries += outcome.entries
    return entries


def billed(
    grammar: Grammar, *said: str, text: str = LIST, kind: str | None = None, doubtful: int = 0
) -> Bill:
    """The bill of what was said; the last `doubtful` entries were not surely heard."""
    entries = spoken(grammar, said)
    sure = len(entries) - doubtful
    noted = tuple(Noted(entry, at >= sure) for at, entry in enumerate(entries))
    return of(grammar, noted, text, kind)


def of(grammar: Grammar, noted: Sequence[Noted], text: str = LIST, kind: str | None = None) -> Bill:
    facts = HorseFacts("Bramble", kind)
    return bill(DayVisit(DAY, tuple(noted)), facts, parse(text), ForEye(grammar))


def lines(made: Bill) -> list[tuple[str, str, int, str | None]]:
    return [
        (
            line.key,
            " ".join(line.limbs),
            line.quantity,
            None if line.amount is None else f"{line.amount:f}",
        )
        for line in made.lines
    ]


def test_a_trim_of_four_feet_is_one_line(grammar: Grammar) -> None:
    made = billed(grammar, *(f"{foot} trimmed" for foot in FOUR))
    assert lines(made) == [
        ("visit.call_out", "", 1, "12.50"),
        ("set.trimmed_four", "LF RF LH RH", 1, "45.00"),
    ]
    # 12.50 + 45.00 = 57.50; 20 % of it is 11.50.
    assert (made.totals.net, made.totals.tax, made.totals.total) == (
        Decimal("57.50"),
        Decimal("11.50"),
        Decimal("69.00"),
    )
    assert (made.complete, made.questions, made.doubtful) == (True, (), ())


def test_three_feet_are_single_and_a_foot_said_twice_counts_once(grammar: Grammar) -> None:
    said = ["left fore trimmed", "right fore trimmed", "left hind trimmed", "left fore trimmed"]
    assert lines(billed(grammar, *said))[1:] == [("work.trimmed", "LF RF LH", 3, "45.00")]


def test_what_belongs_to_the_shoeing_is_named_and_not_paid_twice(grammar: Grammar) -> None:
    made = billed(
        grammar,
        "left fore shoe pulled and pulled eight nails",
        "trimmed",
        "shoe reset and drove eight nails",
        "clinched",
        "right fore trimmed",
        "rasped",
    )
    assert lines(made)[1:] == [
        ("work.shoe_reset", "LF", 1, "18.00"),
        ("work.trimmed", "RF", 1, "15.00"),
        ("nails.each", "LF", 8, "1.00"),
    ]
    assert made.included == (
        "shoe pulled (LF), with the shoeing",
        "trimmed (LF), with the shoeing",
        "clinched (LF), with the shoeing",
        "rasped (RF), with the trim",
    )


def test_shoes_by_size_and_section_nails_by_count_pads_and_clips(grammar: Grammar) -> None:
    made = billed(
        grammar,
        "left fore new shoe size seven and drove eight nails",
        "section half by one and a quarter",
        "toe clip and quarter clips",
        "pads",
        "right fore new shoe size four and drove seven nails",
        "drove one nail",
    )
    assert lines(made)[1:] == [
        ("size.7", "LF", 1, "30.00"),
        ("work.new_shoe", "RF", 1, "22.01"),  # 22.005, half up
        ("nails.each", "LF RF", 16, "2.00"),
        ("shoe.pads", "LF", 1, "7.50"),
        ("shoe.clips", "LF", 1, "0.00"),
    ]
    said = [line.what for line in made.lines]
    assert said[1] == "new shoe, size 7, section half by one and a quarter"
    assert said[2] == "new shoe, size 4"
    assert said[3] == "nails driven (LF 8, RF 8)"
    assert said[5] == "clip (toe, quarter)"
    assert made.totals.net == Decimal("12.50") + Decimal("61.51")
    assert made.complete


def test_pairs_are_both_fronts_or_both_hinds_first(grammar: Grammar) -> None:
    made = billed(grammar, "left fore new shoe", "left hind new shoe", "right hind new shoe")
    assert lines(made)[1:] == [
        ("set.new_shoe_two", "LH RH", 1, "40.00"),
        ("work.new_shoe", "LF", 1, "22.01"),
    ]
    assert made.lines[1].what == "new shoe, set of 2 (size not said: LH, RH)"
    odd = billed(grammar, "left fore new shoe", "right hind new shoe")
    assert lines(odd)[1:] == [("set.new_shoe_two", "LF RH", 1, "40.00")]


def test_a_heavy_horse_has_its_own_prices_and_no_sets_of_light_ones(grammar: Grammar) -> None:
    said = ["left fore new shoe size seven", "right fore new shoe size seven"]
    made = billed(grammar, *said, "left hind trimmed", kind="heavy")
    assert lines(made)[1:] == [
        ("work.new_shoe", "LF RF", 2, "100.00"),
        ("work.trimmed", "LH", 1, "15.00"),
    ]
    assert lines(billed(grammar, *said, kind="riding"))[1:] == [("size.7", "LF RF", 2, "60.00")]


def test_what_has_no_price_is_named_and_never_zero(grammar: Grammar) -> None:
    made = billed(grammar, "left fore bar shoe and new shoe", "left hind packed")
    priced = {line.key: line.amount for line in made.lines}
    assert priced["shoe.bar_shoe"] is None
    assert priced["work.packed"] is None
    assert not made.complete
    assert made.totals.net == Decimal("34.51")  # 12.50 + 22.01
    none = billed(grammar, "left fore trimmed", text="")
    assert lines(none) == [("work.trimmed", "LF", 1, None)]
    assert (none.totals.net, none.totals.tax, none.totals.tax_name) == (0, 0, None)


def test_what_is_doubtful_is_named_and_left_out(grammar: Grammar) -> None:
    made = billed(grammar, "left fore trimmed", "right fore drove eight nails", doubtful=1)
    assert made.doubtful == ("RF 8 nails driven",)
    assert lines(made)[1:] == [("work.trimmed", "LF", 1, "15.00")]


def test_what_can_not_be_counted_is_asked(grammar: Grammar) -> None:
    made = billed(
        grammar,
        "trimmed",
        "left fore new shoe",
        "shoe reset",
        "drove nails",
        "right fore pads",
        "left hind drove nineteen nails",
    )
    assert made.questions == (
        "trimmed: of which foot? not counted",
        "LF: new shoe and shoe reset were both noted; which was it? not counted",
        "LF: nails driven, how many? not counted",
        "LH: 19 nails driven, is that right?",
        "RF: pads noted and no shoe put on; used? not counted",
    )
    assert lines(made)[1:] == [("nails.each", "LH", 19, "2.38")]  # 2.375, half up


def test_a_shoe_put_on_again_is_no_new_bar_shoe_but_may_have_new_pads(grammar: Grammar) -> None:
    made = billed(grammar, "left fore bar shoe and shoe reset", "pads")
    assert [key for key, *_ in lines(made)[1:]] == ["work.shoe_reset", "shoe.pads"]
    assert made.included == ("LF: bar shoe, of the shoe that was put on again",)


def test_odd_entries_are_no_error(grammar: Grammar) -> None:
    noted = [
        Noted(Nails(limb="LF", action="driven", count=-4)),
        Noted(Nails(limb=None, action="driven", count=2)),
        Noted(Nails(limb="LF", action="driven", count=0)),
        Noted(Work(limb="LF", action=None)),
        Noted(Work(limb="LF", action="new_shoe")),
        Noted(Shoe(limb="LF", item=None)),
        Noted(Shoe(limb="LF", item="size", detail="7\x1b[31m")),
        Noted(Shoe(limb="LF", item="crystal_ball", detail="<b>")),
    ]
    made = of(grammar, noted)
    assert lines(made)[1:] == [
        ("work.new_shoe", "LF", 1, "22.01"),
        ("nails.each", "", 2, "0.25"),
        ("shoe.crystal_ball", "LF", 1, None),
    ]
    assert made.questions == ("LF: nails driven, how many? not counted",)
    assert not any("\x1b" in line.what for line in made.lines)


def test_a_visit_of_nothing_has_no_line(grammar: Grammar) -> None:
    made = of(grammar, [])
    assert (made.lines, made.totals.total, made.complete) == ((), 0, True)


@pytest.mark.parametrize(
    ("currency", "amount", "rounded"),
    [
        ("EUR", "0.125", "0.13"),
        ("EUR", "0.135", "0.14"),  # half up, where halves to even would give 0.14 and 0.12
        ("EUR", "0.1249", "0.12"),
        ("JPY", "100.5", "101"),  # ISO 4217: no smaller unit
        ("KWD", "0.0005", "0.001"),  # ISO 4217: thousandths
        ("", "2.675", "2.68"),  # as a float this would round down
    ],
)
def test_halves_go_up_to_the_smallest_coin(currency: str, amount: str, rounded: str) -> None:
    listed = parse(f"currency = '{currency}'")
    assert f"{listed.rounded(Decimal(amount)):f}" == rounded


def test_tax_is_of_the_net_total_not_of_each_line(grammar: Grammar) -> None:
    # Three lines of 0.05 at 10 %: each alone would round up to 0.01.
    text = (
        "[tax]\npercent = 10\n[price]\nwork.trimmed = 0.05\nwork.packed = 0.05\nnails.each = 0.05"
    )
    made = billed(grammar, "left fore trimmed", "packed", "drove one nail", text=text)
    assert [line.amount for line in made.lines] == [Decimal("0.05")] * 3
    assert (made.totals.tax, made.totals.total) == (Decimal("0.02"), Decimal("0.17"))


@given(
    feet=st.lists(st.sampled_from(["LF", "RF", "LH", "RH"]), max_size=8),
    price=st.decimals(min_value=0, max_value=1000, places=3),
    percent=st.decimals(min_value=0, max_value=100, places=2),
)
def test_totals_are_the_sum_of_the_lines(
    grammar: Grammar, feet: list[str], price: Decimal, percent: Decimal
) -> None:
    text = f"[tax]\npercent = {percent}\n[price]\nwork.trimmed = {price}"
    made = of(grammar, [Noted(Work(limb=limb, action="trimmed")) for limb in feet], text)
    totals = made.totals
    assert sum(line.quantity for line in made.lines) == len(set(feet))
    assert totals.net == sum((line.amount or Decimal(0)) for line in made.lines)
    assert abs(totals.net - price * len(set(feet))) <= Decimal("0.005")
    assert abs(totals.tax - totals.net * percent / 100) <= Decimal("0.005")
    assert totals.total == totals.net + totals.tax


def test_the_template_is_a_list_and_stays_one_when_filled_in() -> None:
    empty = parse(template())
    assert (empty.currency, empty.tax, empty.tables["price"]) == ("EUR", None, {})
    filled = re.sub(r"^# (?=\[|[\w.]+ = )", "", template(), flags=re.MULTILINE)
    data = tomllib.loads(filled)
    assert set(data) == {"currency", "decimals", "tax", "price", "heavy"}
    full = parse(filled)
    assert set(full.tables["price"]) == {*KEYS, "size.7"}
    assert full.tax is not None


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (
            "[price]\nwork.new_sheo = 1",
            r"no 'price\.work\.new_sheo'; did you mean 'work\.new_shoe'",
        ),
        ("[price]\nsize = 1", "no 'price.size'"),
        ("curency = 'EUR'", "no 'curency'; did you mean 'currency'"),
        ("[tax]\nrate = 20", r"no 'tax\.rate'"),
        ("[tax]\nname = 'VAT'", "lacks 'percent'"),
        ("[tax]\npercent = 120", "from 0 to 100"),
        ("tax = 20", "must be a table"),
        ("[price]\nwork.trimmed = -1", "must be 0 or more"),
        ("[price]\nwork.trimmed = nan", "must be 0 or more"),
        ("[price]\nwork.trimmed = inf", "must be 0 or more"),
        ("[price]\nwork.trimmed = true", "must be a number"),
        ("[price]\nwork.trimmed = '15'", "must be a number"),
        ("[price]\nwork.trimmed = [1]", "must be a number"),
        ("[price]\nwork.trimmed = 1e12", "is that right"),
        ("price = 1", "must be a table"),
        ("decimals = -1", "from 0 to 4"),
        ("decimals = true", "from 0 to 4"),
        ("currency = 1", "short word"),
        ('currency = "a\\nb"', "short word"),
        ("[price]\nwork.trimmed = 1\nwork.trimmed = 2", "is not TOML"),
        ("[price\n", "is not TOML"),
        ("[price]\n" + ".".join("a" * 3000) + " = 1", "there is no 'price.a"),
        ("[price]\nnails.each = " + "9" * 5000, "is not TOML"),
    ],
)
def test_a_wrong_list_is_refused_in_one_line(text: str, why: str) -> None:
    with pytest.raises(PriceListError, match=why) as refused:
        parse(text)
    assert len(str(refused.value).splitlines()) == 1
    assert str(refused.value).startswith("prices.toml: ")


def test_a_list_that_can_not_be_read_is_one_line(tmp_path: Path) -> None:
    file = tmp_path / "prices.toml"
    with pytest.raises(PriceListError, match="cannot be read: No such file"):
        read(file)
    file.write_bytes(b"\xff\xfe[price]")
    with pytest.raises(PriceListError, match="not text in UTF-8"):
        read(file)
    file.write_text(LIST)
    assert read(file).of("size.7") == Decimal(30)


def test_no_list_is_a_list_without_prices() -> None:
    assert Prices().of("work.trimmed") is None
    assert prices.default_path().name == "prices.toml"
