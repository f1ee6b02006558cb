"""Stored entries read with the ids that the trade's table knows."""

from collections.abc import Iterable, Iterator
from functools import cache

from handsfree.grammar.grammar import folder
from handsfree.grammar.meaning import PLANS
from handsfree.grammar.words import TradeWord, read_table
from handsfree.records.checking import Ids, Unreadable, checked, read
from handsfree.records.entries import Entry


def ids_of(table: Iterable[TradeWord]) -> Ids:
    """The ids of every slot of the table, and the plans, which the rules hold."""
    ids: dict[str, set[str]] = {"plan": set(PLANS)}
    for word in table:
        ids.setdefault(word.slot, set()).add(word.id)
    return {slot: frozenset(found) for slot, found in ids.items()}


@cache
def known_ids() -> Ids:
    """The ids of the table. Raises GrammarError where it cannot be read."""
    return ids_of(read_table(folder() / "words.csv"))


def entry_of(body: object) -> Entry | Unreadable:
    """The entry of a body of the log."""
    return read(body, known_ids())


def readable(bodies: Iterable[object]) -> Iterator[Entry]:
    """The entries of bodies, without those that this version cannot read."""
    return (entry for body in bodies if not isinstance(entry := entry_of(body), Unreadable))


def check_body(body: object) -> None:
    """Raise ValueError, one line, for a body that this version could not read again."""
    checked(body, known_ids())
