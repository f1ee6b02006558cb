"""The shoe as it was fitted, from below and from the side."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from handsfree.sheets.drawing_outline import Edge, Profile, Sole, along, inset
from handsfree.sheets.drawing_svg import BLACK, LIGHT, MIDDLE, WHITE, Point, curve, path, straight

MOST_DRAWN = 8
"""Nails of one branch; more are told in words (the holes would run into each other)."""


@dataclass(frozen=True)
class Shod:
    """A shoe and its nails. None: not said. `nails` is the number of the whole shoe.

    `clips` are the words that were said with each ("toe", "quarter"; "" where none was).
    """

    nails_inside: int | None = None
    nails_outside: int | None = None
    nails: int | None = None
    bar_shoe: bool = False
    pads: bool = False
    clips: tuple[str, ...] = ()

    def of_side(self, side: str) -> int | None:
        """Nails of one branch, if they can be said and drawn: what was said, or the rest."""
        said, other = (
            (self.nails_inside, self.nails_outside)
            if side == "medial"
            else (self.nails_outside, self.nails_inside)
        )
        if said is None and other is not None and self.nails is not None and other >= 0:
            said = self.nails - other
        return said if said is not None and 0 <= said <= MOST_DRAWN else None

    def clip_at(self, place: str) -> bool:
        """Whether a clip at the "toe", or at the "medial" or "lateral" quarter, was said."""
        return any(place in _clip_places(clip) for clip in self.clips)

    def as_words(self, medial: str, lateral: str) -> tuple[str, list[str]]:
        """The shoe in words, and what of it could not be drawn."""
        parts = ["bar shoe" if self.bar_shoe else "shoe"]
        parts += ["pad"] if self.pads else []
        known = {"medial": medial, "lateral": lateral}
        drawn = {side: self.of_side(side) for side in known}
        parts += [
            f"{_nails(number)} {known[side]}"
            for side, number in drawn.items()
            if number is not None
        ]
        parts += ["toe clip"] if self.clip_at("toe") else []
        quarters = [side for side in known if self.clip_at(side)]
        if len(quarters) == 2:
            parts.append("quarter clips")
        else:
            parts += [f"{known[side]} quarter clip" for side in quarters]
        left: list[str] = []
        for side, said in (("medial", self.nails_inside), ("lateral", self.nails_outside)):
            if said is not None and drawn[side] is None:
                left.append(f"{_nails(said)} {known[side]}, not drawn")
        if self.nails is not None and self.nails_inside is None and self.nails_outside is None:
            left.append(f"{_nails(self.nails)}, sides not said, not drawn")
        elif self.nails is not None and sum(n or 0 for n in drawn.values()) != self.nails:
            left.append(f"{_nails(self.nails)} said for the whole shoe")
        for clip in self.clips:
            if not _clip_places(clip):
                left.append(" ".join(f"{clip} clip, place not said, not drawn".split()))
        return ", ".join(parts), left


def _clip_places(said: str) -> frozenset[str]:
    """Where a clip is, by the words said with it; nowhere where they name no place."""
    said_words = set(said.lower().split())
    places = {"toe"} if "toe" in said_words else set()
    one_side = {_SIDE_WORDS[word] for word in said_words if word in _SIDE_WORDS}
    if one_side or said_words & {"quarter", "quarters", "side", "sides"}:
        places |= one_side or {"medial", "lateral"}
    return frozenset(places)


_SIDE_WORDS = {
    "inside": "medial",
    "medial": "medial",
    "outside": "lateral",
    "lateral": "lateral",
}


def _nails(number: int) -> str:
    return f"{number} nail{'' if number == 1 else 's'}"


def nail_shares(number: int) -> list[float]:
    """Where nails sit on a branch, as shares of the way from toe to heel.

    From beside the toe to a little behind the widest part of the foot (common practice, no
    source); more nails than usual sit closer and reach further.
    """
    if number == 1:
        return [0.4]
    first, last = (0.21, 0.62) if number <= 4 else (0.15, 0.72)
    return [first + (last - first) * i / (number - 1) for i in range(number)]


def _turned(points: Sequence[Point], way: int) -> list[Point]:
    return [(x * way, y) for x, y in points]


def _grown(edge: Edge) -> Edge:
    """The edge with heels of the shoe a little behind those of the foot."""
    *rest, (x, y, wall) = edge
    return (*rest, (x - 1.5, y + 5, wall))


WEB = 13.5
"""Width of the shoe all round: about twice the wall's mean thickness (Lungwitz)."""


def under(sole: Sole, way: int, shoe: Shod) -> str:
    """The shoe from below; `way` is 1 where the lateral side is on the right."""
    halves = {"lateral": (_grown(sole.lateral), way), "medial": (_grown(sole.medial), -way)}
    outer: list[Point] = []
    inner: list[Point] = []
    for side in ("medial", "lateral"):
        edge, turn = halves[side]
        out, within = _turned(inset(edge), turn), _turned(inset(edge, WEB), turn)
        outer += list(reversed(out)) if side == "medial" else out[1:]
        inner += list(reversed(within)) if side == "medial" else within[1:]
    drawn = _pad(inner) if shoe.pads else ""
    drawn += _clips(halves, shoe)
    ring = curve(outer) + "L" + curve(inner[::-1])[1:] + "Z"
    drawn += path(ring, 1.5, LIGHT)
    if shoe.bar_shoe:
        # Its ends run into the branches, without a seam.
        (ax, ay), (bx, by) = outer[0], outer[-1]
        (cx, cy), (dx, dy) = inner[0], inner[-1]
        behind = curve([(ax, ay), (0, ay + 5), (bx, by)])
        before = curve([(dx, dy - 7), (0, dy - 5), (cx, cy - 7)])
        drawn += path(f"{behind}L{before[1:]}Z", fill=LIGHT)
        drawn += path(behind, 1.5) + path(before, 1.5)
    for side, (edge, turn) in halves.items():
        crease = _turned(inset(edge, WEB * 0.42), turn)
        middle = [along(crease, share)[0] for share in _CREASE]
        drawn += path(curve(middle), 2.2, stroke=MIDDLE)
        for share in nail_shares(shoe.of_side(side) or 0):
            drawn += _hole(*along(crease, share))
    return drawn


_CREASE = [0.12 + 0.65 * i / 8 for i in range(9)]


def _hole(at: Point, way: Point) -> str:
    (x, y), (dx, dy) = at, way
    long, wide = 2.6, 1.5
    corners = [(long, wide), (long, -wide), (-long, -wide), (-long, wide)]
    return path(straight([(x + a * dx - b * dy, y + a * dy + b * dx) for a, b in corners], True),
                0.5, BLACK, WHITE)  # fmt: skip


def _clips(halves: dict[str, tuple[Edge, int]], shoe: Shod) -> str:
    drawn = ""
    if shoe.clip_at("toe"):
        y = halves["lateral"][0][0][1]
        drawn += path(curve([(-8, y + 1), (-4, y - 5), (4, y - 5), (8, y + 1)]), 1.5, LIGHT)
    for side, (edge, turn) in halves.items():
        if shoe.clip_at(side):
            (x, y), (dx, dy) = along(_turned(inset(edge), turn), 0.3)
            out = (dy, -dx) if turn > 0 else (-dy, dx)
            tab = [(-7, -1), (-3.5, 4.5), (3.5, 4.5), (7, -1)]
            points = [(x + a * dx + b * out[0], y + a * dy + b * out[1]) for a, b in tab]
            drawn += path(curve(points), 1.5, LIGHT)
    return drawn


def _pad(inner: Sequence[Point]) -> str:
    """The pad as slanted lines within the shoe."""
    edge = [*inner, inner[0]]
    lines = ""
    for at in range(-120, 130, 9):
        # Lines x + y = at; where they meet the edge they begin and end.
        meets: list[float] = []
        for (ax, ay), (bx, by) in pairwise(edge):
            a, b = ax + ay - at, bx + by - at
            if (a < 0) != (b < 0):
                meets.append(ax + (bx - ax) * a / (a - b))
        meets.sort()
        for left, right in zip(meets[::2], meets[1::2], strict=False):
            lines += straight([(left, at - left), (right, at - right)])
    return path(lines, 0.9, stroke=MIDDLE) if lines else ""


def beside(profile: Profile, way: int, side: str, shoe: Shod) -> str:
    """The shoe from one side, with the clinches of that side's nails."""
    (toe, ground), (heel, _) = profile.toe, profile.heel
    drawn, top = "", ground
    if shoe.pads:
        layer = [(toe - 0.5, top), (heel + 3, top), (heel + 3, top + 2.5), (toe + 1, top + 2.5)]
        drawn += path(straight(_turned(layer, way), True), 1.2, MIDDLE)
        top += 2.5
    bar = [(toe - 0.5, top), (heel + 5, top), (heel + 3.5, top + 6), (toe + 1.5, top + 6)]
    drawn += path(straight(_turned(bar, way), True), 1.5, LIGHT)
    if shoe.clip_at("toe"):
        (ax, ay), (bx, by) = profile.up(0, 13), profile.up(0.035, 10)
        tab = [(toe - 1.5, ground), (ax - 2, ay), (bx + 1, by), (toe + 5, ground)]
        drawn += path(curve(_turned(tab, way)), 1.5, LIGHT)
    if shoe.clip_at(side):
        tab = [profile.ground(0.27), profile.up(0.27, 9), profile.up(0.34, 13)]
        tab += [profile.up(0.41, 9), profile.ground(0.41)]
        drawn += path(curve(_turned(tab, way)), 1.5, LIGHT)
    for share in nail_shares(shoe.of_side(side) or 0):
        # Clinches lie about a third up the wall (common practice, no source).
        x, y = profile.up(share, profile.wall(share) * 0.34)
        drawn += path(straight(_turned([(x - 2, y), (x + 2, y)], way)), 2.4)
    return drawn
