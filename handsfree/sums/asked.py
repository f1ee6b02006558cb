"""Questions asked aloud under the horse, answered from earlier visits and this one."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from handsfree.grammar.grammar import Grammar
from handsfree.records.commands import Command
from handsfree.records.entries import Measurement
from handsfree.sums import balance_lines, interval, mark_lines, marks, weight
from handsfree.sums.balance import checks, missing
from handsfree.sums.brief import Section, brief
from handsfree.sums.history import DayVisit, History, Noted, typed
from handsfree.sums.sources import CantSay
from handsfree.sums.wording import ForEar

LINES_ALOUD = 3
"""Lines of a section of the brief that are spoken: more is forgotten while it is heard."""

Question = Literal[
    Command.BRIEF,
    Command.PREVIOUS_VISIT,
    Command.DATE_MARK,
    Command.BALANCE,
    Command.WEIGHT,
    Command.DATE_VISIT,
]
"""The commands that ask."""

NO_LIMB = ("no limb is named",)


@dataclass(frozen=True)
class Past:
    """A horse's earlier visits, and the day of this one."""

    history: History
    today: date


def answer(
    question: Question, past: Past, notes: Sequence[Noted], limb: str | None, grammar: Grammar
) -> tuple[str, ...]:
    """Phrases to be spoken. `notes` are those of this visit, `limb` is in force (or None)."""
    ear = ForEar(grammar, past.today)
    now = past.history.plus(past.today, notes) if notes else past.history
    match question:
        case Command.BRIEF:
            return aloud(brief(past.history, grammar, past.today, ear))
        case Command.PREVIOUS_VISIT:
            return _previous(past, notes, limb, ear)
        case Command.DATE_MARK:
            return _mark(now, past.today, limb, ear)
        case Command.BALANCE:
            return _balance(now, limb, ear)
        case Command.WEIGHT:
            return _weight(now, ear)
        case Command.DATE_VISIT:
            return _next_visit(now, past.today, ear)


def aloud(sections: Sequence[Section]) -> tuple[str, ...]:
    """A brief as phrases for the ear: of each section its title and first lines."""
    said: list[str] = []
    for section in sections:
        left_out = len(section.lines) - LINES_ALOUD
        said += [section.title, *section.lines[:LINES_ALOUD]]
        said += ["and more on the screen"] if left_out > 0 else []
    return tuple(said) or ("nothing is known of this horse yet",)


def _mark(history: History, today: date, limb: str | None, ear: ForEar) -> tuple[str, ...]:
    """When the mark of this limb that was seen last was made, and when it will be out."""
    if limb is None:
        return NO_LIMB
    found = sorted(marks.dated(history, today, limb), key=lambda mark: mark.seen_on)
    if not found:
        cannot = sorted(marks.undated(history, today, limb), key=lambda one: one.on)
        why = str(cannot[-1].why) if cannot else "no mark below the hairline is noted"
        return (ear.limb(limb), ear.plain(why))
    mark = found[-1]
    return (
        mark_lines.title(mark, ear),
        *mark_lines.dates(mark, ear)[:1],
        ear.plain(str(mark.rate.source)),
        *mark_lines.forward_lines(mark.forward, today, ear)[:1],
    )


def _balance(history: History, limb: str | None, ear: ForEar) -> tuple[str, ...]:
    """What is beyond a guideline as the foot was left; what is missing where nothing is."""
    if limb is None:
        return NO_LIMB
    found = {(check.id, check.limbs): check for check in checks(history, limb)}.values()
    if not found:
        lacking = [ear.plain(str(each)) for each in missing(history, limb)]
        return (ear.limb(limb), *lacking[:1])
    beyond = [check for check in found if check.beyond]
    if not beyond:
        day = ear.day(max(check.on for check in found))
        return (ear.limb(limb), f"nothing measured is beyond a guideline, last measured {day}")
    return tuple(line for check in beyond for line in balance_lines.lines(check, ear)[:2])


def _weight(history: History, ear: ForEar) -> tuple[str, ...]:
    """By the formula chosen for this horse, with what speaks against it."""
    found = weight.estimates(history)
    if isinstance(found, CantSay):
        return (ear.plain(str(found)),)
    return tuple(weight.lines(found[0], ear))


def _next_visit(history: History, today: date, ear: ForEar) -> tuple[str, ...]:
    found = interval.window(history, today)
    if isinstance(found, CantSay):
        return (ear.plain(str(found)),)
    return tuple(interval.lines(found, today, ear)[:3])


def _previous(past: Past, notes: Sequence[Noted], limb: str | None, ear: ForEar) -> tuple[str, ...]:
    """What the latest earlier visit with a word about this limb noted, and what is different."""
    if limb is None:
        return NO_LIMB
    for visit in reversed(past.history.visits):
        theirs = [n for n in visit.notes if n.entry.limb == limb]
        if theirs and visit.on <= past.today:
            said = (f"{'perhaps ' * n.doubtful}{ear.entry(n.entry)}" for n in theirs)
            return (ear.limb(limb), ear.day(visit.on), *said, *_changes(visit, notes, limb, ear))
    return (ear.limb(limb), "nothing noted before")


def _changes(visit: DayVisit, notes: Sequence[Noted], limb: str, ear: ForEar) -> list[str]:
    """How the measures of today differ from those of that visit, where both were said."""
    before = {
        (e.quantity, e.side): typed(e)
        for e in visit.entries
        if isinstance(e, Measurement) and e.limb == limb
    }
    said: list[str] = []
    for note in notes:
        now = note.entry
        if not isinstance(now, Measurement) or now.limb != limb or note.doubtful:
            continue
        new, then = typed(now), before.get((now.quantity, now.side))
        if new is None or then is None or type(new[0]) is not type(then[0]):
            continue
        names = ear.word("side", now.side), ear.word("quantity", now.quantity)
        more = new[0].amount - then[0].amount
        difference = ear.measure(type(new[0])(abs(more)), new[1])
        how = "the same" if not more else f"{difference} {'more' if more > 0 else 'less'}"
        said.append(" ".join(part for part in (*names, how, "now") if part))
    return said
