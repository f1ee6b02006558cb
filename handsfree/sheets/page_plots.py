"""Small plots of a measure over the visits, as SVG, in black and white."""

from datetime import date
from xml.sax.saxutils import escape

from handsfree.sheets.content_parts import Trend
from handsfree.sheets.content_words import short
from handsfree.sheets.drawing_svg import (
    BLACK,
    DARK,
    LIGHT,
    WHITE,
    clean,
    element,
    path,
    picture,
    straight,
    words,
)
from handsfree.sums.history import Measured, Stage

WIDTH, HEIGHT = 240.0, 118.0
LEFT, RIGHT, TOP, BOTTOM = 40.0, 232.0, 22.0, 84.0
TEXT = 9.0
DASHES = {Stage.BEFORE: "4 3", Stage.AFTER: "", Stage.UNTOUCHED: "", Stage.UNSAID: "1 3"}


def plot(trend: Trend, prefix: str) -> str:
    """The plot as a complete <svg>, its numbers in the <desc>; ids begin with `prefix`."""
    unit = "°" if trend.unit == "deg" else trend.unit
    body = words(f"{trend.name} ({unit})", (2, 11), 10, bold=True)
    for value in dict.fromkeys((trend.least, trend.most)):
        y = _y(trend, value)
        body += path(straight([(LEFT, y), (RIGHT, y)]), 0.6, stroke=LIGHT)
        body += words(short(value, trend.unit), (LEFT - 3, y + 3), TEXT, "end")
    days = ((trend.first, "start"), (trend.last, "end"))
    for (day, anchor), told in zip(days, trend.ends, strict=True):
        body += words(told, (_x(trend, day), BOTTOM + 12), TEXT, anchor)
    points = dict.fromkeys(p for track in trend.tracks for p in track.points)
    for track in trend.tracks:
        line = [(_x(trend, p.on), _y(trend, p.value.to(trend.unit))) for p in track.points]
        body += path(straight(line), 1.2, stroke=DARK, dash=DASHES[track.stage])
    for point in points:
        body += _mark(_x(trend, point.on), _y(trend, point.value.to(trend.unit)), point)
    body += _key([stage for stage in Stage if any(p.stage is stage for p in points)])
    title = f"{trend.name}, {unit if unit != '°' else 'in degrees'}, over the visits"
    return picture(prefix, title, trend.description, (0, 0, WIDTH, HEIGHT), body)


def _x(trend: Trend, day: date) -> float:
    span = max(1, (trend.last - trend.first).days)
    return LEFT + 5 + (RIGHT - LEFT - 10) * (day - trend.first).days / span


def _y(trend: Trend, value: float) -> float:
    return BOTTOM - (BOTTOM - TOP) * (value - trend.low) / ((trend.high - trend.low) or 1)


def _mark(x: float, y: float, point: Measured) -> str:
    """The form alone tells the stages apart."""
    match point.stage:
        case Stage.BEFORE:
            return element("circle", cx=x, cy=y, r=2.8, fill=WHITE, stroke=BLACK, stroke_width=1.2)
        case Stage.AFTER:
            return element("rect", x=x - 2.5, y=y - 2.5, width=5.0, height=5.0, fill=BLACK)
        case Stage.UNTOUCHED:
            corners = [(x, y - 3.4), (x + 3.2, y + 2.4), (x - 3.2, y + 2.4)]
            return path(straight(corners, True), 1, BLACK)
        case Stage.UNSAID:
            cross = straight([(x - 2.5, y - 2.5), (x + 2.5, y + 2.5)])
            return path(cross + straight([(x - 2.5, y + 2.5), (x + 2.5, y - 2.5)]), 1.4)


KEY = {
    Stage.BEFORE: "\u25cb before the trim",
    Stage.AFTER: "\u25a0 after the trim",
    Stage.UNTOUCHED: "\u25b2 no trim that day",
    Stage.UNSAID: "\u00d7 not said when",
}


def _key(stages: list[Stage]) -> str:
    told = "  ".join(KEY[stage] for stage in stages)
    return element(
        "text",
        escape(clean(told)),
        x=LEFT,
        y=HEIGHT - 6,
        font_family="sans-serif",
        font_size=8.5,
        fill=BLACK,
    )
