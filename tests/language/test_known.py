"""Every id of the record contract can be written to the log and read again."""

from collections.abc import Iterator

import pytest

from handsfree.grammar.grammar import folder
from handsfree.language.known import check_body, entry_of, known_ids
from handsfree.language.tables import read_ids, read_tables
from handsfree.records.checking import Unreadable
from handsfree.records.entries import to_json

# The lists of the record contract: those of "Ids and how they are spoken", then those of
# "Natural speech".
LIMBS = "LF RF LH RH"
SIDES = "medial lateral"
ZONES = """toe quarter heel bulb sole frog bar seat_of_corn white_line wall coronary_band
    central_sulcus collateral_sulcus clip pastern fetlock cannon hock knee shoulder back"""
GRADES = "slight mild moderate severe"
AGES = "old fresh"
TRENDS = "better worse same"
TERMS = """bruise corn thrush canker crack flare dish chip separation seedy_toe white_line_disease
    abscess puncture nail_prick nail_bind heat raised_pulse bounding_pulse tender swelling cut
    thin_sole flat_sole long_toe low_heel underrun_heels contracted_heels sheared_heels growth_ring
    loose_clinch risen_clinch sprung_shoe shifted_shoe lost_shoe missing_nail wear brushing forging
    overreach stumbling lameness base_narrow base_wide toed_in toed_out
    clear loose_shoe club_foot broken_back_axis broken_forward_axis stretched_white_line
    shelly_wall wall_loss dropped_sole folded_bar narrow_frog shed_frog keratoma laminitis sidebone
    ringbone mud_fever mites winging high_side"""
SCALES = (("lameness", 5), ("body_condition", 9.5), ("laminitis", 4))
QUANTITIES = """toe_length hoof_angle heel_angle pastern_angle heel_height heel_length hoof_width
    hoof_length coronary_circumference sole_depth wall_thickness frog_width frog_length heart_girth
    body_length height neck_girth weight"""
UNITS = "mm cm in deg kg lb hands"
NAILS = "pulled driven left_in lost in_shoe"
WORK = """shoe_pulled trimmed shoe_reset new_shoe rasped clinched packed barefoot flare_dressed
    toe_dressed hot_fitted drilled_tapped abscess_opened corn_pared poulticed resected treated"""
SHOES = "size section clips studs pads crease bar_shoe rolled_toe fit inside_rounded wedge"
PLANS = "return call_vet watch next_time tell_owner xray"


def _bodies() -> Iterator[dict[str, object]]:
    for key, ids in {
        **{"limb": LIMBS, "side": SIDES, "zone": ZONES, "grade": GRADES, "age": AGES},
        **{"trend": TRENDS, "term": TERMS},
    }.items():
        for id in ids.split():
            yield {"kind": "finding", key: id}
            yield {"kind": "finding", "term": "crack", "denied": True, key: id}
    for scale, value in SCALES:
        yield {"kind": "finding", "scale_grade": {"scale": scale, "value": value}}
    for quantity in QUANTITIES.split():
        for unit in UNITS.split():
            body = {"kind": "measurement", "quantity": quantity, "value": 16.1, "unit": unit}
            yield body
            yield body | {"unit_inferred": True}
    yield from ({"kind": "nails", "action": each, "count": 3} for each in NAILS.split())
    yield from ({"kind": "work", "action": each} for each in WORK.split())
    yield from ({"kind": "shoe", "item": each, "detail": "00"} for each in SHOES.split())
    yield from ({"kind": "plan", "action": each, "text": "him"} for each in PLANS.split())
    yield {"kind": "remark", "text": ""}


def test_every_id_of_the_contract_can_be_kept_and_read() -> None:
    for body in _bodies():
        check_body(body)
        entry = entry_of(body)
        assert not isinstance(entry, Unreadable)
        assert entry_of(to_json(entry)) == entry


@pytest.mark.parametrize(
    "body",
    [
        {"kind": "finding", "term": "wart"},
        {"kind": "finding", "side": "both"},
        {"kind": "finding", "limb": "LF+RF"},
        {"kind": "measurement", "quantity": "height", "value": 3.0, "unit": "week"},
        {"kind": "plan", "action": "sell"},
        {"kind": "work", "action": "burn"},
    ],
    ids=str,
)
def test_what_only_helps_to_read_is_no_id(body: dict[str, object]) -> None:
    with pytest.raises(ValueError, match="there is no"):
        check_body(body)


def test_the_ids_of_natural_speech_are_those_of_its_phrases() -> None:
    """The quick reading of the ids against the whole of the tables."""
    said = read_ids(folder() / "said")
    tables = read_tables(folder() / "said")
    concepts = [each for found in tables.phrases.values() for each in found]
    terms = {each.id for each in concepts if each.kind in ("term", "clear")}
    terms |= {made.term for found in tables.made.values() for made in found}
    assert said["term"] == terms
    works = {each.id for each in concepts if each.kind == "work"} | {
        work for work, *_ in tables.made_work
    }
    assert said["work"] == works
    for slot in ("zone", "quantity", "shoe", "plan", "grade", "age", "trend"):
        assert said[slot] == {each.id for each in concepts if each.kind == slot}
    for slot in ("term", "zone", "side", "grade"):
        filled = {v for each in concepts for k, v in each.adds if k == slot}
        assert filled <= known_ids()[slot]
