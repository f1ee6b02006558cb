"""Wear over the visits and its possible causes.

Lungwitz & Adams 1897: base-wide loads the inner half, base-narrow the outer. From memory: base-
narrow lands on and wears the outer branch. USDA, Diseases of the Horse: old-shoe wear is the best
evidence of how the foot meets the ground.
"""

from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.dialogue.session import Session
from handsfree.errors import GrammarError
from handsfree.grammar import load
from handsfree.grammar.grammar import folder
from handsfree.grammar.known import ids_of
from handsfree.grammar.words import read_table
from handsfree.records.entries import Entry, Finding
from handsfree.sums import wear as sums
from handsfree.sums.history import DayVisit, History, HorseFacts, Noted
from handsfree.sums.sources import FROM_MEMORY, PRACTICE
from handsfree.sums.wording import ForEar, ForEye

GRAMMAR = load()
FIRST = date(2026, 1, 5)
IDS = ids_of(read_table(folder() / "words.csv"))


def day(number: int) -> date:
    return FIRST + timedelta(weeks=6 * number)


def history(*visits: list[Entry]) -> History:
    return History(
        HorseFacts("Bramble"),
        tuple(DayVisit(day(at), tuple(map(Noted, entries))) for at, entries in enumerate(visits)),
    )


def worn(side: str | None = None, zone: str | None = None, limb: str | None = "LH") -> Finding:
    return Finding(limb=limb, side=side, zone=zone, term="wear")


def spoken(*said: str) -> list[Entry]:
    session, found = Session(GRAMMAR), []
    for words in said:
        entries = session.take(GRAMMAR.read(words.split()), 1.0).entries
        assert entries, words
        found += entries
    return found


def test_which_branch_wore_at_which_visits():
    h = history(
        spoken("left hind inside branch worn"),
        spoken("left hind outside branch worn", "right fore mild toe worn"),
        spoken("left hind bruise"),
        spoken("left hind outside branch worn"),
        spoken("right hind bruise"),
    )
    found = sums.wear(h)
    assert [(w.limb, w.side, w.zone, w.seen, w.of_visits) for w in found] == [
        ("RF", None, "toe", (day(1),), 1),
        ("LH", "lateral", None, (day(1), day(3)), 3),
        ("LH", "medial", None, (day(0),), 4),
    ]
    assert sums.headline(found[0], ForEye(GRAMMAR)) == (
        "RF toe worn: 1 of 1 visit, last 2026-02-16, mild"
    )


def test_wear_said_twice_on_one_day_is_one_visit():
    [found] = sums.wear(history([worn("lateral"), worn("lateral")]))
    assert (found.seen, found.of_visits) == ((day(0),), 1)


def test_doubtful_wear_and_other_findings_are_none():
    visit = DayVisit(FIRST, (Noted(worn("lateral"), doubtful=True),))
    assert sums.wear(History(HorseFacts("Bramble"), (visit,))) == []
    assert sums.wear(history([Finding(limb="LH", term="bruise")], [])) == []
    assert sums.lines([], ForEye(GRAMMAR)) == []


@pytest.mark.parametrize(("side", "stance"), [("lateral", "narrow"), ("medial", "wide")])
def test_stance_and_branch_by_lungwitz(side: str, stance: str):
    [found] = sums.wear(history([worn(side)]))
    [cause] = [c for c in found.causes if c.source.short == "Lungwitz & Adams 1897"]
    assert f"base-{stance}" in cause.text
    assert cause.source.unchecked is None


def test_landing_on_the_outer_branch_is_from_memory_and_says_so():
    [found] = sums.wear(history([worn("lateral")]))
    assert [c.text for c in found.causes if c.source.unchecked == FROM_MEMORY] == [
        "landing on the outer branch, as base-narrow feet do"
    ]
    assert any(line.endswith("(from memory)") for line in sums.lines([found], ForEye(GRAMMAR)))


def test_there_are_several_causes_wherever_a_shoe_wears():
    for side, zone in (("lateral", None), ("medial", None), (None, "toe"), (None, "heel")):
        [found] = sums.wear(history([worn(side, zone)]))
        assert len({cause.text for cause in found.causes}) >= 2
        assert any(not cause.recorded for cause in found.causes)


def test_wear_of_no_place_has_no_cause():
    [found] = sums.wear(history([worn()]))
    assert found.causes == ()
    assert sums.lines([found], ForEye(GRAMMAR))[1] == "no source names a cause for wear there"


def test_what_is_recorded_of_the_horse_is_told_with_its_latest_day():
    narrow = Finding(limb="LH", term="base_narrow")
    other = Finding(limb="RH", term="base_narrow")
    fore = Finding(limb="LF", term="base_narrow")
    lame = Finding(limb="RF", term="lameness", grade="mild")
    shifted = Finding(limb="RH", term="shifted_shoe")
    [found] = sums.wear(history([narrow, other, fore], [narrow, shifted], [worn("lateral"), lame]))
    recorded = {c.text.split(",")[0]: [(r.on, r.finding) for r in c.recorded] for c in found.causes}
    # Stance is of a pair of feet, a shifted shoe of one foot, a spared leg of the whole horse.
    assert recorded["base-narrow stance"] == [(day(1), narrow), (day(0), other)]
    assert recorded["a shoe that lay or moved to one side"] == []
    assert recorded["sparing a sore place on the other side"] == [(day(2), lame)]
    said = sums.cause_lines(found, ForEye(GRAMMAR))
    assert said[0] == (
        "possible: base-narrow stance, which loads the outer half (Lungwitz & Adams 1897); "
        "base narrow recorded on 2026-02-16; RH base narrow recorded on 2026-01-05"
    )


def test_lameness_grade_zero_speaks_for_nothing():
    none, some = spoken("right hind lameness grade zero", "left fore lameness grade two")
    [found] = sums.wear(history([none, some, worn("lateral")]))
    assert [r.finding for c in found.causes for r in c.recorded] == [some]


def test_no_single_cause_of_a_file_of_ones_own_is_told(tmp_path: Path):
    rules = read(tmp_path, GOOD)
    [found] = sums.wear(history([worn("lateral")]), rules)
    assert found.causes == ()


@settings(deadline=None)
@given(
    st.lists(
        st.builds(
            Finding,
            limb=st.sampled_from([None, "LF", "LH", "odd"]),
            side=st.sampled_from([None, "medial", "lateral"]),
            zone=st.sampled_from([None, "toe", "heel", "quarter", "frog"]),
            term=st.sampled_from(["wear", "base_narrow", "base_wide", "lameness", None]),
            grade=st.sampled_from([None, "mild"]),
        ),
        max_size=8,
    )
)
def test_never_one_cause_and_all_can_be_said(entries: list[Finding]):
    found = sums.wear(history([*entries[:4]], [*entries[4:]]))
    assert sum(len(w.seen) for w in found) <= sum(e.term == "wear" for e in entries)
    for each in found:
        assert len(each.causes) != 1
        assert 1 <= len(each.seen) <= each.of_visits
    said = sums.lines(found, ForEar(GRAMMAR, FIRST))
    assert not any(c.isdigit() for line in said for c in line)
    assert bool(said) == bool(found)


# The file

GOOD = """
[evidence]
text = "wear is evidence"
source = "Someone 1900"
[[cause]]
wear = { side = "lateral" }
text = "one thing"
unchecked = "from memory"
"""


def read(tmp_path: Path, text: str) -> sums.WearRules:
    path = tmp_path / "wear.toml"
    path.write_text(text, encoding="utf-8")
    return sums.read_rules(path, IDS)


def test_the_file_that_comes_with_handsfree():
    rules = sums.read_rules(folder() / "wear.toml", IDS)
    assert str(rules.evidence.source) == "USDA, Diseases of the Horse"
    for rule in rules.causes:
        # A word of one's own memory or of common practice has no source to name.
        assert (rule.source.unchecked in (FROM_MEMORY, PRACTICE)) != bool(rule.source.short)


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ("[evidence]", "[evidance]", "no such key: 'evidance'; did you mean 'evidence'?"),
        ('[evidence]\ntext = "wear is evidence"\nsource = "Someone 1900"', "", "evidence: is miss"),
        ("wear = { side", "ware = { side", "cause 1: no such key: 'ware'; did you mean 'wear'?"),
        ('"lateral"', '"latteral"', "cause 1: side has no 'latteral'; did you mean 'lateral'?"),
        ("{ side =", "{ term =", "cause 1: no such key: 'term'"),
        ('wear = { side = "lateral" }', "", "cause 1: lacks 'wear'"),
        ('wear = { side = "lateral" }', "wear = []", "cause 1: an empty list"),
        ('wear = { side = "lateral" }', "wear = 3", "cause 1: a condition is a table"),
        ('text = "one thing"', "", "cause 1: lacks 'text'"),
        ('text = "one thing"', "text = 3", "cause 1: text is text on one line, not 3"),
        ('"from memory"', '"hearsay"', "cause 1: unchecked is 'from memory' or"),
        ('unchecked = "from memory"', "", "cause 1: needs a source, or 'unchecked'"),
        ('"from memory"', '"from memory"\nof = "legs"', "cause 1: of is 'foot', 'pair', 'horse'"),
        (
            'unchecked = "from memory"',
            'source = "A"\nfindings = { term = "base_narow" }',
            "cause 1: term has no 'base_narow'; did you mean 'base_narrow'?",
        ),
        ("[[cause]]", "[cause]", "has no [[cause]]"),
        ("text =", "text", "not TOML"),
    ],
)
def test_a_fault_in_the_file_is_one_line(tmp_path: Path, old: str, new: str, reason: str):
    assert old in GOOD
    with pytest.raises(GrammarError) as error:
        read(tmp_path, GOOD.replace(old, new, 1))
    assert str(error.value).startswith("wear.toml:")
    assert reason in str(error.value)
    assert "\n" not in str(error.value)


def test_a_file_that_is_not_there(tmp_path: Path):
    with pytest.raises(GrammarError, match="cannot be read"):
        sums.read_rules(tmp_path / "wear.toml", IDS)
