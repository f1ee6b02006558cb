"""SVG text from points and words: paths, circles and text only; any renderer can show them."""

import textwrap
import unicodedata
from collections.abc import Sequence
from xml.sax.saxutils import escape, quoteattr

Point = tuple[float, float]

BLACK, DARK, MIDDLE, LIGHT, PALE, WHITE = (
    "#000",
    "#6b6b6b",
    "#a8a8a8",
    "#d2d2d2",
    "#eeeeee",
    "#fff",
)
FONT = "sans-serif"
GLYPH = 0.56
"""Mean width of a letter of a sans-serif face, in parts of its size."""

_REORDERING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def clean(text: str) -> str:
    """The text without what XML forbids or what could reorder the text around it.

    Right-to-left letters stay; the characters that switch direction for what follows do not.
    """
    kept = []
    for c in text:
        if c in "\t\n\r":
            kept.append(" ")
        elif unicodedata.category(c) in {"Cc", "Cs", "Cn"} or c in _REORDERING:
            kept.append("\N{REPLACEMENT CHARACTER}")
        else:
            kept.append(c)
    return "".join(kept)


def safe_id(prefix: str) -> str:
    """A prefix that may begin an XML id, whatever it was made from; never two alike for two."""
    kept = "".join(
        c if (c.isascii() and c.isalnum()) or c == "-" else f"_{ord(c):x}_" for c in prefix
    )
    return kept if kept[:1].isalpha() else f"d{kept}"


def num(value: float) -> str:
    """A coordinate to a tenth of a unit."""
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def element(tag: str, content: str = "", /, **attributes: str | float) -> str:
    """An element; `_` in a name stands for `-`, content must be escaped already."""
    said = "".join(
        f" {name.strip('_').replace('_', '-')}="
        + quoteattr(value if isinstance(value, str) else num(value))
        for name, value in attributes.items()
    )
    return f"<{tag}{said}>{content}</{tag}>" if content else f"<{tag}{said}/>"


def curve(points: Sequence[Point], closed: bool = False) -> str:
    """Path data of a smooth line through the points (Catmull-Rom, as cubic Béziers)."""
    last = len(points) - 1

    def at(i: int) -> Point:
        return points[i % len(points)] if closed else points[min(max(i, 0), last)]

    parts = [f"M{num(points[0][0])} {num(points[0][1])}"]
    for i in range(len(points) if closed else last):
        before, a, b, after = at(i - 1), at(i), at(i + 1), at(i + 2)
        c1 = (a[0] + (b[0] - before[0]) / 6, a[1] + (b[1] - before[1]) / 6)
        c2 = (b[0] - (after[0] - a[0]) / 6, b[1] - (after[1] - a[1]) / 6)
        parts.append("C" + " ".join(num(v) for p in (c1, c2, b) for v in p))
    return "".join(parts) + ("Z" if closed else "")


def straight(points: Sequence[Point], closed: bool = False) -> str:
    """Path data of straight lines through the points."""
    joined = "L".join(f"{num(x)} {num(y)}" for x, y in points)
    return f"M{joined}{'Z' if closed else ''}"


def path(
    data: str, width: float = 0, fill: str = "none", stroke: str = BLACK, dash: str = ""
) -> str:
    """A path; no line is drawn where `width` is 0."""
    drawn: dict[str, str | float] = {"d": data, "fill": fill}
    if width:
        drawn |= {"stroke": stroke, "stroke_width": width, "stroke_linejoin": "round"}
        drawn |= {"stroke_linecap": "butt" if dash else "round"}
    if dash:
        drawn["stroke_dasharray"] = dash
    return element("path", **drawn)


def words(text: str, at: Point, size: float, anchor: str = "start", bold: bool = False) -> str:
    """A line of text; `at` is the middle (or an end) of its base line."""
    drawn: dict[str, str | float] = {"x": at[0], "y": at[1], "font_family": FONT}
    drawn |= {"font_size": size, "text_anchor": anchor, "fill": BLACK}
    if bold:
        drawn["font_weight"] = "bold"
    return element("text", escape(clean(text)), **drawn)


def wrapped(text: str, width: float, size: float) -> list[str]:
    """The text in lines that fit a width; letters of full width count double."""
    text = " ".join(clean(text).split())
    wide = sum(unicodedata.east_asian_width(c) in "WF" for c in text)
    share = 1 + wide / max(len(text), 1)
    letters = max(int(width / (size * GLYPH * share)), 4)
    return textwrap.wrap(text, letters) or [""]


def picture(
    prefix: str, title: str, description: str, box: tuple[float, float, float, float], body: str
) -> str:
    """A complete drawing with its alternative text; ids begin with the prefix."""
    name = safe_id(prefix)
    told = element("title", escape(clean(title)), id=f"{name}-title")
    told += element("desc", escape(clean(description)), id=f"{name}-desc")
    x, y, width, height = box
    ground = element("rect", x=x, y=y, width=width, height=height, fill=WHITE)
    return element(
        "svg",
        told + ground + body,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=" ".join(num(v) for v in box),
        role="img",
        aria_labelledby=f"{name}-title {name}-desc",
    )
