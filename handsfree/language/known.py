"""Stored entries read with every id that can be said: in the table's words or in his own."""

from collections.abc import Iterable, Iterator
from functools import cache

from handsfree.grammar.grammar import folder
from handsfree.grammar.known import ids_of
from handsfree.grammar.words import read_table
from handsfree.language.tables import read_ids
from handsfree.records.checking import Ids, Unreadable, checked, read
from handsfree.records.entries import Entry


@cache
def known_ids() -> Ids:
    """Slot of words.csv → the ids of that table and of natural speech.

    Raises GrammarError where one of them cannot be read.
    """
    table, said = ids_of(read_table(folder() / "words.csv")), read_ids(folder() / "said")
    empty: frozenset[str] = frozenset()
    return {slot: table.get(slot, empty) | said.get(slot, empty) for slot in {*table, *said}}


def entry_of(body: object) -> Entry | Unreadable:
    """The entry of a body of the log."""
    return read(body, known_ids())


def readable(bodies: Iterable[object]) -> Iterator[Entry]:
    """The entries of bodies, without those that this version cannot read."""
    return (entry for body in bodies if not isinstance(entry := entry_of(body), Unreadable))


def check_body(body: object) -> None:
    """Raise ValueError, one line, for a body that this version could not read again."""
    checked(body, known_ids())
