"""Review line by line, for pipes, simple terminals and screen readers.

The same verbs over the same desk as the screen, and the same letters; what is typed and is
no verb is what was said, in the words of the trade.
"""

import re
from collections.abc import Callable, Iterable, Mapping

from handsfree.errors import HandsfreeError
from handsfree.records.limbs import LIMBS
from handsfree.review import plain_text as text
from handsfree.review.desk import Desk
from handsfree.review.items import CONFIRMED, Done, Item
from handsfree.review.place import Place
from handsfree.review.plain_lines import TAKES_MORE, VERBS, slot_named, value_named
from handsfree.review.player import Player


class Plain:
    """One session, begun with the visit named. `desk_of` gives the desk of a visit.

    `limbs` maps the spoken names of the feet to their ids. `read` gives a line, None at the
    end of the input; `write` prints one.
    """

    def __init__(
        self,
        desk_of: Callable[[str], Desk],
        visit_id: str,
        player: Player | None,
        limbs: Mapping[str, str],
        read: Callable[[], str | None],
        write: Callable[[str], None],
    ) -> None:
        self._desk_of, self._player = desk_of, player
        self._desk = desk_of(visit_id)
        self._read, self._write = read, write
        self._limbs = {name.lower(): limb for name, limb in limbs.items()}
        self._place = Place()
        self._known: set[str] = set()
        self._left = False
        self._shown = True

    def run(self) -> None:
        """Until it is left or the input ends. Nothing has to be kept then: it is kept already."""
        self._open()
        while not self._left:
            try:
                self._look_again()
                self._show()
                self._write(text.prompt())
                line = self._read()
                if line is None:
                    break
                self.act(line)
            except HandsfreeError as error:
                self._tell(str(error))
        self._write(text.parting(self._place.items))

    def act(self, line: str) -> None:
        """Do what one line says."""
        line = line.rstrip("\r\n")
        if line and not line.strip():
            line = "hear"
        said = " ".join(line.split())
        first, _, rest = said.partition(" ")
        verb = VERBS.get(first.lower(), "")
        if verb in _WITHOUT_ITEM and (not rest or verb in TAKES_MORE):
            _WITHOUT_ITEM[verb](self, rest)
        elif self._place.item is None:
            self._tell("nothing was heard here; add puts in what should be there")
        elif said.isdecimal() and said.isascii() and said != "0":
            self._choose(self._place.item, int(said))
        elif verb in _WITH_ITEM and (not rest or verb in TAKES_MORE):
            _WITH_ITEM[verb](self, self._place.item, rest)
        else:
            self._say(self._place.item, said)

    # Showing

    def _open(self) -> None:
        self._lines(text.opening(self._desk.visit, self._desk.items, self._desk.notices()))
        if any(item.state != CONFIRMED for item in self._desk.items):
            # A second of work; the lines above are there meanwhile.
            self._desk.look_closer()
        self._place = Place().seen(self._desk.items).onward()
        self._known = {item.id for item in self._place.items}

    def _look_again(self) -> None:
        """Read what another process wrote, before anything is shown and judged."""
        self._desk.refresh()
        place = self._place.seen(self._desk.items)
        ids = {item.id for item in place.items}
        if ids - self._known:
            self._tell(f"{len(ids - self._known)} more heard meanwhile")
        self._known |= ids
        self._shown = self._shown or place.item != self._place.item
        self._place = place

    def _show(self) -> None:
        item, count = self._place.item, len(self._place.items)
        if item is not None and self._shown:
            self._lines(text.utterance(item, self._place.at + 1, count))
        self._shown = False

    def _lines(self, lines: Iterable[str]) -> None:
        for line in lines:
            self._write(text.clean(line))

    def _tell(self, line: str) -> None:
        self._lines([f"{line[:1].upper()}{line[1:]}."])

    def _go(self, place: Place) -> None:
        self._place, self._shown = place, True

    def _change(self, done: Done, onward: bool = False) -> bool:
        """Tell what was done, and go on where that is the way."""
        self._tell(done.text)
        before = self._place.item
        place = self._place.seen(self._desk.items)
        if done.changed and all(item.state == CONFIRMED for item in place.items):
            self._tell("all is confirmed")
        self._place = place.onward() if onward and done.changed else place
        self._shown = self._place.item != before
        return done.changed

    # Verbs

    def _accept(self, item: Item, rest: str) -> None:
        if item.state == CONFIRMED:
            self._tell("that one was confirmed already")
            self._go(self._place.skip())
        else:
            self._change(self._desk.accept(item), onward=True)

    def _choose(self, item: Item, number: int) -> None:
        self._change(self._desk.choose(item, number), onward=True)

    def _say(self, item: Item, words: str) -> None:
        if words:
            self._change(self._desk.say(item, words), onward=True)
        else:
            self._tell("type what was said, as: left hind outside heel bruise")

    def _strike(self, item: Item, rest: str) -> None:
        if rest.lower() in ("that", "it", "all"):
            rest = ""
        part = self._part(item, rest) if rest else None
        if not rest or part is not None:
            self._change(self._desk.strike(item, part), onward=True)

    def _split(self, item: Item, rest: str) -> None:
        part = self._part(item, rest)
        if part is not None:
            self._change(self._desk.split(item, part))

    def _part(self, item: Item, number: str) -> int | None:
        """The place of the part of this number; None, and told, where there is no such."""
        if not number and len(item.parts) == 1:
            return 0
        if number.isdecimal() and 1 <= int(number) <= len(item.parts):
            return int(number) - 1
        if len(item.parts) > 1:
            self._tell(f"which part, 1 to {len(item.parts)}? Put the number after the verb")
        elif item.parts:
            self._tell(f"there is one part only, not '{number}'")
        else:
            self._tell("nothing is recorded here; type what was said")
        return None

    def _correct(self, item: Item, rest: str) -> None:
        found = re.match(r"(?:part )?(\d+)(?: |$)", rest)
        part = self._part(item, found[1] if found else "")
        if part is None:
            return
        rest = rest[found.end() :] if found else rest
        slots = self._desk.slots(item, part)
        slot, value = slot_named(slots, rest)
        if slot is None:
            if rest:
                self._tell(f"there is nothing named '{rest.split()[0]}'")
            self._lines(text.slots(item.parts[part].text, slots))
            return
        known = value_named(slot, value)
        if known is None:
            self._lines(text.values(slot, value.lower()))
        else:
            self._change(self._desk.put(item, part, slot.name, known))

    def _move(self, item: Item, rest: str) -> None:
        to = re.sub(r"^to ", "", rest, flags=re.IGNORECASE)
        limb = self._limb(to)
        horse = re.sub(r"^horse ", "", to, flags=re.IGNORECASE)
        if limb is not None:
            self._change(self._desk.move(item, limb))
        elif horse:
            self._change(self._desk.move_to_horse(item, horse))
        else:
            self._tell(f"move where? {', '.join(LIMBS)}, or a horse: {self._horses()}")

    def _horses(self) -> str:
        return ", ".join(self._desk.horses()) or "there is none by name"

    def _limb(self, name: str) -> str | None:
        return name.upper() if name.upper() in LIMBS else self._limbs.get(name.lower())

    def _sure(self, rest: str) -> None:
        limb = self._limb(rest)
        if rest and limb is None:
            self._tell(f"there is no foot '{rest}'")
        else:
            self._change(self._desk.accept_sure(limb), onward=True)

    def _foot(self, rest: str) -> None:
        self._go(self._place.next_foot(self._place.item.limb if self._place.item else None))

    def _horse(self, rest: str) -> None:
        verb, _, name = rest.partition(" ")
        if verb.lower() == "name" and name:
            self._change(self._desk.name(name))
            return
        visits = self._desk.visits()
        named = [v for v in visits if rest and (v.horse or "").lower() == rest.lower()]
        if rest.isdecimal() and 1 <= int(rest) <= len(visits):
            named = [visits[int(rest) - 1]]
        if named:
            self._desk = self._desk_of(named[-1].id)
            self._shown = True
            self._open()
            return
        if rest:
            self._tell(f"no visit of that day is of '{rest}'")
        for number, visit in enumerate(visits, 1):
            here = ", this one" if visit.id == self._desk.visit.id else ""
            self._lines([f"{number}: {visit.horse or visit.not_named}{here}."])

    def _add(self, rest: str) -> None:
        item = self._place.item
        if rest:
            if self._change(self._desk.add(rest, item.limb if item else None)):
                self._known |= {each.id for each in self._desk.items}
        else:
            self._tell("type it after the word add, as: add left hind outside heel bruise")

    def _notes(self, rest: str) -> None:
        desk = self._desk
        self._lines(text.notes(desk.notices(), desk.horse_entries(), desk.feet()))

    def _undo(self, rest: str) -> None:
        before = self._place
        if self._change(self._desk.undo()):
            self._go(self._place.changed_since(before))

    def _lookup(self, item: Item, rest: str) -> None:
        items = self._place.items
        if rest.isdecimal() and 1 <= int(rest) <= len(items):
            self._go(self._place.go(items[int(rest) - 1].id))
            return
        self._lines([f"Heard on: {text.place(item)}."])
        theirs = [(n, i) for n, i in enumerate(items, 1) if i.limb == item.limb]
        self._lines(text.one_line(each, number) for number, each in theirs)

    def _hear(self, item: Item, rest: str) -> None:
        flac = self._desk.sound(item) if item.has_sound else None
        if flac is None:
            self._tell("no sound was kept of this one")
        elif self._player is None:
            self._tell("no sound can be played here")
        else:
            reason = self._player.play(flac)
            if reason is not None:
                self._tell(f"it cannot be heard: {reason}")

    def _history(self, item: Item, rest: str) -> None:
        self._lines(self._desk.history(item) or ["Nobody has touched it."])

    def _leave(self, rest: str) -> None:
        self._left = True


_WITHOUT_ITEM: Mapping[str, Callable[[Plain, str], None]] = {
    "undo": Plain._undo,
    "leave": Plain._leave,
    "keys": lambda plain, rest: plain._lines(text.all_keys()),
    "sure": Plain._sure,
    "foot": Plain._foot,
    "horse": Plain._horse,
    "add": Plain._add,
    "read": Plain._notes,
}
_WITH_ITEM: Mapping[str, Callable[[Plain, Item, str], None]] = {
    "accept": Plain._accept,
    "correct": Plain._correct,
    "strike": Plain._strike,
    "skip": lambda plain, item, rest: plain._go(plain._place.skip()),
    "onward": lambda plain, item, rest: plain._go(plain._place.step(1)),
    "back": lambda plain, item, rest: plain._go(plain._place.step(-1)),
    "hear": Plain._hear,
    "words": Plain._say,
    "move": Plain._move,
    "lookup": Plain._lookup,
    "split": Plain._split,
    "history": Plain._history,
}
