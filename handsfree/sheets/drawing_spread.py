"""Where the numbered circles of a drawing go, so that none covers another."""

import math
from collections.abc import Sequence
from functools import lru_cache

from handsfree.sheets.drawing_svg import Point

RADIUS = 8.5
GAP = 1.0
GRID = 4
"""Distance of the places that are tried, in units of the drawing."""

Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""


def spread(anchors: Sequence[Point], room: Box, kept_free: Sequence[Box]) -> list[Point | None]:
    """For each anchor the middle of its circle: the anchor itself, or the nearest good place.

    No two circles are nearer than their diameter and none reaches into a box kept free. A
    circle would rather not hide another mark's anchor, nor its line cross another circle. None
    where the drawing is full.
    """
    placed: list[Point | None] = []
    open_places = _open(room, tuple(kept_free))
    for i, anchor in enumerate(anchors):
        others = [a for j, a in enumerate(anchors) if j != i and a != anchor]
        usable = _within(anchor, room) and not any(_touches(anchor, box) for box in kept_free)
        taken = [p for p in placed if p is not None]
        if usable and _best([anchor], anchor, others, taken) == (0, anchor):
            placed.append(anchor)
            continue
        near = sorted(open_places, key=lambda place: (math.dist(place, anchor), place))
        best = _best([anchor, *near] if usable else near, anchor, others, taken)
        placed.append(best[1] if best else None)
    return placed


def _best(
    places: Sequence[Point], anchor: Point, others: Sequence[Point], taken: Sequence[Point]
) -> tuple[float, Point] | None:
    """The cheapest free place with its cost.

    `places` come nearest first, and none costs less than its way.
    """
    best: tuple[float, Point] | None = None
    for place in places:
        if best is not None and math.dist(place, anchor) > best[0]:
            break
        if all(math.dist(place, p) >= 2 * RADIUS + GAP for p in taken):
            cost = _cost(place, anchor, others, taken)
            best = cost if best is None else min(best, cost)
    return best


def _cost(
    place: Point, anchor: Point, others: Sequence[Point], taken: Sequence[Point]
) -> tuple[float, Point]:
    away = math.dist(place, anchor)
    if 0 < away < RADIUS + 3:
        # A circle half over its own anchor: no line could be seen, and the place looks wrong.
        away += 25
    hides = sum(math.dist(place, other) < RADIUS + 1.5 for other in others)
    crosses = sum(_from_line(p, place, anchor) < RADIUS for p in taken)
    return round(away + 14 * hides + 22 * crosses, 6), place


@lru_cache(maxsize=64)
def _open(room: Box, kept_free: tuple[Box, ...]) -> tuple[Point, ...]:
    """The places of the grid at which a circle reaches into no box kept free."""
    return tuple(p for p in _grid(room) if not any(_touches(p, box) for box in kept_free))


def _grid(room: Box) -> list[Point]:
    left, top, right, bottom = room
    across = int((right - left - 2 * RADIUS) / GRID)
    down = int((bottom - top - 2 * RADIUS) / GRID)
    return [
        (left + RADIUS + x * GRID, top + RADIUS + y * GRID)
        for y in range(down + 1)
        for x in range(across + 1)
    ]


def _within(place: Point, room: Box) -> bool:
    (x, y), (left, top, right, bottom) = place, room
    return left <= x - RADIUS and x + RADIUS <= right and top <= y - RADIUS and y + RADIUS <= bottom


def _touches(place: Point, box: Box) -> bool:
    (x, y), (left, top, right, bottom) = place, box
    nearest = (min(max(x, left), right), min(max(y, top), bottom))
    return math.dist(place, nearest) < RADIUS


def _from_line(point: Point, a: Point, b: Point) -> float:
    """Distance of a point from the line between two others."""
    long = math.dist(a, b)
    if long == 0:
        return math.dist(point, a)
    along = ((point[0] - a[0]) * (b[0] - a[0]) + (point[1] - a[1]) * (b[1] - a[1])) / long**2
    share = min(max(along, 0), 1)
    return math.dist(point, (a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share))
