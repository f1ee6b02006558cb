"""How the pieces of a printed sheet are measured and put on its pages."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from handsfree.sheets.pdf_blocks import (
    BODY,
    HEADING,
    Block,
    Bullet,
    Drawing,
    Numbered,
    Table,
    Text,
)
from handsfree.sheets.pdf_paper import MARGIN, Paper, leading

CIRCLE = 4.4
INDENT = 3.5
PLOTS_BETWEEN = 4.0
WHOLE = 6
"""Lines of a list's entry that stay together."""
RULE = 0.8
"""Room that the line under a row of a table takes."""


@dataclass
class Column:
    """Where text goes: beside drawings until their end, then over the whole width."""

    paper: Paper
    inset: float = 0.0
    beside: float = 0.0
    page: int = 0
    until: float = 0.0

    def place(self) -> tuple[float, float]:
        """Left edge and width of what comes next."""
        paper = self.paper
        left = MARGIN + self.inset
        if self.beside and paper.page_no() == self.page and paper.get_y() < self.until:
            left += self.beside
        return left, paper.w - MARGIN - self.inset - left


def lines_of(paper: Paper, block: Block, width: float) -> list[list[list[str]]]:
    """The rows of a block, each with its cells, each in its lines."""
    match block:
        case Table():
            return [
                [
                    paper.split(paper.clean(cell), width * share - 1.5, block.size, at == 0)
                    for cell, share in zip(row, block.shares, strict=True)
                ]
                for at, row in enumerate((block.head, *block.rows))
            ]
        case Numbered():
            return [[paper.split(paper.clean(block.text), width - CIRCLE - 1.5)]]
        case Bullet():
            return [[paper.split(paper.clean(block.text), width - INDENT, block.size)]]
        case Text():
            return [[_labelled(paper, block, width)]]


def _labelled(paper: Paper, block: Text, width: float) -> list[str]:
    """The lines of a paragraph, the first shorter by its label."""
    text, free = paper.clean(block.text), _label_width(paper, block)
    if not free or free > width / 2:
        return paper.split(text, width, block.size, block.bold)
    first = paper.split(text, width - free, block.size, block.bold)
    rest = text[len(first[0]) :].strip()
    if len(first) == 1 or not text.startswith(first[0]):
        return first
    return [first[0], *paper.split(rest, width, block.size, block.bold)]


def _label_width(paper: Paper, block: Text) -> float:
    if not block.label:
        return 0.0
    paper.face(block.size, True)
    return float(paper.get_string_width(paper.clean(block.label))) + 1.5


def height(paper: Paper, blocks: Sequence[Block], width: float) -> float:
    """How much room the blocks take in a column of a width."""
    total = 0.0
    for block in blocks:
        rows = lines_of(paper, block, width)
        size = BODY if isinstance(block, Numbered) else block.size
        step = sum(max(map(len, row)) for row in rows) * leading(size)
        step += len(rows) * RULE if isinstance(block, Table) else 0.0
        total += block.gap + (max(step, CIRCLE) if isinstance(block, Numbered) else step)
    return total


def beginning(paper: Paper, blocks: Sequence[Block]) -> float:
    """How much room the first of the blocks takes, of a table its heading and its first row."""
    first = blocks[0]
    if isinstance(first, Table):
        first = replace(first, rows=first.rows[:1])
    return min(height(paper, [first], paper.epw), (paper.bottom - MARGIN) / 2)


def put(paper: Paper, blocks: Sequence[Block], column: Column | None = None) -> None:
    """Print the blocks one under the other, over as many pages as they take."""
    column = column or Column(paper)
    for block in blocks:
        paper.down(block.gap)
        x, width = column.place()
        match block:
            case Table():
                _table(paper, block, x, width)
            case Numbered():
                _numbered(paper, block, x, width)
            case Bullet():
                (lines,) = lines_of(paper, block, width)[0]
                # A short one is not broken over two pages.
                paper.need(min(len(lines), WHOLE) * leading(block.size))
                paper.row(x, paper.get_y(), INDENT, "•", block.size)
                paper.rows(x + INDENT, width - INDENT, lines, block.size)
            case Text():
                _text(paper, block, x, width)


def _text(paper: Paper, block: Text, x: float, width: float) -> None:
    ((lines,),) = lines_of(paper, block, width)
    free = _label_width(paper, block)
    paper.need(leading(block.size))
    if free:
        y = paper.get_y()
        paper.row(x, y, free, paper.clean(block.label), block.size, True)
        if free <= width / 2:
            paper.row(x + free, y, width - free, lines.pop(0), block.size, block.bold)
        paper.set_y(y + leading(block.size))
    paper.rows(x, width, lines, block.size, block.bold)


def _numbered(paper: Paper, block: Numbered, x: float, width: float) -> None:
    (lines,) = lines_of(paper, block, width)[0]
    paper.need(CIRCLE)
    top, page = paper.get_y(), paper.page_no()
    circle(paper, x, top, block.number, block.doubtful)
    paper.set_y(top + (CIRCLE - leading(BODY)) / 2)
    paper.rows(x + CIRCLE + 1.5, width - CIRCLE - 1.5, lines)
    if paper.page_no() == page:
        paper.set_y(max(paper.get_y(), top + CIRCLE))


def circle(paper: Paper, x: float, y: float, number: int, doubtful: bool) -> None:
    """A finding's number as it is on the drawings: dashed, with "?", where not confirmed."""
    paper.set_line_width(0.3)
    if doubtful:
        paper.set_dash_pattern(dash=0.7, gap=0.5)
    paper.circle(x + CIRCLE / 2, y + CIRCLE / 2, CIRCLE / 2, style="D")
    paper.set_dash_pattern()
    said = f"{number}{'?' if doubtful else ''}"
    paper.face(min(7.5, 14 / len(said)), True)
    paper.set_xy(x, y)
    paper.cell(CIRCLE, CIRCLE, said, align="C")


def _table(paper: Paper, table: Table, x: float, width: float) -> None:
    rows, step = lines_of(paper, table, width), leading(table.size)
    for at, cells in enumerate(rows):
        deep = max(map(len, cells))
        # A heading alone at the end of a page says nothing.
        ahead = max(map(len, rows[1])) if at == 0 and len(rows) > 1 else 0
        whole = (deep + ahead) * step + 2 * RULE
        if paper.get_y() + whole > paper.bottom and whole < paper.bottom - 2 * MARGIN:
            paper.add_page()
            if at:
                _cells(paper, table, rows[0], x, width, True)
        _cells(paper, table, cells, x, width, at == 0)


def _cells(
    paper: Paper, table: Table, cells: list[list[str]], x: float, width: float, head: bool
) -> None:
    step, deep, top = leading(table.size), max(map(len, cells)), paper.get_y()
    if top + deep * step <= paper.bottom:
        # Cell by cell, so that whoever copies or hears the page gets each as a whole.
        left = x
        for lines, share in zip(cells, table.shares, strict=True):
            paper.set_y(top)
            paper.rows(left, width * share, lines, table.size, head)
            left += width * share
        paper.set_y(top + deep * step)
    else:
        for at in range(deep):
            paper.need(step)
            y, left = paper.get_y(), x
            for lines, share in zip(cells, table.shares, strict=True):
                if at < len(lines):
                    paper.row(left, y, width * share, lines[at], table.size, head)
                left += width * share
            paper.set_y(y + step)
    y = paper.get_y() + RULE / 2
    paper.set_line_width(0.35 if head else 0.1)
    paper.line(x, y, x + width, y)
    paper.set_y(y + RULE / 2)


def heading(paper: Paper, text: str, ahead: float) -> None:
    """A heading with a line under it, and a bookmark; on the page of what is `ahead` of it."""
    paper.down(4.0)
    paper.need(leading(HEADING) + 1.5 + ahead)
    text = paper.clean(text)
    paper.start_section(text)
    paper.rows(MARGIN, paper.epw, [text], HEADING, True)
    paper.set_line_width(0.5)
    paper.line(MARGIN, paper.get_y() + 0.3, paper.w - MARGIN, paper.get_y() + 0.3)
    paper.set_y(paper.get_y() + 1.2)


def boxed(paper: Paper, title: str, blocks: Sequence[Block]) -> None:
    """Blocks in a heavy frame; without one where they do not fit on a page."""
    inset = 3.0
    width = paper.epw - 2 * inset
    tall = 2 * inset + leading(HEADING) + height(paper, blocks, width)
    paper.down(3.0)
    if tall > paper.bottom - 2 * MARGIN:
        heading(paper, title, beginning(paper, blocks))
        put(paper, blocks)
        return
    paper.need(tall)
    top = paper.get_y()
    paper.set_line_width(0.9)
    paper.rect(MARGIN, top, paper.epw, tall)
    paper.start_section(paper.clean(title))
    paper.set_y(top + inset)
    paper.rows(MARGIN + inset, width, [paper.clean(title)], HEADING, True)
    put(paper, blocks, Column(paper, inset))
    paper.set_y(top + tall)


def gallery(paper: Paper, drawings: Sequence[Drawing], across: int) -> None:
    """Drawings in rows of so many, as wide as the page."""
    width = (paper.epw - PLOTS_BETWEEN * (across - 1)) / across
    for at in range(0, len(drawings), across):
        row = drawings[at : at + across]
        tall = max(paper.height_of(each, width) for each in row)
        paper.need(tall)
        top = paper.get_y()
        for place, each in enumerate(row):
            paper.draw(each, MARGIN + place * (width + PLOTS_BETWEEN), top, width)
        paper.set_y(top + tall + 1.0)
