"""Where each zone is on the drawings."""

import math
from typing import Literal

from handsfree.records.units import Length
from handsfree.sheets.drawing_outline import (
    FORE,
    FORE_SIDE,
    HIND,
    HIND_SIDE,
    Profile,
    Sole,
    along,
    inset,
)
from handsfree.sheets.drawing_svg import Point
from handsfree.visit.plausible import RANGES

View = Literal["below", "lateral", "medial"]
LEFT, RIGHT, HINDS = frozenset({"LF", "LH"}), frozenset({"RF", "RH"}), frozenset({"LH", "RH"})
LIMBS = LEFT | RIGHT
SIDES = frozenset({"medial", "lateral"})

ON_EDGE = {
    "toe": (0.14, 0.5, 0.0),
    "clip": (0.27, 0.3, 0.0),
    "wall": (0.4, 0.5, 0.0),
    "white_line": (0.48, 1.0, 1.5),
    "quarter": (0.6, 0.5, 0.0),
    "heel": (0.95, 0.5, 0.0),
}
"""Zone → share of the way from toe to heel; wall thicknesses and units inwards of the edge."""

INSIDE = {
    "sole": (29, -22),
    "frog": (10, 40),
    "bar": (26, 29),
    "seat_of_corn": (39, 38),
    "central_sulcus": (1.5, 44),
    "collateral_sulcus": (17, 22),
    "bulb": (23, 66),
}
"""Zone → place in the lateral half of a fore foot from below."""

ON_MIDLINE = {"toe": -55, "clip": -57, "sole": -32, "frog": 14, "central_sulcus": 44, "bulb": 57}
"""Zones that lie on the middle line where no side was said: how far down, in a fore foot."""

ONE_OF_TWO = frozenset({"heel", "bulb", "bar", "seat_of_corn", "collateral_sulcus"}) | (
    frozenset({"quarter", "wall", "white_line"})
)
"""Zones there are two of: with no side said their mark stands between, tied to both."""

ON_HORN = {"toe": 0.09, "wall": 0.32, "coronary_band": 0.42, "quarter": 0.55, "heel": 0.92}
"""Zone → share of the way from toe to heel, from the side."""

DEFAULT_DEPTH = 1 / 3
"""Share of the wall below the hairline at which a mark stands that has no depth of its own."""

MOST_MM = 1000.0


def sole_of(limb: str) -> Sole:
    """The foot from below that is drawn for a limb."""
    return HIND if limb in HINDS else FORE


def profile_of(limb: str) -> Profile:
    """The foot from the side that is drawn for a limb."""
    return HIND_SIDE if limb in HINDS else FORE_SIDE


def outwards(limb: str, side: str) -> int:
    """1 where this side of the foot is on the viewer's right in the drawing from below, else -1.

    Whoever looks up at a standing horse from below, its head being up on the paper, has the
    horse's left on his right hand. So a left foot's lateral side is on the viewer's right and
    its medial side on his left; a right foot is the mirror image. The farrier with the foot
    between his knees, toe away from him, sees the same.
    """
    right = (limb in LEFT) == (side == "lateral")
    return 1 if right else -1


def towards(limb: str, side: str) -> int:
    """1 where the drawing from this side has the toe on the viewer's left, else -1.

    Beside the horse on its left the head is on the viewer's left; a left foot's lateral side is
    seen from there, and a right foot's medial side.
    """
    return 1 if (limb in LEFT) == (side == "lateral") else -1


def place_of(zone: str | None, side: str | None, limb: str, view: View) -> Point | None:
    """The place of a zone in the drawing's own units; None where the drawing has none.

    From the side everything of the other side has no place. A zone of which a foot has two has
    its place between them where no side was said (`both_places` gives the two).
    """
    if zone is None or limb not in LIMBS or (side is not None and side not in SIDES):
        return None
    if view == "below":
        return _below(zone, side, limb)
    if side is not None and side != view:
        return None
    return _beside(zone, side, limb, view)


def both_places(zone: str | None, side: str | None, limb: str) -> tuple[Point, Point] | None:
    """From below: the two places a mark may mean that was said without its side."""
    if side is not None or zone not in ONE_OF_TWO or limb not in LIMBS:
        return None
    medial, lateral = (_below(zone, each, limb) for each in ("medial", "lateral"))
    return (medial, lateral) if medial and lateral else None


def _below(zone: str, side: str | None, limb: str) -> Point | None:
    sole, hind = sole_of(limb), limb in HINDS
    narrow, lower, longer = (0.88, 1, 6) if hind else (1, 0, 0)
    if side is None and zone in ON_MIDLINE:
        y: float = ON_MIDLINE[zone]
        return (0, y - longer if y < -40 else y + lower)
    half = sole.medial if side == "medial" else sole.lateral
    if zone in ON_EDGE:
        share, walls, more = ON_EDGE[zone]
        x, y = along(inset(half, more, walls), share)[0]
    elif zone in INSIDE:
        x, y = INSIDE[zone][0] * narrow, INSIDE[zone][1] + lower
    else:
        return None
    return (0, y) if side is None else (x * outwards(limb, side), y)


def _beside(zone: str, side: str | None, limb: str, view: View) -> Point | None:
    profile, way = profile_of(limb), towards(limb, view)
    if zone in profile.soft:
        x, y = profile.soft[zone]
    elif zone == "clip":
        x, y = profile.up(0.36 if side else 0.03, 11)
    elif zone == "coronary_band":
        x, y = profile.hairline(ON_HORN[zone])
    elif zone in ON_HORN:
        return third_down(zone, limb, view)
    else:
        return None
    return (x * way, y)


def third_down(zone: str, limb: str, view: View) -> Point:
    """The place on a zone of ON_HORN for a mark below the hairline without a scale."""
    profile, share = profile_of(limb), ON_HORN[zone]
    x, y = profile.up(share, profile.wall(share) * (1 - DEFAULT_DEPTH))
    return (x * towards(limb, view), y)


def usable(length: Length | None) -> bool:
    """Whether a length can be one of a foot: not missing, not negative, less than a metre."""
    return length is not None and math.isfinite(length.mm) and 0 <= length.mm < MOST_MM


def scaled_place(
    zone: str | None, limb: str, view: View, below_hairline: Length, toe_length: Length
) -> tuple[Point, bool] | None:
    """The place on the wall at a depth below the hairline, and whether it is on the wall at all.

    place = depth / toe length, as a share of the toe as it is drawn, down the horn (mm / mm).
    A depth that goes past the ground is put at the ground. None where the zone is no horn, the
    depth is of no use, or the toe is longer or shorter than any that is not asked about
    (RANGES): a slip must not move the mark.
    """
    if zone not in ON_HORN or not usable(below_hairline):
        return None
    least, most = RANGES["toe_length"].of(None)
    if not least <= toe_length.mm <= most:
        return None
    profile, way = profile_of(limb), towards(limb, view)
    share = ON_HORN[zone]
    depth = below_hairline / toe_length * profile.toe_length
    fits = depth <= profile.wall(share) + 1e-9
    x, y = profile.up(share, max(profile.wall(share) - depth, 0))
    return (x * way, y), fits
