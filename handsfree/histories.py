"""From the log to the histories that the sums are done from."""

from collections.abc import Iterator
from datetime import date

from handsfree.errors import LogError
from handsfree.grammar.names import like
from handsfree.log import Horse, Log
from handsfree.records.entries import from_json
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
    for row in log.horse_entries(horse.id):
        if row.visit_id not in begun:
            continue
        doubtful = row.status != "confirmed" and unsure(row.confidence, row.doubt)
        noted = Noted(
            from_json(row.body),
            doubtful,
            row.entry_id,
            status=row.status,
            confidence=row.confidence,
            heard=row.heard,
            by=row.status_by,
        )
        days[begun[row.visit_id]].append(noted)
    visits = tuple(DayVisit(on, tuple(days[on])) for on in sorted(days))
    return History(facts(horse), visits)


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
