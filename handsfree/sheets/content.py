"""The content of a sheet about one visit, for the owner or for the vet, as plain data.

Nothing here lays anything out (page.py and pdf.py do) and nothing diagnoses.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date

from handsfree import __version__
from handsfree.grammar.grammar import Grammar
from handsfree.records.checking import BY_THIS_VERSION
from handsfree.records.entries import Remark
from handsfree.records.limbs import LIMBS
from handsfree.sheets import content_foot, content_reckoned, content_since, content_summary
from handsfree.sheets.content_notes import is_confirmed, kept, sureness
from handsfree.sheets.content_parts import (
    Audience,
    CautionPart,
    Change,
    Definition,
    FootPart,
    Heard,
    HorsePart,
    Item,
    MeasureRow,
    NextVisit,
    Reckoned,
    Sheet,
    Trend,
)
from handsfree.sheets.content_words import Voice
from handsfree.sheets.files import printable
from handsfree.sums import plans
from handsfree.sums.history import DayVisit, History, HorseFacts, Noted
from handsfree.sums.nailed import ledger
from handsfree.sums.series import measure_tracks
from handsfree.sums.sources import CantSay
from handsfree.sums.wording import count
from handsfree.visit import cautions

__all__ = [
    "Audience",
    "CautionPart",
    "Change",
    "Definition",
    "FootPart",
    "Heard",
    "HorsePart",
    "Item",
    "MeasureRow",
    "NextVisit",
    "Reckoned",
    "Sheet",
    "Trend",
    "sheet",
]

DISCLAIMER = (
    "These are the notes a farrier took at his work. This is not a veterinary examination, and "
    "nothing here is a diagnosis."
)


def sheet(
    history: History,
    visit_day: date,
    audience: Audience,
    grammar: Grammar,
    today: date,
    include_doubtful: bool = False,
    unit: str | None = None,
    with_remarks: bool = False,
    listeners: Mapping[str, str] | None = None,
) -> Sheet | CantSay:
    """The sheet of a horse's visit on a day; CantSay where there was none.

    Only what is confirmed counts, of this visit and of earlier ones, unless `include_doubtful`;
    then the rest is there too, each named as not confirmed. Later visits do not count. `unit`
    (mm, cm, in) for lengths; else the one last said for each quantity. Remarks are free words
    and maybe private, so they are there only `with_remarks`. `today` is the day it is made.
    `listeners`: of a note's id, who heard it ("heard by pocketsphinx and neural"), for the vet.
    """
    known = history.until(visit_day)
    if known.last is None or known.last.on != visit_day:
        return CantSay(f"there was no visit on {visit_day.isoformat()}")
    said = known.last
    history = kept(known, include_doubtful)
    visit = history.visits[-1]
    left_out = [note for note in said.notes if note not in visit.notes]
    tracks = measure_tracks(history)
    of_toe = [t for t in tracks if t.quantity == "toe_length"]
    said_in = of_toe[-1].unit if of_toe else "mm"
    voice = Voice(grammar, audience, unit or said_in, strict=unit is not None)
    nails = {limb: each[-1] for limb, each in ledger(history).items() if each[-1].on == visit_day}
    feet = tuple(
        replace(
            content_foot.foot(
                history, visit, limb, tracks, nails.get(limb), voice, unit, with_remarks
            ),
            left_out=_left_out(limb, left_out, () if with_remarks else visit.notes, voice),
        )
        for limb in LIMBS
    )
    whole = replace(
        content_foot.whole(history, visit, tracks, voice, unit, with_remarks),
        left_out=_left_out(None, left_out, () if with_remarks else visit.notes, voice),
    )
    due = content_since.next_visit(history, visit_day, today, voice)
    open_plans = plans.still_open(history, grammar)
    watched = [fate for fate in open_plans if fate.plan.action in content_summary.TO_WATCH]
    previous = known.visits[-2].on if len(known.visits) > 1 else None
    name = printable(history.horse.name)
    when = f"visit of {voice.day(visit_day)}"
    who = "owner" if audience is Audience.OWNER else "vet"
    remarks = sum(isinstance(note.entry, Remark) for note in visit.notes)
    made = Sheet(
        audience=audience,
        title=f"{name}: {when}",
        name=name,
        when=when,
        subtitle=f"farrier's notes for the {who}",
        horse=history.horse,
        on=visit_day,
        previous=previous,
        made_on=today,
        made_by=(
            "Spoken at work by the farrier, written down by handsfree "
            f"{__version__}; sheet made on {voice.day(today)}."
        ),
        labels=voice.labels,
        facts=tuple(_facts(history.horse, previous, voice)),
        summary=(),
        cautions=(*_cautions(said, voice), *content_reckoned.missing_nails(known, history, voice)),
        feet=feet,
        whole=whole,
        changes=content_since.changes(history, visit_day, voice),
        plans=tuple(content_summary.plan(f, voice) for f in open_plans if f not in watched),
        watch=tuple(content_summary.plan(f, voice) for f in watched),
        next_visit=due if isinstance(due, NextVisit) else None,
        next_unknown="" if isinstance(due, NextVisit) else due,
        trends=content_since.trends(tracks, visit_day, voice, unit),
        glossary=(),
        heard=()
        if voice.plain_words
        else tuple(_heard(visit, with_remarks, voice, listeners or {})),
        balance=() if voice.plain_words else content_reckoned.balance_checks(known, voice, unit),
        mark_dates=() if voice.plain_words else content_reckoned.mark_dates(known, voice, unit),
        notes=tuple(_notes(visit, left_out, voice)),
        disclaimer=DISCLAIMER,
        left_out=len(left_out),
        remarks_left_out=0 if with_remarks else remarks,
    )
    made = replace(made, summary=tuple(content_summary.summary(made, visit, voice)))
    return replace(made, glossary=tuple(_glossary(made, voice)))


def _facts(horse: HorseFacts, previous: date | None, voice: Voice) -> Iterator[tuple[str, str]]:
    kind = {"heavy": "heavy horse", "riding": "riding horse"}.get(horse.kind or "", horse.kind)
    if said := ", ".join(printable(part) for part in (horse.breed, kind) if part):
        yield "Kind", said
    if horse.born is not None:
        born = voice.day(horse.born) if horse.born_exactly else str(horse.born.year)
        yield "Born", born
    yield "Visit before", voice.day(previous) if previous else "none in the log"


def _cautions(said: DayVisit, voice: Voice) -> Iterator[CautionPart]:
    """The cautions of what is confirmed, then those that follow only from what is not yet.

    Nobody has looked the second kind over, and the horse may be hurt all the same.
    """
    told: set[tuple[str, str | None]] = set()
    for notes in ([note for note in said.notes if is_confirmed(note)], said.notes):
        for caution in cautions.due([note.entry for note in notes]):
            if (caution.id, caution.limb) in told:
                continue
            told.add((caution.id, caution.limb))
            yield CautionPart(
                orders=caution.orders_later,
                limb=caution.limb,
                where=voice.heading(caution.limb) if caution.limb else "",
                noted=printable(voice.entry(notes[caution.entry_index].entry)),
                shown=caution.shown,
                source=caution.source,
                confirmed=notes is not said.notes,
            )


def _left_out(
    limb: str | None, unsure: Sequence[Noted], hidden: Sequence[Noted], voice: Voice
) -> str:
    """How much of a foot (None: of the horse, or of no foot named) is not on the sheet.

    `unsure` are the notes that are not confirmed, `hidden` those whose remarks stay private.
    """

    def of(notes: Sequence[Noted]) -> list[Noted]:
        return [n for n in notes if (n.entry.limb if n.entry.limb in LIMBS else None) == limb]

    told = []
    if notes := len(of(unsure)):
        verb = "are" if notes != 1 else "is"
        told.append(f"{count(voice, notes, 'note')} {verb} not confirmed yet and {verb} left out.")
    if remarks := sum(isinstance(note.entry, Remark) for note in of(hidden)):
        told.append(
            f"{count(voice, remarks, 'remark')} {'are' if remarks != 1 else 'is'} left out."
        )
    return " ".join(told)


def _notes(visit: DayVisit, left_out: Sequence[Noted], voice: Voice) -> Iterator[str]:
    if left_out:
        several = len(left_out) != 1
        yield (
            f"{count(voice, len(left_out), 'note')} of this visit {'are' if several else 'is'} "
            f"not confirmed by the farrier yet and {'are' if several else 'is'} left out."
        )
    if visit.unreadable:
        yield f"{count(voice, visit.unreadable, 'note')} of this visit {BY_THIS_VERSION}."
    unsure = sum(not is_confirmed(note) for note in visit.notes)
    if unsure:
        yield (
            f"{count(voice, unsure, 'note')} on this sheet {'are' if unsure != 1 else 'is'} as "
            "heard and not confirmed by the farrier; each is marked \u201cnot confirmed\u201d."
        )


def _heard(
    visit: DayVisit, with_remarks: bool, voice: Voice, listeners: Mapping[str, str]
) -> Iterator[Heard]:
    """Everything in the order it was said; what one utterance became stands together."""
    last: Heard | None = None
    for note in visit.notes:
        if isinstance(note.entry, Remark) and not with_remarks:
            continue
        made = Heard(
            where=voice.limb(note.entry.limb) if note.entry.limb else "horse",
            heard=printable(note.heard or ""),
            noted=(printable(voice.entry(note.entry)),),
            sureness="; ".join(
                part for part in (listeners.get(note.id or ""), sureness(note, voice)) if part
            ),
            confirmed=is_confirmed(note),
        )
        if last and replace(last, noted=()) == replace(made, noted=()):
            last = replace(last, noted=(*last.noted, *made.noted))
            continue
        if last:
            yield last
        last = made
    if last:
        yield last


def _glossary(made: Sheet, voice: Voice) -> Iterable[Definition]:
    """The trade words of the sheet, each once, in alphabetical order."""
    whole = made.whole
    items = [*whole.found, *whole.absent, *whole.done]
    rows = list(whole.measures)
    for foot in made.feet:
        items += [*foot.found, *foot.absent, *foot.done, *foot.fitted, *foot.planned]
        rows += foot.measures
    ids = {term for each in items for term in each.terms} | {row.term for row in rows}
    explained = (voice.definition(id) for id in sorted(ids) if voice.explains(id))
    found = {(each.word, each.meaning): each for each in explained}
    return sorted(found.values(), key=lambda each: each.word.casefold())
