"""The numbered circles of a drawing, the lines that tie them to places, the list under it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from handsfree.sheets.drawing_spread import RADIUS, Box
from handsfree.sheets.drawing_svg import (
    BLACK,
    WHITE,
    Point,
    element,
    path,
    straight,
    words,
    wrapped,
)

NUMBER = 10.5
SMALL = 9.0
LINE = 11.5


@dataclass(frozen=True)
class Row:
    """A mark that is listed under the drawing."""

    number: int
    doubtful: bool
    text: str


def line(at: Point, place: Point, ties: Sequence[Point]) -> str:
    """What ties a circle to the place it speaks of; dashed to each of two possible places."""
    drawn = ""
    for end in ties:
        drawn += path(straight([place, end]), 2.6, stroke=WHITE)
        drawn += path(straight([place, end]), 1.1, dash="2 2") + _dot(end, WHITE)
    if ties or place == at:
        return drawn
    tie = straight([place, at])
    return path(tie, 3, stroke=WHITE) + path(tie, 1.2) + _dot(at, BLACK)


def _dot(at: Point, fill: str) -> str:
    return element("circle", cx=at[0], cy=at[1], r=2.2, fill=fill, stroke=BLACK, stroke_width=1)


def circle(number: int, doubtful: bool, at: Point) -> str:
    """A circle with a mark's number; dashed and with "?" where it is not confirmed."""
    ring: dict[str, str | float] = {"cx": at[0], "cy": at[1], "r": RADIUS - 0.7, "fill": WHITE}
    ring |= {"stroke": BLACK, "stroke_width": 1.4}
    ground = element("circle", cx=at[0], cy=at[1], r=RADIUS, fill=WHITE)
    if doubtful:
        ring["stroke_dasharray"] = "2.8 2.2"
    text = f"{number}{'?' if doubtful else ''}"
    size = min(NUMBER, (2 * RADIUS - 5) / (0.62 * len(text)))
    # The base line, so that the digits stand in the middle of the circle.
    number_text = words(text, (at[0], at[1] + size * 0.36), size, "middle", bold=True)
    return ground + element("circle", **ring) + number_text


def below_drawing(rows: Sequence[Row], notes: Sequence[str], box: Box) -> tuple[str, float]:
    """The list under a drawing, and the height it takes."""
    left, _, right, y = box
    drawn, start = "", y
    for row in rows:
        middle = y + RADIUS + 1
        drawn += circle(row.number, row.doubtful, (left + RADIUS + 2, middle))
        x = left + 2 * RADIUS + 6
        lines = wrapped(row.text, right - x - 2, SMALL)
        for i, text in enumerate(lines):
            drawn += words(text, (x, middle + i * LINE + SMALL * 0.36), SMALL)
        y += 2 * RADIUS + 2 + (len(lines) - 1) * LINE
    for note in notes:
        for text in wrapped(note, right - left - 6, SMALL):
            y += LINE
            drawn += words(text, (left + 3, y - 1), SMALL)
    height = y - start
    return drawn, math.ceil(height) + 4 if height else 0
