"""What the checks of a foot are made from: measures of one day and stage, and their result."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from handsfree.records.entries import Measurement
from handsfree.records.units import Angle, Length, Quantity, Weight, fits, kind_of
from handsfree.sums.history import DayVisit, History, Measured, Noted, Stage, measures
from handsfree.sums.sources import Source
from handsfree.visit.plausible import question

STAGES = (Stage.BEFORE, Stage.UNTOUCHED, Stage.UNSAID, Stage.AFTER)
"""In order of time."""

LEAST, MOST, UPRIGHT = 0.01, 100_000.0, 89.9
"""In mm, degrees or kg; what is not in between is no number of any horse. Odd numbers in between
are asked about (`questions`)."""

LIMB_QUANTITIES = (
    "toe_length hoof_angle heel_angle pastern_angle heel_height heel_length hoof_width "
    "hoof_length coronary_circumference sole_depth wall_thickness frog_width frog_length"
).split()

Key = tuple[str, str | None, str | None]
"""Quantity, limb and side of a measure."""

Known = Mapping[Key, Sequence[Measured]]
"""What was measured, by key, in order of time."""

Row = tuple[date, Stage, tuple[Measured, ...]]
"""Measures that may be put together, with their day and stage."""


@dataclass(frozen=True)
class Check:
    """One thing of a foot, or of a pair of feet, held against a guideline.

    `number` is a difference (never negative; `direction` says which way), a ratio, or per cent.
    `beyond` is None where there is no guideline. `name` is what the source calls it, an id.
    `limit` is the guideline's number, `also` what else is quoted, `values` what was measured and
    `unit` the one to show the number in. `questions` are to be put to the user.
    """

    id: str
    limbs: tuple[str, ...]
    on: date
    stage: Stage
    number: Quantity | float | None
    direction: str
    beyond: bool | None
    source: Source | None
    name: str | None
    limit: Quantity | float | None = None
    values: tuple[Measured, ...] = ()
    side: str | None = None
    unit: str | None = None
    also: tuple[Source, ...] = ()
    questions: tuple[str, ...] = ()


def is_of_its_kind(measured: Measured) -> bool:
    """Whether a length was said in a unit of length, an angle in degrees, a weight in its own."""
    return fits(measured.quantity, measured.value)


def is_usable(measured: Measured) -> bool:
    """Whether the number can be one of this quantity at all, in the right kind of unit."""
    value = measured.value
    if not is_of_its_kind(measured):
        return False
    return LEAST <= value.amount <= (UPRIGHT if isinstance(value, Angle) else MOST)


def usable(history: History, key: Key) -> list[Measured]:
    """The measures of a quantity that can be reckoned with, in order of time."""
    return [m for m in measures(history, *key) if is_usable(m)]


def known(history: History) -> Known:
    """All that was measured of the feet and can be reckoned with, in order of time.

    Gone through once, visit by visit: asking `measures` for every key would read a long history
    hundreds of times.
    """
    found: dict[Key, list[Measured]] = {}
    for visit in history.visits:
        of_limb: dict[str, list[Noted]] = {}
        for note in visit.notes:
            if note.entry.limb is not None and not note.doubtful:
                of_limb.setdefault(note.entry.limb, []).append(note)
        for limb, notes in of_limb.items():
            alone = History(history.horse, (DayVisit(visit.on, tuple(notes)),))
            for quantity, side in _said(notes):
                key = (quantity, limb, side)
                found.setdefault(key, []).extend(usable(alone, key))
    return found


def _said(notes: Sequence[Noted]) -> list[tuple[str, str | None]]:
    entries = (note.entry for note in notes)
    said = ((e.quantity, e.side) for e in entries if isinstance(e, Measurement))
    return [(quantity, side) for quantity, side in dict.fromkeys(said) if quantity is not None]


def together(measured: Known, keys: Sequence[Key]) -> list[Row]:
    """All days and stages at which all of these were measured, latest day first.

    A foot that was not touched that day is before and after the trim of its neighbour alike.
    """
    found = [{(m.on, m.stage): m for m in measured.get(key, ())} for key in keys]
    rows: list[Row] = []
    for day in sorted({on for on, _ in found[0]}, reverse=True):
        for stage in STAGES:
            exact = [each.get((day, stage)) for each in found]
            if not any(exact):
                continue
            if stage in (Stage.BEFORE, Stage.AFTER):
                either = zip(exact, found, strict=True)
                exact = [m or each.get((day, Stage.UNTOUCHED)) for m, each in either]
            row = tuple(m for m in exact if m is not None)
            if len(row) == len(keys):
                rows.append((day, stage, row))
    return rows


def latest(measured: Known, ways: Sequence[Sequence[Key]]) -> list[Row]:
    """The rows of the latest day on which one of several ways is open, one for each stage.

    Where several ways are open for a stage, the first counts.
    """
    rows = [row for keys in ways for row in together(measured, keys)]
    day = max((on for on, _, _ in rows), default=None)
    of_stage: dict[Stage, Row] = {}
    for row in rows:
        if row[0] == day:
            of_stage.setdefault(row[1], row)
    return [of_stage[stage] for stage in STAGES if stage in of_stage]


def questions(history: History, used: Sequence[Measured]) -> tuple[str, ...]:
    """What to ask about odd numbers among those used."""
    asked = (
        question(
            Measurement(quantity=m.quantity, value=m.value.to(m.unit), unit=m.unit),
            history.horse.kind,
        )
        for m in used
    )
    return tuple(dict.fromkeys(each for each in asked if each))


def last_unit(history: History, quantity_id: str) -> str:
    """The unit last said for a quantity; mm, degrees or kg where none was."""
    kind = kind_of(quantity_id)
    for visit in reversed(history.visits):
        for entry in reversed(visit.entries):
            if isinstance(entry, Measurement) and entry.quantity == quantity_id and entry.unit:
                try:
                    kind.of(0, entry.unit)
                except ValueError:
                    continue
                return entry.unit
    return {Length: "mm", Angle: "deg", Weight: "kg"}[kind]
