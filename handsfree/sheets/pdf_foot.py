"""One foot of a printed sheet: its name, its drawings, its text beside and under them."""

from collections.abc import Sequence
from dataclasses import dataclass

from handsfree.sheets.pdf_blocks import FOOT, Drawing, Part
from handsfree.sheets.pdf_layout import Column, height, put
from handsfree.sheets.pdf_paper import MARGIN, Paper, leading

BAND = 226
"""Grey behind a foot's name: seen in print, and black letters stay clear on it."""
DRAWING, BETWEEN, ACROSS = 34.0, 3.0, 3
"""Width of a drawing of a foot, the room beside it, and how many stand in a row."""
ABOVE, BAND_HEIGHT = 3.0, leading(FOOT) + 2.4


@dataclass(frozen=True)
class _Size:
    """How a foot lies on a page: the width its drawings take, and heights."""

    beside: float
    drawn: float
    told: float
    under: float

    @property
    def whole(self) -> float:
        return ABOVE + BAND_HEIGHT + max(self.drawn, self.told) + self.under


def _size(paper: Paper, part: Part) -> _Size:
    rows = _in_rows(part.drawings)
    beside = min(ACROSS, len(part.drawings)) * (DRAWING + BETWEEN)
    drawn = sum(max(paper.height_of(each, DRAWING) for each in row) + 1.0 for row in rows)
    told = height(paper, part.beside, paper.epw - beside)
    return _Size(beside, drawn, told, height(paper, part.under, paper.epw))


def foot_height(paper: Paper, part: Part) -> float:
    """How much room a foot takes where it stays on one page; at most what a page has."""
    return min(_size(paper, part).whole, paper.bottom - 2 * MARGIN)


def foot(paper: Paper, part: Part) -> None:
    """A foot: its drawings in a row and its text beside them; on one page if it fits."""
    size = _size(paper, part)
    paper.down(ABOVE)
    fits = size.whole <= paper.bottom - 2 * MARGIN
    paper.need(size.whole - ABOVE if fits else BAND_HEIGHT + size.drawn + 3.0)
    top = paper.get_y()
    paper.set_fill_color(BAND)
    paper.rect(MARGIN, top, paper.epw, BAND_HEIGHT - 1.2, style="F")
    name = paper.clean(part.heading)
    paper.start_section(name, 1)
    paper.row(MARGIN + 1.5, top + 0.6, paper.epw, name, FOOT, True)
    top += BAND_HEIGHT
    paper.set_y(top)
    _drawings(paper, _in_rows(part.drawings), top)
    page, until = paper.page_no(), top + size.drawn
    paper.set_y(top)
    put(paper, part.beside, Column(paper, 0.0, size.beside, page, until))
    if paper.page_no() == page:
        paper.set_y(max(paper.get_y(), until))
    put(paper, part.under)


def _in_rows(drawings: Sequence[Drawing]) -> list[Sequence[Drawing]]:
    return [drawings[at : at + ACROSS] for at in range(0, len(drawings), ACROSS)]


def _drawings(paper: Paper, rows: Sequence[Sequence[Drawing]], top: float) -> None:
    for row in rows:
        tall = 0.0
        for at, each in enumerate(row):
            x = MARGIN + at * (DRAWING + BETWEEN)
            tall = max(tall, paper.draw(each, x, top, DRAWING))
        top += tall + 1.0
