"""The shapes of a foot, as tables of points in units of about a millimetre.

Drawn after the general look of a hoof, not after one horse; nothing may be measured in them but
what `wall_place` puts to scale. Seen from below the toe is up; the tables are those of a left
foot, whose medial side is then on the viewer's left.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

from handsfree.sheets.drawing_svg import Point

Edge = tuple[tuple[float, float, float], ...]
"""Half of the ground edge, toe to heel: outwards from the middle, downwards, wall's thickness."""


@dataclass(frozen=True)
class Sole:
    """A foot from below. `lateral` and `medial` are its two halves; the rest is one half."""

    lateral: Edge
    medial: Edge
    frog: tuple[Point, ...]
    groove: tuple[Point, ...]
    bar: tuple[Point, ...]
    bulb: tuple[Point, ...]
    middle_groove: tuple[Point, ...]


_FROG = ((0, -18), (4, -10), (9, 8), (15, 28), (24, 49), (22, 57), (12, 60), (4, 57), (0, 53))
_GROOVE = (
    (2, -17), (8, -6), (16, 14), (24, 34), (31, 51), (29, 56), (24, 56),
    (23, 48), (15, 28), (9, 8), (4, -10),
)  # fmt: skip
_BAR = ((11, 1), (16, 14), (24, 34), (31, 51), (36, 55), (40, 53), (38, 47), (29, 30), (19, 12))
_BULB = ((0, 60), (5, 69), (17, 74), (32, 72), (41, 62), (40, 53))
_MIDDLE = ((0, 24), (2, 32), (2.6, 42), (3.4, 53), (0, 60))


def _narrow(points: tuple[Point, ...], by: float, lower: float) -> tuple[Point, ...]:
    return tuple((x * by, y + lower) for x, y in points)


FORE = Sole(
    lateral=(
        (0, -61, 10), (20, -57.5, 9.5), (39.5, -46, 8.5), (52, -26, 7), (56, -3, 6), (54, 19, 5.5),
        (48, 38, 5), (40, 53, 5),
    ),
    medial=(
        (0, -61, 10), (20, -57.5, 9.5), (38.5, -46, 8.2), (50, -26, 6.6), (53, -3, 5.6),
        (51, 19, 5), (46, 38, 5), (39, 53, 5),
    ),
    frog=_FROG,
    groove=_GROOVE,
    bar=_BAR,
    bulb=_BULB,
    middle_groove=_MIDDLE,
)  # fmt: skip
HIND = Sole(
    lateral=(
        (0, -66, 10), (15, -62, 9.6), (31, -48.5, 8.8), (44, -26, 7.4), (50, 0, 6.4), (49, 21, 5.6),
        (44, 40, 5), (36, 55, 5),
    ),
    medial=(
        (0, -66, 10), (15, -62, 9.6), (30, -48.5, 8.6), (41, -26, 7), (46.5, 0, 6), (46, 21, 5.2),
        (42, 40, 5), (35, 55, 5),
    ),
    frog=_narrow(_FROG, 0.88, 1),
    groove=_narrow(_GROOVE, 0.88, 1),
    bar=_narrow(_BAR, 0.88, 1),
    bulb=_narrow(_BULB, 0.9, 2),
    middle_groove=_narrow(_MIDDLE, 0.9, 1),
)  # fmt: skip


def inset(edge: Edge, by: float = 0, of_wall: float = 0) -> list[Point]:
    """The edge moved inwards by a distance and by so many thicknesses of the wall."""
    moved: list[Point] = []
    for i, (x, y, wall) in enumerate(edge):
        ax, ay = (-edge[1][0], edge[1][1]) if i == 0 else edge[i - 1][:2]
        bx, by_ = edge[min(i + 1, len(edge) - 1)][:2]
        length = math.hypot(bx - ax, by_ - ay)
        step = by + wall * of_wall
        moved.append((x - (by_ - ay) / length * step, y + (bx - ax) / length * step))
    return moved


def along(points: list[Point], share: float) -> tuple[Point, Point]:
    """The place at a share (0–1) of a line's length, and the line's direction there."""
    lengths = [math.dist(a, b) for a, b in pairwise(points)]
    left = share * sum(lengths)
    for (a, b), length in zip(pairwise(points), lengths, strict=True):
        if left <= length or b == points[-1]:
            part = left / length
            way = ((b[0] - a[0]) / length, (b[1] - a[1]) / length)
            return (a[0] + (b[0] - a[0]) * part, a[1] + (b[1] - a[1]) * part), way
        left -= length
    raise ValueError("a line needs two points")


@dataclass(frozen=True)
class Profile:
    """A foot from the side, toe to the left. Front and back lines run upwards from the hoof."""

    angle_deg: float
    toe: Point
    heel: Point
    front: tuple[Point, ...]
    back: tuple[Point, ...]
    soft: Mapping[str, Point]
    toe_length: float = 66
    heel_length: float = 33

    def horn(self, length: float) -> Point:
        """The step up along the horn, which grows alike at toe and heel in this drawing."""
        angle = math.radians(self.angle_deg)
        return (length * math.cos(angle), -length * math.sin(angle))

    def ground(self, share: float) -> Point:
        """A place on the ground edge, 0 at the toe, 1 at the heel."""
        return (self.toe[0] + (self.heel[0] - self.toe[0]) * share, self.toe[1])

    def wall(self, share: float) -> float:
        """Length of the wall there; the hairline is slightly arched between toe and heel."""
        straight = self.toe_length + (self.heel_length - self.toe_length) * share
        return straight + 10 * share * (1 - share)

    def hairline(self, share: float) -> Point:
        """A place on the hairline, at the upper end of the horn from that share of the ground."""
        return self.up(share, self.wall(share))

    def up(self, share: float, length: float) -> Point:
        """A place so far up along the horn from the ground."""
        (x, y), (dx, dy) = self.ground(share), self.horn(length)
        return (x + dx, y + dy)


FORE_SIDE = Profile(
    angle_deg=50,  # the usual drawing of anatomy texts
    toe=(-54, 58),
    heel=(22, 58),
    front=((-11.6, 7.4), (-8, 1), (3, -14), (12, -26), (18, -38), (22, -50), (25, -61), (26, -72),
           (26, -92)),
    back=((43.2, 32.7), (50, 29), (52, 20), (47, 9), (43, -1), (44, -11), (51, -21), (59, -30),
          (61.5, -40), (57, -50), (51.5, -60), (49.5, -72), (49, -92)),
    soft={"bulb": (44, 23), "pastern": (22, -7), "fetlock": (39, -41), "cannon": (37, -76)},
)  # fmt: skip
HIND_SIDE = Profile(
    angle_deg=55,  # the usual drawing of anatomy texts
    toe=(-52, 58),
    heel=(20, 58),
    front=((-14.1, 3.9), (-11, -3), (-2, -17), (6, -30), (11, -42), (14, -53), (17, -64), (20, -75),
           (24, -92)),
    back=((38.9, 31), (46, 28), (48, 19), (43, 8), (37.5, -3), (38, -14), (45, -24), (53, -33),
          (55, -43), (50.5, -53), (45.5, -63), (45, -75), (48, -92)),
    soft={"bulb": (40, 22), "pastern": (16, -10), "fetlock": (32, -44), "cannon": (34, -78)},
)  # fmt: skip
