"""When to stop and call the vet: each rule of grammar/cautions.toml, with its source."""

from pathlib import Path

import pytest

from handsfree.errors import GrammarError
from handsfree.grammar import Grammar, folder
from handsfree.grammar.known import ids_of
from handsfree.grammar.words import read_table
from handsfree.records.entries import (
    Entry,
    Finding,
    Measurement,
    Nails,
    Plan,
    Remark,
    ScaleGrade,
    Work,
)
from handsfree.visit.cautions import due, read_rules

USUAL = (folder() / "cautions.toml", ids_of(read_table(folder() / "words.csv")))


def found(term: str | None = None, limb: str | None = "LH", **more: object) -> Finding:
    return Finding(limb=limb, term=term, **more)  # type: ignore[arg-type]


def graded(scale: str, value: float, limb: str | None = "LH") -> Finding:
    term = "lameness" if scale == "lameness" else None
    return Finding(limb=limb, term=term, scale_grade=ScaleGrade(scale, value))


@pytest.mark.parametrize(
    ("entries", "id"),
    [
        # University of Florida Large Animal Hospital 2012: a true emergency.
        ([found("puncture")], "puncture"),
        ([found("puncture", zone="sole", age="old")], "puncture"),
        # Frog and grooves gravest: common practice, no source.
        ([found("puncture", zone="frog")], "puncture_frog"),
        ([found("puncture", zone="central_sulcus")], "puncture_frog"),
        ([found("puncture", zone="collateral_sulcus", side="medial")], "puncture_frog"),
        # VCA Animal Hospitals, nail bind and nail prick.
        ([found("nail_prick")], "nail_prick"),
        ([found("nail_bind", side="lateral"), found("heat")], "nail_bind_sore"),
        ([found("lameness", grade="slight"), found("nail_bind")], "nail_bind_sore"),
        ([graded("lameness", 1), found("nail_bind")], "nail_bind_sore"),
        ([found("bounding_pulse"), found("nail_bind")], "nail_bind_sore"),
        # The Veterinary Care of the Horse; Jurga 2008.
        ([found("canker", grade="slight")], "canker"),
        # Equus, April 2017: warm hooves and a bounding pulse.
        ([found("bounding_pulse"), found("heat", zone="wall")], "hot_foot_with_pulse"),
        ([found("heat"), Work(limb="LH", action="trimmed"), found("bounding_pulse")],
         "hot_foot_with_pulse"),
        # Penno, AAEP 2012: severe is grade 4 or 5 of the AAEP scale.
        ([graded("lameness", 4)], "severe_lameness"),
        ([graded("lameness", 5)], "severe_lameness"),
        ([found("lameness", grade="severe")], "severe_lameness"),
        # Equus, April 2017; grades of Obel 1948.
        ([graded("laminitis", 1)], "laminitis"),
        ([graded("laminitis", 4)], "laminitis"),
        ([found("laminitis")], "laminitis"),
        ([found("laminitis", age="fresh", grade="slight")], "laminitis"),
        # Thal: the vet at once; Horse Journal: more than half an inch, or deep.
        ([found("cut", zone="coronary_band", grade="severe", age="fresh")], "coronet_cut_bad"),
        ([found("cut", zone="coronary_band", age="fresh")], "coronet_cut_bad"),
        ([found("cut", zone="coronary_band", extent_mm=12.7)], "coronet_cut_bad"),
        ([found("lameness"), found("cut", zone="coronary_band")], "coronet_cut_bad"),
    ],
)  # fmt: skip
def test_due(entries: list[Entry], id: str):
    [caution] = [caution for caution in due(entries) if caution.urgent]
    assert (caution.id, caution.limb) == (id, "LH")
    assert caution.entry_index == len(entries) - 1
    assert caution.orders_later == caution.orders
    assert caution.spoken[0] == "Stop. Call the vet."
    assert caution.shown.count(". ") <= 1
    assert "vet decides" in caution.shown
    assert "local law" in caution.shown
    assert caution.source
    # On a screen as to the ear the order comes first, then why.
    assert caution.text.startswith("Stop. Call the vet. ")
    assert caution.text.endswith(caution.shown)
    assert all(phrase in caution.text for phrase in caution.spoken)


@pytest.mark.parametrize(
    "entries",
    [
        [],
        [found("bruise", grade="severe")],
        [found("abscess")],
        [found("heat")],
        [found("bounding_pulse")],
        # A raised pulse is not a bounding one.
        [found("heat"), found("raised_pulse")],
        # Not of the same limb; an unnamed foot may be any.
        [found("heat", "LH"), found("bounding_pulse", "RH")],
        [found("heat", None), found("bounding_pulse", "RH")],
        # In both fronts, not behind, nor on one side.
        [found("bounding_pulse", "LH"), found("bounding_pulse", "RH")],
        [found("bounding_pulse", "LF"), found("bounding_pulse", "LH")],
        [found("raised_pulse", "LF"), found("bounding_pulse", "RF")],
        [found("laminitis", age="old")],
        [found("keratoma", age="old")],
        [found("cut", zone="coronary_band", age="old", grade="severe", extent_mm=40)],
        [found("cut", zone="coronary_band", trend="better")],
        [found("cut", zone="pastern", grade="severe")],
        [graded("lameness", 3)],
        [graded("lameness", 0)],
        [found("lameness", grade="moderate")],
        [found("thrush", grade="severe", zone="frog")],
        [graded("body_condition", 9, None)],
        # Only what was found counts, not what is planned or remarked.
        [Plan(limb="LH", action="next_time", text="puncture"), Remark(limb="LH", text="canker")],
        [Nails(limb="LH", action="pulled", count=None), Measurement(limb="LH", value=1e9)],
        [Finding()],
    ],
)
def test_not_due(entries: list[Entry]):
    assert due(entries) == []


@pytest.mark.parametrize("order", [("LF", "RF"), ("RF", "LF")])
def test_a_bounding_pulse_in_both_fronts_is_one_caution_of_no_one_foot(order: tuple[str, str]):
    entries = [
        found("bounding_pulse", order[0]),
        found("thrush"),
        found("bounding_pulse", order[1]),
    ]
    assert due(entries[:2]) == []
    [caution] = due(entries)
    assert (caution.id, caution.limb, caution.entry_index) == ("pulse_both_fronts", None, 2)
    assert caution.spoken == ("Stop. Call the vet.", "Bounding pulse in both fronts.")
    # With heat the hot foot is told as well.
    [pulse, hot] = due([*entries, found("heat", "LF")])
    assert (pulse.id, hot.id, hot.limb) == ("pulse_both_fronts", "hot_foot_with_pulse", "LF")


@pytest.mark.parametrize(
    ("entry", "id", "order"),
    [
        (found("nail_bind"), "nail_bind", "Pull that nail."),
        (found("keratoma", zone="toe"), "keratoma", "Call the vet."),
        (found("cut", zone="coronary_band", side="lateral"), "coronet_cut", "Ask the vet today."),
        (found("cut", zone="coronary_band", extent_mm=8), "coronet_cut", "Ask the vet today."),
    ],
)
def test_what_is_no_emergency_has_an_order_of_its_own(entry: Finding, id: str, order: str):
    [caution] = due([entry])
    assert (caution.id, caution.limb, caution.urgent) == (id, "LH", False)
    assert caution.spoken[0] == order
    assert "vet decides" in caution.shown


def test_a_close_nail_is_no_emergency_until_the_foot_is_sore():
    plain = due([found("nail_bind")])
    assert plain[0].spoken == (
        *("Pull that nail.", "Nail bind.", "Watch for heat or lameness."),
        "If either comes, ask the vet.",
    )
    # Whoever reads it later must not take the order to the farrier for one to himself.
    assert "Pull" not in plain[0].orders_later
    for other in (found("heat", "RF"), found("heat", denied=True), graded("lameness", 0)):
        assert due([found("nail_bind"), other]) == plain
    both = due([found("nail_bind"), found("heat")])
    assert [(c.id, c.urgent) for c in both] == [("nail_bind", False), ("nail_bind_sore", True)]


def test_what_was_denied_calls_for_nothing(grammar: Grammar):
    terms = [word.id for word in grammar.table if word.slot == "term"]
    everything: list[Entry] = []
    for limb in ("LF", "RF", None):
        for zone in (None, "frog", "coronary_band"):
            for term in terms:
                about = {"limb": limb, "zone": zone, "grade": "severe", "extent_mm": 50}
                everything.append(found(term, denied=True, **about))  # type: ignore[arg-type]
        everything.append(Finding(limb=limb, scale_grade=ScaleGrade("laminitis", 3), denied=True))
    assert due(everything) == []


def test_the_order_comes_first_and_is_short():
    for rule in read_rules(*USUAL):
        assert 2 <= len(rule.spoken[0].split()) <= 5, rule.id
        assert all(phrase.endswith(".") for phrase in rule.spoken)
        assert "\n" not in rule.shown
        assert "no source" in rule.source or len(rule.source) > 20


def test_one_caution_for_each_id_and_limb_in_the_order_they_came_up():
    entries = [
        found("canker", "RF"),
        found("nail_prick", "LH"),
        found("canker", "RF", grade="severe"),
        found("canker", "LF"),
        found("canker", None),
    ]
    said = [(c.id, c.limb, c.entry_index) for c in due(entries)]
    assert said == [
        ("canker", "RF", 0),
        ("nail_prick", "LH", 1),
        ("canker", "LF", 3),
        ("canker", None, 4),
    ]


def test_the_graver_puncture_is_said_after_the_plain_one_but_not_the_other_way_round():
    plain, grave = found("puncture"), found("puncture", zone="frog")
    assert [c.id for c in due([plain, grave])] == ["puncture", "puncture_frog"]
    assert [c.id for c in due([grave, plain])] == ["puncture_frog"]


def test_what_was_due_stays_due_as_more_is_said():
    entries: list[Entry] = [found("heat"), found("puncture"), found("bounding_pulse")]
    seen: set[tuple[str, str | None]] = set()
    for end in range(len(entries) + 1):
        now = {(c.id, c.limb) for c in due(entries[:end])}
        assert seen <= now
        seen = now
    assert due([e for e in entries if e.term != "heat"])[-1].id == "puncture"  # type: ignore[union-attr]


def test_nothing_that_is_spoken_treats_grades_or_names_a_drug():
    terms = ("puncture", "nail_prick", "nail_bind", "canker", "heat", "bounding_pulse", "keratoma")
    entries = [
        *(found(t) for t in terms),
        *(graded("laminitis", 2), graded("lameness", 5), found("puncture", "RF", zone="frog")),
        *(found("bounding_pulse", limb) for limb in ("LF", "RF")),
        *(found("cut", limb, zone="coronary_band") for limb in ("LH", "RH")),
    ]
    cautions = due(entries)
    assert {c.id for c in cautions} == {rule.id for rule in read_rules(*USUAL)}
    text = " ".join(
        [*(s for c in cautions for s in c.spoken), *(c.shown for c in cautions)]
    ).lower()
    for word in ("poultice", "soak", "antibiotic", "bute", "flush", "dose", "pull it out", "dig"):
        assert word not in text
    for caution in cautions:
        assert all(len(phrase.split()) <= 15 for phrase in caution.spoken)
        assert not any(ch.isdigit() or ch == "_" for s in caution.spoken for ch in s)


GOOD = """
closing = "The vet decides."
[[caution]]
id = "canker"
when = { term = "canker" }
spoken = ["Stop. Call the vet."]
shown = "Canker is for the vet."
source = "a book"
"""


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ('term = "canker"', 'term = "cankre"', "did you mean 'canker'"),
        ('term = "canker"', 'zone = ["frog", "toes"]', "did you mean 'toe'"),
        ('term = "canker"', 'trem = "canker"', "did you mean 'term'"),
        ('term = "canker"', 'quantity = "toe_length"', "no such key: 'quantity'"),
        ('term = "canker"', 'scale = "lame"', "did you mean 'lameness'"),
        ('term = "canker"', "at_least = 4", "at_least needs a scale"),
        ('term = "canker"', 'scale = "lameness", at_least = "four"', "is a number"),
        ('term = "canker"', 'kind = "finding", unless = { term = "corn" }', "'unless'"),
        ('term = "canker"', 'kind = "nials"', "did you mean 'nails'"),
        ('term = "canker"', "term = []", "term is empty"),
        ('when = { term = "canker" }', "when = []", "lacks 'when'"),
        ('when = { term = "canker" }', 'when = "canker"', "a condition is a table"),
        (
            'term = "canker"',
            'together_with = { together_with = { term = "heat" } }',
            "holds no third one",
        ),
        ('term = "canker"', 'other_than = "old"', "other_than is a table"),
        ('term = "canker"', 'other_than = { age = "auld" }', "did you mean 'old'"),
        ('term = "canker"', 'other_than = { colour = "old" }', "no such key: 'colour'"),
        ('term = "canker"', 'extent_at_least_mm = "20"', "extent_at_least_mm is a number"),
        ('term = "canker"', 'kind = "work", extent_at_least_mm = 20', "a work has no extent"),
        ('source = "a book"', 'source = "a book"\nfeet = ["LX"]', "feet is a list of LF, LH"),
        ('source = "a book"', 'source = "a book"\nfeet = "LF"', "feet is a list of LF, LH"),
        ('source = "a book"', 'source = "a book"\nurgent = "no"', "urgent is true or false"),
        ('source = "a book"', 'source = "a book"\nafterwards = ""', "afterwards is text"),
        ('source = "a book"', "", "lacks 'source'"),
        ('source = "a book"', 'sauce = "a book"', "did you mean 'source'"),
        ('spoken = ["Stop. Call the vet."]', 'spoken = "Stop"', "list of short phrases"),
        ('shown = "Canker is for the vet."', "shown = 3", "shown is text"),
        ("[[caution]]", "[caution]", "has no [[caution]]"),
        ('closing = "The vet decides."', "closing = 1", "closing"),
        ('closing = "The vet decides."', "[[caution]]\nid = 5", "caution 1: lacks"),
    ],
)
def test_a_wrong_file_is_named_with_the_reason(
    tmp_path: Path, grammar: Grammar, old: str, new: str, reason: str
):
    path = tmp_path / "cautions.toml"
    path.write_text(GOOD)
    ids = ids_of(grammar.table)
    assert read_rules(path, ids)[0].shown == "Canker is for the vet. The vet decides."
    assert GOOD.count(old) == 1
    path.write_text(GOOD.replace(old, new))
    with pytest.raises(GrammarError) as caught:
        read_rules(path, ids)
    assert str(caught.value).startswith("cautions.toml: ")
    assert reason in caught.value.reason
    assert "\n" not in str(caught.value)


def test_twice_the_same_id_no_toml_no_text_and_no_file(tmp_path: Path, grammar: Grammar):
    path, ids = tmp_path / "cautions.toml", ids_of(grammar.table)
    path.write_text(GOOD + GOOD.replace('closing = "The vet decides."', ""))
    with pytest.raises(GrammarError, match="two cautions with the id 'canker'"):
        read_rules(path, ids)
    path.write_text('closing = "x"\nwhen = }\n')
    with pytest.raises(GrammarError, match=r"^cautions\.toml:2: not TOML") as caught:
        read_rules(path, ids)
    assert caught.value.line == 2
    path.write_bytes(b"\xff\xfe")
    with pytest.raises(GrammarError, match="cannot be read"):
        read_rules(path, ids)
    path.unlink()
    with pytest.raises(GrammarError, match="cannot be read"):
        read_rules(path, ids)


def test_the_file_that_comes_with_handsfree_is_right(grammar: Grammar):
    rules = read_rules(folder() / "cautions.toml", ids_of(grammar.table))
    assert [r.id for r in rules][:2] == ["puncture_frog", "puncture"]
    # What is no emergency comes after everything that is.
    urgent = [rule.urgent for rule in rules]
    assert urgent == sorted(urgent, reverse=True)
