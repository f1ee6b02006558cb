"""The slots of every kind of entry and the values offered for them."""

import random
from dataclasses import replace
from typing import Any

import pytest

from handsfree.grammar import Grammar
from handsfree.grammar.meaning import PLANS
from handsfree.grammar.wording import Wording
from handsfree.grammar.words import TradeWord, plain_words
from handsfree.records.checking import SCALES
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
from handsfree.review.alike import Alike
from handsfree.review.choices import LABELS, Choices, Evidence
from handsfree.review.desk import Desk
from handsfree.review.items import Slot
from handsfree.review.putting import Putting, Unusable
from handsfree.review.sayable import OF_NUMBERS, Sayable
from handsfree.review.sayings import Sayings
from handsfree.visit.spoken import Spoken

BRUISE = Finding(limb="LH", zone="heel", side="medial", term="bruise")
TOE = Measurement(limb="LF", quantity="toe_length", value=3.25, unit="in")


@pytest.fixture(scope="module")
def sayable(grammar: Grammar) -> Sayable:
    return Sayable(grammar, Sayings(grammar, Wording(grammar)))


@pytest.fixture(scope="module")
def choices(grammar: Grammar, sayable: Sayable) -> Choices:
    return Choices(grammar, Wording(grammar), sayable)


@pytest.fixture(scope="module")
def putting(grammar: Grammar, choices: Choices, sayable: Sayable) -> Putting:
    wording = Wording(grammar)
    return Putting(choices, sayable, Sayings(grammar, wording), wording)


def slots(choices: Choices, entry: Entry, evidence: Evidence | None = None) -> dict[str, Slot]:
    return {slot.name: slot for slot in choices.slots(entry, evidence or Evidence())}


def ids(slot: Slot) -> list[str | None]:
    return [choice.id for choice in slot.choices]


@pytest.mark.parametrize(
    ("entry", "names"),
    [
        (
            BRUISE,
            "limb zone side term grade age trend below_hairline_mm extent_mm denied",
        ),
        (Finding(limb="LH", term="clear", zone="frog"), "limb zone side term"),
        (Finding(scale_grade=ScaleGrade("body_condition", 5)), "trend scale value"),
        (
            Finding(limb="LH", term="lameness", scale_grade=ScaleGrade("lameness", 2)),
            "limb trend scale value",
        ),
        (TOE, "limb side quantity value unit"),
        (Measurement(quantity="weight", value=900, unit="kg"), "quantity value unit"),
        (Nails(limb="LH", action="driven", count=8), "limb side action count"),
        (Nails(limb="LH", action="in_shoe", count=8), "limb action count"),
        (Shoe(limb="LH", item="size", detail="4"), "limb item detail"),
        (Shoe(limb="LH", item="pads"), "limb item"),
        (Work(limb="LH", action="packed"), "limb action"),
        (Plan(action="return", weeks=6), "action weeks"),
        (Plan(limb="LH", action="watch"), "limb action"),
        (Plan(limb="LH", action="watch", text="that crack"), "limb action text"),
        (Plan(action="tell_owner", text="keep it dry"), "action text"),
        (Plan(limb="LH", action="xray"), "limb action"),
        (
            Finding(limb="LH", term="laminitis"),
            "limb side term grade age trend below_hairline_mm extent_mm denied",
        ),
        (
            Finding(limb="LH", term="keratoma", zone="toe"),
            "limb zone side term grade age trend below_hairline_mm extent_mm denied",
        ),
        (
            Finding(limb="LH", term="thrush", zone="frog", denied=True),
            "limb zone side term grade age trend denied",
        ),
        (Measurement(quantity="height", value=16.1, unit="hands"), "quantity value unit"),
        (Plan(limb="LH", action="next_time", text="trimmed"), "limb action text"),
        (Remark(limb="LH", text=""), "limb text"),
    ],
)
def test_the_slots_of_each_kind(choices: Choices, entry: Entry, names: str) -> None:
    found = choices.slots(entry, Evidence())
    order = list(LABELS)
    assert {slot.name for slot in found} == set(names.split())
    assert [slot.name for slot in found] == sorted((s.name for s in found), key=order.index)
    assert all(slot.label == LABELS[slot.name] for slot in found)


def test_choices_are_the_trades_words_only(choices: Choices, grammar: Grammar) -> None:
    shown = {word.forms[0] for word in grammar.table} | {"not said", "there", "not there"}
    for entry in (BRUISE, TOE, Work(limb="LH", action="packed"), Shoe(limb="LH", item="pads")):
        for slot in choices.slots(entry, Evidence()):
            assert {choice.label for choice in slot.choices} <= shown


def test_every_id_of_the_table_is_offered_somewhere(choices: Choices, grammar: Grammar) -> None:
    entries: tuple[Entry, ...] = (
        *(BRUISE, Finding(limb="LH", term="heat"), TOE, Measurement(quantity="weight")),
        *(Nails(limb="LH", action="driven", count=8), Shoe(limb="LH", item="pads")),
        *(Work(limb="LH", action="packed"), Measurement(quantity="hoof_angle")),
        Measurement(quantity="height", value=160, unit="cm"),
    )
    offered = {
        id for entry in entries for slot in choices.slots(entry, Evidence()) for id in ids(slot)
    }
    # A size is not one without its number: it is said, "size four".
    table = {w.id for w in grammar.table if w.slot not in ("limb", "plan") or w.group == "one"}
    assert table - OF_NUMBERS <= offered
    # Of plans those that are whole by themselves; the others are said: "come back in six weeks".
    plans = set(ids(slots(choices, Plan(limb="LH", action="watch"))["action"]))
    assert plans == PLANS - {"return", "next_time"}
    lame = Finding(limb="LH", term="lameness", scale_grade=ScaleGrade("lameness", 2))
    assert set(ids(slots(choices, lame)["scale"])) == SCALES


def test_only_places_that_go_with_the_term(choices: Choices, grammar: Grammar) -> None:
    table = grammar.table
    hoof = {w.id for w in table if w.slot == "zone" and w.like == "hoof"}
    leg = {w.id for w in table if w.slot == "zone" and w.like == "leg"}
    assert set(ids(slots(choices, BRUISE)["zone"])) == {*hoof, None}
    heat = Finding(limb="LH", zone="pastern", term="heat")
    assert set(ids(slots(choices, heat)["zone"])) == {*hoof, *leg, None}
    assert "zone" not in slots(choices, Finding(limb="LH", term="contracted_heels"))


@pytest.mark.parametrize("seed", range(40))
def test_what_is_offered_can_be_put_and_said(
    choices: Choices, putting: Putting, sayable: Sayable, grammar: Grammar, seed: int
) -> None:
    """Whatever the grammar generates: every choice for it gives an entry the grammar can say."""
    rng = random.Random(seed)
    _, meaning = grammar.generate(rng, "said-one")
    for entry in (statement.entry for statement in meaning.statements):
        for slot in choices.slots(entry, Evidence()):
            present = [c for c in slot.choices if c.label == slot.shown]
            assert present or slot.free or not slot.choices
            for choice in slot.choices:
                changed = putting.put(entry, slot.name, choice.id or "")
                assert sayable.can_say(changed), (entry, slot.name, choice)


SAID_ONLY = [
    Finding(limb="LH", term="laminitis", grade="severe"),
    Finding(limb="LH", term="keratoma", zone="toe", extent_mm=9),
    Finding(limb="LH", term="mud_fever", zone="pastern", denied=True),
    Finding(limb="LH", term="tender", zone="back", trend="better"),
    Finding(limb="LH", term="thrush", denied=True),
    Measurement(quantity="height", value=16.1, unit="hands"),
    Measurement(quantity="height", value=16.5, unit="hands"),
    Measurement(limb="LH", quantity="toe_length", value=85, unit="mm", unit_inferred=True),
    Nails(limb="LH", action="in_shoe", count=10, side="medial"),
    Work(limb="LH", action="poulticed"),
    Shoe(limb="LH", item="pads", detail="leather pads"),
    Shoe(limb="LH", item="size", detail="00"),
    Shoe(limb="LH", item="bar_shoe", detail="egg"),
    Plan(limb="LH", action="tell_owner", text="keep it dry"),
    Plan(limb="LH", action="xray"),
    Plan(action="watch", text="that crack"),
]
"""What no sentence of the grammar says, or not so."""


@pytest.mark.parametrize("entry", SAID_ONLY, ids=lambda e: f"{e.kind}")
def test_what_no_sentence_says_has_slots_that_can_be_put(
    choices: Choices, putting: Putting, entry: Entry
) -> None:
    for slot in choices.slots(entry, Evidence([entry], [entry])):
        assert slot.free or slot.shown in {choice.label for choice in slot.choices}
        for choice in slot.choices:
            if slot.name == "limb" or choice.label != slot.shown:
                putting.put(entry, slot.name, choice.id or "")
    choices.said(entry)


def test_whether_it_is_there_can_be_put_right(choices: Choices, putting: Putting) -> None:
    denied = Finding(limb="LH", zone="frog", term="thrush", denied=True)
    there = putting.put(denied, "denied", "there")
    assert there == Finding(limb="LH", zone="frog", term="thrush")
    assert putting.put(there, "denied", "not there") == denied
    # What else is put right leaves it as it is.
    assert putting.put(denied, "zone", "central_sulcus") == replace(denied, zone="central_sulcus")
    assert slots(choices, denied)["denied"].shown == "not there"


def test_a_new_word_goes_with_what_goes_with_its_like(choices: Choices, putting: Putting) -> None:
    new = {"laminitis", "keratoma", "mud_fever", "winging", "high_side", "shelly_wall"}
    assert new <= set(ids(slots(choices, BRUISE)["term"]))
    assert putting.put(BRUISE, "term", "keratoma") == replace(BRUISE, term="keratoma")
    # No place goes with what the whole foot has, as with a raised pulse.
    assert putting.put(BRUISE, "term", "laminitis") == Finding(
        limb="LH", side="medial", term="laminitis"
    )


def test_a_unit_that_is_put_right_was_said(putting: Putting) -> None:
    meant = Measurement(limb="LF", quantity="toe_length", value=8.5, unit="mm", unit_inferred=True)
    assert putting.put(meant, "value", "9.5") == replace(meant, value=9.5)
    said = replace(meant, unit="cm", unit_inferred=False)
    assert putting.put(meant, "unit", "cm") == said
    assert putting.put(meant, "value", "8.5 cm") == said


def test_only_heights_are_in_hands(choices: Choices, putting: Putting) -> None:
    tall = Measurement(quantity="height", value=165, unit="cm")
    assert putting.put(tall, "value", "16.1 hands") == replace(tall, value=16.1, unit="hands")
    with pytest.raises(Unusable, match="is no number of hands"):
        putting.put(tall, "value", "16.5 hands")
    with pytest.raises(Unusable, match="toe length is not in hands"):
        putting.put(TOE, "value", "3 hands")
    assert "hands" not in ids(slots(choices, TOE)["unit"])
    wide = putting.put(replace(tall, unit="hands", value=16.1), "quantity", "heart_girth")
    assert wide == Measurement(quantity="heart_girth", value=16.1, unit="mm")


def test_details_of_a_shoe_come_from_the_grammar(choices: Choices, grammar: Grammar) -> None:
    fit = slots(choices, Shoe(limb="LH", item="fit", detail="full outside"))["detail"]
    forms = {form for w in grammar.table if (w.slot, w.id) == ("shoe", "fit") for form in w.forms}
    assert set(ids(fit)) == forms
    clips = slots(choices, Shoe(limb="LH", item="clips", detail="toe"))["detail"]
    assert set(ids(clips)) == {"toe", "quarter"}
    crease = slots(choices, Shoe(limb="LH", item="crease"))["detail"]
    done = ("lengthened", "shortened", "extended", "widened", "rounded")
    on_a_side = {f"{shaped} {side}" for shaped in done for side in ("outside", "inside")}
    assert set(ids(crease)) == {*on_a_side, None}
    # A branch is always one of the two, and the inner one rounded is an item of its own.
    branch = slots(choices, Shoe(limb="LH", item="branch", detail="extended outside"))["detail"]
    assert set(ids(branch)) == on_a_side - {"rounded inside"}
    bars = slots(choices, Shoe(limb="LH", item="bar_shoe"))["detail"]
    assert set(ids(bars)) == {"straight", "egg", "heart", "half", None}
    size = slots(choices, Shoe(limb="LH", item="size", detail="4"))["detail"]
    assert size.free


# Order


def test_what_other_readings_have_comes_first(choices: Choices) -> None:
    others = [Finding(limb="LH", zone="bar", side="lateral", term="corn")]
    found = slots(choices, BRUISE, Evidence(others))
    assert [ids(found[name])[0] for name in ("zone", "side", "term")] == ["bar", "lateral", "corn"]


@pytest.mark.parametrize(
    ("entry", "slot", "first"),
    [
        (BRUISE, "term", "brushing"),
        (Work(limb="LH", action="shoe_pulled"), "action", "shoe_reset"),
        (Finding(limb="LH", term="raised_pulse"), "term", "bounding_pulse"),
        (Finding(limb="LH", zone="central_sulcus", term="thrush"), "zone", "collateral_sulcus"),
    ],
)
def test_then_what_sounds_alike(choices: Choices, entry: Entry, slot: str, first: str) -> None:
    """Before what the horse has most often."""
    history: list[Entry] = [Finding(term="thrush")] * 9 + [Work(action="packed")] * 9
    history += [Finding(zone="frog")] * 9
    found = ids(slots(choices, entry, Evidence(history=history))[slot])
    assert found[0] == first


def test_then_what_the_horse_has_most_often_then_the_table(
    choices: Choices, grammar: Grammar
) -> None:
    history = [Finding(term="thrush")] * 2 + [Finding(term="flare")] * 3 + [Nails(action="lost")]
    found = ids(slots(choices, BRUISE, Evidence(history=history))["term"])
    table = list(dict.fromkeys(w.id for w in grammar.table if w.slot == "term"))
    rest = [id for id in table if id not in ("brushing", "flare", "thrush", "bruise")]
    assert found == ["brushing", "flare", "thrush", *rest, "bruise"]  # one sounds alike


def test_not_said_and_what_it_is_now_come_last(choices: Choices) -> None:
    history = Evidence(history=[BRUISE] * 9)
    assert ids(slots(choices, BRUISE, history)["side"]) == ["lateral", None, "medial"]


def test_the_desk_knows_the_alternatives_and_the_horse(desk: Desk, visit40: Any) -> None:
    heard = next(i for i in desk.items if i.heard == "pulled seven nails")
    count = next(slot for slot in desk.slots(heard, 0) if slot.name == "count")
    assert (count.choices[0].id, count.shown) == ("8", "7")
    # Duke was shod new all round in January; what this visit has not, the last one had.
    packed = next(i for i in desk.items if i.heard == "packed")
    work = next(slot for slot in desk.slots(packed, 0) if slot.name == "action")
    assert work.choices[0].id == "new_shoe"
    for part in (-1, 1, 99):
        assert desk.slots(packed, part) == ()
    unclear = next(i for i in desk.items if not i.parts)
    assert desk.slots(unclear, 0) == ()


def test_which_words_sound_alike(grammar: Grammar) -> None:
    alike = Alike(grammar.table)
    assert alike.sound("term", "bruise", "brushing")
    assert alike.sound("quantity", "toe_length", "heel_length")
    assert not alike.sound("zone", "heel", "toe")
    assert not alike.sound("side", "medial", "lateral")
    assert not alike.sound("term", "corn", "corn")
    assert alike.forms("term", "nail_bind") == ["nail bind", "close nail"]


def test_words_heard_for_each_other_sound_alike() -> None:
    # soundalikes.csv: "rush" is heard for "thrush", and "where" for "wear".
    table = [
        TradeWord("term", "", id, (id,), (), (), id)
        for id in ("rush", "thrush", "wear", "where", "old wear", "old where", "new where")
    ]
    alike = Alike(table)
    assert alike.sound("term", "rush", "thrush")
    assert alike.sound("term", "old wear", "old where")
    assert not alike.sound("term", "thrush", "wear")


def test_a_sentence_of_every_entry_says_the_same_again(sayable: Sayable, grammar: Grammar) -> None:
    rng = random.Random(7)
    spoken = Spoken(grammar)
    for _ in range(150):
        _, meaning = grammar.generate(rng, "said-one")
        for entry in (statement.entry for statement in meaning.statements):
            words = sayable.sentence(entry)
            if words is not None:
                assert list(words) == plain_words(spoken.entry(entry))
                assert grammar.meanings(words)[0].statements[0].entry == entry
