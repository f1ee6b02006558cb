"""The foot itself, without marks."""

from collections.abc import Sequence
from dataclasses import dataclass

from handsfree.sheets.drawing_outline import Sole, inset
from handsfree.sheets.drawing_places import (
    View,
    outwards,
    profile_of,
    sole_of,
    towards,
)
from handsfree.sheets.drawing_shoe import Shod
from handsfree.sheets.drawing_shoe import beside as shoe_beside
from handsfree.sheets.drawing_shoe import under as shoe_under
from handsfree.sheets.drawing_spread import Box
from handsfree.sheets.drawing_svg import (
    DARK,
    GLYPH,
    LIGHT,
    MIDDLE,
    PALE,
    WHITE,
    Point,
    curve,
    path,
    straight,
    words,
)
from handsfree.sheets.drawing_words import SheetLabels


@dataclass(frozen=True)
class Lettering:
    """Words on a drawing and the boxes they need for themselves."""

    drawn: str
    boxes: tuple[Box, ...]


def side_words(limb: str, labels: SheetLabels, size: float, box: Box) -> Lettering:
    """The names of the two sides, in the upper corners."""
    drawn, boxes = "", []
    left, top, right, _ = box
    for side in ("medial", "lateral"):
        word, on_right = labels.side(side), outwards(limb, side) > 0
        at = (right - 3 if on_right else left + 3, top + 11)
        drawn += words(word, at, size, "end" if on_right else "start")
        width = len(word) * size * GLYPH + 4
        edges = (right - width, right) if on_right else (left, left + width)
        boxes.append((edges[0], top, edges[1], top + 14))
    return Lettering(drawn, tuple(boxes))


def view_name(limb: str, view: View, labels: SheetLabels, size: float, box: Box) -> Lettering:
    """The limb and the side seen, over the toe."""
    left, top, right, _ = box
    on_left = towards(limb, view) > 0
    anchor, x = ("start", left + 3) if on_left else ("end", right - 3)
    word = labels.side(view)
    drawn = words(limb, (x, top + 14), 13, anchor, bold=True)
    drawn += words(word, (x, top + 27), size, anchor)
    width = max(len(word) * size * GLYPH, 18) + 4
    edges = (left, left + width) if on_left else (right - width, right)
    return Lettering(drawn, ((edges[0], top, edges[1], top + 31),))


def _turn(points: Sequence[Point], way: int) -> list[Point]:
    return [(x * way, y) for x, y in points]


def _ring(sole: Sole, way: int, by: float = 0, of_wall: float = 0) -> list[Point]:
    """The edge from the medial heel round the toe to the lateral heel."""
    medial = _turn(inset(sole.medial, by, of_wall), -way)
    lateral = _turn(inset(sole.lateral, by, of_wall), way)
    return [*reversed(medial), *lateral[1:]]


def below(limb: str, shoe: Shod | None) -> str:
    """The foot from below: wall, white line, sole, bars, frog with its grooves, bulbs, shoe."""
    sole, way = sole_of(limb), outwards(limb, "lateral")
    bulbs = [*_turn(sole.bulb[::-1], -1), *sole.bulb[1:]]
    drawn = path(curve(bulbs), 1.5, WHITE)
    edge, inner = _ring(sole, way), _ring(sole, way, of_wall=1)
    drawn += path(curve(edge) + "Z", fill=LIGHT)
    drawn += path(curve(inner) + "Z", fill=WHITE)
    seam = _ring(sole, way, by=3, of_wall=1)
    drawn += path(curve(seam) + "Z", fill=PALE)
    drawn += path(curve(inner), 1) + path(curve(seam), 0.7)
    drawn += path(curve(edge), 1.8)
    for turn in (1, -1):
        drawn += path(curve(_turn(sole.bar, turn), True), 1.1, LIGHT)
        drawn += path(curve(_turn(sole.groove, turn), True), fill=DARK)
    frog = [*sole.frog, *_turn(sole.frog[-2:0:-1], -1)]
    drawn += path(curve(frog, True), 1.3, WHITE)
    cleft = [*sole.middle_groove, *_turn(sole.middle_groove[-2:0:-1], -1)]
    drawn += path(curve(cleft, True), fill=DARK)
    if shoe is not None:
        drawn += shoe_under(sole, way, shoe)
    return drawn


def beside(limb: str, view: View, shoe: Shod | None) -> str:
    """The foot from the side: wall with its horn, hairline, bulb, pastern, fetlock, shoe."""
    profile, way = profile_of(limb), towards(limb, view)
    hairline = [profile.hairline(i / 8) for i in range(9)]
    skin = [*profile.front[::-1], *hairline[1:-1], *profile.back]
    drawn = path(straight(_turn(skin, way)), fill=WHITE)
    wall = [profile.ground(0), *hairline, profile.ground(1)]
    drawn += path(straight(_turn(wall, way), True), fill=PALE)
    for share in (0.15, 0.3, 0.45, 0.6, 0.75, 0.88):
        ends = [profile.ground(share), profile.hairline(share)]
        drawn += path(straight(_turn(ends, way)), 0.5, stroke=MIDDLE)
    band = [profile.up(i / 8, profile.wall(i / 8) - 5) for i in range(9)]
    drawn += path(curve(_turn(band, way)), 0.8, stroke=DARK)
    drawn += path(straight(_turn(wall, way), True), 1.8)
    drawn += path(curve(_turn(hairline, way)), 2.4)
    for line in (profile.front, profile.back):
        drawn += path(curve(_turn(line, way)), 1.6)
    if shoe is not None:
        drawn += shoe_beside(profile, way, view, shoe)
    return drawn
