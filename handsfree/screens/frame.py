"""The page put together: heading, horse, the utterance in hand, what was done, the keys."""

from collections import Counter
from dataclasses import dataclass

from rich.text import Text
from textual.geometry import Size

from handsfree.review.desk import Desk
from handsfree.review.items import UNCLEAR, FootView, Item
from handsfree.review.place import Place
from handsfree.screens import entry, horse
from handsfree.screens.asking import Ask, Box
from handsfree.screens.parts import Glyphs, cut, fold, key_rows

LEAST = Size(60, 20)
"""The smallest terminal the screen works in (columns, rows)."""

WIDE = 76
"""Columns from which the whole horse is drawn beside the utterance."""


READABLE = 90
"""Columns beyond which lines of text are no longer read at a glance (common practice)."""


@dataclass(frozen=True)
class Seen:
    """What the screen shows of a desk, read in one go, so that drawing asks nothing."""

    title: str
    items: tuple[Item, ...]
    feet: tuple[FootView, ...]
    on_horse: int
    notices: int

    @classmethod
    def of(cls, desk: Desk) -> "Seen":
        """Read it from the desk."""
        visit = desk.visit
        return cls(
            f"{visit.whose}, {visit.day}",
            desk.items,
            desk.feet(),
            len(desk.horse_entries()),
            len(desk.notices()),
        )


def too_small(size: Size) -> list[Text] | None:
    """What to say in a terminal that is too small, None in one that is not."""
    if size.width >= LEAST.width and size.height >= LEAST.height:
        return None
    words = (
        f"The window is {size.width} x {size.height}: too small. {LEAST.width} columns and "
        f"{LEAST.height} rows are needed. Make it larger or its letters smaller; nothing is "
        "lost. Q leaves."
    )
    return [Text(line) for line in fold(words, max(1, size.width))[: max(1, size.height)]]


class Frame:
    """Draws the page with the signs the terminal can show."""

    def __init__(self, signs: Glyphs) -> None:
        self._g = signs

    def room(self, size: Size, box: bool = False) -> tuple[int, int]:
        """Columns and rows for the utterance in hand."""
        height = size.height - 2 - self._foot_rows(size, box) - 3 * box
        if size.width >= WIDE:
            return min(size.width - horse.WIDTH - 2, READABLE), height
        return size.width, height - 3

    def page(
        self,
        size: Size,
        seen: Seen | None,
        place: Place,
        ask: Ask | None,
        box: Box | None,
        cursor: int,
    ) -> list[Text]:
        """All rows above the box to type in, or above the foot of the page."""
        width, height = self.room(size, box is not None)
        rows = [self._head(size.width, seen, place), self._rule(size.width)]
        limb = place.item.limb if place.item else None
        if seen is None:
            right = [Text(" reading the log ...")]
        elif ask is not None:
            right = ask.draw(width, height, self._g)
        elif place.item is None:
            right = entry.nothing(width, self._g)
        else:
            right = entry.draw(place.item, cursor, width, height, self._g)
            right += self._missing(seen, limb, width, height - len(right))
        right = [*right, *([Text("")] * height)][:height]
        feet = seen.feet if seen else ()
        unclear = Counter(i.limb for i in place.items if i.state == UNCLEAR)
        if size.width < WIDE:
            known = feet or tuple(FootView(limb, 0, 0, 0, ()) for limb in horse.NAMES)
            rows += [
                *horse.strip(known, unclear, limb, size.width, self._g),
                self._rule(size.width),
                *right,
            ]
        else:
            on_horse = seen.on_horse if seen else 0
            rows += self._beside(horse.figure(feet, unclear, limb, on_horse, self._g), right)
        if box is not None:
            rows += [
                self._rule(size.width),
                Text(f" {self._box_title(box, size.width)}", style="bold"),
            ]
        return rows

    def _missing(self, seen: Seen, limb: str | None, width: int, room: int) -> list[Text]:
        """What is left to do on the foot in hand, where there is room to say it."""
        left = next((foot.left for foot in seen.feet if foot.limb == limb), ())
        lines = fold(f"missing on {limb}: {', '.join(left)}", width - 2) if left else []
        return [Text(""), *(Text(f"  {line}") for line in lines)] if len(lines) < room else []

    def _box_title(self, box: Box, width: int) -> str:
        return cut(box.title, width - 2, self._g)

    def _beside(self, left: list[Text], right: list[Text]) -> list[Text]:
        blank = Text(" " * horse.WIDTH, end="")
        rows = []
        for number, beside in enumerate(right):
            row = Text(end="").append_text(left[number] if number < len(left) else blank)
            rows.append(row.append(self._g.bar).append_text(beside))
        return rows

    def _head(self, width: int, seen: Seen | None, place: Place) -> Text:
        if seen is None:
            return Text(" Review", style="bold")
        if place.items:
            where = f"{place.at + 1} of {len(place.items)}"
            todo = f"{place.to_look_at} to look at" if place.to_look_at else "none to look at"
            sure = f", {place.unconfirmed} sure" if place.unconfirmed else ""
            about = f"{where}, {todo}{sure}"
            if not place.to_look_at and not place.unconfirmed:
                about = f"{where}, all confirmed"
        else:
            about = "nothing heard"
        if seen.notices:
            about += f", {seen.notices} note{'s' * (seen.notices != 1)} (R)"
        title = cut(self._g.clean(seen.title), width - len(about) - 4, self._g)
        return Text(f" {title}  ", style="bold", end="").append(about)

    def _rule(self, width: int) -> Text:
        return Text(self._g.rule * width)

    def _foot_rows(self, size: Size, box: bool) -> int:
        return 1 + self._said_rows(size) + len(self._keys(size))

    def _said_rows(self, size: Size) -> int:
        return 2 if size.height >= 24 else 1

    def _keys(self, size: Size) -> list[Text]:
        rows = key_rows(size.width)
        return rows if size.height >= 24 else rows[: len(rows) - self._second(size.width)]

    def _box_keys(self, size: Size) -> list[Text]:
        rows = [Text(" ").append("Enter", "bold").append(" take it  ").append("Esc", "bold")]
        rows[0].append(" back    every other key is a letter now")
        return [*rows, *([Text("")] * len(self._keys(size)))][: len(self._keys(size))]

    def _second(self, width: int) -> int:
        return len(key_rows(width, only=2))

    def foot(self, size: Size, said: str, box: bool) -> list[Text]:
        """The rows below: what was done last, and the keys."""
        room = self._said_rows(size)
        told = fold(self._g.clean(said), size.width - 2)
        if len(told) > room:
            told = [*told[: room - 1], cut(" ".join(told[room - 1 :]), size.width - 2, self._g)]
        rows = [self._rule(size.width)]
        rows += [Text(f" {line}", style="bold") for line in (*told, *([""] * room))][:room]
        return rows + (self._box_keys(size) if box else self._keys(size))
