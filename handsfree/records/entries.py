"""The seven kinds of entry, as frozen records, and their JSON form.

Ids (limbs, zones, terms …) are not listed here: they live in grammar/words.csv.
"""

from dataclasses import asdict, dataclass, fields
from typing import Any, ClassVar


@dataclass(frozen=True)
class ScaleGrade:
    """A grade on a numbered scale: lameness 0–5, body_condition 1–9, laminitis 1–4."""

    scale: str
    value: float


@dataclass(frozen=True, kw_only=True)
class Finding:
    """Something seen or felt. Lengths in mm; None where a thing was not said.

    `denied`: said not to be there.
    """

    kind: ClassVar[str] = "finding"
    limb: str | None = None
    zone: str | None = None
    side: str | None = None
    term: str | None = None
    grade: str | None = None
    age: str | None = None
    trend: str | None = None
    below_hairline_mm: float | None = None
    extent_mm: float | None = None
    scale_grade: ScaleGrade | None = None
    denied: bool = False


@dataclass(frozen=True, kw_only=True)
class Measurement:
    """A number with its unit (mm, cm, in, deg, kg, lb, hands: 16.1 means sixteen hands one inch).

    `unit_inferred`: the unit was not said, and this is the only likely one.
    """

    kind: ClassVar[str] = "measurement"
    limb: str | None = None
    side: str | None = None
    quantity: str | None = None
    value: float | None = None
    unit: str | None = None
    unit_inferred: bool = False


@dataclass(frozen=True, kw_only=True)
class Nails:
    """Nails pulled, driven, left in, lost or in the shoe; `count` is None where none was said."""

    kind: ClassVar[str] = "nails"
    limb: str | None = None
    action: str | None = None
    count: int | None = None
    side: str | None = None


@dataclass(frozen=True, kw_only=True)
class Shoe:
    """A property of the shoe; `detail` holds the words that narrow the item down."""

    kind: ClassVar[str] = "shoe"
    limb: str | None = None
    item: str | None = None
    detail: str | None = None


@dataclass(frozen=True, kw_only=True)
class Work:
    """Something done to the foot."""

    kind: ClassVar[str] = "work"
    limb: str | None = None
    action: str | None = None


@dataclass(frozen=True, kw_only=True)
class Plan:
    """Something to do later: return, call_vet, watch, next_time, tell_owner or xray."""

    kind: ClassVar[str] = "plan"
    action: str | None = None
    weeks: int | None = None
    text: str | None = None
    limb: str | None = None


@dataclass(frozen=True, kw_only=True)
class Remark:
    """Free speech; `text` is empty where only the sound was kept."""

    kind: ClassVar[str] = "remark"
    limb: str | None = None
    text: str = ""


Entry = Finding | Measurement | Nails | Shoe | Work | Plan | Remark
KINDS: dict[str, type[Entry]] = {
    cls.kind: cls for cls in (Finding, Measurement, Nails, Shoe, Work, Plan, Remark)
}

MORE_IS_WORSE = frozenset({"lameness", "laminitis"})
"""Scales on which a higher grade is worse and zero is none (AAEP 0–5, Obel 1–4). Of body condition
(Henneke 1983, 1–9) neither end is."""

OF_THE_HORSE = frozenset({"heart_girth", "body_length", "height", "neck_girth", "weight"})
"""Quantities of the horse, not of one limb."""


def belongs_to_horse(entry: Entry) -> bool:
    """Whether the entry speaks of the horse, so that no limb in force is put to it.

    A plan may still be for the limbs that are named with it ("the near hind again in a week").
    """
    match entry:
        case Measurement(quantity=quantity):
            return quantity in OF_THE_HORSE
        case Finding(scale_grade=ScaleGrade(scale="body_condition")):
            return True
        case Plan(action="return" | "tell_owner"):
            return True
        case _:
            return False


def is_absent(entry: Entry) -> bool:
    """Whether the entry says that a thing is not there: denied, or of grade zero.

    It was looked for, and is no finding that is there.
    """
    if not isinstance(entry, Finding):
        return False
    grade = entry.scale_grade
    zero = grade is not None and grade.scale in MORE_IS_WORSE and grade.value <= 0
    return entry.denied or zero


def to_json(entry: Entry) -> dict[str, Any]:
    """The entry as a plain dict in the contract's form: `kind` first, null where not said."""
    return {"kind": entry.kind, **asdict(entry)}


def from_json(data: dict[str, Any]) -> Entry:
    """The inverse of to_json. Raises ValueError naming an unknown kind or key."""
    kind = KINDS.get(str(data.get("kind")))
    if kind is None:
        raise ValueError(f"unknown kind of entry: {data.get('kind')!r}")
    values = {key: value for key, value in data.items() if key != "kind"}
    unknown = set(values) - {f.name for f in fields(kind)}
    if unknown:
        raise ValueError(f"a {kind.kind} has no {', '.join(sorted(unknown))}")
    if isinstance(values.get("scale_grade"), dict):
        values["scale_grade"] = ScaleGrade(**values["scale_grade"])
    return kind(**values)
