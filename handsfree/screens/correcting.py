"""Correcting what was heard: slot by slot, in words, onto another foot or another horse."""

from collections.abc import Awaitable, Callable, Coroutine
from typing import Any, Protocol, TypeVar

from handsfree.records.limbs import LIMBS
from handsfree.review.desk import Desk
from handsfree.review.items import Done, Item, Slot
from handsfree.review.place import Place
from handsfree.review.player import Player
from handsfree.screens.asking import Act, Ask, Box, Option
from handsfree.screens.horse import NAMES

T = TypeVar("T")

EXAMPLE = "left hind outside heel bruise"


class Face(Protocol):
    """What the verbs need of the screen."""

    place: Place
    player: Player | None

    async def on_desk(self, act: Callable[[Desk], T]) -> T:
        """Do something with the desk, in the one thread that has it."""

    async def change(self, act: Callable[[Desk], Done]) -> bool:
        """Change the log, read it again and tell what was done; False if nothing changed."""

    async def open_visit(self, visit_id: str) -> None:
        """Go to another visit."""

    def ask(self, ask: Ask | None) -> None:
        """Ask this, over what is asked already; None ends all asking."""

    def box(self, box: Box) -> None:
        """Open a box to type in."""

    def tell(self, text: str) -> None:
        """One line about what happened."""

    def later(self, work: Coroutine[Any, Any, None]) -> None:
        """Do this beside the keys, and draw when it is done."""

    def leave(self) -> None:
        """End the screen."""


class Correcting:
    """The verbs that ask on before they change anything."""

    def __init__(self, face: Face) -> None:
        self._face = face

    def _onward(self) -> None:
        self._face.place = self._face.place.onward()

    async def words(self, item: Item) -> None:
        """Say it again in typed words."""
        self._face.box(self._whole(item))

    async def correct(self, item: Item) -> None:
        """Correct one thing of it; where nothing was understood, type it."""
        if not item.parts:
            await self.words(item)
        else:
            await self._which(item, "Correct which?", self._slots)

    async def split(self, item: Item) -> None:
        """One more like this one, and what of it is different."""
        if not item.parts:
            self._face.tell("nothing is recorded here to make two of; 0 is for typing")
        else:
            await self._which(item, "Which was two things?", self._split)

    async def _which(
        self, item: Item, title: str, then: Callable[[Item, int], Awaitable[None]]
    ) -> None:
        def act(part: int) -> Act:
            return lambda: then(item, part)

        if len(item.parts) == 1:
            await then(item, 0)
        else:
            options = (Option(part.text, act(n)) for n, part in enumerate(item.parts))
            self._face.ask(Ask(title, tuple(options)))

    async def _split(self, item: Item, part: int) -> None:
        self._face.ask(None)
        if not await self._face.change(lambda desk: desk.split(item, part)):
            return
        fresh = self._face.place.item
        if fresh is not None and fresh.id == item.id and len(fresh.parts) > len(item.parts):
            await self._slots(fresh, len(fresh.parts) - 1)

    async def _slots(self, item: Item, part: int) -> None:
        slots = await self._face.on_desk(lambda desk: desk.slots(item, part))
        if len(slots) == 1:
            await self._values(item, part, slots[0])
            return

        def act(slot: Slot) -> Act:
            return lambda: self._values(item, part, slot)

        options = (
            Option(f"{slot.label:<15} {slot.shown or 'not said'}", act(slot)) for slot in slots
        )
        title = f"What is not right? {item.parts[part].text}"
        box = self._whole(item)
        self._face.ask(Ask(title, tuple(options), box=box, box_label="type it all"))

    def _whole(self, item: Item) -> Box:
        async def typed(words: str) -> bool:
            if not await self._face.change(lambda desk: desk.say(item, words)):
                return False
            self._onward()
            return True

        title = "What was said? 'and' between two things makes two."
        return Box(title, EXAMPLE, typed, item.heard)

    async def _values(self, item: Item, part: int, slot: Slot) -> None:
        async def put(value: str) -> bool:
            changed = await self._face.change(lambda desk: desk.put(item, part, slot.name, value))
            if changed:
                self._face.ask(None)
            return changed

        def act(value: str | None) -> Act:
            async def chosen() -> None:
                # The empty value is "not said".
                await put(value or "")

            return chosen

        box = Box(f"{slot.label}:", "a number" if slot.choices else "", put, slot.shown)
        if not slot.choices:
            self._face.box(box)
            return
        options = tuple(Option(choice.label, act(choice.id)) for choice in slot.choices)
        title = f"{slot.label}: now {slot.shown}. Which is right?"
        self._face.ask(Ask(title, options, box=box if slot.free else None))

    async def move(self, item: Item) -> None:
        """Onto another foot, or to another horse."""

        def to(limb: str) -> Act:
            async def moved() -> None:
                self._face.ask(None)
                await self._face.change(lambda desk: desk.move(item, limb))

            return moved

        options = [Option(f"{limb} {NAMES[limb]}", to(limb)) for limb in LIMBS]
        options.append(Option("another horse", lambda: self._to_horse(item)))
        self._face.ask(Ask("It belongs where?", tuple(options)))

    async def _to_horse(self, item: Item) -> None:
        def act(name: str) -> Act:
            async def moved() -> None:
                if await self._face.change(lambda desk: desk.move_to_horse(item, name)):
                    self._face.ask(None)

            return moved

        def others(desk: Desk) -> tuple[str, ...]:
            return tuple(name for name in desk.horses() if name != desk.visit.horse)

        names = await self._face.on_desk(others)
        if names:
            options = tuple(Option(name, act(name)) for name in names)
            self._face.ask(Ask("Which horse's is it?", options))
        else:
            self._face.tell("the log knows no other horse")
