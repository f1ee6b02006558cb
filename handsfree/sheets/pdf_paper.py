"""Pages of a printed sheet: letters, lines of text, a running head and page numbers.

The letters are those of DejaVu Sans, which comes with matplotlib and knows Latin, Greek,
Cyrillic, Hebrew, Arabic and others; what it lacks is printed as "?" and kept in `lacking`.
"""

import html
import re
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import cache
from io import BytesIO
from pathlib import Path

from fpdf import FPDF
from fpdf.enums import MethodReturnValue
from fpdf.fonts import TTFFont

from handsfree.sheets.files import printable
from handsfree.sheets.pdf_blocks import BODY, SMALL, Drawing

FAMILY = "sans-serif"
"""The name under which the drawings ask for letters."""

MARGIN = 15.0
LEADING = 1.32
"""Height of a line in parts of the size of its letters."""
MM_PER_PT = 25.4 / 72
ALL_PAGES = "\x02pages\x03"
"""Stands for the number of pages until it is known; clean text never holds it."""
TURNING = frozenset({"R", "AL", "AN"})
"""Unicode's classes of letters that are written from right to left."""


@cache
def _files() -> dict[str, Path]:
    import matplotlib

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    return {"": folder / "DejaVuSans.ttf", "B": folder / "DejaVuSans-Bold.ttf"}


def leading(size: float) -> float:
    """Height of a line in mm."""
    return size * LEADING * MM_PER_PT


class Paper(FPDF):
    """Pages of one sheet; `running` stands at the head of every page but the first.

    Everything is put at `get_y()` and moves it down. What is printed must be `clean`.
    """

    def __init__(self, paper: str, title: str, running: str, made: datetime) -> None:
        super().__init__(format=paper)
        self.lacking: set[str] = set()
        for style, file in _files().items():
            self.add_font(FAMILY, style, file)
        # What both faces have, so that bold and plain text lack the same.
        faces = [font.cmap for font in self.fonts.values() if isinstance(font, TTFFont)]
        self._known = frozenset(faces[0]).intersection(*faces[1:])
        self._running = self.clean(running)
        self.c_margin = 0.0
        self.alias_nb_pages(ALL_PAGES)
        self.set_auto_page_break(False)
        self.set_margins(MARGIN, MARGIN)
        self.set_lang("en")
        self.set_title(printable(title))
        self.set_creator("handsfree")
        self.set_creation_date(made)
        self.add_page()

    def header(self) -> None:
        """Whose sheet it is, from the second page on."""
        if self.page_no() == 1:
            return
        first, *more = self.split(self._running, self.epw - 5, SMALL)
        self.row(MARGIN, 8.0, self.epw, f"{first} …" if more else first, SMALL)
        self.set_line_width(0.2)
        self.line(MARGIN, 12.5, self.w - MARGIN, 12.5)
        self.set_y(MARGIN + 1)

    def footer(self) -> None:
        """The page's number and how many there are."""
        self.face(SMALL)
        self.set_xy(MARGIN, self.h - 11)
        self.cell(self.epw, 4, f"page {self.page_no()} of {ALL_PAGES}")

    @property
    def bottom(self) -> float:
        """Where the text of a page ends."""
        return float(self.h) - 14.0

    def need(self, height: float) -> None:
        """Begin a new page where so much does not fit on this one."""
        if self.get_y() + height > self.bottom:
            self.add_page()

    def down(self, height: float) -> None:
        """Leave room, but none at the head of a page."""
        if self.get_y() > MARGIN + 1:
            self.set_y(self.get_y() + height)

    def face(self, size: float, bold: bool = False) -> None:
        """Choose the letters."""
        self.set_font(FAMILY, "B" if bold else "", size)

    def clean(self, text: str) -> str:
        """The text as it can be printed: in one line, "?" for what the letters lack."""
        text = unicodedata.normalize("NFC", printable(" ".join(text.split())))
        lacks = {c for c in text if ord(c) not in self._known}
        self.lacking |= lacks
        return "".join("?" if c in lacks else c for c in text)

    def split(self, text: str, width: float, size: float = BODY, bold: bool = False) -> list[str]:
        """A clean text in lines of a width."""
        self.face(size, bold)
        with self._turned(text):
            if self.get_string_width(text) <= width:
                return [text]
            lines = self.multi_cell(
                width, 1, text, dry_run=True, output=MethodReturnValue.LINES, align="L"
            )
        return [str(line) for line in lines] if isinstance(lines, list) and lines else [""]

    def row(
        self, x: float, y: float, width: float, text: str, size: float, bold: bool = False
    ) -> None:
        """One line of clean text at a place."""
        self.face(size, bold)
        self.set_xy(x, y)
        with self._turned(text):
            self.cell(width, leading(size), text)

    def rows(
        self, x: float, width: float, lines: list[str], size: float = BODY, bold: bool = False
    ) -> None:
        """Lines of clean text under each other, on a new page where they reach the end."""
        for line in lines:
            self.need(leading(size))
            y = self.get_y()
            self.row(x, y, width, line, size, bold)
            self.set_y(y + leading(size))

    @contextmanager
    def _turned(self, text: str) -> Iterator[None]:
        """Letters joined and set from right to left where the text has such letters."""
        turns = any(unicodedata.bidirectional(c) in TURNING for c in text)
        if turns:
            self.set_text_shaping(True)
        yield
        if turns:
            self.set_text_shaping(False)

    def draw(self, drawing: Drawing, x: float, y: float, width: float) -> float:
        """A drawing with its alternative text and its caption; how high they are."""
        bare, told = _without_words(drawing.svg)
        height = width * _height_to_width(bare)
        self.image(BytesIO(bare.encode()), x=x, y=y, w=width, alt_text=told)
        for line in self._caption(drawing, width):
            self.face(SMALL)
            self.set_xy(x, y + height)
            self.cell(width, leading(SMALL), line, align="C")
            height += leading(SMALL)
        return height

    def height_of(self, drawing: Drawing, width: float) -> float:
        """How high a drawing of a width is, with its caption."""
        caption = len(self._caption(drawing, width)) * leading(SMALL)
        return width * _height_to_width(drawing.svg) + caption

    def _caption(self, drawing: Drawing, width: float) -> list[str]:
        caption = self.clean(drawing.caption)
        return self.split(caption, width, SMALL) if caption else []


def _height_to_width(svg: str) -> float:
    found = re.search(r'viewBox="([^"]*)"', svg)
    _, _, width, height = map(float, found[1].split()) if found else (0.0, 0.0, 1.0, 1.0)
    return height / width


def _without_words(svg: str) -> tuple[str, str]:
    """A drawing without its <title> and <desc>, which are no marks on paper, and their text."""
    words = re.compile(r"<(title|desc)\b[^>]*>(.*?)</\1>", re.DOTALL)
    told = [" ".join(html.unescape(match[2]).split()) for match in words.finditer(svg)]
    return words.sub("", svg), ". ".join(told)
