"""The review screen: one utterance in hand, the horse beside it, one key for each verb.

Everything that reads or changes the log runs in one thread of its own, so the frame is
there at once, and a log that another process holds for a moment stops no key.
"""

import sys
import time
from collections.abc import Callable, Coroutine
from typing import Any, ClassVar, TypeVar

from textual import events
from textual.app import App, ComposeResult
from textual.widgets import Input, Static

from handsfree.errors import HandsfreeError
from handsfree.review.desk import Desk
from handsfree.review.items import Done
from handsfree.review.keys import Debounce, digit, verb
from handsfree.review.place import Place
from handsfree.review.player import Player
from handsfree.screens.asking import Ask, Box
from handsfree.screens.frame import Frame, Seen, too_small
from handsfree.screens.parts import as_text, glyphs
from handsfree.screens.thread import DeskThread
from handsfree.screens.verbs import Verbs

T = TypeVar("T")

POLL_S = 1.0
"""How often it is looked whether another process wrote to the log (s)."""

_IN_BOX = ("enter", "escape", "ctrl+c", "ctrl+q")
"""Keys that are not for the words in the box."""

FIRST = "Set the foot down first. All is kept as you go."


class Review(App[None]):
    """The application; `clock` gives seconds and is asked at each key."""

    ENABLE_COMMAND_PALETTE = False
    # Only attributes and the terminal's own colours: it is read outdoors, in its owner's choice.
    CSS: ClassVar[str] = """
    Screen { background: ansi_default; color: ansi_default; overflow: hidden; }
    Static { background: ansi_default; color: ansi_default; width: 100%; height: auto; }
    #page { height: 1fr; }
    #typed {
        display: none; height: 1; border: none; padding: 0 1;
        background: ansi_default; color: ansi_default;
    }
    #typed.open { display: block; }
    #typed > .input--cursor { text-style: reverse; background: ansi_default; color: ansi_default; }
    #typed > .input--selection { text-style: underline; background: ansi_default; }
    #typed > .input--placeholder { color: ansi_default; text-style: italic; }
    """

    def __init__(
        self,
        desk_factory: Callable[[], Desk],
        player: Player | None,
        clock: Callable[[], float] = time.monotonic,
        encoding: str | None = None,
    ) -> None:
        super().__init__(ansi_color=True)
        self.place = Place()
        self.failed: HandsfreeError | None = None
        self._desk, self.player = DeskThread(desk_factory), player
        self._bounce = Debounce(clock)
        self._frame = Frame(glyphs(encoding or getattr(sys.__stdout__, "encoding", None)))
        self._seen: Seen | None = None
        self._verbs = Verbs(self)
        self._asks: list[Ask] = []
        self._box: Box | None = None
        self._said = FIRST
        self._changes = 0
        self._cursor = 0

    def compose(self) -> ComposeResult:
        """The page, the box to type in where it is open, and the foot of the page."""
        yield Static(id="page")
        yield Input(id="typed", select_on_focus=True, disabled=True)
        yield Static(id="foot")

    def on_mount(self) -> None:
        """Show the frame at once; the log is read meanwhile."""
        self.theme = "ansi-dark"
        self.draw()
        self.run_worker(self._load(), exit_on_error=True)

    def on_resize(self) -> None:
        """Draw for the new size, once Textual has taken it."""
        self.call_later(self.draw)

    async def _load(self) -> None:
        try:
            self._seen = await self._desk.open()
        except HandsfreeError as error:
            self.failed = error
            self.exit()
            return
        self.place = Place().seen(self._seen.items).onward()
        self.draw()
        self.set_interval(POLL_S, self.poll)
        self.run_worker(self._desk.warm_up())

    async def poll(self) -> None:
        """Read again what another process wrote; the place, the lists and the box stay."""
        # Not under a list: what it asks about would no longer be the item in hand.
        free = not self._asks and self._box is None
        keys = self._changes
        try:
            changed, seen = await self._desk.look_again(may_look_closer=free)
            while seen is not None and keys != self._changes:
                # A key was faster: what it did must not be drawn over by what was before it.
                keys = self._changes
                seen = await self._desk.do(Seen.of)
        except HandsfreeError as error:
            self.tell(str(error))
            self.draw()
            return
        if seen is None:
            return
        before = self.place
        self._seen, self.place = seen, before.seen(seen.items)
        if _id(self.place) != _id(before):
            self._cursor = 0
        more = len(self.place.items) - len(before.items)
        if changed:
            self.tell(f"{more} more heard meanwhile" if more > 0 else "changed meanwhile")
        self.draw()

    # What the verbs need

    async def on_desk(self, act: Callable[[Desk], T]) -> T:
        """Do something with the desk, in its thread."""
        return await self._desk.do(act)

    async def change(self, act: Callable[[Desk], Done]) -> bool:
        """Change the log, read it again and tell what was done; False if nothing changed."""
        self._changes += 1
        done, seen = await self._desk.do(lambda desk: (act(desk), Seen.of(desk)))
        self._seen, self.place = seen, self.place.seen(seen.items)
        self._cursor = 0
        self.tell(done.text)
        return done.changed

    async def open_visit(self, visit_id: str) -> None:
        """Go to another visit."""
        self._changes += 1
        self._seen = await self._desk.open_visit(visit_id)
        self.place = Place().seen(self._seen.items).onward()
        self.ask(None)
        self.tell(FIRST)

    def ask(self, ask: Ask | None) -> None:
        """Ask this, over what is asked already; None ends all asking."""
        self.close_box()
        if ask is None:
            self._asks.clear()
        else:
            self._asks.append(ask)

    def box(self, box: Box) -> None:
        """Open a box to type in."""
        self._box = box
        typed = self.query_one("#typed", Input)
        typed.value, typed.placeholder = box.start, box.hint
        typed.disabled = False
        typed.add_class("open")
        typed.focus()

    def close_box(self) -> None:
        """Put the box away."""
        self._box = None
        typed = self.query_one("#typed", Input)
        typed.remove_class("open")
        typed.disabled = True

    def tell(self, text: str) -> None:
        """One line about what happened."""
        self._said = text

    def later(self, work: Coroutine[Any, Any, None]) -> None:
        """Do this beside the keys, and draw when it is done."""

        async def drawn() -> None:
            await work
            self.draw()

        self.run_worker(drawn())

    def leave(self) -> None:
        """End the screen; all that was done is in the log already."""
        self.exit()

    # Keys

    async def on_event(self, event: events.Event) -> None:
        """Take every key before Textual does, but for the letters of a word being typed."""
        if not isinstance(event, events.Key) or event.is_forwarded or self._for_box(event):
            await super().on_event(event)
        elif not self._bounce.bounced(event.key):
            event.stop()
            await self._press(event.key, event.character)

    def _for_box(self, key: events.Key) -> bool:
        return self._box is not None and key.key not in _IN_BOX

    async def _press(self, name: str, character: str | None) -> None:
        asked = verb(name, character)
        item = self.place.item
        try:
            if asked == "leave" and (self._box is None or name.startswith("ctrl")):
                self.leave()
            elif not self._desk.is_open or self._small():
                return
            elif self._box is not None:
                await self._in_box(name)
            elif self._asks:
                await self._in_ask(asked, digit(character))
            elif asked in ("up", "down") and item is not None:
                lines = len(item.alternatives) + 1
                self._cursor = (self._cursor + (1 if asked == "down" else -1)) % lines
            elif asked == "number" and item is not None:
                await self._verbs.choose(item, digit(character) or 0)
            elif asked is not None and asked != "number":
                self.tell("")
                await self._verbs.do(asked, self._cursor)
        except HandsfreeError as error:
            self.tell(str(error))
        if _id(self.place) != (item.id if item else None):
            self._cursor = 0
        self.draw()

    async def _in_box(self, name: str) -> None:
        box = self._box
        if name == "escape" or box is None:
            self.close_box()
            return
        if await box.then(self.query_one("#typed", Input).value) and self._box is box:
            self.ask(None)

    async def _in_ask(self, asked: str | None, number: int | None) -> None:
        width, height = self._frame.room(self.size)
        ask = self._asks[-1] = self._asks[-1].fitted(height, width)
        if asked == "back":
            self._asks.pop()
        elif asked in ("up", "down"):
            self._asks[-1] = ask.moved(1 if asked == "down" else -1, height)
        elif number == 9 or asked == "onward":
            self._asks[-1] = ask.turned(height, width)
        elif number == 0:
            if ask.box is not None:
                self.box(ask.box)
        elif number is not None or asked == "accept":
            option = ask.option(number or ask.cursor + 1, height)
            if option is not None:
                await option.act()
            elif asked == "accept":
                self._asks.pop()
        elif asked == "hear":
            await self._verbs.do(asked)
        elif asked is not None:
            # The keys below stay what they are: another verb puts the list away.
            self.ask(None)
            await self._verbs.do(asked)

    # Drawing

    def _small(self) -> bool:
        return too_small(self.size) is not None

    def draw(self) -> None:
        """Draw everything again; cheap, and only at a key or a change."""
        page, foot = self.query_one("#page", Static), self.query_one("#foot", Static)
        small = too_small(self.size)
        self.query_one("#typed", Input).display = self._box is not None and small is None
        foot.display = small is None
        if small is not None:
            page.update(as_text(small))
            return
        ask = self._asks[-1] if self._asks else None
        rows = self._frame.page(self.size, self._seen, self.place, ask, self._box, self._cursor)
        page.update(as_text(rows))
        foot.update(as_text(self._frame.foot(self.size, self._said, self._box is not None)))

    def on_unmount(self) -> None:
        """Let what the desk is writing come to its end."""
        self._desk.close()


def _id(place: Place) -> str | None:
    return place.item.id if place.item else None


def run_screen(desk_factory: Callable[[], Desk], player: Player | None) -> None:
    """Show the review screen until it is left.

    `desk_factory` is called in the thread that then has the desk to itself; a log that
    cannot be opened raises its HandsfreeError here, after the terminal is as it was.
    """
    app = Review(desk_factory, player)
    app.run(mouse=False)
    if app.failed:
        raise app.failed
