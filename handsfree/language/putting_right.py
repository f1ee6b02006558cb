"""A part of what was just said is put right: the rest of it stays as it was. Pure."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from handsfree.grammar.meaning import Meaning, Statement, with_limb
from handsfree.records.entries import (
    Entry,
    Finding,
    Measurement,
    Nails,
    Plan,
    Shoe,
    Work,
    belongs_to_horse,
)
from handsfree.records.units import to_mm

NUMBERS: dict[type[Entry], str] = {Nails: "count", Measurement: "value", Plan: "weeks"}
"""The slot that a bare number puts right."""


def corrected(last: Sequence[Entry], meaning: Meaning) -> tuple[Entry, ...] | None:
    """The last utterance's entries with the changes in them; None where nothing takes them.

    A statement takes the place of the entry that is about the same thing, else of the last one
    of its kind, and what it leaves open stays as it was said before.
    """
    if not last or meaning.changes is None:
        return None
    entries: list[Entry] | None = list(last)
    denied = [s for s in meaning.statements if isinstance(s.entry, Finding) and s.entry.denied]
    stated = [s for s in meaning.statements if s not in denied] or list(meaning.statements)
    for statement in stated:
        entries = None if entries is None else _with(entries, statement, denied)
    if entries is None:
        return None
    changed = (
        [_changed(entry, dict(meaning.changes)) for entry in entries]
        if meaning.changes
        else entries
    )
    if meaning.changes and changed == entries and not meaning.limbs:
        return None
    if meaning.limbs:
        alike = dict.fromkeys(with_limb(e, None) if not belongs_to_horse(e) else e for e in changed)
        changed = [
            e if belongs_to_horse(e) else with_limb(e, limb)
            for e in alike
            for limb in (meaning.limbs if not belongs_to_horse(e) else (None,))
        ]
    return tuple(changed)


def _with(
    entries: list[Entry], statement: Statement, denied: Sequence[Statement]
) -> list[Entry] | None:
    new = statement.entry
    kind = [e for e in entries if type(e) is type(new)]
    names = {s.entry.term for s in denied if isinstance(s.entry, Finding)}
    same = [e for e in kind if _about(e) == _about(new)]
    named = [e for e in kind if isinstance(e, Finding) and e.term in names]
    old = same or named or ([e for e in kind if _alike(e, kind[-1])] if kind else [])
    if not old:
        return None
    fresh = [_over(e, new) for e in old]
    if statement.limbs:
        fresh = [with_limb(e, limb) for e in fresh[:1] for limb in statement.limbs]
    at = entries.index(old[0])
    kept = [e for e in entries if e not in old]
    return kept[:at] + list(dict.fromkeys(fresh)) + kept[at:]


def _alike(one: Entry, other: Entry) -> bool:
    return with_limb(one, None) == with_limb(other, None)


def _about(entry: Entry) -> object:
    match entry:
        case Finding():
            return entry.term
        case Measurement():
            return entry.quantity
        case Shoe():
            return entry.item
        case Nails() | Work() | Plan():
            return entry.action
        case _:
            return None


def _over(old: Entry, new: Entry) -> Entry:
    """The old entry with everything the new one says."""
    said = {k: v for k, v in vars(new).items() if v is not None and v is not False and k != "limb"}
    if isinstance(new, Measurement) and new.unit_inferred:
        said.pop("unit")
        said.pop("unit_inferred")
    return replace(old, **said)


def _changed(entry: Entry, changes: dict[str, Any]) -> Entry:
    said: dict[str, Any] = {k: v for k, v in changes.items() if k in vars(entry) and k != "unit"}
    number, unit = changes.get("number"), changes.get("unit")
    slot = NUMBERS.get(type(entry))
    if number is not None:
        if slot is not None and getattr(entry, slot) is not None:
            said[slot] = number
            if isinstance(entry, Measurement) and unit:
                said["unit"] = unit
        elif isinstance(entry, Finding) and unit in ("mm", "cm", "in"):
            key = "below_hairline_mm" if entry.below_hairline_mm is not None else "extent_mm"
            said[key] = to_mm(float(number), unit)
        elif isinstance(entry, Shoe) and entry.item == "size":
            said["detail"] = f"{number:g}"
    return replace(entry, **said)
