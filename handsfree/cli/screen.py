"""What the commands share on the terminal."""

import unicodedata
from collections.abc import Iterable

from rich.console import Console
from rich.table import Table
from rich.text import Text

from handsfree.grammar.grammar import Grammar
from handsfree.grammar.wording import Wording, limb_name
from handsfree.records.checking import Unreadable
from handsfree.records.entries import Entry
from handsfree.records.limbs import LIMBS


def console(to_stderr: bool = False) -> Console:
    """The terminal; markup and emoji codes in what was said are never interpreted."""
    return Console(stderr=to_stderr, markup=False, emoji=False, highlight=False)


def safe(text: str) -> str:
    """The text without control characters, which could drive the terminal."""
    return "".join(
        c if unicodedata.category(c)[0] != "C" else "\N{REPLACEMENT CHARACTER}" for c in text
    )


def safe_lines(text: str) -> str:
    """Several lines, each without control characters."""
    return "\n".join(safe(line) for line in text.split("\n"))


def clock(seconds: float | None) -> str:
    """Seconds as minutes:seconds."""
    if seconds is None:
        return ""
    minutes, rest = divmod(int(seconds), 60)
    return f"{minutes}:{rest:02d}"


def by_limb(
    entries: Iterable[tuple[Entry | Unreadable, str]],
    grammar: Grammar,
    wording: Wording,
    title: str = "",
) -> Table:
    """A table of entries, each with a word on how sure it is, under the limb it belongs to."""
    groups: dict[str | None, list[str]] = {limb: [] for limb in (*LIMBS, None)}
    for entry, note in entries:
        shown = safe(wording.describe(entry)) + (f" ({note})" if note else "")
        groups.setdefault(entry.limb, []).append(shown)
    table = Table(title=title or None, title_justify="left", show_header=False)
    table.add_column("limb", no_wrap=True)
    table.add_column("entries", overflow="fold")
    for limb, lines in groups.items():
        if lines:
            name = f"{limb}  {limb_name(grammar, limb)}" if limb else "horse, or no limb named"
            table.add_row(Text(name), Text("\n".join(lines)), end_section=True)
    return table


def notice_line(kind: str, limb: str | None, text: str) -> str:
    """A notice in a line; only a caution does not name its foot itself."""
    foot = f" {limb}" if kind == "caution" and limb else ""
    return f"{_MARKS[kind]}{foot}: {text}"


_MARKS = {"caution": "! CAUTION", "nails": "! nails", "device": "- sound"}
