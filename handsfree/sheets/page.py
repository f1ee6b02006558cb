"""A sheet as one self-contained HTML page: no script, no network, no font from elsewhere.

Everything is escaped by the template; the drawings and plots escape their own words.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from handsfree.sheets.content import Audience, Definition, FootPart, Sheet
from handsfree.sheets.content_reckoned import BALANCE, DATED, MARKS, RECKONED
from handsfree.sheets.drawing import from_below, from_side
from handsfree.sheets.drawing_svg import clean
from handsfree.sheets.page_plots import plot

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

TEMPLATES = Path(__file__).parent / "templates"


A_DAY = re.compile(r"(\d{4}-\d\d-\d\d)")
HEADINGS = {"balance": BALANCE, "reckoned": RECKONED, "marks": MARKS, "dated": DATED}


@dataclass(frozen=True)
class FootOnPage:
    """A foot, its drawings with their captions, and its trade words."""

    part: FootPart
    pictures: tuple[tuple[str, "Markup"], ...]
    words: tuple[Definition, ...]


def page(sheet: Sheet) -> str:
    """The whole page as HTML5 text, to be kept as UTF-8; the same sheet gives the same text."""
    from markupsafe import Markup

    return _templates().get_template("sheet.html.j2").render(
        sheet=sheet,
        css=Markup(_css()),
        feet=[_foot(foot, sheet) for foot in sheet.feet],
        measured=[foot for foot in sheet.feet if foot.measures],
        headings=HEADINGS,
        plots=[Markup(plot(each, f"plot{at}")) for at, each in enumerate(sheet.trends)],
    )  # fmt: skip


@cache
def _templates() -> "Environment":
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    made = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_without_control,
        keep_trailing_newline=True,
        auto_reload=False,
    )
    made.filters["unbroken"] = _unbroken
    return made


def _unbroken(text: str) -> "Markup":
    """The text with its days (2026-10-14) kept in one line each."""
    from markupsafe import Markup, escape

    parts = A_DAY.split(clean(text))
    kept = (
        Markup('<span class="day">{}</span>').format(part) if at % 2 else escape(part)
        for at, part in enumerate(parts)
    )
    return Markup("").join(kept)


def _without_control(value: object) -> object:
    """Text without what HTML has no place for or what turns the direction of writing."""
    return clean(value) if type(value) is str else value


@cache
def _css() -> str:
    return (TEMPLATES / "sheet.css").read_text(encoding="utf-8")


def _foot(foot: FootPart, sheet: Sheet) -> FootOnPage:
    from markupsafe import Markup

    pictures = tuple((caption, Markup(svg)) for caption, svg in _pictures(foot, sheet))
    return FootOnPage(foot, pictures, tuple(_words(foot, sheet)))


def _pictures(foot: FootPart, sheet: Sheet) -> Iterator[tuple[str, str]]:
    """The drawings of a foot on which there is something to see."""
    if not foot.drawn:
        return
    labels, limb = sheet.labels, foot.limb
    drawn = from_below(limb, foot.marks, foot.shod, labels, f"{limb}-below", listed=False)
    yield sheet.below(foot), drawn
    for side in foot.sides:
        drawn = from_side(limb, side, foot.marks, foot.shod, labels, f"{limb}-{side}", listed=False)
        name = labels.side(side)
        caption = f"From the {name}" if sheet.audience is Audience.OWNER else f"{name} view"
        yield caption[:1].upper() + caption[1:], drawn


def _words(foot: FootPart, sheet: Sheet) -> Iterator[Definition]:
    """The trade words of a foot, for the owner."""
    if sheet.audience is not Audience.OWNER:
        return
    items = (*foot.found, *foot.absent, *foot.done, *foot.fitted, *foot.planned)
    ids = {term for item in items for term in item.terms} | {row.term for row in foot.measures}
    yield from (word for word in sheet.glossary if word.id in ids)
