"""What is left on a foot. The list itself is common practice, no source."""

from dataclasses import replace
from pathlib import Path

import pytest

from handsfree.errors import GrammarError
from handsfree.grammar import Grammar
from handsfree.grammar.meaning import with_limb
from handsfree.records.entries import (
    Entry,
    Finding,
    Measurement,
    Nails,
    Plan,
    Remark,
    Work,
    belongs_to_horse,
)
from handsfree.visit.conditions import Condition
from handsfree.visit.runsheet import Item, left, read_sheet, usual_sheet

ALL = [
    "shoe and wear",
    "nails counted",
    "sole and frog",
    "wall",
    "length and angle",
    "work done",
    "plan",
]


def entries_of(grammar: Grammar, *said: str, limb: str | None = "LH") -> list[Entry]:
    """What the grammar makes of the words, on a limb (as the session would put them)."""
    found: list[Entry] = []
    for words in said:
        meaning = grammar.read(words.split()).meaning
        assert meaning is not None, words
        for statement in meaning.statements:
            of_horse = belongs_to_horse(statement.entry)
            found.append(statement.entry if of_horse else with_limb(statement.entry, limb))
    return found


def test_what_was_denied_was_looked_at_but_bars_nothing():
    """ "No thrush" shows that the frog was looked at; "no lost shoe" is no shoe that is lost."""
    done = set(ALL) - set(
        left(usual_sheet(), [Finding(limb="LH", term="thrush", denied=True)], "LH")
    )
    assert done == {"sole and frog"}
    heat = Condition("finding", (("term", frozenset({"heat"})),))
    cold = [Finding(limb="LH", term="heat", denied=True), Finding(limb="LH", term="cut")]
    assert heat.holds_at(cold) is None
    assert heat.holds_at(cold, looked_for=True) == 0
    cut = Condition("finding", (("term", frozenset({"cut"})),))
    assert replace(cut, unless=heat).holds_at(cold, looked_for=True) == 1
    assert replace(cut, together_with=heat).holds_at(cold, looked_for=True) is None


def test_new_words_of_the_trade_are_on_the_list():
    for entry, item in (
        (Finding(limb="LH", term="loose_shoe"), "shoe and wear"),
        (Finding(limb="LH", term="shed_frog"), "sole and frog"),
        (Finding(limb="LH", term="wall_loss"), "wall"),
        (Work(limb="LH", action="toe_dressed"), "work done"),
        (Nails(limb="LH", action="in_shoe", count=10), "nails counted"),
        (Plan(limb="LH", action="tell_owner", text="x"), "plan"),
    ):
        assert item not in left(usual_sheet(), [entry], "LH")


def test_nothing_said_means_everything_is_left():
    assert left(usual_sheet(), [], "LH") == ALL
    assert left(usual_sheet(), [], None) == ALL


@pytest.mark.parametrize(
    ("said", "done"),
    [
        (["inside branch worn"], ["shoe and wear"]),
        (["risen clinch outside toe"], ["shoe and wear", "wall"]),
        (["size four"], ["shoe and wear"]),
        (["nail count eight"], ["nails counted"]),
        (["pulled seven nails"], ["nails counted"]),
        (["pulled nails"], []),
        (["drove eight nails"], ["nails counted"]),
        (["shoe pulled", "drove eight nails"], []),
        (["left barefoot"], ["shoe and wear", "nails counted", "work done"]),
        (["shoe pulled", "left barefoot"], ["work done"]),
        (["shoe pulled"], []),
        (["sole clear"], ["sole and frog"]),
        (["frog clear"], ["sole and frog"]),
        (["severe thrush"], ["sole and frog"]),
        (["sole depth half an inch"], ["sole and frog"]),
        (["wall clear"], ["wall"]),
        (["inside heel clear"], ["wall"]),
        (["quarter crack"], ["wall"]),
        (["foot clear"], ["shoe and wear", "sole and frog", "wall"]),
        (["toe length three inches"], []),
        (["hoof angle fifty degrees"], []),
        (["toe length three inches", "hoof angle fifty degrees"], ["length and angle"]),
        (["trimmed"], ["work done"]),
        (["come back in six weeks"], ["plan"]),
        (["watch this foot"], ["plan"]),
        (["heat in the hock", "stumbling"], []),
    ],
)
def test_what_satisfies_an_item(grammar: Grammar, said: list[str], done: list[str]):
    remaining = left(usual_sheet(), entries_of(grammar, *said), "LH")
    assert remaining == [item for item in ALL if item not in done]


def test_a_whole_foot_leaves_nothing(grammar: Grammar):
    said = [
        "shoe pulled",
        "pulled eight nails",
        "foot clear",
        "toe length three and a quarter inches",
        "hoof angle fifty two degrees",
        "trimmed",
        "shoe reset",
        "come back in six weeks",
    ]
    assert left(usual_sheet(), entries_of(grammar, *said), "LH") == []


def test_other_limbs_do_not_count_but_a_plan_of_none_counts_for_each(grammar: Grammar):
    entries = entries_of(grammar, "come back in six weeks", "foot clear", limb="RF")
    assert [e.limb for e in entries] == [None, "RF"]
    assert left(usual_sheet(), entries, "LH") == [i for i in ALL if i != "plan"]
    watch = [Plan(limb="RF", action="watch")]
    assert "plan" in left(usual_sheet(), watch, "LH")
    assert "plan" not in left(usual_sheet(), watch, "RF")


def test_odd_entries_satisfy_nothing():
    odd = [Finding(limb="LH"), Measurement(limb="LH", value=1e300), Remark(limb="LH")]
    assert left(usual_sheet(), odd, "LH") == ALL
    assert left(usual_sheet(), [Finding(term="clear")], "LH") == ALL
    assert left(usual_sheet(), [Finding(term="clear")], None) == [
        i for i in ALL if i not in ("shoe and wear", "sole and frog", "wall")
    ]


def test_a_sheet_of_ones_own(tmp_path: Path):
    path = tmp_path / "mine.toml"
    path.write_text(
        """
        [[item]]
        say = "  the   gait "
        any = { kind = "finding", scale = "lameness" }
        [[item]]
        say = "a word for the owner"
        any = { kind = "remark", said = "text" }
        """
    )
    sheet = read_sheet(path)
    assert [item.say for item in sheet.items] == ["the gait", "a word for the owner"]
    assert left(sheet, [Remark(limb="LH", text="tell her")], "LH") == ["the gait"]
    assert isinstance(sheet.items[0], Item)


GOOD = """
[[item]]
say = "first"
any = { kind = "plan" }
[[item]]
say = "nails"
any = [{ kind = "nails", action = "pulled" }]
"""


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ("[[item]]\nsay", "[[itme]]\nsay", "did you mean 'item'"),
        ('say = "nails"', 'sya = "nails"', "item 2: no such key: 'sya'; did you mean 'say'"),
        ('say = "nails"', "", "item 2: 'say' is missing"),
        ('say = "nails"', 'say = "two\\nlines"', "item 2: 'say' is missing"),
        ('say = "nails"', 'say = "first"', "earlier item has the same name"),
        ('kind = "nails"', 'kind = "nail"', "item 2 (nails): no such kind of entry: 'nail'; did"),
        ('kind = "nails", ', "", "item 2 (nails): a condition lacks its kind"),
        ('action = "pulled"', 'acton = "pulled"', "did you mean 'action'"),
        ('action = "pulled"', 'action = "puled"', "did you mean 'pulled'"),
        ('action = "pulled"', 'term = "bruise"', "no such key: 'term'"),
        ('action = "pulled"', "action = 3", "action has no 3"),
        ('action = "pulled"', 'said = "cuont"', "did you mean 'count'"),
        ('action = "pulled"', 'scale = "lameness"', "a nails has no scale"),
        ('any = [{ kind = "nails", action = "pulled" }]', "any = []", "an empty list"),
        ('any = [{ kind = "nails", action = "pulled" }]', "", "needs 'any' or 'all'"),
        ('any = [{ kind = "nails", action = "pulled" }]', "any = [{}]", "a condition is a table"),
        ('{ kind = "plan" }', '{ kind = "plan", action = "retrun" }', "did you mean 'return'"),
    ],
)
def test_a_wrong_sheet_names_file_item_and_the_nearest_key(
    tmp_path: Path, old: str, new: str, reason: str
):
    path = tmp_path / "mine.toml"
    path.write_text(GOOD)
    assert len(read_sheet(path).items) == 2
    assert old in GOOD
    path.write_text(GOOD.replace(old, new, 1))
    with pytest.raises(GrammarError) as caught:
        read_sheet(path)
    assert str(caught.value).startswith(f"{path}: ")
    assert reason in caught.value.reason
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("text", ["", "item = 3", "item = [3]", "[[item]]\nsay = 'x\n"])
def test_no_sheet_at_all(tmp_path: Path, text: str):
    path = tmp_path / "mine.toml"
    path.write_text(text)
    with pytest.raises(GrammarError):
        read_sheet(path)
    with pytest.raises(GrammarError, match="cannot be read"):
        read_sheet(tmp_path / "none.toml")
