"""What was noted on the day, as items and rows in the words of the audience."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date

from handsfree.records.entries import Measurement
from handsfree.records.units import Length, Quantity
from handsfree.sheets.content_parts import Item, MeasureRow
from handsfree.sheets.content_words import Voice, exact
from handsfree.sheets.files import printable
from handsfree.sums.change import signed
from handsfree.sums.history import DayVisit, History, Measured, Noted, Stage, measures, typed
from handsfree.sums.series import MeasureTrack, is_one
from handsfree.sums.wording import DECIMALS


def is_confirmed(note: Noted) -> bool:
    """Whether a person has confirmed it."""
    return note.status == "confirmed" and not note.doubtful


def kept(history: History, include_doubtful: bool) -> History:
    """The history of what is confirmed; of all that counts, if wanted."""
    if include_doubtful:
        return history
    visits = (
        replace(visit, notes=tuple(note for note in visit.notes if is_confirmed(note)))
        for visit in history.visits
    )
    return replace(history, visits=tuple(visits))


def sureness(note: Noted, voice: Voice) -> str:
    """How sure a note is, in words; for the owner only that it is not confirmed."""
    if is_confirmed(note):
        if voice.plain_words:
            return ""
        who = {"voice": " by voice", "review": " at the review"}.get(note.by or "", "")
        said = f"confirmed{who}"
    else:
        said = "not confirmed"
        if voice.plain_words:
            return said
        said += ", doubtful" if note.doubtful else ""
    if note.confidence is None or not 0 <= note.confidence <= 1:
        return said
    return f"{said}; confidence {voice.number(note.confidence, 2)}"


def item(note: Noted, voice: Voice, number: int | None = None) -> Item:
    """A note as an item."""
    return Item(
        kind=note.entry.kind,
        text=printable(voice.entry(note.entry)),
        number=number,
        terms=voice.terms(note.entry),
        confirmed=is_confirmed(note),
        sureness=sureness(note, voice),
        heard="" if voice.plain_words else printable(note.heard or ""),
    )


def rows(
    history: History,
    visit: DayVisit,
    limb: str | None,
    tracks: Sequence[MeasureTrack],
    voice: Voice,
    unit: str | None,
) -> tuple[MeasureRow, ...]:
    """The surely heard measures of one foot (of the horse where None) on the day.

    `tracks` of the history until that day; `unit` for lengths, else the one said last.
    """
    named = dict.fromkeys(
        (entry.quantity, entry.side)
        for entry in visit.entries
        if isinstance(entry, Measurement) and entry.limb == limb and entry.quantity is not None
    )
    found = (
        _row(history, visit, (quantity, limb, side), tracks, voice, unit)
        for quantity, side in named
        if quantity is not None
    )
    return tuple(row for row in found if row is not None)


def _row(
    history: History,
    visit: DayVisit,
    about: tuple[str, str | None, str | None],
    tracks: Sequence[MeasureTrack],
    voice: Voice,
    wanted: str | None,
) -> MeasureRow | None:
    quantity, limb, side = about
    of_day = [m for m in measures(history, *about) if m.on == visit.on]
    good = [m for m in of_day if is_one(m)]
    odd = [m for m in of_day if m not in good]
    if not of_day:
        return None
    name = " ".join(p for p in (voice.word("side", side), voice.quantity(quantity, limb)) if p)
    mine = [t for t in tracks if (t.quantity, t.limb, t.side) == about]
    unit = unit_of(mine[0].unit if mine else of_day[-1].unit, of_day[-1].value, wanted)
    row = MeasureRow(
        name=name[:1].upper() + name[1:],
        term=f"quantity-{quantity}",
        odd=", ".join(exact(m.value, m.unit) for m in odd),
        confirmed=_all_confirmed(visit, about),
    )
    for measured in good:
        text = in_unit(measured, unit, voice)
        if measured.stage is Stage.BEFORE:
            row = replace(row, before=text)
        elif measured.stage is Stage.AFTER:
            row = replace(row, after=text)
        else:
            why = "" if limb is None else measured.stage.value
            row = replace(row, only=text, only_why=why)
    return replace(row, earlier=_earlier(mine, visit.on, unit, voice),
                   change=_change(mine, visit.on, unit, voice))  # fmt: skip


def unit_of(said: str, value: Quantity, wanted: str | None) -> str:
    """The unit to show: the one wanted, where it is one of lengths and this is a length."""
    return wanted if wanted is not None and isinstance(value, Length) else said


def in_unit(measured: Measured, unit: str, voice: Voice) -> str:
    """With every digit where it was said in this unit, else as exactly as anybody measures."""
    if measured.unit == unit:
        return exact(measured.value, unit)
    return voice.measure(measured.value, unit)


def _all_confirmed(visit: DayVisit, about: tuple[str, str | None, str | None]) -> bool:
    return all(
        is_confirmed(note)
        for note in visit.notes
        if isinstance(note.entry, Measurement)
        and (note.entry.quantity, note.entry.limb, note.entry.side) == about
        and typed(note.entry) is not None
    )


def _named(stage: Stage) -> str:
    return "" if stage in (Stage.UNTOUCHED, Stage.UNSAID) else f" {stage.value}"


def _earlier(tracks: Iterable[MeasureTrack], day: date, unit: str, voice: Voice) -> str:
    """The measures of the last day before this one on which there were any."""
    points = [m for track in tracks for m in track.points if m.on < day]
    if not points:
        return ""
    last = max(m.on for m in points)
    of_last: Iterable[Measured] = dict.fromkeys(m for m in points if m.on == last)
    told = ", ".join(f"{in_unit(m, unit, voice)}{_named(m.stage)}" for m in of_last)
    return f"{told} ({voice.day(last)})"


def _change(tracks: Sequence[MeasureTrack], day: date, unit: str, voice: Voice) -> str:
    """How much each measure of the day is since the one before it of the same stage.

    Where that was not taken at the time before, its day is told too.
    """
    told = []
    before = max((m.on for track in tracks for m in track.points if m.on < day), default=None)
    for track in tracks:
        change = track.last_change
        if change is not None and track.points[-1].on == day:
            both_said_so = all(point.unit == unit for point in track.points[-2:])
            by = signed(change.by, unit, voice, DECIMALS[unit] + both_said_so)
            since = track.points[-2].on
            when = "" if since == before else f" (since {voice.day(since)})"
            told.append(f"{by}{_named(track.stage)}{when}")
    return ", ".join(told)
