"""Conditions on entries, kept as data in TOML: what a caution or a run sheet waits for."""

import re
import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from rapidfuzz import process

from handsfree.errors import GrammarError
from handsfree.records.checking import SCALES, SLOTS, Ids
from handsfree.records.entries import KINDS, Entry, Finding, is_absent

CONDITION_KEYS = (
    *("kind", "other_than", "said", "without", "scale", "at_least", "extent_at_least_mm"),
    *("together_with", "unless"),
)
LIMIT_OF_LIKENESS = 50.0
"""Below this likeness (0–100) a key is no suggestion. Common practice, no source."""

Complaint = Callable[[str], GrammarError]
"""Makes the error for a reason; it knows the file and the item."""


@dataclass(frozen=True)
class Condition:
    """What an entry must be.

    `values`: key → ids, one of which it must have; `other_than`: key → ids that it must not
    have. `said` and `without`: keys that must, or must not, have been said. `scale`, `at_least`:
    a grade on a scale, no lower than that. `extent_at_least_mm`: a mark so long or longer.
    `together_with` and `unless` speak of another entry of the same limb.

    A finding that was said not to be there is none, but where it is enough that it was looked for.
    """

    kind: str
    values: tuple[tuple[str, frozenset[str]], ...] = ()
    said: tuple[str, ...] = ()
    without: tuple[str, ...] = ()
    scale: str | None = None
    at_least: float | None = None
    together_with: "Condition | None" = None
    unless: "Condition | None" = None
    other_than: tuple[tuple[str, frozenset[str]], ...] = ()
    extent_at_least_mm: float | None = None

    def fits(self, entry: Entry, looked_for: bool = False) -> bool:
        """Whether this one entry is what is meant, whatever else was said.

        `looked_for`: also where it was said not to be there.
        """
        if entry.kind != self.kind or (is_absent(entry) and not looked_for):
            return False
        if any(getattr(entry, key) in ids for key, ids in self.other_than):
            return False
        if self.extent_at_least_mm is not None:
            extent = entry.extent_mm if isinstance(entry, Finding) else None
            if extent is None or extent < self.extent_at_least_mm:
                return False
        if any(getattr(entry, key) not in ids for key, ids in self.values):
            return False
        if any(getattr(entry, key) is None for key in self.said):
            return False
        if any(getattr(entry, key) is not None for key in self.without):
            return False
        if self.scale is None:
            return True
        grade = entry.scale_grade if isinstance(entry, Finding) else None
        return (
            grade is not None
            and grade.scale == self.scale
            and (self.at_least is None or grade.value >= self.at_least)
        )

    def holds_at(self, entries: Sequence[Entry], looked_for: bool = False) -> int | None:
        """Index of the entry that first makes it hold; None where it does not.

        `entries` are those of one limb, in order. Of a pair it is the later one. `looked_for`:
        a finding that was said not to be there will do, but not for the other one of a pair.
        """
        first = _first(self, entries, looked_for)
        if first is None or (self.unless and _first(self.unless, entries) is not None):
            return None
        if self.together_with is None:
            return first
        second = _first(self.together_with, entries)
        return None if second is None else max(first, second)


def _first(condition: Condition, entries: Sequence[Entry], looked_for: bool = False) -> int | None:
    return next((i for i, entry in enumerate(entries) if condition.fits(entry, looked_for)), None)


def read_toml(path: Path, name: str) -> dict[str, Any]:
    """A TOML file. Raises GrammarError with `name`, the line where known, and the reason."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise GrammarError(name, None, f"cannot be read: {error}") from None
    except tomllib.TOMLDecodeError as error:
        at = re.search(r" \(at line (\d+), column \d+\)$", str(error))
        reason = str(error)[: at.start()] if at else str(error)
        raise GrammarError(name, int(at[1]) if at else None, f"not TOML: {reason}") from None


def check_keys(data: Mapping[str, Any], known: Iterable[str], complain: Complaint) -> None:
    """Raise for the first key that is not known, with the nearest that is."""
    for key in data:
        if key not in set(known):
            raise complain(f"no such key: {key!r}{nearest(key, known)}")


def nearest(word: str, known: Iterable[str]) -> str:
    """The end of an error line: the likeliest of the known words, or all of them if few."""
    choices = sorted(known)
    best = process.extractOne(word, choices, score_cutoff=LIMIT_OF_LIKENESS)
    if best:
        return f"; did you mean {best[0]!r}?"
    return f"; it can be {', '.join(choices)}" if 0 < len(choices) <= 12 else ""


def read_conditions(
    data: object, ids: Ids, complain: Complaint, kind: str | None = None
) -> tuple[Condition, ...]:
    """One condition or a list of them; `kind` is the one meant where none is given."""
    given = data if isinstance(data, list) else [data]
    if not given:
        raise complain("an empty list of conditions")
    return tuple(_condition(one, ids, complain, kind) for one in given)


def _condition(data: object, ids: Ids, complain: Complaint, kind: str | None) -> Condition:
    if not isinstance(data, dict) or not data:
        raise complain(f"a condition is a table such as {{ kind = 'nails' }}, not {data!r}")
    kind = data.get("kind", kind)
    if kind is None:
        raise complain("a condition lacks its kind")
    if not isinstance(kind, str) or kind not in KINDS:
        raise complain(f"no such kind of entry: {kind!r}{nearest(str(kind), KINDS)}")
    slots = SLOTS[kind]
    check_keys(data, (*slots, *CONDITION_KEYS), complain)
    values = _values(data, slots, ids, complain)
    but = data.get("other_than", {})
    if not isinstance(but, dict):
        raise complain(f"other_than is a table such as {{ age = 'old' }}, not {but!r}")
    check_keys(but, slots, complain)
    keys = [f.name for f in fields(KINDS[kind]) if f.name != "limb"]
    said, without = (
        tuple(_ids(key, data[key], keys, complain)) if key in data else ()
        for key in ("said", "without")
    )
    scale, at_least = _scale(data, kind, complain)
    pair, bar = (
        _other(data[key], ids, complain, kind) if key in data else None
        for key in ("together_with", "unless")
    )
    longer = _extent(data.get("extent_at_least_mm"), kind, complain)
    excluded = _values(but, slots, ids, complain)
    return Condition(kind, values, said, without, scale, at_least, pair, bar, excluded, longer)


def _values(
    data: Mapping[str, Any], slots: Mapping[str, str], ids: Ids, complain: Complaint
) -> tuple[tuple[str, frozenset[str]], ...]:
    return tuple(
        (key, frozenset(_ids(key, data[key], ids.get(slot, frozenset()), complain)))
        for key, slot in slots.items()
        if key in data
    )


def _extent(value: object, kind: str, complain: Complaint) -> float | None:
    if value is None:
        return None
    if kind != "finding":
        raise complain(f"a {kind} has no extent")
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise complain(f"extent_at_least_mm is a number, not {value!r}")
    return float(value)


def _other(data: object, ids: Ids, complain: Complaint, kind: str) -> Condition:
    other = _condition(data, ids, complain, kind)
    if other.together_with or other.unless:
        raise complain("a condition inside another holds no third one")
    return other


def _scale(
    data: Mapping[str, Any], kind: str, complain: Complaint
) -> tuple[str | None, float | None]:
    scale, at_least = data.get("scale"), data.get("at_least")
    if scale is not None:
        if kind != "finding":
            raise complain(f"a {kind} has no scale")
        _ids("scale", scale, SCALES, complain)
    if at_least is not None:
        if scale is None:
            raise complain("at_least needs a scale")
        if isinstance(at_least, bool) or not isinstance(at_least, int | float):
            raise complain(f"at_least is a number, not {at_least!r}")
    return scale, at_least


def _ids(key: str, value: object, known: Iterable[str], complain: Complaint) -> list[str]:
    given = value if isinstance(value, list) else [value]
    if not given:
        raise complain(f"{key} is empty")
    for one in given:
        if not isinstance(one, str) or one not in set(known):
            raise complain(f"{key} has no {one!r}{nearest(str(one), known)}")
    return [str(one) for one in given]
