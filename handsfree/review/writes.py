"""What the verbs of a review share: the check before a write, the write, and taking it back."""

from collections.abc import Callable, Sequence
from functools import cached_property

from handsfree.grammar.grammar import Grammar
from handsfree.grammar.meaning import entries_of
from handsfree.grammar.words import plain_words
from handsfree.language.known import readable
from handsfree.log import ChangedMeanwhile, Log, NoticeRow
from handsfree.records.entries import Entry, to_json
from handsfree.review import overview
from handsfree.review.choices import Choices
from handsfree.review.items import Done, Item, Part
from handsfree.review.putting import Putting
from handsfree.review.sayable import Sayable
from handsfree.review.sayings import replaced
from handsfree.review.view import View
from handsfree.visit.plausible import question

STALE = "it has changed meanwhile; look again"


class Writes(View):
    """A visit that can be changed; what is slow to make is made when first needed."""

    def __init__(self, log: Log, grammar: Grammar, visit_id: str, by: str = "review") -> None:
        super().__init__(log, grammar, visit_id)
        self._by = by

    @cached_property
    def _sayable(self) -> Sayable:
        return Sayable(self._grammar, self._sayings)

    @cached_property
    def _choices(self) -> Choices:
        return Choices(self._grammar, self._wording, self._sayable)

    @cached_property
    def _putting(self) -> Putting:
        return Putting(self._choices, self._sayable, self._sayings, self._wording)

    def undo(self) -> Done:
        """Take back the latest change of this review in the visit; again for the one before."""
        change = self._log.undo(self._id, self._by)
        if change is None:
            return Done("nothing left to undo", False)
        self._load()
        entries = {entry.id: entry for entry in self._log.entries(self._id)}
        heard = {id: utterance.heard for id, utterance in self._utterances.items()}
        overview.square_nails(self._log, self.visit, self._entries, self._grammar)
        return Done(f"undone: {self._told.undone(change, entries, heard)}")

    def _write(self, item: Item | None, verb: Callable[..., Done]) -> Done:
        """Run a verb on the item as it is now, unless that is not what was looked at."""
        self.refresh()
        given: list[Item] = []
        if item is not None:
            given = [each for each in self.items if each.id == item.id]
            if given != [item]:
                return Done(STALE, False)
        try:
            done = verb(*given)
        except ChangedMeanwhile:
            done = Done(STALE, False)
        self._load()
        if done.changed:
            overview.square_nails(self._log, self.visit, self._entries, self._grammar)
        return done

    def _limbs(self, item: Item) -> tuple[str, ...]:
        """The limbs in force for what is said about an item."""
        limbs = tuple(dict.fromkeys(p.limb for p in item.parts if p.limb))
        utterance = self._utterances.get(item.id)
        last = utterance.limb if utterance else None
        return limbs or ((last,) if last else ())

    def _in_words(self, parts: Sequence[Part]) -> str:
        return self._sayings.in_words(part.entry for part in parts)

    def _correct(
        self,
        item: Item,
        entries: Sequence[Entry],
        old: Sequence[str],
        lesson: tuple[str, str] | None = None,
        reason: str | None = None,
        note: str = "",
    ) -> Done:
        asked = self._asked(entries, self._gatherer.horse_kind)
        self._log.correct(
            item.id,
            [to_json(entry) for entry in entries],
            self._by,
            old,
            reason,
            taught=lesson,
            confirmed=asked is None,
            expects=[part.entry_id for part in item.parts],
            notices=self._cautions(entries, old),
        )
        text = f"{reason or 'now'}: {self._sayings.in_words(entries)}{note}"
        return Done(text if asked is None else f"{text} ({asked} Confirm it if it is)")

    def _asked(self, entries: Sequence[Entry], kind: str | None) -> str | None:
        """What is asked of a horse of this kind; it is confirmed only by a person's yes."""
        return next((text for e in entries if (text := question(e, kind))), None)

    def _lesson(self, item: Item, words: Sequence[str] | None) -> tuple[str, str] | None:
        """What a correction teaches; typed words were not misheard."""
        utterance = self._utterances[item.id]
        if not utterance.engines:
            return None
        heard = plain_words(utterance.heard)
        found = self._sayings.lesson(heard, words, self._limbs(item)) if words else None
        # Where nothing can be learned from the words, an earlier lesson was none either.
        return found or (" ".join(heard), "")

    def _cautions(self, entries: Sequence[Entry], gone: Sequence[str]) -> list[NoticeRow]:
        kept = readable(stored.body for stored in self._stored if stored.id not in gone)
        return overview.cautions_of(list(kept), entries)

    def _as_heard(self, item: Item, before: Entry, after: Entry) -> Sequence[str] | None:
        """The words heard with only the changed ones put right; None where that is no sentence."""
        heard = plain_words(self._utterances[item.id].heard)
        limbs = self._limbs(item)
        meaning = self._sayings.exact(heard)
        first = entries_of(meaning, limbs) if meaning else ()
        # It may have been put right once already: what was misheard is in the words heard.
        old = self._choices.said(first[0] if len(first) == 1 else before)
        new = self._choices.said(after)
        for name in old:
            for wrong in old[name] if old[name] != new.get(name) else ():
                for right in new.get(name, ()):
                    words = replaced(heard, wrong.split(), right.split())
                    meaning = self._sayings.exact(words) if words else None
                    if meaning is not None and entries_of(meaning, limbs) == (after,):
                        return words
        return None
