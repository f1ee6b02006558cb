"""Lines of text the screen is made of: what the terminal can show, folding, cutting, marks."""

import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rich.cells import cell_len, chop_cells, set_cell_size
from rich.text import Text

from handsfree.review.keys import KEYS, Key


@dataclass(frozen=True)
class Glyphs:
    """The signs drawn with; `encoding` is what the terminal takes, `plain` for ASCII only."""

    encoding: str
    plain: bool
    rule: str
    bar: str
    cut: str

    def clean(self, text: str) -> str:
        """The text on one line, without control characters, in what the terminal can show."""
        shown = "".join(" " if c.isspace() else self._one(c) for c in text)
        try:
            shown.encode(self.encoding)
        except UnicodeEncodeError:
            shown = "".join(self._plainer(c) for c in shown)
        return shown

    def _one(self, c: str) -> str:
        # Cc, Cf (also right-to-left overrides), Cs …: these could drive the terminal.
        if unicodedata.category(c)[0] == "C":
            return "?" if self.plain else "\N{REPLACEMENT CHARACTER}"
        return c

    def _plainer(self, c: str) -> str:
        try:
            c.encode(self.encoding)
        except UnicodeEncodeError:
            base = unicodedata.normalize("NFKD", c).encode(self.encoding, "ignore")
            return _SPELLED.get(c) or base.decode(self.encoding) or "?"
        return c


_SPELLED = {"°": " deg", "–": "-", "—": "-", "…": "...", "‘": "'", "’": "'", "“": '"', "”": '"'}


def glyphs(encoding: str | None) -> Glyphs:
    """The signs for a terminal of this encoding; None or one unknown is taken as ASCII."""
    name = encoding or "ascii"
    try:
        "─│…".encode(name)
    except (UnicodeEncodeError, LookupError):
        known = name if _known(name) else "ascii"
        return Glyphs(known, True, "-", "|", "..")
    return Glyphs(name, False, "─", "│", "…")


def _known(encoding: str) -> bool:
    try:
        "".encode(encoding)
    except LookupError:
        return False
    return True


def fold(text: str, width: int) -> list[str]:
    """The text in lines of at most `width` cells, broken at blanks, long words anywhere."""
    lines: list[str] = []
    now = ""
    for word in text.split():
        pieces = chop_cells(word, max(1, width)) if cell_len(word) > width else [word]
        for piece in pieces:
            joined = f"{now} {piece}" if now else piece
            if cell_len(joined) <= width:
                now = joined
            else:
                lines.append(now)
                now = piece
    return [*lines, now] if now or not lines else lines


def cut(text: str, width: int, g: Glyphs) -> str:
    """The text in at most `width` cells; what is taken out of its middle is marked."""
    if cell_len(text) <= width:
        return text
    if width <= len(g.cut) + 2:
        return set_cell_size(text, max(0, width))
    # The ends differ most between two readings: the foot is first, what it is comes last.
    tail = (width - len(g.cut)) // 2
    head = set_cell_size(text, width - len(g.cut) - tail).rstrip()
    end = text
    while cell_len(end) > tail:
        end = end[1:]
    return head + g.cut + end.lstrip()


LABEL = 9
"""Cells of the column that names what stands beside it."""


def labelled(label: str, text: str, width: int, style: str = "", mark: str = " ") -> list[Text]:
    """A label and beside it the text, folded; `mark` stands before it (what Enter takes)."""
    rows = []
    for number, line in enumerate(fold(text, width - LABEL - 2)):
        start = f"{mark} {label:<{LABEL}}" if number == 0 else " " * (LABEL + 2)
        rows.append(Text(start, end="").append(line, style=style))
    return rows


def window(
    blocks: Sequence[Sequence[Text]], at: int, height: int, width: int, g: Glyphs
) -> list[Text]:
    """As many of the blocks as fit, the one numbered `at` among them; what is left out is said."""
    first, last = at, at + 1
    room = height - len(blocks[at]) if blocks else height
    while True:
        # One line is kept free for each end that says how many are beyond it.
        need = (first > 0) + (last < len(blocks))
        if last < len(blocks) and room - len(blocks[last]) >= (first > 0) + (
            last + 1 < len(blocks)
        ):
            room -= len(blocks[last])
            last += 1
        elif first > 0 and room - len(blocks[first - 1]) >= (first - 1 > 0) + (last < len(blocks)):
            first -= 1
            room -= len(blocks[first])
        else:
            break
    rows: list[Text] = []
    if first > 0 and need and room > 0:
        rows.append(Text(cut(f"  {first} more above", width, g)))
    rows += [row for block in blocks[first:last] for row in block]
    if last < len(blocks) and len(rows) < height:
        rows.append(Text(cut(f"  {len(blocks) - last} more below", width, g)))
    return rows[:height]


def key_rows(width: int, only: int | None = None) -> list[Text]:
    """The keys that are always shown, those that matter most first; or `only` row 1 or 2."""
    rows: list[Text] = []
    for number in (only,) if only else (1, 2):
        rows += _flow([key for key in KEYS if key.row == number], width)
    return rows


def _flow(keys: Iterable[Key], width: int) -> list[Text]:
    rows = [Text(" ")]
    for key in keys:
        wide = len(key.face) + 1 + len(key.label)
        if len(rows[-1]) > 1 and len(rows[-1]) + 1 + wide > width:
            rows.append(Text(" "))
        if len(rows[-1]) > 1:
            rows[-1].append("  ")
        rows[-1].append(key.face, style="bold").append(f" {key.label}")
    return rows


def key_help() -> tuple[str, ...]:
    """One line for each key, for the help."""
    return tuple(f"{key.face:<6}{key.help}" for key in KEYS)


def as_text(rows: Sequence[Text]) -> Text:
    """The rows as one text of several lines that nothing folds again."""
    joined = Text("\n", no_wrap=True, overflow="crop").join(rows)
    joined.no_wrap, joined.overflow = True, "crop"
    return joined
