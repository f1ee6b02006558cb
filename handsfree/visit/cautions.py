"""When to stop and call the vet: the usual cautions, never a diagnosis or a treatment.

The rules are data (grammar/cautions.toml), each with its source.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from handsfree.errors import GrammarError
from handsfree.grammar.grammar import folder
from handsfree.grammar.known import ids_of
from handsfree.grammar.words import read_table
from handsfree.records.checking import Ids
from handsfree.records.entries import Entry
from handsfree.visit.conditions import (
    Complaint,
    Condition,
    check_keys,
    read_conditions,
    read_toml,
)

KEYS = ("id", "when", "spoken", "shown", "source")


@dataclass(frozen=True)
class Caution:
    """A caution that is due.

    `limb` is None where none was named ("a foot"). `entry_index`: the entry that made it due
    (of a pair the later one). `spoken`: short phrases, the order first, a pause between them;
    the limb is not among them. `shown`: one or two plain sentences that say why.
    """

    id: str
    limb: str | None
    entry_index: int
    spoken: tuple[str, ...]
    shown: str
    source: str

    @property
    def orders(self) -> str:
        """What is said aloud, for the eye: whoever reads it acts before he reads why."""
        return " ".join(self.spoken)

    @property
    def text(self) -> str:
        """The whole caution in writing: the orders, then why."""
        return f"{self.orders} {self.shown}"


@dataclass(frozen=True)
class Rule:
    """One caution of the file and the conditions any one of which makes it due."""

    id: str
    when: tuple[Condition, ...]
    spoken: tuple[str, ...]
    shown: str
    source: str


def due(entries: Sequence[Entry], rules: Sequence[Rule] | None = None) -> list[Caution]:
    """The cautions of a visit, in the order of the entries that made them due.

    `entries` in force, in order; `rules` as read_rules gives them (default: the ones that come
    with handsfree). One caution for each (id, limb). Of several rules that one entry brings
    up the first of the file, which is the gravest, is said.
    """
    by_limb: dict[str | None, list[int]] = {}
    for index, entry in enumerate(entries):
        by_limb.setdefault(entry.limb, []).append(index)
    found: dict[int, Caution] = {}
    for rule in _usual() if rules is None else rules:
        for limb, places in by_limb.items():
            theirs = [entries[i] for i in places]
            holds = [at for c in rule.when if (at := c.holds_at(theirs)) is not None]
            if holds:
                index = places[min(holds)]
                caution = Caution(rule.id, limb, index, rule.spoken, rule.shown, rule.source)
                found.setdefault(index, caution)
    return [found[index] for index in sorted(found)]


@cache
def _usual() -> tuple[Rule, ...]:
    place = folder()
    return read_rules(place / "cautions.toml", ids_of(read_table(place / "words.csv")))


def read_rules(path: Path, ids: Ids) -> tuple[Rule, ...]:
    """Read a file of cautions; `ids` of the table (grammar.known.ids_of).

    Raises GrammarError with the file, the caution and what is wrong with it.
    """
    data = read_toml(path, path.name)
    check_keys(data, ("closing", "caution"), lambda why: GrammarError(path.name, None, why))
    closing, given = data.get("closing", ""), data.get("caution")
    if not isinstance(closing, str):
        raise GrammarError(path.name, None, "closing is one sentence")
    if not isinstance(given, list) or not given:
        raise GrammarError(path.name, None, "has no [[caution]]")
    rules: list[Rule] = []
    for number, one in enumerate(given, 1):
        rule = _rule(one, closing, ids, _complaint(path.name, number, one))
        if rule.id in {r.id for r in rules}:
            raise GrammarError(path.name, None, f"two cautions with the id {rule.id!r}")
        rules.append(rule)
    return tuple(rules)


def _complaint(file: str, number: int, one: Any) -> Complaint:
    name = one.get("id") if isinstance(one, dict) else None
    where = f"caution {number}" + (f" ({name})" if isinstance(name, str) else "")
    return lambda reason: GrammarError(file, None, f"{where}: {reason}")


def _rule(data: Any, closing: str, ids: Ids, complain: Complaint) -> Rule:
    if not isinstance(data, dict):
        raise complain("is no table")
    check_keys(data, KEYS, complain)
    for key in KEYS:
        if not data.get(key):
            raise complain(f"lacks {key!r}")
    for key in ("id", "shown", "source"):
        if not isinstance(data[key], str):
            raise complain(f"{key} is text, not {data[key]!r}")
    spoken = data["spoken"]
    if not isinstance(spoken, list) or not all(isinstance(s, str) and s.strip() for s in spoken):
        raise complain("spoken is a list of short phrases")
    when = read_conditions(data["when"], ids, complain, "finding")
    if any(condition.unless for condition in when):
        # What was once due must not be taken back by what is said later.
        raise complain("a caution knows no 'unless'")
    shown = f"{data['shown']} {closing}".strip()
    return Rule(data["id"], when, tuple(spoken), shown, data["source"])
