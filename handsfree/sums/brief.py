"""Before the next visit: what he would want to remember, on one screen or aloud."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta

from handsfree.grammar.grammar import Grammar
from handsfree.records.checking import BY_THIS_VERSION
from handsfree.records.entries import Entry, Nails, Shoe, Work
from handsfree.records.limbs import LIMBS
from handsfree.sums import (
    balance_lines,
    change,
    interval,
    ledger,
    mark_lines,
    marks,
    plans,
    temper,
    wear,
)
from handsfree.sums.balance import checks
from handsfree.sums.history import DayVisit, History, Stage, measures
from handsfree.sums.nailed import in_shoes, missing, place
from handsfree.sums.seen import FindingTrack, finding_tracks
from handsfree.sums.sources import CantSay
from handsfree.sums.standing import State
from handsfree.sums.wording import Words, count
from handsfree.visit import cautions
from handsfree.visit.plausible import question

CAUTIONS_OF = timedelta(days=365)
"""How long a caution of an earlier visit is told again (common practice, no source)."""

LOOK_WITHIN = timedelta(days=365)
"""How long before the latest visit a finding may have been seen to be still worth a look (common
practice, no source)."""

MOST_PASSED_OVER = 2
"""After so many visits that do not mention it a finding is no longer told, unless it was severe
(common practice, no source)."""

DONE_NAILS = frozenset({"driven"})


@dataclass(frozen=True)
class Section:
    """One heading and its lines, the most important first."""

    title: str
    lines: tuple[str, ...]


def brief(history: History, grammar: Grammar, today: date, words: Words) -> list[Section]:
    """What is known of a horse that matters at the next visit, without empty sections.

    `history` may hold today's visit as well. Nothing in it is a diagnosis.
    """
    parts: tuple[tuple[str, Callable[[], Iterable[str]]], ...] = (
        ("Mind", lambda: _mind(history, today, words)),
        ("Due", lambda: _due(history, today, words)),
        ("Last time", lambda: _last(history, words)),
        ("Look at", lambda: _look(history, today, words)),
        ("Plans", lambda: _plans(history, grammar, words)),
        ("Bring", lambda: _bring(history, words)),
        ("Ask", lambda: _ask(history, words)),
    )
    sections = [Section(title, tuple(dict.fromkeys(lines()))) for title, lines in parts]
    return [section for section in sections if section.lines]


def _mind(history: History, today: date, words: Words) -> Iterable[str]:
    """Warnings of the horse itself, then the cautions of the last year, latest first."""
    for on, remark in temper.warnings(history):
        yield f"{words.day(on)}, you said: {words.plain(remark.text)}"
    told: set[tuple[str, str | None]] = set()
    for visit in reversed(history.visits):
        if today - visit.on > CAUTIONS_OF:
            break
        entries = [note.entry for note in visit.notes]
        for caution in cautions.due(entries):
            if (caution.id, caution.limb) not in told:
                told.add((caution.id, caution.limb))
                note = visit.notes[caution.entry_index]
                perhaps = "perhaps " if note.doubtful else ""
                limb = f"{words.limb(caution.limb)} " if caution.limb else ""
                told_of = f"{limb}{perhaps}{words.entry(note.entry)} ({words.day(visit.on)})"
                yield (
                    f"{caution.spoken[0]} {told_of}: it was one for the vet; ask what came of it"
                    if caution.urgent
                    else f"{told_of}: ask what came of it"
                )


def _due(history: History, today: date, words: Words) -> Iterable[str]:
    window = interval.window(history, today)
    if isinstance(window, CantSay):
        return
    yield (
        f"{interval.state_text(interval.state(window, today), words)}: "
        f"{words.day(window.earliest)} to {words.day(window.latest)}, "
        f"best {words.day(window.best)}; last visit {change.ago(window.last, today, words)}"
    )


def _last(history: History, words: Words) -> Iterable[str]:
    """What was done at the latest visit at which anything was, feet alike told together."""
    for visit in reversed(history.visits):
        done = _done(visit)
        if done:
            yield from _by_feet(done, visit, words)
            return


def _done(visit: DayVisit) -> dict[str, list[Entry]]:
    """Limb → work, shoe and nails driven, in the order said."""
    done: dict[str, list[Entry]] = {}
    for entry in visit.entries:
        of_shoeing = isinstance(entry, Work | Shoe) or (
            isinstance(entry, Nails) and entry.action in DONE_NAILS
        )
        if of_shoeing and entry.limb is not None:
            done.setdefault(entry.limb, []).append(entry)
    return done


def _by_feet(done: dict[str, list[Entry]], visit: DayVisit, words: Words) -> Iterable[str]:
    alike: dict[tuple[Entry, ...], list[str]] = {}
    for limb in sorted(done, key=place):
        same = tuple(dict.fromkeys(replace(entry, limb=None) for entry in done[limb]))
        alike.setdefault(same, []).append(limb)
    first = f"{words.day(visit.on)}, "
    for entries, limbs in alike.items():
        feet = "all feet" if len(limbs) == len(LIMBS) else " ".join(words.limb(x) for x in limbs)
        yield f"{first}{feet}: {', '.join(words.entry(entry) for entry in entries)}"
        first = ""


_FIRST = (State.WORSE, State.NEW)
_THEN = (State.UNKNOWN, State.SAME, State.BETTER)


def _look(history: History, today: date, words: Words) -> Iterable[str]:
    """What got worse or is new, what is off balance, marks, wear, then what else was seen."""
    if history.last is None:
        return
    seen_last = history.last.on
    tracks = [t for t in finding_tracks(history) if _worth_a_look(t, seen_last)]
    tracks.sort(key=lambda track: -track.last.on.toordinal())
    dated = [m for m in marks.dated(history, today) if _still_there(m, today)]
    told_as_marks = {(m.limb, m.term, m.zone) for m in dated}
    tracks = [t for t in tracks if (t.limb, t.term, t.zone) not in told_as_marks]
    yield from _of(tracks, _FIRST, today, words)
    for check in checks(history):
        if check.beyond and check.stage is not Stage.BEFORE:
            whose = words.plain(str(check.source))
            yield f"{balance_lines.lines(check, words)[0]}; beyond a guideline: {whose}"
    for mark in dated:
        if isinstance(mark.range, CantSay):
            ahead = mark_lines.dates(mark, words)
        else:
            ahead = mark_lines.forward_lines(mark.forward, today, words)[:1]
        yield "; ".join((mark_lines.title(mark, words), *ahead))
    for each in wear.wear(history):
        if len(each.seen) > 1 and seen_last - each.seen[-1] <= LOOK_WITHIN:
            yield wear.headline(each, words)
    yield from _of(tracks, _THEN, today, words)


def _of(
    tracks: Iterable[FindingTrack], states: tuple[State, ...], today: date, words: Words
) -> Iterable[str]:
    for state in states:
        for track in tracks:
            if track.state is state:
                yield change.headline(track, today, words)


def _worth_a_look(track: FindingTrack, seen_last: date) -> bool:
    """A finding of a foot that is not gone, and was not passed over again and again."""
    passed_over = len(track.since_last) > MOST_PASSED_OVER and track.last.grade != "severe"
    of_foot = track.limb is not None and track.term != "wear"
    return of_foot and not passed_over and seen_last - track.last.on <= LOOK_WITHIN


def _still_there(mark: marks.MarkDate, today: date) -> bool:
    """Whether a mark may not have reached the ground yet."""
    ahead = mark.forward
    return isinstance(ahead, CantSay) or ahead.reach.latest >= today


def _plans(history: History, grammar: Grammar, words: Words) -> Iterable[str]:
    for fate in plans.still_open(history, grammar):
        yield plans.line(fate, words)


def _bring(history: History, words: Words) -> Iterable[str]:
    return ledger.bring_lines(ledger.to_bring(history), words)


def _ask(history: History, words: Words) -> Iterable[str]:
    """What the record leaves open."""
    yield from ledger.missing_lines([m for m in missing(history) if m.open], words)
    last = history.last
    if last is None:
        return
    unsure = sum(len(visit.doubtful) for visit in history.visits)
    if unsure:
        yield f"{count(words, unsure, 'doubtful note')} to be confirmed at the review"
    if history.unreadable:
        yield f"{count(words, history.unreadable, 'note')} {BY_THIS_VERSION}"
    silent = [limb for limb in LIMBS if all(e.limb != limb for e in last.entries)]
    if 0 < len(silent) < len(LIMBS):
        feet = " ".join(words.limb(limb) for limb in silent)
        yield f"nothing was noted of {feet} on {words.day(last.on)}"
    unsaid = [
        limb
        for limb in LIMBS
        for each in measures(history, "toe_length", limb)
        if each.on == last.on and each.stage is Stage.UNSAID
    ]
    if unsaid:
        feet = " ".join(words.limb(limb) for limb in unsaid)
        name = words.word("quantity", "toe_length")
        yield f"{name} of {feet} on {words.day(last.on)}: before or after the trim?"
    yield from _odd(last, history.horse.kind, words)
    bare = in_shoes(history)
    unknown = [limb for limb in LIMBS if limb not in bare]
    if 0 < len(unknown) < len(LIMBS):
        yield f"nails in {' '.join(words.limb(limb) for limb in unknown)} are to be counted"


def _odd(visit: DayVisit, kind: str | None, words: Words) -> Iterable[str]:
    """Numbers of a visit that are more likely a slip than a measure."""
    for entry in visit.entries:
        if asked := question(entry, kind):
            limb = f"{words.limb(entry.limb)} " if entry.limb else ""
            yield f"{limb}{balance_lines.asked(asked, words)} ({words.day(visit.on)})"
