"""Results of the sums as JSON."""

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from enum import Enum
from typing import Any

from handsfree.records.entries import KINDS, to_json
from handsfree.records.units import Angle, Growth, Length, Weight
from handsfree.sums.seen import FindingTrack
from handsfree.sums.series import MeasureTrack
from handsfree.sums.sources import CantSay, Source

_ENTRIES = tuple(KINDS.values())


def plain(value: Any) -> Any:
    """Frozen dataclasses, days, quantities, entries and sources as JSON-ready values.

    Lengths become {"mm": …}, angles {"deg": …}, weights {"kg": …}, growth {"mm_per_week": …};
    what cannot be said {"cant_say": why}; a source its short text.
    """
    match value:
        case Length(mm=mm):
            return {"mm": round(mm, 2)}
        case Angle(deg=deg):
            return {"deg": round(deg, 2)}
        case Weight(kg=kg):
            return {"kg": round(kg, 2)}
        case Growth():
            return {"mm_per_week": round(value.mm_per_week, 3)}
        case CantSay(why=why):
            return {"cant_say": why}
        case Source():
            return str(value)
        case Enum():
            return value.value
        case date():
            return value.isoformat()
        case float():
            return round(value, 4)
        case None | str() | bool() | int():
            return value
        case Mapping():
            return {str(key): plain(each) for key, each in value.items()}
    if isinstance(value, _ENTRIES):
        return to_json(value)
    if is_dataclass(value) and not isinstance(value, type):
        return {name: plain(getattr(value, name)) for name in _names(value)}
    return [plain(each) for each in value]


def _names(value: Any) -> list[str]:
    """The fields, and of a track its slope, which is reckoned only when it is asked for."""
    slopes = {FindingTrack: ["slope", "slope_of"], MeasureTrack: ["slope"]}
    return [f.name for f in fields(value)] + slopes.get(type(value), [])
