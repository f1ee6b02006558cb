"""From the log to the histories that the sums are done from."""

from collections import Counter
from collections.abc import Iterator
from datetime import date

from handsfree.errors import LogError
from handsfree.grammar.names import like
from handsfree.language.known import entry_of
from handsfree.log import Entry, Horse, Log, Visit
from handsfree.log.rows import HorseEntry
from handsfree.records.checking import Unreadable
from handsfree.records.sureness import unsure
from handsfree.sums.history import DayVisit, History, HorseFacts, Noted


def facts(horse: Horse) -> HorseFacts:
    """What the log knows of a horse; a day of birth that is none is left out."""
    born, exactly = None, False
    if horse.born:
        try:
            exactly = len(horse.born) > 4
            born = date.fromisoformat(horse.born if exactly else f"{horse.born}-01-01")
        except ValueError:
            born, exactly = None, False
    return HorseFacts(horse.name, horse.kind, horse.breed, born, exactly)


def history(log: Log, horse: Horse, but: str | None = None, begun_by: str | None = None) -> History:
    """All visits to a horse (save the one whose id is `but`), one for each day.

    `begun_by`: only those that had begun by then (a moment as in the log). A visit of which
    nothing counts is one too.
    """
    begun = {
        visit.id: visit.day
        for visit in log.visits_of(horse.id)
        if visit.id != but and (begun_by is None or visit.started_at <= begun_by)
    }
    days: dict[date, list[Noted]] = {day: [] for day in begun.values()}
    unreadable: Counter[date] = Counter()
    for row in log.horse_entries(horse.id):
        if row.visit_id not in begun:
            continue
        day, noted = begun[row.visit_id], _noted(row, row.entry_id)
        if noted is None:
            unreadable[day] += 1
        else:
            days[day].append(noted)
    visits = tuple(DayVisit(on, tuple(days[on]), unreadable[on]) for on in sorted(days))
    return History(facts(horse), visits)


def of_visit(log: Log, visit: Visit) -> DayVisit:
    """What counts of one visit, whatever else its horse has on that day."""
    entries = log.entries(visit.id, in_force=True)
    notes = tuple(noted for e in entries if (noted := _noted(e, e.id)) is not None)
    return DayVisit(visit.day, notes, len(entries) - len(notes))


def _noted(row: HorseEntry | Entry, id: str) -> Noted | None:
    """A stored entry for the sums; None where this version cannot read it."""
    entry = entry_of(row.body)
    if isinstance(entry, Unreadable):
        return None
    doubtful = row.status != "confirmed" and unsure(row.confidence, row.doubt)
    return Noted(
        entry,
        doubtful,
        id,
        status=row.status,
        confidence=row.confidence,
        heard=row.heard,
        by=row.status_by,
    )


def named(log: Log, name: str) -> Horse:
    """The horse of this name; LogError with the likeliest other name where there is none."""
    horse = log.horse(name)
    if horse is None:
        near = like(name, log.horse_names())
        hint = f"; did you mean {near}?" if near else ""
        raise LogError(f"there is no horse '{name}' in the log{hint}")
    return horse


def histories(log: Log) -> Iterator[History]:
    """The histories of all horses, in alphabetical order."""
    for horse in log.horses():
        yield history(log, horse)
