"""Drawings of a foot: places, sides, marks that do not overlap, words, escaping."""

import math
import re
import xml.etree.ElementTree as ET
from itertools import combinations, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.grammar.grammar import load
from handsfree.records.units import Length
from handsfree.sheets.drawing import (
    Mark,
    Shod,
    from_below,
    from_side,
    owner_labels,
    place_of,
    vet_labels,
)
from handsfree.sheets.drawing_outline import inset
from handsfree.sheets.drawing_places import (
    ON_HORN,
    ONE_OF_TWO,
    both_places,
    outwards,
    profile_of,
    sole_of,
)
from handsfree.sheets.drawing_spread import RADIUS, spread

GRAMMAR = load()
VET, OWNER = vet_labels(GRAMMAR), owner_labels(GRAMMAR)
LIMBS = ("LF", "RF", "LH", "RH")
SIDES = (None, "medial", "lateral")
# The zones of the record contract.
ZONES = (
    "toe quarter heel bulb sole frog bar seat_of_corn white_line wall coronary_band central_sulcus "
    "collateral_sulcus clip pastern fetlock cannon hock knee shoulder back"
).split()
NOT_BELOW = {"coronary_band", "pastern", "fetlock", "cannon", "hock", "knee", "shoulder", "back"}
BESIDE = {
    *("toe", "quarter", "heel", "wall", "coronary_band", "clip"),
    *("bulb", "pastern", "fetlock", "cannon"),
}
SVG = "{http://www.w3.org/2000/svg}"


def mark(number=1, zone="heel", side="lateral", label="bruise", **more) -> Mark:
    return Mark(number, zone, side, label, **more)


def read(svg: str) -> ET.Element:
    return ET.fromstring(svg)


def alternative(svg: str) -> str:
    found = read(svg).find(f"{SVG}desc")
    assert found is not None
    return found.text or ""


def circles(svg: str) -> dict[str, tuple[float, float]]:
    """The number in each circle with the circle's middle, as it is drawn."""
    found, last = {}, None
    for each in read(svg).iter():
        if each.tag == f"{SVG}circle" and float(each.get("r", 0)) > 5:
            last = (float(each.get("cx", 0)), float(each.get("cy", 0)))
        elif each.tag == f"{SVG}text" and last and each.get("text-anchor") == "middle":
            found[each.text or ""], last = last, None
    return found


def visible(svg: str) -> list[str]:
    return [each.text or "" for each in read(svg).iter(f"{SVG}text")]


def nail_holes(svg: str) -> int:
    # A hole is the only black shape with a white edge.
    return sum(p.get("fill") == "#000" and p.get("stroke") == "#fff" for p in read(svg))


def inside(point, polygon) -> bool:
    x, y = point
    crossings = 0
    for (ax, ay), (bx, by) in zip(polygon, [*polygon[1:], polygon[0]], strict=True):
        if (ay > y) != (by > y) and x < ax + (bx - ax) * (y - ay) / (by - ay):
            crossings += 1
    return crossings % 2 == 1


def ground_with_bulbs(limb):
    sole, way = sole_of(limb), outwards(limb, "lateral")
    lateral = [(x * way, y) for x, y in [*inset(sole.lateral), *reversed(sole.bulb)]]
    medial = [(-x * way, y) for x, y in [*inset(sole.medial), *reversed(sole.bulb)]]
    return [*lateral, *reversed(medial)]


def side_outline(limb, view):
    profile = profile_of(limb)
    skin = [*profile.front[::-1], profile.toe, profile.heel, *profile.back]
    toe_left = (limb[0] == "L") == (view == "lateral")
    return [(x if toe_left else -x, y) for x, y in skin]


# Sides


@pytest.mark.parametrize(("limb", "sign"), [("LF", -1), ("LH", -1), ("RF", 1), ("RH", 1)])
def test_medial_is_on_the_true_side_from_below(limb, sign):
    # Look up at a standing horse from below with its head at the top of the paper: the viewer's
    # right hand is at the horse's left. A left foot is left of the horse's middle, so what is
    # medial of it is towards the horse's right: at the viewer's left (x < 0).
    for zone in ("heel", "quarter", "toe", "bar", "sole", "frog", "bulb", "collateral_sulcus"):
        medial = place_of(zone, "medial", limb, "below")
        lateral = place_of(zone, "lateral", limb, "below")
        assert medial[0] * sign > 0
        assert lateral[0] * sign < 0


@pytest.mark.parametrize("limb", LIMBS)
@pytest.mark.parametrize("labels", [VET, OWNER])
def test_the_words_stand_on_the_same_side_as_the_places(limb, labels):
    root = read(from_below(limb, [], None, labels))
    texts = {t.text: float(t.get("x")) for t in root.iter(f"{SVG}text")}
    for side in ("medial", "lateral"):
        place = place_of("heel", side, limb, "below")
        assert math.copysign(1, texts[labels.side(side)]) == math.copysign(1, place[0])


@pytest.mark.parametrize("limb", LIMBS)
def test_right_is_the_mirror_of_left(limb):
    other = ("R" if limb[0] == "L" else "L") + limb[1]
    for zone, side in product(ZONES, SIDES):
        for view in ("below", "lateral", "medial"):
            one, two = place_of(zone, side, limb, view), place_of(zone, side, other, view)
            assert (one is None) == (two is None)
            if one:
                assert one == pytest.approx((-two[0], two[1]))


@pytest.mark.parametrize(
    ("limb", "view", "toe_left"),
    [
        # Beside the horse on its left its head is on the viewer's left.
        ("LF", "lateral", True),
        ("RF", "medial", True),
        ("RF", "lateral", False),
        ("LH", "medial", False),
    ],
)
def test_the_toe_points_the_true_way_from_the_side(limb, view, toe_left):
    toe, heel = place_of("toe", None, limb, view), place_of("heel", None, limb, view)
    assert (toe[0] < heel[0]) is toe_left


# Places


@pytest.mark.parametrize(("limb", "zone", "side"), list(product(LIMBS, ZONES, SIDES)))
def test_from_below_every_zone_has_a_place_within_the_foot_or_is_reported(limb, zone, side):
    place = place_of(zone, side, limb, "below")
    svg = from_below(limb, [mark(zone=zone, side=side)], None, VET)
    assert (place is None) == (zone in NOT_BELOW)
    listed = "no place on this drawing" in " ".join(visible(svg))
    assert listed == (place is None)
    assert ("no place on this drawing" in alternative(svg)) == (place is None)
    if place:
        assert inside(place, ground_with_bulbs(limb))
        assert circles(svg)["1"] == pytest.approx(place, abs=0.06)


@pytest.mark.parametrize(("limb", "zone", "side"), list(product(LIMBS, ZONES, SIDES)))
@pytest.mark.parametrize("view", ["lateral", "medial"])
def test_from_the_side_every_zone_has_a_place_within_the_foot_or_is_reported(
    limb, view, zone, side
):
    place = place_of(zone, side, limb, view)
    svg = from_side(limb, view, [mark(zone=zone, side=side)], None, VET)
    seen = zone in BESIDE and side in (None, view)
    assert (place is not None) == seen
    if place:
        assert inside(place, side_outline(limb, view))
        assert circles(svg)["1"] == pytest.approx(place, abs=0.06)
    else:
        why = "on the other side" if zone in BESIDE else "no place on this drawing"
        assert why in alternative(svg)
        assert why in " ".join(visible(svg))


def test_the_zones_are_all_those_of_the_grammar():
    assert {w.id for w in GRAMMAR.table if w.slot == "zone"} <= set(ZONES)


@pytest.mark.parametrize("zone", sorted(ONE_OF_TWO))
def test_a_mark_without_its_side_is_not_put_on_one(zone):
    svg = from_below("LF", [mark(zone=zone, side=None)], None, VET)
    assert place_of(zone, None, "LF", "below")[0] == 0
    small = [c for c in read(svg).iter(f"{SVG}circle") if float(c.get("r")) < 5]
    drawn = {(float(c.get("cx")), float(c.get("cy"))) for c in small}
    expected = both_places(zone, None, "LF")
    assert len(drawn) == 2
    for place in expected:
        assert min(math.dist(place, d) for d in drawn) < 0.1
    assert "side not said" in alternative(svg)


def test_no_zone_and_unknown_ids_are_reported():
    marks = [mark(1, None, None, "lameness grade 2"), mark(2, "ear"), mark(3, "heel", "dorsal")]
    svg = from_below("RH", marks, None, VET)
    told = alternative(svg)
    assert "1: lameness grade 2; place not said." in told
    assert "ear, no place on this drawing" in told
    assert "dorsal heel, no place on this drawing" in told


def test_an_unlisted_drawing_still_tells_all():
    svg = from_below("LF", [mark(zone="hock")], None, VET, listed=False)
    assert "no place on this drawing" in alternative(svg)
    assert "no place" not in " ".join(visible(svg))


@pytest.mark.parametrize("limb", ["", "XX", "lf"])
def test_a_drawing_of_no_limb_is_refused(limb):
    with pytest.raises(ValueError, match="no limb"):
        from_below(limb, [], None, VET)
    with pytest.raises(ValueError, match="no limb"):
        from_side(limb, "lateral", [], None, VET)


def test_a_view_from_no_side_is_refused():
    with pytest.raises(ValueError, match="no side"):
        from_side("LF", "front", [], None, VET)


# Scale


def depth_drawn(limb: str, zone: str, svg: str) -> float:
    """How far down the horn the mark stands, in parts of the toe as it is drawn."""
    profile, share = profile_of(limb), ON_HORN[zone]
    way = 1 if limb[0] == "L" else -1
    x, y = circles(svg)["1"]
    top = profile.hairline(share)
    return math.dist((x * way, y), top) / profile.toe_length


@given(
    limb=st.sampled_from(LIMBS),
    zone=st.sampled_from(sorted(ON_HORN)),
    depth=st.floats(0, 35),
    toe=st.floats(70, 150),
)
@settings(max_examples=60, deadline=None)
def test_a_depth_is_put_at_its_true_share_of_the_toe(limb, zone, depth, toe):
    one = mark(zone=zone, side=None, below_hairline=Length(depth), toe_length=Length(toe))
    svg = from_side(limb, "lateral", [one], None, VET)
    profile = profile_of(limb)
    if depth / toe * profile.toe_length > profile.wall(ON_HORN[zone]):
        assert "longer than the toe measured" in alternative(svg)
    else:
        # Coordinates are drawn to a tenth of a unit.
        assert depth_drawn(limb, zone, svg) == pytest.approx(depth / toe, abs=0.002)
        assert "drawn to scale" in alternative(svg)


def test_inches_and_mm_give_the_same_place():
    inch = mark(below_hairline=Length.of(1, "in"), toe_length=Length.of(3.25, "in"))
    mm = mark(below_hairline=Length.of(25.4, "mm"), toe_length=Length.of(82.55, "mm"))
    assert circles(from_side("LF", "lateral", [inch], None, VET)) == circles(
        from_side("LF", "lateral", [mm], None, VET)
    )


@pytest.mark.parametrize(
    ("depth", "toe"), [(25, None), (25, 0), (25, -80), (25, 8000), (25, math.nan), (-5, 80),
                       (math.inf, 80), (5000, 80)],
)  # fmt: skip
def test_without_usable_lengths_no_scale_is_claimed(depth, toe):
    toe_length = None if toe is None else Length(toe)
    one = mark(zone="quarter", below_hairline=Length(depth), toe_length=toe_length)
    svg = from_side("LF", "lateral", [one], None, VET)
    told = alternative(svg)
    assert "not drawn to scale" in told
    profile, share = profile_of("LF"), ON_HORN["quarter"]
    third = profile.wall(share) / 3 / profile.toe_length
    assert depth_drawn("LF", "quarter", svg) == pytest.approx(third, abs=0.002)


def test_a_depth_past_the_ground_stays_on_the_foot_and_says_so():
    one = mark(zone="heel", below_hairline=Length(79), toe_length=Length(80))
    svg = from_side("LF", "lateral", [one], None, VET)
    assert "longer than the toe measured" in alternative(svg)
    assert circles(svg)["1"][1] == pytest.approx(profile_of("LF").heel[1])


def test_lengths_are_told_once_in_the_unit_of_the_sheet():
    inches = vet_labels(GRAMMAR, "in")
    one = mark(label="crack", below_hairline=Length(25.4), extent=Length(12.7))
    told = alternative(from_side("LF", "lateral", [one], None, inches))
    assert "1 in below the hairline" in told
    assert "0.5 in in extent" in told
    said = mark(label="crack, 25 mm below the hairline", below_hairline=Length(25))
    assert alternative(from_below("LF", [said], None, VET)).count("25 mm") == 1


# Circles


def marks_strategy(most: int):
    each = st.tuples(
        st.sampled_from([None, *ZONES]), st.sampled_from(SIDES), st.booleans(),
        st.none() | st.floats(0, 60).map(Length),
    )  # fmt: skip
    return st.lists(each, max_size=most).map(
        lambda rows: [
            Mark(i + 1, zone, side, f"finding {i + 1}", doubtful, depth, None, Length(80))
            for i, (zone, side, doubtful, depth) in enumerate(rows)
        ]
    )


@given(limb=st.sampled_from(LIMBS), marks=marks_strategy(14), side=st.sampled_from(SIDES[1:]))
@settings(max_examples=40, deadline=None)
def test_no_two_circles_are_nearer_than_their_diameter(limb, marks, side):
    for svg in (from_below(limb, marks, None, VET), from_side(limb, side, marks, None, VET)):
        drawn = circles(svg)
        # Each mark is there once, on the foot or in the list.
        assert {text.rstrip("?") for text in drawn} == {str(m.number) for m in marks}
        doubtful = {f"{m.number}?" for m in marks if m.doubtful}
        assert {text for text in drawn if "?" in text} == doubtful
        for a, b in combinations(drawn.values(), 2):
            assert math.dist(a, b) >= 2 * RADIUS - 0.15
        x, y, width, height = (float(v) for v in read(svg).get("viewBox").split())
        for cx, cy in drawn.values():
            assert x <= cx - RADIUS + 0.1
            assert cx + RADIUS <= x + width + 0.1
            assert y <= cy - RADIUS + 0.1
            assert cy + RADIUS <= y + height + 0.1


@given(
    st.lists(st.tuples(st.floats(-60, 60), st.floats(-60, 60)), max_size=25),
    st.floats(0, 30),
)
@settings(max_examples=40, deadline=None)
def test_spreading_keeps_distance_and_free_boxes(anchors, width):
    room, kept = (-70.0, -70.0, 70.0, 70.0), (-70.0, -70.0, -70.0 + width, -50.0)
    places = [p for p in spread(anchors, room, [kept]) if p is not None]
    for a, b in combinations(places, 2):
        assert math.dist(a, b) >= 2 * RADIUS
    for x, y in places:
        nearest = (min(max(x, kept[0]), kept[2]), min(max(y, kept[1]), kept[3]))
        assert math.dist((x, y), nearest) >= RADIUS


def test_more_marks_than_there_is_room_for_are_listed():
    marks = [mark(i, "frog", None, f"finding {i}") for i in range(1, 91)]
    svg = from_below("LF", marks, None, VET)
    assert len(circles(svg)) == 90
    assert "no room on this drawing" in alternative(svg)
    assert all(f"{i}: finding {i};" in alternative(svg) for i in range(1, 91))


def test_a_doubtful_mark_is_dashed_and_named():
    svg = from_below("LF", [mark(1, doubtful=True), mark(2, "frog", None)], None, VET)
    dashed = [c for c in read(svg).iter(f"{SVG}circle") if c.get("stroke-dasharray")]
    assert len(dashed) == 1
    assert "1?" in circles(svg)
    assert alternative(svg).count("not confirmed") == 1


# Shoe


@given(st.integers(0, 8), st.integers(0, 8))
@settings(max_examples=30, deadline=None)
def test_as_many_holes_as_nails_on_the_side_they_are(inner, outer):
    shoe = Shod(nails_inside=inner, nails_outside=outer)
    svg = from_below("RF", [], shoe, OWNER)
    assert nail_holes(svg) == inner + outer
    # The right fore's inside is on the viewer's right.
    right = [
        p for p in read(svg).iter(f"{SVG}path")
        if p.get("fill") == "#000" and p.get("stroke") == "#fff"
        and float(re.match(r"M(-?[\d.]+)", p.get("d")).group(1)) > 0
    ]  # fmt: skip
    assert len(right) == inner
    assert f"{inner} nail{'' if inner == 1 else 's'} inside" in alternative(svg)


@pytest.mark.parametrize(
    ("shoe", "holes", "told"),
    [
        (Shod(), 0, "Shoe."),
        (Shod(nails=7), 0, "7 nails, sides not said, not drawn"),
        (Shod(nails=7, nails_inside=3), 7, "4 nails lateral"),
        (Shod(nails=3, nails_outside=5), 5, "3 nails said for the whole shoe"),
        (Shod(nails_inside=-2), 0, "-2 nails medial, not drawn"),
        (Shod(nails_outside=12, nails_inside=4), 4, "12 nails lateral, not drawn"),
        (Shod(nails=0), 0, "0 nails"),
    ],
)
def test_nails_that_were_not_said_are_not_made_up(shoe, holes, told):
    svg = from_below("LH", [], shoe, VET)
    assert nail_holes(svg) == holes
    assert told in alternative(svg)


def test_bar_pads_and_clips_are_drawn_and_told():
    plain = from_below("LF", [], Shod(), VET)
    for shoe, told in (
        (Shod(bar_shoe=True), "Bar shoe"),
        (Shod(pads=True), "pad"),
        (Shod(clips=("toe",)), "toe clip"),
        (Shod(clips=("quarter",)), "quarter clips"),
        (Shod(clips=("outside",)), "lateral quarter clip"),
    ):
        svg = from_below("LF", [], shoe, VET)
        assert told in alternative(svg)
        assert len(list(read(svg).iter(f"{SVG}path"))) > len(list(read(plain).iter(f"{SVG}path")))
    unplaced = from_below("LF", [], Shod(clips=("",)), VET)
    assert "clip, place not said, not drawn" in " ".join(visible(unplaced)).lower()


def test_clinches_are_those_of_the_side_that_is_seen():
    shoe = Shod(nails_inside=3, nails_outside=4)
    for side, number in (("medial", 3), ("lateral", 4)):
        bare = read(from_side("LF", side, [], Shod(), VET))
        shod = read(from_side("LF", side, [], shoe, VET))
        drawn = len(list(shod.iter(f"{SVG}path"))) - len(list(bare.iter(f"{SVG}path")))
        assert drawn == number


# Text


NASTY = [
    "<script>alert(1)</script>", 'a " quote \' and & more', "]]> --> <![CDATA[", "\x00\x07\x1b[2J",
    "\ud800", "\ufffe", "כאב בעקב", "\u202eevil\u202c", "a\nb\tc", "", "&amp;",
    "長い" * 60, "x" * 400,
]  # fmt: skip


@pytest.mark.parametrize("text", NASTY)
def test_any_text_gives_one_valid_drawing(text):
    marks = [mark(1, None, None, text), mark(2, "heel", "medial", text), mark(3, text, text, text)]
    shoe = Shod(clips=(text,))
    for svg in (
        from_below("LF", marks, shoe, VET, prefix=text),
        from_side("RH", "medial", marks, shoe, VET, prefix=text),
    ):
        root = read(svg)
        assert {e.tag for e in root.iter()} <= {
            SVG + tag for tag in ("svg", "title", "desc", "rect", "path", "circle", "text")
        }
        svg.encode("utf-8")
        assert not set(svg) & set("\u202e\u202c\x00\x07\x1b\ufffe")


def test_text_is_kept_as_it_was():
    hebrew = "כאב <b>\"&'"
    svg = from_below("LF", [mark(1, None, None, hebrew)], None, VET)
    assert hebrew in alternative(svg)
    assert "<b>" not in svg


@given(st.text(max_size=60), st.text(max_size=20))
@settings(max_examples=60, deadline=None)
def test_random_text_stays_valid_xml(label, prefix):
    read(from_below("RF", [mark(1, None, None, label)], None, OWNER, prefix=prefix))


@given(st.text(max_size=10), st.text(max_size=10))
def test_different_prefixes_never_share_an_id(one, two):
    def ids(prefix):
        return set(re.findall(r' id="([^"]*)"', from_below("LF", [], None, VET, prefix)))

    assert len(ids(one)) == 2
    assert (one == two) == bool(ids(one) & ids(two))


@pytest.mark.parametrize("limb", LIMBS)
def test_title_and_description_are_named_by_the_drawing(limb):
    marks = [mark(1), mark(2, "frog", None, "thrush", doubtful=True)]
    root = read(from_below(limb, marks, None, OWNER, prefix=f"p-{limb}"))
    assert root.get("role") == "img"
    named = root.get("aria-labelledby").split()
    assert named == [f"p-{limb}-title", f"p-{limb}-desc"]
    by_id = {e.get("id"): e.text for e in root.iter() if e.get("id")}
    words = {"LF": "left fore", "RF": "right fore", "LH": "left hind", "RH": "right hind"}
    assert by_id[named[0]] == f"{words[limb].capitalize()} foot, from below"
    assert by_id[named[1]] == "1: bruise; outside heel. 2: thrush; frog; not confirmed."


def test_the_vet_reads_anatomical_words_and_the_owner_plain_ones():
    vet, owner = (visible(from_below("LF", [], None, x)) for x in (VET, OWNER))
    assert {"medial", "lateral"} <= set(vet)
    assert {"inside", "outside"} <= set(owner)
    assert not {"medial", "lateral"} & set(owner)
    assert alternative(from_below("LF", [], None, VET)) == "No marks."


def test_only_greys_and_no_font_but_sans_serif():
    shoe = Shod(3, 4, 7, True, True, ("toe", "quarter"))
    marks = [mark(i, zone, None) for i, zone in enumerate(ZONES)]
    for svg in (from_below("LF", marks, shoe, VET), from_side("LF", "medial", marks, shoe, VET)):
        for colour in re.findall(r"#[0-9a-f]{3,6}", svg):
            digits = colour[1:] if len(colour) == 7 else "".join(c * 2 for c in colour[1:])
            assert digits[:2] == digits[2:4] == digits[4:]
        assert set(re.findall(r'font-family="([^"]*)"', svg)) == {"sans-serif"}
        assert "href" not in svg
        assert "style" not in svg


def test_the_same_marks_give_the_same_drawing():
    marks = [mark(i, zone, side) for i, (zone, side) in enumerate(product(ZONES[:6], SIDES))]
    assert from_below("LH", marks, Shod(3, 3), VET) == from_below("LH", marks, Shod(3, 3), VET)
    assert from_side("LH", "medial", marks, None, VET) == from_side(
        "LH", "medial", marks, None, VET
    )
