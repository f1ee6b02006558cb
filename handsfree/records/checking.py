"""Whether the JSON form of an entry is one that this version can read.

Bodies are checked with this before they are written. A log may hold others all the same: of a
newer version, of another machine, or damaged. They are read as `Unreadable`, which whoever
shows entries shows and counts; nothing is reckoned with them, and they stay as they are.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, ClassVar, get_args

from handsfree.records.entries import KINDS, Entry, ScaleGrade, from_json
from handsfree.records.limbs import LIMBS

Ids = Mapping[str, frozenset[str]]
"""Slot of words.csv → its ids."""

SLOTS: Mapping[str, Mapping[str, str]] = {
    "finding": {k: k for k in ("term", "zone", "side", "grade", "age", "trend")},
    "measurement": {"quantity": "quantity", "side": "side", "unit": "unit"},
    "nails": {"action": "nail", "side": "side"},
    "shoe": {"item": "shoe"},
    "work": {"action": "work"},
    "plan": {"action": "plan"},
    "remark": {},
}
"""Kind of entry → key of the entry → slot of words.csv that lists its ids."""

SCALES = frozenset({"lameness", "body_condition", "laminitis"})
"""Scales of a graded finding (record contract, scale_grade)."""

_NEEDED = {"work": "action", "plan": "action"}
"""Kind of entry → the key without which it says nothing."""

MOST, MOST_WHOLE = 1e9, 9999
"""Above these a number is damage: days and sizes reckoned from it could not be told."""

_LONGEST_REASON = 200
BY_THIS_VERSION = "cannot be read by this version"


@dataclass(frozen=True)
class Unreadable:
    """An entry that this version cannot read. `why` says what is wrong, `body` is its JSON."""

    kind: ClassVar[str] = "unreadable"
    limb: str | None
    why: str
    body: str


def _fields(kind: type[Entry]) -> tuple[tuple[str, Any, frozenset[type]], ...]:
    """Name and type of each field, and such of its types as need no second look."""
    told = [(f.name, f.type, get_args(f.type) or (f.type,)) for f in fields(kind)]
    plain = {str, bool, type(None)}
    return tuple((name, wanted, frozenset(plain & {*types})) for name, wanted, types in told)


_FIELDS = {kind: _fields(cls) for kind, cls in KINDS.items()}


def read(body: object, ids: Ids) -> Entry | Unreadable:
    """The entry of a body; a key that it lacks has its default."""
    try:
        return checked(body, ids)
    except ValueError as error:
        limb = body.get("limb") if isinstance(body, dict) else None
        known = limb if isinstance(limb, str) and limb in LIMBS else None
        why = " ".join(str(error).split())[:_LONGEST_REASON]
        return Unreadable(known, why, json.dumps(body, ensure_ascii=False))


def checked(body: object, ids: Ids) -> Entry:
    """The entry of a body. Raises ValueError, one line, for what this version cannot read:
    another kind or key, a value of another type or out of all bounds, an id that no word has.
    """
    if not isinstance(body, dict):
        raise ValueError("it is no object")
    try:
        entry = from_json(body)
    except TypeError as error:
        raise ValueError(f"its scale_grade cannot be read: {error}") from error
    for name, wanted, plain in _FIELDS[entry.kind]:
        value = getattr(entry, name)
        if type(value) not in plain:
            _check_value(name, value, wanted)
    needed = _NEEDED.get(entry.kind)
    if needed is not None and getattr(entry, needed) is None:
        raise ValueError(f"a {entry.kind} without {needed}")
    if entry.limb is not None and entry.limb not in LIMBS:
        raise ValueError(f"there is no limb {entry.limb[:40]!r}")
    for key, slot in SLOTS[entry.kind].items():
        value = getattr(entry, key)
        if value is not None and value not in ids.get(slot, ()):
            raise ValueError(f"there is no {key} {value[:40]!r}")
    return entry


def _check_value(key: str, value: Any, wanted: Any) -> None:
    if isinstance(value, ScaleGrade):
        if not isinstance(value.scale, str) or value.scale not in SCALES:
            raise ValueError(f"there is no scale {str(value.scale)[:40]!r}")
        _check_value(f"{key} value", value.value, float)
        return
    # JSON tells no 3 from 3.0; a bool would pass for a number.
    fits = [value, float(value)] if type(value) is int and abs(value) <= MOST else [value]
    if (isinstance(value, bool) and wanted is not bool) or not any(
        isinstance(each, wanted) for each in fits
    ):
        raise ValueError(f"its {key} is of the wrong type")
    if isinstance(value, int | float) and not isinstance(value, bool):
        whole = not isinstance(1.0, wanted)
        if not math.isfinite(value) or abs(value) > (MOST_WHOLE if whole else MOST):
            raise ValueError(f"its {key} is out of all bounds")


assert SLOTS.keys() == KINDS.keys()
