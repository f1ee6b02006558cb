"""The ids that the trade's table knows, slot by slot."""

from collections.abc import Iterable

from handsfree.grammar.meaning import PLANS
from handsfree.grammar.words import TradeWord
from handsfree.records.checking import Ids


def ids_of(table: Iterable[TradeWord]) -> Ids:
    """The ids of every slot of the table, and the plans, which the rules hold."""
    ids: dict[str, set[str]] = {"plan": set(PLANS)}
    for word in table:
        ids.setdefault(word.slot, set()).add(word.id)
    return {slot: frozenset(found) for slot, found in ids.items()}
