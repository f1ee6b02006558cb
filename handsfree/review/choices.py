"""The slots of an entry and the values each may have: the trade's words, likeliest first."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

from handsfree.grammar.grammar import Grammar
from handsfree.grammar.meaning import PLANS, with_limb
from handsfree.grammar.wording import UNIT_SIGNS, Wording
from handsfree.records.checking import SCALES, SLOTS
from handsfree.records.entries import (
    Entry,
    Finding,
    Measurement,
    Plan,
    Remark,
    ScaleGrade,
    Shoe,
    belongs_to_horse,
)
from handsfree.review.alike import Alike
from handsfree.review.fitting import Fitting
from handsfree.review.items import Choice, Slot
from handsfree.review.sayable import OF_NUMBERS, Sayable

LABELS = {
    "limb": "foot",
    "zone": "place",
    "side": "side",
    "term": "what",
    "grade": "how much",
    "age": "how old",
    "trend": "since last time",
    "below_hairline_mm": "mm below the hairline",
    "extent_mm": "mm long",
    "scale": "scale",
    "quantity": "what",
    "value": "how much",
    "unit": "unit",
    "action": "what",
    "count": "how many",
    "item": "what",
    "detail": "which",
    "weeks": "weeks",
    "text": "words",
    "denied": "is it there",
}
"""Slot → what it is called; the order is the one in which slots are shown."""

NEEDED = frozenset({"term", "quantity", "action", "item", "unit", "value", "scale", "text"})
"""Slots that are never "not said" once they are there."""

THERE = {"there": False, "not_there": True}
"""Values of whether a finding is there → whether it was denied."""

NUMBERS = frozenset({"below_hairline_mm", "extent_mm", "value", "count", "weeks"})


@dataclass(frozen=True)
class Evidence:
    """What makes a value likely: other readings of the utterance, and what the horse has."""

    others: Sequence[Entry] = ()
    history: Sequence[Entry] = ()
    counts: dict[tuple[str, str], Counter[str]] = field(init=False, compare=False)

    def __post_init__(self) -> None:
        counts: dict[tuple[str, str], Counter[str]] = {}
        for entry in self.history:
            for name, value in values_of(entry).items():
                counts.setdefault((entry.kind, name), Counter())[value] += 1
        object.__setattr__(self, "counts", counts)


def values_of(entry: Entry) -> dict[str, str]:
    """Slot → its value as text, for the slots that have one."""
    values: dict[str, Any] = {f.name: getattr(entry, f.name) for f in fields(entry)}
    values.pop("unit_inferred", None)
    if "denied" in values:
        values["denied"] = next(name for name, no in THERE.items() if no == values["denied"])
    grade = values.pop("scale_grade", None)
    if grade is not None:
        values |= {"scale": grade.scale, "value": grade.value}
    return {
        name: f"{value:g}" if isinstance(value, float) else str(value)
        for name, value in values.items()
        if value is not None
    }


def _with(entry: Entry, name: str, value: object) -> Entry:
    return replace(entry, **{name: value})  # type: ignore[arg-type]


class Choices:
    """Knows the slots of every kind of entry."""

    def __init__(self, grammar: Grammar, wording: Wording, sayable: Sayable) -> None:
        self._wording, self._sayable = wording, sayable
        self._ids: dict[str, list[str]] = {"plan": sorted(PLANS)}
        for word in grammar.table:
            ids = self._ids.setdefault(word.slot, [])
            if word.id not in ids and (word.slot, word.group) != ("limb", "several"):
                ids.append(word.id)
        self._alike = Alike(grammar.table)
        self.units: tuple[str, ...] = tuple(self._ids["unit"])
        self._fitting = Fitting(sayable, wording, self.units)
        self.unit_words = {
            id: (*self._alike.forms("unit", id), id, UNIT_SIGNS.get(id, id)) for id in self.units
        }

    def slots(self, entry: Entry, evidence: Evidence) -> tuple[Slot, ...]:
        """The slots that an entry has or may have, in the order of LABELS."""
        return tuple(self._slot(entry, name, evidence) for name in self.names(entry))

    def names(self, entry: Entry) -> list[str]:
        """Names of the slots that an entry has or may have."""
        return [name for name in LABELS if self._may_have(entry, name)]

    def _may_have(self, entry: Entry, name: str) -> bool:
        match name, entry:
            case "limb", _:
                return not belongs_to_horse(entry)
            case "scale", Finding(scale_grade=grade):
                return grade is not None
            case "value", Finding(scale_grade=grade):
                return grade is not None
            case "term", Finding(scale_grade=grade):
                return grade is None
            case (("below_hairline_mm" | "extent_mm"), Finding()):
                if entry.scale_grade is not None:
                    return False
                known = getattr(entry, name) is not None
                short = replace(entry, below_hairline_mm=None, extent_mm=None)
                long = self._sayable.in_sentences(_with(short, name, 10))
                return known or bool(long and self._sayable.sentence(long))
            case "text", Plan(action=action, text=text):
                return action in {"next_time", "tell_owner"} or text is not None
            case "denied", Finding(term=term, scale_grade=None):
                return term is not None and term != "clear"
            case "denied", _:
                return False
            case "weeks", Plan(action=action):
                return action == "return"
            case "detail", Shoe(item=item, detail=detail):
                return detail is not None or item in {*OF_NUMBERS, *self._sayable.details}
            case _ if name not in {f.name for f in fields(entry)}:
                return False
        wanted = name in NEEDED or name in NUMBERS or isinstance(entry, Remark)
        return wanted or bool(values_of(entry).get(name)) or len(self.allowed(entry, name)) > 1

    def allowed(self, entry: Entry, name: str) -> list[str | None]:
        """Values of a slot that go with the rest of the entry, in the order of the table."""
        found: list[str | None] = []
        for value in self._all(entry, name):
            changed = self.changed(entry, name, value)
            if changed is not None and self.fitted(changed, name) is not None:
                found.append(value)
        return found

    def fitted(self, entry: Entry, name: str) -> Entry | None:
        """The changed entry without what does not go with it; None where it makes no sense."""
        return self._fitting.fitted(entry, name)

    def _all(self, entry: Entry, name: str) -> list[str | None]:
        if name == "limb":
            return [*self._ids["limb"], *([] if entry.limb else [None])]
        if name == "scale":
            return [*sorted(SCALES)]
        if name == "denied":
            return [*THERE]
        if name == "value" and isinstance(entry, Finding):
            return [f"{n / 2:g}" for n in range(20)]
        if name == "count":
            return [*map(str, range(1, 9)), None]
        if name == "detail" and isinstance(entry, Shoe):
            bare = [None] if self._sayable.can_say(replace(entry, detail=None)) else []
            return [*self._sayable.details.get(entry.item or "", ()), *bare]
        slot = SLOTS[entry.kind].get(name)
        if slot is None:
            return []
        return [*self._ids[slot], *([] if name in NEEDED else [None])]

    def changed(self, entry: Entry, name: str, value: str | None) -> Entry | None:
        """The entry with one slot of words changed and nothing else; None where it has none."""
        if name == "limb":
            return with_limb(entry, value)
        if name in {"scale", "value"} and isinstance(entry, Finding):
            grade = entry.scale_grade
            if grade is None or value is None:
                return None
            scale = value if name == "scale" else grade.scale
            number = grade.value if name == "scale" else float(value)
            number = int(number) if number == int(number) else number
            lame = "lameness" if scale == "lameness" else None
            limb = None if scale == "body_condition" else entry.limb
            return replace(entry, limb=limb, term=lame, scale_grade=ScaleGrade(scale, number))
        if name == "denied":
            return _with(entry, name, THERE.get(value or "", False))
        if isinstance(entry, Measurement) and name == "unit":
            entry = replace(entry, unit_inferred=False)
        if name == "count":
            return _with(entry, name, None if value is None else int(value))
        if isinstance(entry, Measurement) and name == "quantity":
            entry = replace(entry, quantity=value)
            return with_limb(entry, None) if belongs_to_horse(entry) else entry
        return _with(entry, name, value)

    def _slot(self, entry: Entry, name: str, evidence: Evidence) -> Slot:
        present = values_of(entry).get(name)
        free = self.is_free(entry, name)
        allowed = self.allowed(entry, name)
        if present is not None and not free and present not in allowed:
            allowed.append(present)
        ranked = sorted(allowed, key=lambda value: self._rank(entry, name, value, evidence))
        choices = tuple(Choice(value, self.label(entry, name, value)) for value in ranked)
        return Slot(name, LABELS[name], self.label(entry, name, present), choices, free)

    def is_free(self, entry: Entry, name: str) -> bool:
        """Whether numbers or words of any kind go into a slot."""
        if name == "detail":
            return isinstance(entry, Shoe) and entry.item in OF_NUMBERS
        return (
            name == "text"
            or (name in NUMBERS and not isinstance(entry, Finding))
            or (name in {"below_hairline_mm", "extent_mm"})
        )

    def _rank(
        self, entry: Entry, name: str, value: str | None, evidence: Evidence
    ) -> tuple[bool, bool, bool, bool, int]:
        present = values_of(entry).get(name)
        others = {values_of(e).get(name) for e in evidence.others if e.kind == entry.kind}
        slot = "limb" if name == "limb" else SLOTS[entry.kind].get(name)
        alike = bool(slot and value and present and self._alike.sound(slot, value, present))
        often = evidence.counts.get((entry.kind, name), Counter())[value or ""]
        # What it is already comes last, what leaves it unsaid before that.
        return value == present, value is None, value not in others, not alike, -often

    def label(self, entry: Entry, name: str, value: str | None) -> str:
        """A value in the trade's words."""
        if value is None:
            return "not said"
        if name in {"scale", "denied"}:
            return value.replace("_", " ")
        if name == "action" and isinstance(entry, Plan):
            return self._wording.describe(Plan(action=value))
        slot = "limb" if name == "limb" else SLOTS[entry.kind].get(name)
        return self._wording.word(slot, value) if slot else value

    def meant(self, entry: Entry, name: str, said: str) -> tuple[bool, str | None]:
        """(known, value) for what was picked or typed: an id, or any of its words."""
        plain = " ".join(said.lower().split())
        allowed = self.allowed(entry, name)
        if plain in {"", "not said"}:
            return None in allowed, None
        for value in allowed:
            if value is not None and plain in self._names(entry, name, value):
                return True, value
        return False, None

    def _names(self, entry: Entry, name: str, value: str) -> Iterable[str]:
        slot = "limb" if name == "limb" else SLOTS[entry.kind].get(name)
        forms = self._alike.forms(slot, value) if slot else ()
        return {value.lower(), self.label(entry, name, value).lower(), *forms}

    def said(self, entry: Entry) -> dict[str, Sequence[str]]:
        """Slot → the ways its value may have been said."""
        found: dict[str, Sequence[str]] = {}
        for name, value in values_of(entry).items():
            slot = "limb" if name == "limb" else SLOTS[entry.kind].get(name)
            if slot is not None:
                found[name] = self._alike.forms(slot, value)
            elif name in NUMBERS or name == "detail":
                found[name] = self._sayable.number(value)
        return found
