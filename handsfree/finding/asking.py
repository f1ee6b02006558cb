"""A question put to the log."""

from datetime import date, datetime, time, timedelta

from handsfree.finding.days import FIRST_YEAR, LAST_YEAR
from handsfree.finding.question import STATUSES, USUAL, Amount, Question
from handsfree.log import Log
from handsfree.log.find_schema import SLOTS
from handsfree.log.finding import Criteria, Found, all_of, any_of
from handsfree.records.units import Quantity

HAIR = 1e-6
"""Numbers nearer than this are the same: 3.5 inches is 88.9 mm however it was reckoned."""
_NOBODY = Found((), 0, False)


def ask(log: Log, question: Question, limit: int | None = 20) -> Found:
    """What the log has to a question, the newest visit first; nothing for an empty question.

    With `limit` None all of it.
    """
    if question.empty:
        return _NOBODY
    since, until = _moments(question)
    if question.visits is not None:
        before = until or _midnight(question.today + timedelta(1))
        begun = log.visit_before(before, question.visits, question.horse_id)
        if begun is None:
            return _NOBODY
        since = begun if since is None else max(since, begun, key=datetime.fromisoformat)
    words = [any_of(group.alternatives) for group in question.groups]
    if question.horse_id is not None:
        words.append(any_of([(f"{SLOTS['horse']}{question.horse_id}",)]))
    least, most = _bounds(question.amount)
    return log.find(
        Criteria(
            states=STATUSES[question.status] if question.status else USUAL,
            words=all_of(words),
            since=since,
            until=until,
            quantities=question.amount.quantities if question.amount else (),
            least=least,
            most=most,
        ),
        limit,
    )


def _moments(question: Question) -> tuple[str | None, str | None]:
    days, today = question.days, question.today
    last = today if days.last is None else min(days.last, today)
    until = _midnight(last + timedelta(1)) if last < date.max else None
    return None if days.first is None else _midnight(days.first), until


def _midnight(day: date) -> str:
    """When a day begins by the clock of this place; far-off days are brought nearer."""
    day = min(max(day, date(FIRST_YEAR, 1, 1)), date(LAST_YEAR, 12, 31))
    return datetime.combine(day, time.min).astimezone().isoformat()


def _bounds(asked: Amount | None) -> tuple[float | None, float | None]:
    if asked is None:
        return None, None
    least, most = _number(asked.least), _number(asked.most)
    if least is not None:
        least += -HAIR if asked.with_least else HAIR
    if most is not None:
        most += HAIR if asked.with_most else -HAIR
    return least, most


def _number(bound: Quantity | float | None) -> float | None:
    if bound is None or isinstance(bound, int | float):
        return bound
    return bound.amount
