"""From the tags of a sentence to what it means: statements, a command, a limb."""

from collections.abc import Sequence as Words
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby
from typing import Any

from handsfree.grammar.derive import Tags
from handsfree.records.entries import KINDS, Entry, Plan, ScaleGrade, belongs_to_horse
from handsfree.records.units import to_mm

PLANS = frozenset({"return", "call_vet", "watch", "next_time", "tell_owner", "xray"})

BRANCH = "branch"
"""What was shaped where only its side was named."""
SIDE_OF_SHOE = {"medial": "inside", "lateral": "outside"}
"""A side of the shoe, as its detail is written."""
NAMED = {(BRANCH, "rounded inside"): {"item": "inside_rounded"}}
"""Shaped parts that have an item of their own in the records."""


@dataclass(frozen=True)
class Statement:
    """One entry as said, and the limbs it was said of (empty: the limb in force)."""

    entry: Entry
    limbs: tuple[str, ...] = ()


@dataclass(frozen=True)
class Meaning:
    """What one utterance says.

    Exactly one of these holds: there is a `command`, there are `statements`, or the
    utterance only names `limbs`. `correction` marks what was said after "wrong". `horse_said`
    are the words of a name that is no horse's of the log, empty where it was not heard.
    `changes`, where not None, makes a correction one of parts: only these slots and what the
    statements say change, the rest of what was said before stays ("no, the inside heel").
    """

    statements: tuple[Statement, ...] = ()
    limbs: tuple[str, ...] = ()
    command: str | None = None
    horse: str | None = None
    horse_said: str | None = None
    correction: bool = False
    changes: tuple[tuple[str, Any], ...] | None = None


class _Gathering:
    """Slots of the record that is being said."""

    def __init__(self) -> None:
        self.slots: dict[str, Any] = {}
        self.number = Fraction(0)
        self.decimals = 0
        self.text_from: list[int] = []


def meaning_of(words: Words[str], tags: Tags) -> Meaning:
    """Read the tags of one derivation of `words` (grammar/sentences.jsgf lists them)."""
    said = _Gathering()
    limbs: tuple[str, ...] = ()
    statements: list[Statement] = []
    command: str | None = None
    correction = False
    for at, tag in tags:
        if tag.startswith(":"):
            kind = tag[1:]
            limbs = tuple(said.slots.pop("limb", "").split("+")) if "limb" in said.slots else limbs
            if kind != "limb":
                statements.append(Statement(_entry(kind, said.slots), limbs))
            said = _Gathering()
        elif tag.startswith("!"):
            command = tag[1:]
        elif tag == "wrong":
            correction = True
        else:
            _gather(said, tag, at, words)
    # Recognizers like to write a thing twice in a row: once or twice, it is the same thing.
    return Meaning(
        tuple(said_once for said_once, _ in groupby(statements)),
        () if statements else limbs,
        command,
        said.slots.get("horse"),
        correction=correction,
    )


def _gather(said: _Gathering, tag: str, at: int, words: Words[str]) -> None:
    if tag == "text<":
        said.text_from.append(at)
    elif tag == "text>":
        said.slots["text"] = " ".join(words[said.text_from.pop() : at])
    elif tag.startswith("+"):
        said.number += Fraction(tag[1:])
    elif tag.startswith("*"):
        said.number *= int(tag[1:])
    elif tag.startswith("."):
        said.decimals += 1
        said.number += Fraction(int(tag[1:]), 10**said.decimals)
    elif tag.startswith(">"):
        said.slots[tag[1:]] = _plain(said.number)
        said.number, said.decimals = Fraction(0), 0
        if tag.endswith("_mm"):
            said.slots[tag[1:]] = to_mm(said.slots[tag[1:]], said.slots.pop("unit"))
    else:
        slot, _, value = tag.partition("=")
        said.slots[slot] = value


def _plain(number: Fraction) -> int | float:
    return int(number) if number.denominator == 1 else float(number)


def _entry(kind: str, slots: dict[str, Any]) -> Entry:
    """Build the record; slot names of the grammar differ from keys only where noted here."""
    if kind in PLANS:
        text = slots.get("text") if kind == "next_time" else None
        return Plan(action=kind, weeks=slots.get("weeks"), text=text)
    values = dict(slots)
    if kind == "finding" and "scale" in values:
        scale = values.pop("scale")
        values["scale_grade"] = ScaleGrade(scale, values.pop("scale_value"))
        if scale == "lameness":
            values["term"] = "lameness"
    elif kind == "shoe":
        detail = values.pop("detail", values.get("text"))
        detail = None if detail is None else str(detail)
        if "side" in values:
            detail = f"{detail} {SIDE_OF_SHOE[values['side']]}"
        item = values.get("shoe", BRANCH)
        values = NAMED.get((item, detail)) or {"item": item, "detail": detail}
    elif kind == "work":
        values = {"action": values["work"]}
    elif kind == "nails":
        values["action"] = values.pop("nail")
    return KINDS[kind](**values)


def entries_of(meaning: Meaning, otherwise: Words[str]) -> tuple[Entry, ...]:
    """The entries a meaning makes, each once for a limb; `otherwise` are the limbs where it
    names none.

    What is said again after something else stands twice: "toe length …, trimmed, toe length …".
    """
    made: list[Entry] = []
    for entry, alike in groupby(meaning.statements, key=lambda statement: statement.entry):
        of_horse = belongs_to_horse(entry)
        unnamed = () if of_horse else otherwise
        limbs: list[str | None] = [
            limb for statement in alike for limb in statement.limbs or unnamed or (None,)
        ]
        if of_horse and not isinstance(entry, Plan):
            limbs = [None]
        made += [with_limb(entry, limb) for limb in dict.fromkeys(limbs)]
    return tuple(made)


def with_limb(entry: Entry, limb: str | None) -> Entry:
    """The same entry of another limb."""
    return replace(entry, limb=limb)
