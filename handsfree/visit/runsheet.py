"""What is left to do or to look at on a foot, asked with "what's left".

The list is data: grammar/runsheet.toml, or a file of the user's own in the same form.
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
from handsfree.records.entries import Entry, Plan
from handsfree.visit.conditions import (
    Complaint,
    Condition,
    check_keys,
    read_conditions,
    read_toml,
)

KEYS = ("say", "any", "all")


@dataclass(frozen=True)
class Item:
    """One thing to do: done when one of `any` and every one of `all` holds."""

    say: str
    any: tuple[Condition, ...] = ()
    all: tuple[Condition, ...] = ()

    def done(self, entries: Sequence[Entry]) -> bool:
        """Whether the entries of one limb satisfy it."""
        one = not self.any or any(_done(c, entries) for c in self.any)
        return one and all(_done(c, entries) for c in self.all)


def _done(condition: Condition, entries: Sequence[Entry]) -> bool:
    """Whether it holds; "no thrush" shows as well as "thrush" that the frog was looked at."""
    return condition.holds_at(entries, looked_for=True) is not None


@dataclass(frozen=True)
class RunSheet:
    """The items in the order they are said."""

    items: tuple[Item, ...]


def left(sheet: RunSheet, entries: Sequence[Entry], limb: str | None) -> list[str]:
    """The spoken names of the items that are not done on a limb.

    `entries` in force; those of other limbs do not count, but a plan of no limb ("come back
    in six weeks") counts for each. With limb None, only what was said of no limb counts.
    """
    theirs = [e for e in entries if e.limb == limb or (isinstance(e, Plan) and e.limb is None)]
    return [item.say for item in sheet.items if not item.done(theirs)]


@cache
def usual_sheet() -> RunSheet:
    """The run sheet that comes with handsfree."""
    return read_sheet(folder() / "runsheet.toml")


def read_sheet(path: Path) -> RunSheet:
    """Read a run sheet.

    Raises GrammarError with the file, the item, what is wrong and the nearest that is right.
    """
    ids = ids_of(read_table(folder() / "words.csv"))
    name = str(path)
    data = read_toml(path, name)
    check_keys(data, ("item",), lambda why: GrammarError(name, None, why))
    given = data.get("item")
    if not isinstance(given, list) or not given:
        raise GrammarError(name, None, "has no [[item]]")
    items: list[Item] = []
    for number, one in enumerate(given, 1):
        complain = _complaint(name, number, one)
        item = _item(one, ids, complain)
        if item.say in {i.say for i in items}:
            raise complain("an earlier item has the same name")
        items.append(item)
    return RunSheet(tuple(items))


def _complaint(file: str, number: int, one: Any) -> Complaint:
    say = one.get("say") if isinstance(one, dict) else None
    where = f"item {number}" + (f" ({say})" if isinstance(say, str) and say.isprintable() else "")
    return lambda reason: GrammarError(file, None, f"{where}: {reason}")


def _item(data: Any, ids: Ids, complain: Complaint) -> Item:
    if not isinstance(data, dict):
        raise complain("is no table")
    check_keys(data, KEYS, complain)
    say = data.get("say")
    if not isinstance(say, str) or not say.strip() or not say.isprintable():
        raise complain("'say' is missing: the words to be spoken, on one line")
    if "any" not in data and "all" not in data:
        raise complain("needs 'any' or 'all': the entries that make it done")
    some, every = (
        read_conditions(data[key], ids, complain) if key in data else () for key in ("any", "all")
    )
    return Item(" ".join(say.split()), some, every)
