"""What each key of the review screen does, over the desk; no drawing here."""

import asyncio
from collections.abc import Awaitable, Callable

from handsfree.errors import HandsfreeError
from handsfree.review.items import CONFIRMED, SURE, Item
from handsfree.review.player import Player
from handsfree.screens.asking import Act, Ask, Box, Option
from handsfree.screens.correcting import EXAMPLE, Correcting, Face
from handsfree.screens.entry import MARKS
from handsfree.screens.horse import NAMES
from handsfree.screens.parts import key_help


class Verbs(Correcting):
    """One coroutine for each verb of the key table."""

    def __init__(self, face: Face) -> None:
        super().__init__(face)
        self._sounding = asyncio.Lock()  # a player is for one thread at a time

    async def do(self, verb: str, cursor: int = 0) -> None:
        """Do what the verb says with the item in hand; `cursor` is the marked reading."""
        item = self._face.place.item
        if verb == "accept" and cursor and item:
            await self.choose(item, cursor)
        elif verb in _WITHOUT_ITEM:
            await _WITHOUT_ITEM[verb](self)
        elif item is None:
            self._face.tell("nothing was heard here: A adds one, H goes to another horse")
        else:
            await _WITH_ITEM[verb](self, item)

    async def choose(self, item: Item, number: int) -> None:
        """Take the alternative of this number and go on."""
        if number > len(item.alternatives):
            self._face.tell(f"there is no reading {number}; 0 is for typing what was said")
        elif await self._face.change(lambda desk: desk.choose(item, number)):
            self._onward()

    async def accept(self, item: Item) -> None:
        """It is right as it stands; on to the next."""
        if item.state == CONFIRMED:
            self._face.place = self._face.place.skip()
        elif await self._face.change(lambda desk: desk.accept(item)):
            self._onward()

    async def strike(self, item: Item) -> None:
        """Strike it, or one part of it."""
        if len(item.parts) < 2:
            await self._strike(item, None)
            return
        labels = [("all of it", None), *((p.text, n) for n, p in enumerate(item.parts))]
        options = (Option(text, self._striking(item, part)) for text, part in labels)
        self._face.ask(Ask("Strike which?", tuple(options)))

    def _striking(self, item: Item, part: int | None) -> Act:
        return lambda: self._strike(item, part)

    async def _strike(self, item: Item, part: int | None) -> None:
        self._face.ask(None)
        if await self._face.change(lambda desk: desk.strike(item, part)):
            self._onward()

    async def skip(self, item: Item) -> None:
        """On to the next that is not confirmed."""
        self._face.place = self._face.place.skip()

    async def forward(self, item: Item) -> None:
        """Just the next one."""
        self._face.place = self._face.place.step(1)

    async def back(self, item: Item) -> None:
        """The one before."""
        self._face.place = self._face.place.step(-1)

    async def hear(self, item: Item) -> None:
        """Hear it again."""
        player = self._face.player
        if player is None:
            self._face.tell("no sound can be played here: no loudspeaker, or no sound library")
            return
        flac = await self._face.on_desk(lambda desk: desk.sound(item)) if item.has_sound else None
        if flac is None:
            self._face.tell("no sound was kept of this one")
            return
        self._face.tell("playing ...")
        # A device that sleeps takes seconds to begin or to fail; no key waits for that.
        self._face.later(self._play(player, flac))

    async def _play(self, player: Player, flac: bytes) -> None:
        async with self._sounding:
            try:
                why_not = await asyncio.to_thread(player.play, flac)
            except (HandsfreeError, OSError) as error:
                why_not = str(error)
        if why_not:
            self._face.tell(why_not)

    async def undo(self) -> None:
        """Take the last change back and show what it was."""
        before = self._face.place
        if await self._face.change(lambda desk: desk.undo()):
            self._face.place = self._face.place.changed_since(before)

    async def leave(self) -> None:
        """End the screen."""
        self._face.leave()

    async def keys(self) -> None:
        """All keys."""
        self._face.ask(Ask("The keys", lines=key_help()))

    async def sure(self) -> None:
        """Accept all sure ones, of this foot or of all."""
        place = self._face.place
        limb = place.item.limb if place.item else None
        parts = [part for item in place.items if item.state == SURE for part in item.parts]
        count, on_foot = len(parts), sum(part.limb == limb for part in parts)

        def act(limb: str | None) -> Act:
            async def accepted() -> None:
                self._face.ask(None)
                if await self._face.change(lambda desk: desk.accept_sure(limb)):
                    self._onward()

            return accepted

        if not count:
            self._face.tell("no sure ones are left to confirm")
            return
        options = [Option(f"all {count} sure ones of this horse", act(None))]
        if limb is not None and on_foot:
            options.append(Option(f"only the {on_foot} sure of {limb} {NAMES[limb]}", act(limb)))
        self._face.ask(Ask("Confirm which, unseen?", tuple(options)))

    async def foot(self) -> None:
        """On to the next foot."""
        place = self._face.place
        self._face.place = place.next_foot(place.item.limb if place.item else None)

    async def horse(self) -> None:
        """Another horse of the day."""

        def act(visit_id: str) -> Act:
            return lambda: self._face.open_visit(visit_id)

        async def typed(name: str) -> bool:
            if not await self._face.change(lambda desk: desk.name(name)):
                return False
            self._face.ask(None)
            return True

        this, visits = await self._face.on_desk(lambda desk: (desk.visit, desk.visits()))
        here, heard = this.id, (this.horse_said or "").title()
        box = Box("Which horse is this visit of?", "its name", typed, this.horse or heard)
        options = tuple(
            Option(
                f"{visit.horse or visit.not_named}{' (this one)' if visit.id == here else ''}",
                act(visit.id),
            )
            for visit in visits
        )
        self._face.ask(Ask("Which horse of the day?", options, box=box, box_label="name this one"))

    async def add(self) -> None:
        """Add one that was never heard."""
        item = self._face.place.item
        limb = item.limb if item else None

        async def typed(words: str) -> bool:
            return await self._face.change(lambda desk: desk.add(words, limb))

        where = f"on {limb} {NAMES[limb]}, or with its foot" if limb else "with its foot"
        self._face.box(Box(f"What was never heard? ({where})", EXAMPLE, typed))

    async def read(self) -> None:
        """Cautions, nails, and what is of the horse."""
        notices = await self._face.on_desk(lambda desk: desk.notices())
        of_horse = await self._face.on_desk(lambda desk: desk.horse_entries())
        lines = (*notices, *(f"of the horse: {text}" for text in of_horse))
        self._face.ask(Ask("To know", lines=lines or ("no cautions, and the nails add up",)))

    async def lookup(self, item: Item) -> None:
        """All that was heard on this foot, to go to one."""

        def act(item_id: str) -> Act:
            async def go() -> None:
                self._face.ask(None)
                self._face.place = self._face.place.go(item_id)

            return go

        theirs = [each for each in self._face.place.items if each.limb == item.limb]
        options = tuple(Option(f"{MARKS[i.state]} {_short(i)}", act(i.id)) for i in theirs)
        name = NAMES.get(item.limb or "", "no one foot")
        self._face.ask(Ask(f"Heard on {name}: go to which?", options))

    async def history(self, item: Item) -> None:
        """Who changed what and when."""
        lines = await self._face.on_desk(lambda desk: desk.history(item))
        self._face.ask(Ask("What became of it", lines=lines or ("nobody has touched it",)))


def _short(item: Item) -> str:
    return "; ".join(part.text for part in item.parts) or f'nothing, heard "{item.heard}"'


_WITHOUT_ITEM: dict[str, Callable[[Verbs], Awaitable[None]]] = {
    "undo": Verbs.undo,
    "leave": Verbs.leave,
    "keys": Verbs.keys,
    "sure": Verbs.sure,
    "foot": Verbs.foot,
    "horse": Verbs.horse,
    "add": Verbs.add,
    "read": Verbs.read,
}
_WITH_ITEM: dict[str, Callable[[Verbs, Item], Awaitable[None]]] = {
    "accept": Verbs.accept,
    "correct": Verbs.correct,
    "strike": Verbs.strike,
    "skip": Verbs.skip,
    "onward": Verbs.forward,
    "back": Verbs.back,
    "hear": Verbs.hear,
    "words": Verbs.words,
    "move": Verbs.move,
    "lookup": Verbs.lookup,
    "split": Verbs.split,
    "history": Verbs.history,
}
