"""Which entries the grammar can say, and how."""

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any

from handsfree.grammar.acceptor import Acceptor
from handsfree.grammar.compile import acceptor_of
from handsfree.grammar.grammar import Grammar
from handsfree.grammar.meaning import with_limb
from handsfree.grammar.wording import as_if_there
from handsfree.grammar.words import plain_words
from handsfree.records.checking import SLOTS
from handsfree.records.entries import Entry, Finding, Measurement, Nails, Plan, Shoe
from handsfree.records.units import HANDS
from handsfree.review.sayings import Sayings
from handsfree.visit.numbers import NumberWords
from handsfree.visit.spoken import Spoken

OF_WORDS = frozenset({"watch", "call_vet", "tell_owner", "xray"})
"""Plans that are said without weeks; their words are any."""

OF_NUMBERS = frozenset({"size", "section"})
"""Items of a shoe whose detail is a number or two: any are taken, none are listed."""


class Sayable:
    """Answers by putting entries into words and reading the words again."""

    def __init__(self, grammar: Grammar, sayings: Sayings) -> None:
        self._grammar, self._sayings = grammar, sayings
        self._known: dict[Entry, bool] = {}

    @cached_property
    def _spoken(self) -> Spoken:
        return Spoken(self._grammar)

    def sentence(self, entry: Entry) -> tuple[str, ...] | None:
        """The entry without its limb as a sentence of the grammar; None where it has none."""
        bare = with_limb(entry, None)
        words = tuple(plain_words(self._spoken.entry(bare)))
        meaning = self._sayings.exact(words)
        said = meaning.statements if meaning else ()
        return words if len(said) == 1 and said[0].entry == bare else None

    def can_say(self, entry: Entry) -> bool:
        """Whether its words go together, whatever its numbers are.

        A word that is in no sentence goes with what a word goes with that combines as it does.
        """
        bare = self.in_sentences(_plainest(with_limb(entry, None)))
        if bare is None:
            return False
        if bare not in self._known:
            self._known[bare] = self.sentence(bare) is not None
        return self._known[bare]

    def in_sentences(self, entry: Entry) -> Entry | None:
        """The entry with words of the sentences in place of others; None where none will do."""
        if isinstance(entry, Measurement) and entry.unit == HANDS:
            return replace(entry, unit="cm") if entry.quantity == "height" else None
        if isinstance(entry, Plan):
            said_so = entry.action in OF_WORDS
            return replace(entry, action="watch", text=None) if said_so else entry
        changed: dict[str, Any] = {}
        for name, slot in SLOTS[entry.kind].items():
            id = getattr(entry, name)
            if id and (slot, id) in self._likes:
                changed[name] = self._likes[slot, id]
        return replace(entry, **changed) if changed else entry

    @cached_property
    def _likes(self) -> dict[tuple[str, str], str]:
        """Each word that is in no sentence → the first one that combines as it does."""
        table = self._grammar.table
        heard = {(w.slot, w.id) for w in table if w.in_sentences}
        first: dict[tuple[str, str], str] = {}
        for word in table:
            if word.in_sentences:
                first.setdefault((word.slot, word.group), word.id)
                first.setdefault((word.slot, ""), word.id)
        return {
            (w.slot, w.id): first[w.slot, w.like]
            for w in table
            if (w.slot, w.id) not in heard and (w.slot, w.like) in first
        }

    def number(self, value: str) -> tuple[str, ...]:
        """The ways to say a number given in digits; none for what is no number."""
        try:
            number = float(value)
        except ValueError:
            return ()
        return tuple(
            said.removeprefix("zero and ")
            for said in (self._numbers.mixed(number), self._numbers.decimal(number))
            if said
        )

    @cached_property
    def _numbers(self) -> NumberWords:
        return NumberWords(self._grammar)

    @cached_property
    def details(self) -> dict[str, tuple[str, ...]]:
        """Item of a shoe → the details it may be said with, those of numbers left out."""
        found: dict[str, list[str]] = {}
        rows = [w for w in self._grammar.table if w.slot == "shoe"]
        numbers = {form.split()[0] for w in rows if w.id in OF_NUMBERS for form in w.forms}
        words = acceptor_of(self._grammar.rules, "shoe-words")
        for sentence in _sentences(words, numbers):
            meaning = self._sayings.exact(sentence)
            entry = meaning.statements[0].entry if meaning and meaning.statements else None
            if isinstance(entry, Shoe) and entry.item and entry.detail:
                found.setdefault(entry.item, []).append(entry.detail)
        return {item: tuple(dict.fromkeys(details)) for item, details in found.items()}


def _sentences(words: Acceptor, but: set[str]) -> Sequence[tuple[str, ...]]:
    """Every sentence that begins with none of these words; they must be few."""
    found: list[tuple[str, ...]] = []
    todo: list[tuple[int, tuple[str, ...]]] = [(words.start, ())]
    while todo:
        state, said = todo.pop()
        if state in words.finals and said:
            found.append(said)
        arcs = words.arcs[state].items()
        todo += [(to, (*said, word)) for word, to in arcs if said or word not in but]
    return sorted(found)


def _plainest(entry: Entry) -> Entry:
    """The same as if it were there, with numbers that can always be said."""
    entry = as_if_there(entry)
    match entry:
        case Finding():
            return replace(entry, below_hairline_mm=None, extent_mm=None)
        case Measurement():
            return replace(entry, value=5)
        case Nails(count=count) if count is not None:
            return replace(entry, count=5)
        case Plan(weeks=weeks) if weeks is not None:
            return replace(entry, weeks=5)
        case Shoe(item="size", detail=str()):
            return replace(entry, detail="4")
        case _:
            return entry
