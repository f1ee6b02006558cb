"""A sheet as a PDF for print: A4 or Letter, text that can be found and copied, no network."""

from collections.abc import Iterable
from datetime import UTC, datetime, time
from typing import TYPE_CHECKING

from handsfree.sheets.content_parts import Sheet
from handsfree.sheets.content_reckoned import BALANCE, MARKS
from handsfree.sheets.pdf_blocks import SMALL, TITLE, Block, Text

if TYPE_CHECKING:
    from handsfree.sheets.pdf_paper import Paper

PAPERS = ("a4", "letter")
FEW_PLOTS = 4
"""So many plots stand two in a row; more stand in threes."""


def write_pdf(sheet: Sheet, paper: str = "a4", made: datetime | None = None) -> bytes:
    """The sheet as a PDF; the same sheet gives the same bytes.

    `paper`: "a4" or "letter". `made`: the moment the file says it was made, with its offset from
    UTC (default: the beginning of the day the sheet was made). Characters that the letters lack
    are printed as "?", which the end of the sheet says. Raises ValueError for another paper.
    """
    from handsfree.sheets import pdf_content as content
    from handsfree.sheets import pdf_foot
    from handsfree.sheets import pdf_layout as layout
    from handsfree.sheets.pdf_paper import Paper

    if paper not in PAPERS:
        raise ValueError(f"{paper!r} is no paper ({', '.join(PAPERS)})")
    made = made or datetime.combine(sheet.made_on, time(), UTC)
    title = f"{sheet.title}, {sheet.subtitle}"
    pages = Paper(paper, title, title, made)
    _head(pages, sheet)
    layout.put(pages, [Text(note, gap=1.5) for note in sheet.notes])
    if sheet.cautions:
        layout.boxed(pages, "Cautions", list(content.cautions(sheet)))
    _section(pages, "In short", content.summary(sheet))
    feet = list(content.feet(sheet))
    first = pdf_foot.foot_height(pages, feet[0]) if feet else 0.0
    layout.heading(pages, "Foot by foot", first)
    for foot in feet:
        pdf_foot.foot(pages, foot)
    if quiet := content.quiet_feet(sheet):
        layout.put(pages, [Text(quiet, gap=2.0)])
    _section(pages, "The horse as a whole", content.whole(sheet))
    layout.boxed(pages, "What comes next", list(content.ahead(sheet)))
    _section(pages, BALANCE, content.balance(sheet))
    _section(pages, MARKS, content.mark_dates(sheet))
    _section(pages, sheet.since, content.changes(sheet))
    if plots := list(content.plots(sheet)):
        layout.heading(pages, "Measures over the visits", ahead=45.0)
        layout.gallery(pages, plots, 2 if len(plots) <= FEW_PLOTS else 3)
    _section(pages, "What was heard, and how sure", content.heard(sheet))
    _section(pages, "What the words mean", content.glossary(sheet))
    _end(pages, sheet)
    return bytes(pages.output())


def _section(pages: "Paper", heading: str, blocks: Iterable[Block]) -> None:
    """A heading and what is under it; nothing where that is nothing."""
    from handsfree.sheets import pdf_layout as layout

    if found := list(blocks):
        layout.heading(pages, heading, max(12.0, layout.beginning(pages, found)))
        layout.put(pages, found)


def _head(pages: "Paper", sheet: Sheet) -> None:
    from handsfree.sheets import pdf_content as content
    from handsfree.sheets import pdf_layout as layout

    pages.start_section(pages.clean(sheet.title))
    layout.put(
        pages,
        [
            Text(sheet.name, TITLE, bold=True, gap=0.0),
            Text(f"{content.begun(sheet.when)}; {sheet.subtitle}", 11.0, bold=True, gap=0.5),
            Text(content.facts(sheet), gap=0.8),
        ],
    )


def _end(pages: "Paper", sheet: Sheet) -> None:
    from handsfree.sheets import pdf_layout as layout

    blocks = [Text(sheet.disclaimer, SMALL, gap=4.0), Text(sheet.made_by, SMALL, gap=0.5)]
    # What the last lines lack is known only once they are measured.
    layout.height(pages, blocks, pages.epw)
    if pages.lacking:
        codes = ", ".join(sorted(f"U+{ord(c):04X}" for c in pages.lacking))
        blocks.append(Text(f"Printed as “?”, for want of letters: {codes}.", SMALL, gap=0.5))
    pages.need(layout.height(pages, blocks, pages.epw))
    layout.put(pages, blocks)
