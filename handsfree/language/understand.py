"""What words mean, whether they are a sentence of the grammar or said in his own way. Pure."""

from collections.abc import Sequence
from dataclasses import replace

from handsfree.grammar.grammar import Grammar, Reading, folder
from handsfree.grammar.limbs import RELATIVE, NamedLimbs
from handsfree.grammar.names import begins_a_name
from handsfree.language.reader import SURE_TO, Reader, Understood
from handsfree.language.tables import Tables, read_tables
from handsfree.records.commands import Command


class Understanding:
    """Reads the words of an utterance with a grammar and the tables of natural speech."""

    def __init__(self, grammar: Grammar) -> None:
        self._grammar = grammar
        self._reader = Reader(read_tables(folder() / "said"), grammar.horse_names)

    @property
    def tables(self) -> Tables:
        """The tables of natural speech."""
        return self._reader.tables

    def read(self, heard: Sequence[str]) -> Reading:
        """What the words say.

        A sentence of the grammar, what a person once taught and free remarks are read as the
        grammar reads them; anything else as natural speech. Where that leaves words unread, the
        nearest sentence may have been meant: it is taken if it leaves out no word of the trade.
        """
        given = tuple(heard)
        grammar = self._grammar
        spelled, _ = grammar.digits_spelled(grammar.after_call(given))
        fixed = spelled[:1] == ["remark"] or grammar.lesson(given) is not None
        said, _ = grammar.synonyms.put(spelled)
        if not said or fixed or grammar.sentences.accepts(said):
            return grammar.read(given)
        natural = self._reader.read(said)
        if begins_a_name(spelled) and not self._is_command(natural):
            # A name is never bent into another horse's: the grammar says what is one.
            named = grammar.read(given)
            if named.meaning is not None and named.meaning.command == Command.HORSE:
                return named
        if natural.meaning is None or natural.unread:
            near = grammar.read(given)
            if near.meaning is not None and self._may_be(near, said, natural):
                if near.by_lesson or set(said) & set(near.words):
                    return near
                # No word of it is as it was said: "head" is not surely "heat".
                return replace(near, doubt=f"may be '{' '.join(near.words)}'")
        return self._reading(given, natural)

    def _is_command(self, natural: Understood) -> bool:
        """Whether it is all a command, and no horse's name ("next horse please")."""
        meaning = natural.meaning
        command = None if meaning is None else meaning.command
        return command not in (None, Command.HORSE) and not natural.unread

    def _may_be(self, near: Reading, said: Sequence[str], natural: Understood) -> bool:
        """Whether the nearest sentence is nearer than natural speech, and keeps what was said."""
        if near.by_lesson:
            return True
        if natural.meaning is not None and near.bend >= natural.unsure:
            return False
        # What natural speech has a meaning for may be neither left out nor bent into another.
        lost = [word for word in said if word not in near.words and self._reader.tells(word)]
        return not lost

    def _reading(self, given: tuple[str, ...], natural: Understood) -> Reading:
        called = self._grammar.is_called(given)
        if natural.meaning is None:
            refused = self._grammar.refused(given)
            feet = [limb for limb in natural.limbs if limb not in RELATIVE]
            if feet and refused.named.limbs == () and refused.named.sure:
                # It heard a foot where the words table has no name of one.
                one = len(feet) == 1
                named = NamedLimbs(tuple(feet) if one else (), one)
                return Reading(given, called=called, named=named)
            return Reading(given, called=called, named=refused.named)
        doubt = "; ".join(dict.fromkeys(natural.doubts)) if natural.unsure > SURE_TO else None
        return Reading(given, given, natural.unsure, natural.meaning, called=called, doubt=doubt)
