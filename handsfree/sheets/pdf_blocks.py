"""What stands on the pages of a printed sheet: text, lists, tables and drawings, as plain data.

pdf_content.py makes them of a sheet; pdf_layout.py measures and prints them.
"""

from dataclasses import dataclass

BODY, SMALL, HEADING, FOOT, TITLE = 9.2, 7.8, 12.5, 10.5, 21.0
"""Sizes in points."""


@dataclass(frozen=True)
class Text:
    """A paragraph; `label` stands before it in bold, `gap` is the room over it in mm."""

    text: str
    size: float = BODY
    bold: bool = False
    label: str = ""
    gap: float = 1.0


@dataclass(frozen=True)
class Bullet:
    """One line of a list without numbers."""

    text: str
    size: float = BODY
    gap: float = 0.4


@dataclass(frozen=True)
class Numbered:
    """A finding with the number that it has on the drawings."""

    number: int
    text: str
    doubtful: bool = False
    gap: float = 0.8


@dataclass(frozen=True)
class Table:
    """Rows of cells under headings; `shares` of the width, one for each column."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    shares: tuple[float, ...]
    size: float = 8.0
    gap: float = 1.8


Block = Text | Bullet | Numbered | Table


@dataclass(frozen=True)
class Drawing:
    """A picture as SVG text with its own <title> and <desc>, and what stands under it."""

    svg: str
    caption: str = ""


@dataclass(frozen=True)
class Part:
    """A foot: a heading, its drawings, what is told beside them, and what comes under both."""

    heading: str
    drawings: tuple[Drawing, ...]
    beside: tuple[Block, ...]
    under: tuple[Block, ...]
