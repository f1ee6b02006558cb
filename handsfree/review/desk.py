"""The review desk: every verb with which heard notes are confirmed or put right.

No screen and no sound in here; a screen and a line-by-line mode stand over it.
"""

from collections.abc import Sequence
from dataclasses import replace

from handsfree.grammar.grammar import Reading
from handsfree.grammar.meaning import entries_of, with_limb
from handsfree.log import Horse, UtteranceRow
from handsfree.records.checking import BY_THIS_VERSION, Unreadable
from handsfree.records.entries import Entry, Remark, belongs_to_horse, to_json
from handsfree.records.limbs import LIMBS
from handsfree.review import overview
from handsfree.review.choices import Evidence
from handsfree.review.items import SURE, Done, Item, Part, Slot
from handsfree.review.putting import Unusable
from handsfree.review.sayings import TINY_BEND
from handsfree.review.writes import Writes

_UNREADABLE = f"it {BY_THIS_VERSION}: say what was meant, or leave it as it is"


class Desk(Writes):
    """One visit under review. `by` is who judges, as the log's history names it.

    Every verb is one transaction, answers with one line, and leaves `items` fresh. An item
    that has changed since it was shown is left alone. Parts count from 0. Raises LogError
    where the log refuses.
    """

    # Confirming

    def at_visit(self, visit_id: str) -> "Desk":
        """A desk at another visit of the same log."""
        return Desk(self._log, self._grammar, visit_id, self._by)

    def close(self) -> None:
        """Close the log."""
        self._log.close()

    def accept(self, item: Item) -> Done:
        """Confirm all it holds."""
        if not item.parts:
            return Done("nothing to confirm: pick a number, say what was meant, or strike", False)
        return self._write(item, lambda fresh: self._confirm(fresh.parts, None))

    def accept_sure(self, limb: str | None = None) -> Done:
        """Confirm all that was heard surely, of one foot or of the whole visit."""
        self.refresh()
        items = [item for item in self.items if item.state == SURE]
        parts = [p for item in items for p in item.parts if limb is None or p.limb == limb]
        if not parts:
            return Done(f"nothing sure to confirm{f' on {limb}' if limb else ''}", False)
        reason = f"all sure ones of {limb or 'the visit'}"
        return self._write(None, lambda: self._confirm(parts, reason))

    def _confirm(self, parts: Sequence[Part], reason: str | None) -> Done:
        done = self._log.confirm([p.entry_id for p in parts], self._by, reason, whole=True)
        if not done:
            return Done("already confirmed", False)
        return Done(f"confirmed: {(reason and f'{reason}, {len(done)}') or self._in_words(parts)}")

    # Putting right

    def choose(self, item: Item, number: int) -> Done:
        """Take alternative `number` (from 1) in its place, confirmed; teaches."""
        if not 1 <= number <= len(item.alternatives):
            return Done(f"there is no number {number}", False)
        picked = item.alternatives[number - 1]
        words = picked.words.split()
        if picked.entries:
            return self._write(item, lambda fresh: self._replace(fresh, picked.entries, words))
        meaning = self._sayings.exact(words)
        if meaning is None:
            return Done(f"'{' '.join(words)}' is no sentence", False)
        note = " (what it corrects stands: strike it)" if meaning.correction else ""
        entries = entries_of(meaning, self._limbs(item))
        return self._write(item, lambda fresh: self._replace(fresh, entries, words, note))

    def say(self, item: Item, words: str) -> Done:
        """Put right in any words that are understood: one thing or several, or a limb alone.

        Where no limb is said the item's own stands. A remark takes any text. Words that are
        no sentence change nothing; the nearest one is shown.
        """
        if any(isinstance(part.entry, Remark) for part in item.parts):
            text = " ".join(words.split())
            if not text:
                return Done("nothing was said", False)
            remark = Remark(limb=item.parts[0].limb, text=text)
            return self._write(item, lambda fresh: self._replace(fresh, (remark,), None))
        reading = self._sayings.mean(self._sayings.words(words))
        meaning = reading.meaning
        if meaning is None or reading.bend > TINY_BEND:
            return _no_sentence(words, reading)
        if meaning.statements:
            entries = entries_of(meaning, self._limbs(item))
            # Only a sentence that the listeners know can teach them what they misheard.
            said = reading.words if self._sayings.exact(reading.words) else None
            return self._write(item, lambda fresh: self._replace(fresh, entries, said))
        if len(meaning.limbs) == 1:
            return self.move(item, meaning.limbs[0])
        return Done(f"'{' '.join(reading.words)}' is no note", False)

    def _replace(
        self, item: Item, entries: Sequence[Entry], words: Sequence[str] | None, note: str = ""
    ) -> Done:
        old = [part.entry_id for part in item.parts]
        return self._correct(item, entries, old, self._lesson(item, words), note=note)

    def slots(self, item: Item, part: int) -> tuple[Slot, ...]:
        """The slots of one entry, each with the values it may have; none for a wrong part."""
        if not 0 <= part < len(item.parts):
            return ()
        present = item.parts[part].entry
        if isinstance(present, Unreadable):
            return ()
        others = [
            entry
            for other in item.alternatives
            if (meaning := self._sayings.exact(other.words.split()))
            for entry in entries_of(meaning, self._limbs(item))
        ]
        evidence = Evidence(others, (*self._entries, *self._horses_past()))
        return self._choices.slots(present, evidence)

    def put(self, item: Item, part: int, slot: str, value: str) -> Done:
        """Put one slot of one entry right, by a choice's id ("" for "not said") or by words.

        An unlikely number is taken, and asked about in the answer and in the part: it is not
        confirmed until a person says that it is so.
        """
        if not 0 <= part < len(item.parts):
            return Done(f"there is no entry {part + 1}", False)
        return self._write(item, lambda fresh: self._put(fresh, part, slot, value))

    def _put(self, item: Item, part: int, slot: str, value: str) -> Done:
        before = item.parts[part].entry
        if isinstance(before, Unreadable):
            return Done(_UNREADABLE, False)
        try:
            after = self._putting.put(before, slot, value)
        except Unusable as why:
            return Done(str(why), False)
        if after == before:
            return Done("it is that already", False)
        words = self._as_heard(item, before, after) if len(item.parts) == 1 else None
        lesson = self._lesson(item, words) if slot != "limb" else None
        return self._correct(item, [after], [item.parts[part].entry_id], lesson)

    def strike(self, item: Item, part: int | None = None) -> Done:
        """Take an entry out, or the whole of it; what was not understood is passed over."""
        if part is not None and not 0 <= part < len(item.parts):
            return Done(f"there is no entry {part + 1}", False)
        return self._write(item, lambda fresh: self._strike(fresh, part))

    def _strike(self, item: Item, part: int | None) -> Done:
        parts = item.parts if part is None else item.parts[part : part + 1]
        unclear = self._utterances[item.id].status == "unclear"
        passes = (item.id,) if unclear and len(parts) == len(item.parts) else ()
        self._log.strike([p.entry_id for p in parts], self._by, whole=True, passes=passes)
        return Done(f"struck: {self._in_words(parts)}" if parts else f"passed over: '{item.heard}'")

    def split(self, item: Item, part: int) -> Done:
        """One more entry like this one, to be put right."""
        if not 0 <= part < len(item.parts):
            return Done(f"there is no entry {part + 1}", False)
        return self._write(item, lambda fresh: self._split(fresh, part))

    def _split(self, item: Item, part: int) -> Done:
        entry = item.parts[part].entry
        if isinstance(entry, Unreadable):
            return Done(_UNREADABLE, False)
        old = [p.entry_id for p in item.parts]
        self._log.correct(
            item.id, [to_json(entry)], self._by, reason="split", confirmed=False, expects=old
        )
        return Done(f"one more: {self._sayings.in_words([entry])}; put it right")

    # Where it belongs

    def move(self, item: Item, limb: str) -> Done:
        """All it holds belongs to another foot."""
        if limb not in LIMBS:
            return Done(f"there is no foot {limb}; {' '.join(LIMBS)}", False)
        return self._write(item, lambda fresh: self._move(fresh, limb))

    def _move(self, item: Item, limb: str) -> Done:
        moved = {
            p.entry_id: with_limb(p.entry, limb)
            for p in item.parts
            if not isinstance(p.entry, Unreadable) and not belongs_to_horse(p.entry)
        }
        if all(p.limb == limb for p in item.parts if p.entry_id in moved):
            return Done(f"nothing here to move to {limb}", False)
        entries = list(dict.fromkeys(moved.values()))
        return self._correct(item, entries, list(moved), reason=f"moved to {limb}")

    def move_to_horse(self, item: Item, horse: str) -> Done:
        """It belongs to that horse: into its visit of the day, made where there is none."""
        known = self._log.horse(horse)
        if known is None:
            return Done(f"there is no horse '{horse}' in the log", False)
        if known.id == self.visit.horse_id:
            return Done(f"it is {known.name}'s already", False)
        if not item.parts:
            return Done("nothing to move: say what was meant first", False)
        return self._write(item, lambda fresh: self._move_to(fresh, known))

    def _move_to(self, item: Item, horse: Horse) -> Done:
        there = [visit for visit in self.visits() if visit.horse_id == horse.id]
        visit = (
            there[-1]
            if there
            else self._log.start_visit(
                self.visit.source, horse.id, started_at=self.visit.started_at, zone=self.visit.zone
            )
        )
        entries = {
            at: part.entry
            for at, part in enumerate(item.parts)
            if not isinstance(part.entry, Unreadable)
        }
        there_now = overview.in_force(self._log, visit.id)
        notices = [
            replace(notice, entry=list(entries)[notice.entry or 0])
            for notice in overview.cautions_of(there_now, list(entries.values()))
        ]
        ids = [part.entry_id for part in item.parts]
        asked = self._asked(list(entries.values()), horse.kind)
        moved = f"moved to {horse.name}"
        self._log.move(ids, visit.id, self._by, moved, notices, confirmed=asked is None)
        told = f"{moved}: {self._in_words(item.parts)}"
        return Done(told if asked is None else f"{told} ({asked} Confirm it there if it is)")

    def name(self, horse: str) -> Done:
        """The visit is about this horse; one of a new name is added to the log."""
        if not horse.split():
            return Done("nothing was said", False)
        named = self._log.name_visit(self._id, horse)
        self._load()
        return Done(f"this is {named.name}'s visit")

    def add(self, words: str, limb: str | None) -> Done:
        """Put in what was never heard; `limb` stands where the words name none."""
        reading = self._sayings.mean(self._sayings.words(words))
        meaning = reading.meaning
        if meaning is None or reading.bend > TINY_BEND:
            return _no_sentence(words, reading)
        entries = entries_of(meaning, (limb,) if limb else ())
        if not entries:
            return Done(f"'{' '.join(reading.words)}' is no note", False)
        return self._write(None, lambda: self._add(words, entries))

    def _add(self, words: str, entries: Sequence[Entry]) -> Done:
        last = next(reversed(self._utterances.values()), None)
        # The limb in force stays as it was for whoever goes on recording.
        heard = " ".join(words.split())
        row = UtteranceRow(heard=heard, status="recorded", limb=last.limb if last else None)
        bodies = [to_json(entry) for entry in entries]
        notices = self._cautions(entries, ())
        asked = self._asked(entries, self._gatherer.horse_kind)
        self._log.append(
            self._id, row, bodies, by=self._by, notices=notices, confirmed=asked is None
        )
        told = f"added: {self._sayings.in_words(entries)}"
        return Done(told if asked is None else f"{told} ({asked} Confirm it if it is)")


def _no_sentence(words: str, reading: Reading) -> Done:
    said = " ".join(words.split())
    if not said:
        return Done("nothing was said", False)
    near = f"; nearest: '{' '.join(reading.words)}'" if reading.words else ""
    return Done(f"no such sentence: '{said}'{near}", False)
