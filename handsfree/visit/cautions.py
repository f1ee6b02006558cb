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
"""Keys that every caution has."""
MAY_HAVE = ("feet", "urgent", "afterwards")


@dataclass(frozen=True)
class Caution:
    """A caution that is due.

    `limb` is None where none was named ("a foot"). `entry_index`: the entry that made it due
    (of a pair the later one). `spoken`: short phrases, the order first, a pause between them;
    the limb is not among them. `shown`: one or two plain sentences that say why. `urgent`: it
    is an emergency. `afterwards`: what stands in place of the order where it is read later and by
    others, as the order is for the farrier at his work; None where it is for them all.
    """

    id: str
    limb: str | None
    entry_index: int
    spoken: tuple[str, ...]
    shown: str
    source: str
    urgent: bool = True
    afterwards: str | None = None

    @property
    def orders(self) -> str:
        """What is said aloud, for the eye: whoever reads it acts before he reads why."""
        return " ".join(self.spoken)

    @property
    def orders_later(self) -> str:
        """The same for who reads it later."""
        return self.orders if self.afterwards is None else self.afterwards

    @property
    def text(self) -> str:
        """The whole caution in writing: the orders, then why."""
        return f"{self.orders} {self.shown}"


@dataclass(frozen=True)
class Rule:
    """One caution of the file and the conditions any one of which makes it due.

    `feet`: the limbs on every one of which a condition must hold; empty where one limb, or one
    that was not named, is enough.
    """

    id: str
    when: tuple[Condition, ...]
    spoken: tuple[str, ...]
    shown: str
    source: str
    feet: tuple[str, ...] = ()
    urgent: bool = True
    afterwards: str | None = None

    def due(self, limb: str | None, at: int) -> Caution:
        """The caution, made due by the entry at a place."""
        about = (self.spoken, self.shown, self.source, self.urgent, self.afterwards)
        return Caution(self.id, limb, at, *about)

    def holds_at(self, places: Sequence[int], entries: Sequence[Entry]) -> int | None:
        """The place of the entry, of these of one limb, that first makes it due."""
        theirs = [entries[i] for i in places]
        holds = [at for c in self.when if (at := c.holds_at(theirs)) is not None]
        return places[min(holds)] if holds else None


def due(entries: Sequence[Entry], rules: Sequence[Rule] | None = None) -> list[Caution]:
    """The cautions of a visit, in the order of the entries that made them due.

    `entries` in force, in order; `rules` as read_rules gives them (default: the ones that come
    with handsfree). One caution for each (id, limb); one of several feet together has no limb.
    Of several rules that one entry brings up the first of the file, which is the gravest, is said.
    """
    by_limb: dict[str | None, list[int]] = {}
    for index, entry in enumerate(entries):
        by_limb.setdefault(entry.limb, []).append(index)
    found: dict[int, Caution] = {}
    at: dict[str | None, int | None]
    for rule in _usual() if rules is None else rules:
        at = {limb: rule.holds_at(places, entries) for limb, places in by_limb.items()}
        if rule.feet:
            each = [at.get(limb) for limb in rule.feet]
            at = {None: max((i for i in each if i is not None), default=None)}
            if None in each:
                continue
        for limb, place in at.items():
            if place is not None:
                found.setdefault(place, rule.due(limb, place))
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
    check_keys(data, (*KEYS, *MAY_HAVE), complain)
    for key in KEYS:
        if not data.get(key):
            raise complain(f"lacks {key!r}")
    for key in ("id", "shown", "source", "afterwards"):
        if key in data and not (isinstance(data[key], str) and data[key].strip()):
            raise complain(f"{key} is text, not {data[key]!r}")
    spoken = data["spoken"]
    if not isinstance(spoken, list) or not all(isinstance(s, str) and s.strip() for s in spoken):
        raise complain("spoken is a list of short phrases")
    when = read_conditions(data["when"], ids, complain, "finding")
    if any(condition.unless for condition in when):
        # What was once due must not be taken back by what is said later.
        raise complain("a caution knows no 'unless'")
    feet = data.get("feet", [])
    known = {limb for limb in ids.get("limb", ()) if "+" not in limb}
    if not isinstance(feet, list) or not set(map(str, feet)) <= known:
        raise complain(f"feet is a list of {', '.join(sorted(known))}, not {feet!r}")
    urgent = data.get("urgent", True)
    if not isinstance(urgent, bool):
        raise complain(f"urgent is true or false, not {urgent!r}")
    shown = f"{data['shown']} {closing}".strip()
    return Rule(
        data["id"],
        when,
        tuple(spoken),
        shown,
        data["source"],
        tuple(feet),
        urgent,
        data.get("afterwards"),
    )
