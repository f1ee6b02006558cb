"""Drawings of a foot from below and from the side, as SVG, with findings at their place.

Black, white and grey only. Each drawing tells all it shows in its <title> and <desc>.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from handsfree.records.units import Length
from handsfree.sheets import drawing_foot
from handsfree.sheets.drawing_marks import Row, below_drawing, circle, line
from handsfree.sheets.drawing_places import (
    LIMBS,
    ON_HORN,
    ONE_OF_TWO,
    SIDES,
    View,
    both_places,
    place_of,
    scaled_place,
    third_down,
    usable,
)
from handsfree.sheets.drawing_shoe import Shod
from handsfree.sheets.drawing_spread import Box, spread
from handsfree.sheets.drawing_svg import Point, picture, words
from handsfree.sheets.drawing_words import SheetLabels, owner_labels, vet_labels

__all__ = [
    "Mark",
    "SheetLabels",
    "Shod",
    "from_below",
    "from_side",
    "owner_labels",
    "place_of",
    "vet_labels",
]

HALF = 72.0
TEXT = 10.0


@dataclass(frozen=True)
class Mark:
    """One finding to show: its number on the sheet, its place, and its words.

    `below_hairline` is put to scale from the side where the foot's `toe_length` is known;
    `extent` is told in words only, as nobody said which way it runs.
    """

    number: int
    zone: str | None
    side: str | None
    label: str
    doubtful: bool = False
    below_hairline: Length | None = None
    extent: Length | None = None
    toe_length: Length | None = None


@dataclass(frozen=True)
class _Spot:
    """A mark with its place, or with the reason why it has none."""

    mark: Mark
    at: Point | None
    told: str
    ties: tuple[Point, ...] = ()


def from_below(
    limb: str,
    marks: Sequence[Mark],
    shoe: Shod | None,
    labels: SheetLabels,
    prefix: str = "below",
    listed: bool = True,
) -> str:
    """The foot (LF, RF, LH, RH) from below, toe up, as a complete <svg>.

    Marks with no place are listed under the drawing, unless `listed` is false because the page
    does it; the alternative text names them always. `shoe` None: nothing is drawn on the foot.
    Ids begin with `prefix`, which must differ between the drawings of a page. Raises ValueError
    for an unknown limb.
    """
    _known(limb)
    spots = [_spot_below(mark, limb, labels) for mark in marks]
    title = _sentence(labels.below.format(limb=labels.limb(limb)))
    box = (-HALF, -86.0, HALF, 84.0)
    sides = drawing_foot.side_words(limb, labels, TEXT, box)
    kept = [*sides.boxes, (-HALF, 70.0, -HALF + 20, 84.0)]
    body = drawing_foot.below(limb, shoe) + sides.drawn
    body += words(limb, (-HALF + 3, 80), 13, bold=True)
    return _finished(prefix, title, box, kept, body, spots, shoe, labels, listed)


def from_side(
    limb: str,
    side: str,
    marks: Sequence[Mark],
    shoe: Shod | None,
    labels: SheetLabels,
    prefix: str = "side",
    listed: bool = True,
) -> str:
    """The foot (LF, RF, LH, RH) from its lateral or medial side, as a complete <svg>.

    A mark below the hairline stands at its true share of the wall where the toe length is
    known; else a third down, and the words say that it is not to scale. Otherwise as
    from_below. Raises ValueError for an unknown limb or side.
    """
    _known(limb)
    if side not in SIDES:
        raise ValueError(f"{side!r} is no side (medial, lateral)")
    view: View = "medial" if side == "medial" else "lateral"
    spots = [_spot_beside(mark, limb, view, labels) for mark in marks]
    title = _sentence(labels.beside.format(limb=labels.limb(limb), side=labels.side(side)))
    box = (-HALF, -92.0, HALF, 72.0)
    name = drawing_foot.view_name(limb, view, labels, TEXT, box)
    body = drawing_foot.beside(limb, view, shoe) + name.drawn
    return _finished(prefix, title, box, name.boxes, body, spots, shoe, labels, listed)


def _known(limb: str) -> None:
    if limb not in LIMBS:
        raise ValueError(f"{limb!r} is no limb (LF, RF, LH, RH)")


def _spot_below(mark: Mark, limb: str, labels: SheetLabels) -> _Spot:
    at = place_of(mark.zone, mark.side, limb, "below")
    if at is None:
        return _Spot(mark, None, _why_not(mark, "below", labels))
    ties = both_places(mark.zone, mark.side, limb) or ()
    return _Spot(mark, at, _place(mark, labels), ties)


def _spot_beside(mark: Mark, limb: str, view: View, labels: SheetLabels) -> _Spot:
    at = place_of(mark.zone, mark.side, limb, view)
    if at is None:
        return _Spot(mark, None, _why_not(mark, view, labels))
    told, depth = _place(mark, labels), mark.below_hairline
    if depth is None:
        return _Spot(mark, at, told)
    scaled = None
    if mark.toe_length is not None:
        scaled = scaled_place(mark.zone, limb, view, depth, mark.toe_length)
    if scaled is None:
        if mark.zone in ON_HORN:
            at = third_down(mark.zone, limb, view)
        return _Spot(mark, at, f"{told}, {labels.not_to_scale}")
    at, fits = scaled
    return _Spot(mark, at, f"{told}, {labels.to_scale if fits else labels.past_ground}")


def _why_not(mark: Mark, view: View, labels: SheetLabels) -> str:
    """The reason in the reader's words, with the zone where there is one."""
    if mark.zone is None:
        return labels.no_zone
    other = {"lateral": "medial", "medial": "lateral"}.get(view)
    hidden = other is not None and mark.side == other
    seen = hidden and place_of(mark.zone, view, "LF", view) is not None
    return f"{_place(mark, labels)}, {labels.other_side if seen else labels.nowhere}"


def _place(mark: Mark, labels: SheetLabels) -> str:
    place = " ".join(part for part in (labels.side(mark.side), labels.zone(mark.zone)) if part)
    if mark.side is None and mark.zone in ONE_OF_TWO:
        place += f" ({labels.no_side})"
    return place


def _told(spot: _Spot, labels: SheetLabels) -> str:
    """A mark in words: number, what, where, how far, how sure."""
    mark = spot.mark
    parts = [mark.label.strip().rstrip("."), spot.told]
    for length, what in (
        (mark.below_hairline, labels.below_hairline),
        (mark.extent, labels.extent),
    ):
        if length is not None and usable(length):
            said = labels.length(length)
            parts += [f"{said} {what}"] if said not in mark.label else []
    if mark.doubtful:
        parts.append(labels.unsure)
    return f"{mark.number}: {'; '.join(part for part in parts if part)}."


def _finished(
    prefix: str,
    title: str,
    box: Box,
    kept: Sequence[Box],
    body: str,
    spots: Sequence[_Spot],
    shoe: Shod | None,
    labels: SheetLabels,
    listed: bool,
) -> str:
    """The drawing with its marks, its list and its alternative text."""
    left, top, right, bottom = box
    shown = [spot.at for spot in spots if spot.at is not None]
    places = iter(spread(shown, (left, top, right, bottom), kept))
    lines, circles, told = "", "", []
    unplaced: list[_Spot] = []
    for spot in spots:
        place = next(places) if spot.at else None
        if spot.at and place:
            lines += line(spot.at, place, spot.ties)
            circles += circle(spot.mark.number, spot.mark.doubtful, place)
        else:
            full = f", {labels.no_room}" if spot.at else ""
            spot = replace(spot, told=spot.told + full)
            unplaced.append(spot)
        told.append(_told(spot, labels))
    told = told or [f"{labels.bare}."]
    notes: list[str] = []
    if shoe is not None:
        fitted, notes = shoe.as_words(labels.medial, labels.lateral)
        told.append(f"{_sentence(fitted)}.")
        told += [f"{_sentence(note)}." for note in notes]
    rows = [_row(spot, labels) for spot in unplaced] if listed else []
    under, height = below_drawing(rows, notes if listed else [], box)
    whole = (left, top, right - left, bottom - top + height)
    return picture(prefix, title, " ".join(told), whole, body + lines + circles + under)


def _row(spot: _Spot, labels: SheetLabels) -> Row:
    unsure = f", {labels.unsure}" if spot.mark.doubtful else ""
    text = f"{spot.mark.label} ({spot.told}{unsure})"
    return Row(spot.mark.number, spot.mark.doubtful, text)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
