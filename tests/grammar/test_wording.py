"""Entries in words, for the eye and for the ear: every id there is, and what denies or measures."""

from itertools import product
from typing import Any

import pytest

from handsfree.grammar import Grammar
from handsfree.grammar.meaning import PLANS
from handsfree.grammar.wording import PLAN_NAMES, Wording
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
from handsfree.sums.wording import ForEar, ForEye
from handsfree.visit.conditions import SCALES
from handsfree.visit.spoken import Spoken

CONTRACT = {
    "term": """bruise corn thrush canker crack flare dish chip separation seedy_toe
        white_line_disease abscess puncture nail_prick nail_bind heat raised_pulse bounding_pulse
        tender swelling cut thin_sole flat_sole long_toe low_heel underrun_heels contracted_heels
        sheared_heels growth_ring loose_clinch risen_clinch sprung_shoe shifted_shoe lost_shoe
        missing_nail wear brushing forging overreach stumbling lameness base_narrow base_wide
        toed_in toed_out clear loose_shoe club_foot broken_back_axis broken_forward_axis
        stretched_white_line shelly_wall wall_loss dropped_sole folded_bar narrow_frog shed_frog
        keratoma laminitis sidebone ringbone mud_fever mites winging high_side""",
    "zone": """toe quarter heel bulb sole frog bar seat_of_corn white_line wall coronary_band
        central_sulcus collateral_sulcus clip pastern fetlock cannon hock knee shoulder back""",
    "side": "medial lateral",
    "grade": "slight mild moderate severe",
    "age": "old fresh",
    "trend": "better same worse",
    "quantity": """toe_length hoof_angle heel_angle pastern_angle heel_height heel_length
        hoof_width hoof_length coronary_circumference sole_depth wall_thickness frog_width
        frog_length heart_girth body_length height neck_girth weight""",
    "unit": "mm cm in deg kg lb hands",
    "nail": "pulled driven left_in lost in_shoe",
    "work": """shoe_pulled trimmed shoe_reset new_shoe rasped clinched packed barefoot
        flare_dressed toe_dressed hot_fitted drilled_tapped abscess_opened corn_pared poulticed
        resected treated""",
    "shoe": """size section clips studs pads crease bar_shoe rolled_toe fit inside_rounded
        wedge branch""",
    "plan": "return call_vet watch next_time tell_owner xray",
}
"""The ids of the record contract, and those of our own (branch)."""


@pytest.mark.parametrize("slot", CONTRACT)
def test_the_table_has_every_id_of_the_contract_with_its_meaning(grammar: Grammar, slot: str):
    rows = [word for word in grammar.table if word.slot == slot]
    assert {word.id for word in rows} == set(CONTRACT[slot].split())
    assert all(word.definition and word.forms for word in rows)
    assert {word.like for word in rows if word.in_sentences}.issuperset(
        word.like for word in rows if slot != "plan" and word.like
    )


def test_plans_are_the_same_everywhere():
    assert set(PLAN_NAMES) == PLANS == set(CONTRACT["plan"].split())


def every_entry() -> list[Entry]:
    """One of each id, with all that may stand beside it."""
    made: list[Entry] = [Finding(), Measurement(), Nails(), Shoe(), Work(), Plan(), Remark()]
    ids = {slot: text.split() for slot, text in CONTRACT.items()}
    for term, no in product([*ids["term"], None], (False, True)):
        made += [Finding(term=term, denied=no), Finding(term=term, side="medial", denied=no)]
        made += [Finding(term=term, zone=z, side="lateral", denied=no) for z in ids["zone"]]
        for key in ("grade", "age", "trend"):
            made += [Finding(term=term, denied=no, **{key: id}) for id in ids[key]]  # type: ignore[arg-type]
    for scale, no in product(sorted(SCALES), (False, True)):
        made.append(Finding(scale_grade=ScaleGrade(scale, 2), denied=no))
    for quantity, unit in product(ids["quantity"], [*ids["unit"], None]):
        made += [Measurement(quantity=quantity, value=v, unit=unit) for v in (None, 16.1, 16.5)]
        made.append(Measurement(quantity=quantity, value=4, unit=unit, unit_inferred=True))
    made += [Nails(action=a, count=c, side=s)
             for a, c, s in product(ids["nail"], (None, 1, 8), (None, "medial"))]  # fmt: skip
    details = (None, "4", "00", "5.25 in", "egg", "leather pads", "three quarter")
    made += [Shoe(item=item, detail=d) for item, d in product(ids["shoe"], details)]
    made += [Work(action=action) for action in ids["work"]]
    made += [Plan(action=a, text=t, weeks=w)
             for a, t, w in product(ids["plan"], (None, "2 toes"), (None, 1, 6))]  # fmt: skip
    return made


def test_every_id_has_words_for_the_eye_and_for_the_ear(grammar: Grammar):
    wording, spoken = Wording(grammar), Spoken(grammar)
    eye, ear = ForEye(grammar), ForEar(grammar)
    for entry in every_entry():
        shown, said = wording.describe(entry), spoken.entry(entry)
        for text in (shown, said, eye.entry(entry), ear.entry(entry)):
            assert "_" not in text, (entry, text)
            assert "None" not in text, (entry, text)
        assert said.strip(), entry
        assert not any(c.isdigit() for c in said), (entry, said)
        spoken.number_part(entry)
        spoken.read_back([entry], {0})
        assert shown.strip() or entry in (Finding(), Measurement(), Shoe(), Work()), entry


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        (Finding(term="heat", denied=True), "no heat"),
        (Finding(term="thrush", zone="frog", denied=True), "no thrush in the frog"),
        (Finding(term="bruise", zone="heel", side="lateral", denied=True),
         "no bruise at the outside heel"),
        (Finding(term="flare", side="medial", denied=True), "no flare on the inside"),
        (Finding(term="crack", age="fresh", denied=True), "no fresh crack"),
        (Finding(term="lameness", denied=True), "not lame"),
        (Finding(term="tender", zone="sole", denied=True), "not tender in the sole"),
        (Finding(term="toed_in", denied=True), "not toed in"),
        (Finding(term="contracted_heels", denied=True), "no contracted heels"),
        (Finding(term="clear", denied=True), "not clear"),
        (Finding(term="high_side", side="lateral"), "outside higher"),
        (Finding(term="high_side", side="lateral", zone="heel"), "heel outside higher"),
        (Finding(term="high_side", side="medial", denied=True), "inside not higher"),
        (Finding(term="high_side"), "high side"),
        (Finding(term="clear", zone="frog"), "frog clear"),
        (Plan(action="tell_owner", text="keep it dry"), "tell the owner: keep it dry"),
        (Plan(action="tell_owner"), "tell the owner"),
        (Plan(action="xray"), "x-ray"),
        (Plan(action="call_vet"), "call the vet"),
        (Plan(action="call_vet", text="do not pull it"), "call the vet: do not pull it"),
        (Plan(action="watch"), "watch this foot"),
        (Plan(action="watch", text="that crack"), "watch: that crack"),
        (Plan(action="return"), "come back"),
        (Shoe(item="bar_shoe", detail="egg"), "egg bar shoe"),
        (Shoe(item="bar_shoe", detail="egg bar"), "egg bar shoe"),
        (Shoe(item="bar_shoe"), "bar shoe"),
        (Shoe(item="wedge"), "wedge"),
        (Shoe(item="wedge", detail="heel wedge"), "heel wedge"),
        (Shoe(item="pads", detail="leather"), "leather pads"),
        (Shoe(item="pads", detail="leather pads"), "leather pads"),
        (Shoe(item="studs", detail="four road studs"), "four road studs"),
        (Shoe(item="clips", detail="toe"), "toe clip"),
        (Shoe(item="crease", detail="lengthened outside"), "crease lengthened outside"),
        (Shoe(item="rolled_toe", detail="rocker toe"), "rocker toe"),
        (Work(action="drilled_tapped"), "drilled and tapped"),
        (Nails(action="in_shoe"), "nail count"),
    ],
)  # fmt: skip
def test_words(grammar: Grammar, entry: Entry, words: str):
    assert Wording(grammar).describe(entry) == words
    assert Spoken(grammar).entry(entry) == words


@pytest.mark.parametrize(
    ("value", "shown", "said"),
    [
        (16, "16 hands", "sixteen hands"),
        (16.1, "16.1 hands", "sixteen hands one"),
        (15.35, "15.35 hands", "fifteen hands three and a half"),
        (1, "1 hands", "one hand"),
        (0.2, "0.2 hands", "two inches"),
        (16.5, "16.5 hands", "sixteen point five hands"),
    ],
)
def test_heights_in_hands(grammar: Grammar, value: float, shown: str, said: str):
    entry = Measurement(quantity="height", value=value, unit="hands")
    assert Wording(grammar).describe(entry) == f"height {shown}"
    assert Spoken(grammar).entry(entry) == f"height {said}"


@pytest.mark.parametrize(
    ("detail", "said"),
    [("00", "size zero zero"), ("0", "size zero"), ("4.5", "size four and a half"),
     ("5.25 in", "size five and a quarter inches"), ("9 mm", "size nine millimeters")],
)  # fmt: skip
def test_sizes_as_they_are_said(grammar: Grammar, detail: str, said: str):
    assert Spoken(grammar).entry(Shoe(item="size", detail=detail)) == said
    assert Wording(grammar).describe(Shoe(item="size", detail=detail)) == f"size {detail}"


def test_a_unit_that_was_inferred_is_shown_as_any(grammar: Grammar):
    about: dict[str, Any] = {"quantity": "toe_length", "value": 85, "unit": "mm"}
    said, meant = Measurement(**about), Measurement(**about, unit_inferred=True)
    for words in (Wording(grammar).describe, Spoken(grammar).entry):
        assert words(said) == words(meant)
