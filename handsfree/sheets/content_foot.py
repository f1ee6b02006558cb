"""One foot of a sheet, and what is of the horse as a whole."""

from collections.abc import Sequence
from dataclasses import replace

from handsfree.records.entries import (
    OF_THE_HORSE,
    Finding,
    Measurement,
    Nails,
    Plan,
    Remark,
    Shoe,
    Work,
    is_absent,
)
from handsfree.records.limbs import LIMBS
from handsfree.records.units import Length
from handsfree.sheets.content_notes import is_confirmed, item, rows
from handsfree.sheets.content_parts import FootPart, HorsePart, Item
from handsfree.sheets.content_words import Voice
from handsfree.sheets.drawing import Mark, Shod, place_of
from handsfree.sheets.drawing_places import View
from handsfree.sums import weight
from handsfree.sums.history import DayVisit, History, Noted, Stage, measures
from handsfree.sums.nailed import FootDay
from handsfree.sums.series import MeasureTrack
from handsfree.sums.sources import CantSay

SHOD_BY = frozenset({"new_shoe", "shoe_reset"})
BARE_BY = frozenset({"barefoot", "shoe_pulled"})
ON_THE_WALL = frozenset({"toe", "quarter", "heel", "wall", "coronary_band", "clip"}) | {
    "bulb",
    "pastern",
}
"""Zones that a side view shows better than the view from below."""


def foot(
    history: History,
    visit: DayVisit,
    limb: str,
    tracks: Sequence[MeasureTrack],
    nails: FootDay | None,
    voice: Voice,
    unit: str | None,
    with_remarks: bool,
) -> FootPart:
    """All that was noted of a foot on the day of `visit`, which is in `history`."""
    notes = [note for note in visit.notes if note.entry.limb == limb]
    groups = _grouped(notes)
    found, marks = _found(groups["found"], limb, voice, _toe(history, visit, limb))
    part = FootPart(
        limb=limb,
        name=voice.heading(limb),
        found=found,
        measures=rows(history, visit, limb, tracks, voice, unit),
        marks=marks,
        shod=_shod([n for n in notes if not n.doubtful], nails),
        sides=_sides(marks),
    )
    return replace(
        part,
        absent=tuple(item(note, voice) for note in groups["absent"]),
        done=tuple(item(note, voice) for note in groups["done"]),
        fitted=tuple(item(note, voice) for note in groups["fitted"]),
        planned=tuple(item(note, voice) for note in groups["planned"]),
        remarks=tuple(item(note, voice) for note in groups["remarks"] if with_remarks),
    )


def whole(
    history: History,
    visit: DayVisit,
    tracks: Sequence[MeasureTrack],
    voice: Voice,
    unit: str | None,
    with_remarks: bool,
) -> HorsePart:
    """What was noted of the horse, or of no foot that was named."""
    notes = [note for note in visit.notes if note.entry.limb not in LIMBS]
    groups = _grouped(notes)
    planned = [n for n in groups["planned"] if n.doubtful]
    return HorsePart(
        found=tuple(item(note, voice) for note in (*groups["found"], *planned)),
        absent=tuple(item(note, voice) for note in groups["absent"]),
        measures=rows(history, visit, None, tracks, voice, unit),
        done=tuple(item(note, voice) for note in (*groups["done"], *groups["fitted"])),
        remarks=tuple(item(note, voice) for note in groups["remarks"] if with_remarks),
        weight=_weight(history, visit, voice),
    )


def _grouped(notes: Sequence[Noted]) -> dict[str, list[Noted]]:
    groups: dict[str, list[Noted]] = {
        name: [] for name in ("found", "absent", "done", "fitted", "planned", "remarks")
    }
    for note in notes:
        match note.entry:
            case Finding():
                groups["absent" if is_absent(note.entry) else "found"].append(note)
            case Measurement():
                # What is sure of these is in the table of measures.
                groups["found"] += [note] if note.doubtful else []
            case Nails(action="driven") | Shoe():
                groups["fitted"].append(note)
            case Nails() | Work():
                groups["done"].append(note)
            case Plan():
                groups["planned"].append(note)
            case Remark():
                groups["remarks"].append(note)
    return groups


def _toe(history: History, visit: DayVisit, limb: str) -> Length | None:
    """The toe length to put marks to scale by: as the foot was found."""
    said = [m for m in measures(history, "toe_length", limb) if m.on == visit.on]
    first = [m.value for m in said if m.stage is not Stage.AFTER] or [m.value for m in said]
    return first[0] if first and isinstance(first[0], Length) else None


def _found(
    notes: Sequence[Noted], limb: str, voice: Voice, toe: Length | None
) -> tuple[tuple[Item, ...], tuple[Mark, ...]]:
    """The findings, those with a place on a drawing numbered, and their marks."""
    items: list[Item] = []
    marks: list[Mark] = []
    for note in notes:
        entry = note.entry
        if not isinstance(entry, Finding) or not _has_place(entry, limb):
            items.append(item(note, voice))
            continue
        number = len(marks) + 1
        items.append(item(note, voice, number))
        marks.append(
            Mark(
                number=number,
                zone=entry.zone,
                side=entry.side,
                label=items[-1].text,
                doubtful=not is_confirmed(note),
                below_hairline=_length(entry.below_hairline_mm),
                extent=_length(entry.extent_mm),
                toe_length=toe,
            )
        )
    return tuple(items), tuple(marks)


def _length(mm: float | None) -> Length | None:
    return None if mm is None else Length(mm)


def _has_place(entry: Finding, limb: str) -> bool:
    """Whether a drawing has a place for it; "clear" and the wear of a shoe are no marks."""
    if entry.term in ("clear", "wear"):
        return False
    views: tuple[View, ...] = ("below", "medial", "lateral")
    return any(place_of(entry.zone, entry.side, limb, view) is not None for view in views)


def _sides(marks: Sequence[Mark]) -> tuple[str, ...]:
    """The side views: the one from outside always, from inside where a mark is there."""
    on_wall = [m for m in marks if m.zone in ON_THE_WALL or m.below_hairline is not None]
    wanted = {"lateral", *(mark.side for mark in on_wall)}
    return tuple(side for side in ("lateral", "medial") if side in wanted)


def _shod(notes: Sequence[Noted], nails: FootDay | None) -> Shod | None:
    """The shoe as the day left it; None where none was put on or spoken of."""
    entries = [note.entry for note in notes]
    shoes = [entry for entry in entries if isinstance(entry, Shoe)]
    worked = [entry.action for entry in entries if isinstance(entry, Work)]
    last = next((a for a in reversed(worked) if a in SHOD_BY | BARE_BY), None)
    driven = any(isinstance(entry, Nails) and entry.action == "driven" for entry in entries)
    if last in BARE_BY or not (last in SHOD_BY or driven or shoes):
        return None
    return Shod(
        nails_inside=nails.inside if nails else None,
        nails_outside=nails.outside if nails else None,
        nails=nails.after if nails else None,
        bar_shoe=any(shoe.item == "bar_shoe" for shoe in shoes),
        pads=any(shoe.item == "pads" for shoe in shoes),
        clips=tuple(shoe.detail or "" for shoe in shoes if shoe.item == "clips"),
    )


def _weight(history: History, visit: DayVisit, voice: Voice) -> tuple[str, ...]:
    """The weight by tape, with its source, where the tape or the scale was used that day."""
    used = [e for e in visit.entries if isinstance(e, Measurement) and e.quantity in OF_THE_HORSE]
    if not any(entry.quantity == "heart_girth" for entry in used):
        return ()
    found = weight.estimates(history)
    if isinstance(found, CantSay):
        return ()
    told = weight.lines(replace(found[0], questions=()), voice)
    return (f"by the tape: {told[0]}", *told[1:])
