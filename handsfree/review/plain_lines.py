"""What a typed line means in plain review: a verb, the slot it names, the value it gives."""

from collections.abc import Iterable, Mapping

from handsfree.review.items import Slot
from handsfree.review.keys import KEYS

_ALSO = {
    "": "accept",
    "?": "keys",
    "help": "keys",
    "quit": "leave",
    "exit": "leave",
    "type": "words",
    "go": "lookup",
}

_NONE_HERE = ("number", "up", "down")

VERBS: Mapping[str, str] = {
    name: key.verb
    for key in KEYS
    for name in (key.name, key.verb, key.label)
    # An arrow's name would be a side, and "all sure" is two words.
    if key.verb not in _NONE_HERE and name != "right" and " " not in name
} | _ALSO
"""Every word and letter that is a verb."""

TAKES_MORE = frozenset(
    {"words", "correct", "strike", "split", "move", "sure", "horse", "add", "lookup"}
)
"""Verbs that may have words after them; before others a verb's word begins a sentence."""


def slot_named(slots: Iterable[Slot], said: str) -> tuple[Slot | None, str]:
    """The slot that the words begin with, by its label, its name or their beginning."""
    words = said.lower()
    named = sorted(
        ((name.lower(), slot) for slot in slots for name in (slot.label, slot.name)),
        key=lambda pair: -len(pair[0]),
    )
    for name, slot in named:
        if words == name or words.startswith(name + " "):
            return slot, said[len(name) :].strip()
    first, _, rest = said.partition(" ")
    begun = {slot.name: slot for name, slot in named if first and name.startswith(first.lower())}
    return (next(iter(begun.values())), rest.strip()) if len(begun) == 1 else (None, "")


def value_named(slot: Slot, said: str) -> str | None:
    """The id a word or number stands for; None where it stands for none or for several."""
    wanted = said.lower()
    if not wanted:
        return None
    for choice in slot.choices:
        if wanted in (choice.label.lower(), (choice.id or "").lower()):
            return choice.id or ""
    if slot.free:
        return said
    if wanted.isdecimal() and 1 <= int(wanted) <= len(slot.choices):
        return slot.choices[int(wanted) - 1].id or ""
    begun = [choice for choice in slot.choices if choice.label.lower().startswith(wanted)]
    return begun[0].id or "" if len(begun) == 1 else None
