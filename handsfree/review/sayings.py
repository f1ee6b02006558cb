"""Typed or chosen words as entries, with the limb they belong to."""

import re
from collections.abc import Iterable, Sequence
from functools import cached_property

from handsfree.grammar.grammar import Grammar, Reading
from handsfree.grammar.limbs import RELATIVE
from handsfree.grammar.meaning import Meaning, entries_of
from handsfree.grammar.wording import Wording
from handsfree.grammar.words import plain_words
from handsfree.language.understand import Understanding
from handsfree.records.checking import Unreadable
from handsfree.records.entries import Entry
from handsfree.records.limbs import LIMBS
from handsfree.visit.numbers import NumberWords

TINY_BEND = 0.25
"""How far typed words may be bent: a slip such as "heal" (0.05) or a doubled small word, no
more, for nobody reads back what was taken. In the unit of handsfree.grammar.nearest; common
practice, no source."""

_FRACTION = re.compile(r"(?:(\d{1,3})[ -])?(\d{1,2})/(\d{1,2})(?!\d)(\s*(?:in|inch|inches)\b)?")
_DECIMAL = re.compile(r"(\d{1,3})[.,](\d{1,4})(?!\d)")


class Sayings:
    """Reads words for review. Slow only with the first words that are no exact sentence."""

    def __init__(self, grammar: Grammar, wording: Wording) -> None:
        self._grammar, self._wording = grammar, wording
        self._limbs = {w.id.lower(): w.forms[0] for w in grammar.table if w.slot == "limb"}
        self._units = {w.id: w.forms[0] for w in grammar.table if w.slot == "unit"}
        self._limb_forms = [
            tuple(form.split()) for w in grammar.table if w.slot == "limb" for form in w.forms
        ]
        self._exact: dict[tuple[str, ...], Meaning | None] = {}

    def words(self, text: str) -> list[str]:
        """Typed text as spoken words: "LH toe 3.25 in" has a limb's name and its number said."""
        spelled = _FRACTION.sub(self._fraction, text)
        spelled = _DECIMAL.sub(lambda n: f"{n[1]} point {' '.join(n[2])}", spelled)
        said: list[str] = []
        before = ""
        for word in plain_words(spelled):
            after_number, before = before.isdecimal(), word
            if after_number and word in self._units:
                said += self._units[word].split()
            elif word in self._limbs:
                said += self._limbs[word].split()
            elif word.isdecimal() and word.isascii() and len(word) <= 3:
                said += self._grammar.number_words(int(word))
            else:
                said.append(word)
        return said

    def _fraction(self, found: re.Match[str]) -> str:
        whole, over, under = int(found[1] or 0), int(found[2]), int(found[3])
        if not 0 < over < under:
            return found[0]
        value = whole + over / under
        if found[4] and not found[1]:
            return self._numbers.part_of_inch(value) or found[0]
        said = (self._numbers.mixed(value) or found[0]).removeprefix("zero and ")
        return f"{said} inches" if found[4] else said

    @cached_property
    def _numbers(self) -> NumberWords:
        return NumberWords(self._grammar)

    def exact(self, words: Sequence[str]) -> Meaning | None:
        """What a sentence of the grammar says; None where the words are none."""
        key = tuple(words)
        if key not in self._exact:
            found = self._grammar.meanings(key) if key else []
            self._exact[key] = found[0] if found else None
        return self._exact[key]

    def read(self, words: Sequence[str]) -> Reading:
        """As `exact`, or the sentence nearest to the words (compiles the grammar once)."""
        meaning = self.exact(words)
        if meaning is not None:
            return Reading(tuple(words), tuple(words), 0.0, meaning)
        return self._grammar.read(words)

    def mean(self, words: Sequence[str]) -> Reading:
        """What a person typed: a sentence, his own words where they are surely understood, or
        the sentence nearest to them."""
        if self.exact(words) is None:
            own = self._natural.read(words)
            meaning = own.meaning
            plain = meaning is not None and not (meaning.command or meaning.correction)
            named = {limb for s in meaning.statements for limb in s.limbs} if meaning else set()
            if plain and own.doubt is None and not named & RELATIVE:
                return own
        return self.read(words)

    @cached_property
    def _natural(self) -> Understanding:
        return Understanding(self._grammar)

    def lesson(
        self, heard: Sequence[str], meant: Sequence[str], limbs: Sequence[str]
    ) -> tuple[str, str] | None:
        """(words heard, sentence meant) where hearing one for the other is worth keeping.

        `limbs` are in force. A foot that was not among the words heard is left out of the
        sentence, for another time another one will be in force; where nothing but the foot
        was wrong nothing was misheard. What the sentence says twice in a row it need not.
        """
        meant = self._without_limb(heard, self._said_once(meant), limbs)
        if not heard or list(heard) == list(meant):
            return None
        return " ".join(heard), " ".join(meant)

    def _said_once(self, words: Sequence[str]) -> Sequence[str]:
        """The words without a run of them said again at once, where they mean the same so."""
        meaning = self.exact(words)
        for size in range(len(words) // 2, 0, -1) if meaning else ():
            for at in range(len(words) - 2 * size + 1):
                for again in (at + size, at + size + 1):
                    if list(words[at : at + size]) == list(words[again : again + size]):
                        shorter = [*words[: at + size], *words[again + size :]]
                        if self.exact(shorter) == meaning:
                            return self._said_once(shorter)
        return words

    def _without_limb(
        self, heard: Sequence[str], meant: Sequence[str], limbs: Sequence[str]
    ) -> Sequence[str]:
        said = [form for form in self._limb_forms if _place(form, meant) is not None]
        if len(said) != 1 or any(_place(form, heard) is not None for form in self._limb_forms):
            return meant
        at = _place(said[0], meant) or 0
        bare = [*meant[:at], *meant[at + len(said[0]) :]]
        whole, without = self.exact(meant), self.exact(bare)
        if whole is None or without is None:
            return meant
        same = entries_of(whole, limbs) == entries_of(without, limbs)
        return bare if same or bare == list(heard) else meant

    def in_words(self, entries: Iterable[Entry | Unreadable]) -> str:
        """Entries with their limbs: "LF RF trimmed; LH outside heel bruise"."""
        by_text: dict[str, list[str]] = {}
        for entry in entries:
            limbs = by_text.setdefault(self._wording.describe(entry), [])
            limbs += [entry.limb] if entry.limb else []
        return "; ".join(
            " ".join([*sorted(set(limbs), key=LIMBS.index), text]).strip()
            for text, limbs in by_text.items()
        )


def _place(form: Sequence[str], words: Sequence[str]) -> int | None:
    """Where these words stand among others."""
    length = len(form)
    places = range(len(words) - length + 1)
    return next((at for at in places if tuple(words[at : at + length]) == tuple(form)), None)


def replaced(words: Sequence[str], wrong: Sequence[str], right: Sequence[str]) -> list[str] | None:
    """The words with the first `wrong` ones among them made `right`; None where there are none."""
    at = _place(wrong, words)
    return None if at is None else [*words[:at], *right, *words[at + len(wrong) :]]
