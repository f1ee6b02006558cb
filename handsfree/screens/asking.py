"""A question with numbered answers, or lines to read, in pages that fit the digit keys."""

from collections.abc import Awaitable, Callable
from dataclasses import dataclass, replace

from rich.text import Text

from handsfree.screens.parts import Glyphs, cut, fold

PAGE = 8
"""At most so many answers on a page: 9 turns it over and 0 is for typing."""

_AROUND = 4
"""Rows around what is asked: the title, the way on, the box and the way back."""

Act = Callable[[], Awaitable[None]]
Typed = Callable[[str], Awaitable[bool]]


@dataclass(frozen=True)
class Option:
    """One numbered answer."""

    label: str
    act: Act


@dataclass(frozen=True)
class Box:
    """A box to type in: `then` is given the words and returns whether they were taken."""

    title: str
    hint: str
    then: Typed
    start: str = ""
    may_be_empty: bool = False


@dataclass(frozen=True)
class Ask:
    """What is asked: `options` by number, or `lines` to read; 0 opens `box` where there is one."""

    title: str
    options: tuple[Option, ...] = ()
    lines: tuple[str, ...] = ()
    box: Box | None = None
    box_label: str = "type it"
    page: int = 0
    cursor: int = 0

    def shown(self, height: int) -> tuple[Option, ...]:
        """The options of the present page, on so many rows."""
        size = _size(height)
        return self.options[self.page * size : (self.page + 1) * size]

    def moved(self, by: int, height: int) -> "Ask":
        """With the mark one line up or down, round the end."""
        count = len(self.shown(height))
        return replace(self, cursor=(self.cursor + by) % count) if count else self

    def turned(self, height: int, width: int) -> "Ask":
        """The next page, the first after the last."""
        pages = self.pages(height, width)
        return replace(self, page=(self.page + 1) % pages, cursor=0)

    def pages(self, height: int, width: int) -> int:
        """How many pages there are, on so many rows."""
        if self.options:
            return -(-len(self.options) // _size(height))
        return max(1, -(-len(self._folded(width)) // max(1, height - _AROUND)))

    def fitted(self, height: int, width: int) -> "Ask":
        """On a page that there is, for a window that may have become smaller."""
        last = self.pages(height, width) - 1
        return self if self.page <= last else replace(self, page=last, cursor=0)

    def option(self, number: int, height: int) -> Option | None:
        """The option with this number (1..) on the page."""
        shown = self.shown(height)
        return shown[number - 1] if 1 <= number <= len(shown) else None

    def _folded(self, width: int) -> list[str]:
        rows: list[str] = []
        for line in self.lines:
            first, *rest = fold(line, width - 4)
            rows += [f"  {first}", *(f"    {each}" for each in rest)]
        return rows

    def draw(self, width: int, height: int, g: Glyphs) -> list[Text]:
        """At most `height` rows of `width` cells."""
        asked = replace(self, lines=tuple(g.clean(line) for line in self.lines))
        asked = asked.fitted(height, width)
        lines = 2 if height > PAGE + _AROUND else 1
        title = fold(g.clean(self.title), width - 2)[:lines]
        rows = [Text(f" {line}", style="bold") for line in title]
        rows += asked._options(width, height, g) if self.options else asked._reading(width, height)
        pages = asked.pages(height, width)
        if pages > 1:
            rows.append(Text(f"  9  more (page {asked.page + 1} of {pages})"))
        if self.box:
            rows.append(Text(f"  0  {self.box_label}"))
        rows.append(Text("  B  back"))
        return rows[:height]

    def _options(self, width: int, height: int, g: Glyphs) -> list[Text]:
        rows = []
        for number, option in enumerate(self.shown(height), 1):
            marked = number - 1 == self.cursor
            text = f"{'>' if marked else ' '} {number}  {cut(g.clean(option.label), width - 6, g)}"
            rows.append(Text(text, style="bold" if marked else ""))
        return rows

    def _reading(self, width: int, height: int) -> list[Text]:
        size = max(1, height - _AROUND)
        return [Text(line) for line in self._folded(width)[self.page * size :][:size]]


def _size(height: int) -> int:
    return max(1, min(PAGE, height - _AROUND))
