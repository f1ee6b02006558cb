"""When a horse is due again: what was asked, its own usual interval, what the sources say."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from itertools import pairwise
from statistics import median

from handsfree.records.entries import Plan, Work
from handsfree.records.limbs import LIMBS
from handsfree.records.units import Length
from handsfree.sums.due_reasons import (
    AT_MOST_WEEKS,
    POSSIBLE_WEEKS,
    SENSIBLE_WEEKS,
    USUAL_WEEKS,
    Reason,
    Why,
)
from handsfree.sums.growth import Rate, rate_for
from handsfree.sums.growth import lines as growth_lines
from handsfree.sums.history import CUTS, SETS, DayVisit, History, Measured, Stage, measures
from handsfree.sums.sources import CantSay
from handsfree.sums.wording import Words, count

OWN_GAP_DAYS = (14, 112)
"""Gaps of 2 to 16 weeks between visits are intervals (common practice, no source): a sooner
visit is a call-back to the same shoeing, after a longer gap others did the work or nobody."""

SLACK_DAYS = 7
"""A week either way (common practice, no source)."""


@dataclass(frozen=True)
class Expected:
    """The toe length a foot should have on a day; low and high by the slow and fast rate.

    `unit` is the one its last toe length was said in.
    """

    on: date
    limb: str
    length: Length
    low: Length
    high: Length
    unit: str


NOT_MEASURED = CantSay("no toe length was said of a foot as it was left the last time")


class Basis(StrEnum):
    """What the best day rests on."""

    ASKED = "asked"
    USUAL = "usual"
    SOURCES = "sources"


@dataclass(frozen=True)
class When:
    """When the horse is due.

    Counted from `since`, the visit that began the present shoeing or said the plan; `last` is
    the latest visit. `asked_weeks`: a plan "come back in … weeks" that no visit has overtaken.
    `usual_weeks`: median of the horse's own intervals.
    """

    earliest: date
    best: date
    latest: date
    basis: Basis
    last: date
    since: date
    reasons: tuple[Reason, ...]
    asked_weeks: int | None
    usual_weeks: float | None


@dataclass(frozen=True)
class Window(When):
    """When the horse is due, and how its horn grows until then.

    `expected`: toe lengths at the three days, foot by foot.
    """

    growth: Rate
    expected: tuple[Expected, ...]


class Standing(StrEnum):
    """How a day lies to a window, in the order they are sorted."""

    OVERDUE = "overdue"
    DUE = "due"
    COMING = "coming"


@dataclass(frozen=True)
class State:
    """`days` since the window closed (overdue), until it closes (due) or opens (coming)."""

    standing: Standing
    days: int


def window(history: History, today: date) -> Window | CantSay:
    """The window for the next visit with growth and toe lengths; the days are those of `when`."""
    found = when(history, today)
    if isinstance(found, CantSay):
        return found
    known = history.until(today)
    rate = rate_for(known, today)
    days = (found.earliest, found.best, found.latest)
    return Window(**vars(found), growth=rate, expected=expected(known, days, rate))


def when(history: History, today: date) -> When | CantSay:
    """The window for the next visit, of what was known on a day.

    A plan ("come back in six weeks") decides the best day; else the median of the horse's own
    gaps of 2 to 16 weeks; else the sources: at most six weeks (Leśniak et al. 2017, Animals
    7(4):29), 6 to 10 weeks usual and 4 to 14 possible (equimed.com), load shifts over 8 weeks
    (van Heel et al. 2005; Moleman et al. 2006). Around a plan or the usual interval the window is
    a week either way (common practice, no source).
    """
    known = history.until(today)
    if known.last is None:
        return CantSay("no visit is in the log by that day")
    rounds = _rounds(known.visits)
    gaps = own_gaps(known)
    usual = median(gaps) / 7 if gaps else None
    plan, reasons = _asked(known.visits)
    since = rounds[-1]
    if plan is not None:
        asked, since = plan
        basis, days = Basis.ASKED, asked * 7.0
    elif usual is not None:
        basis, days = Basis.USUAL, usual * 7
    else:
        basis, days = Basis.SOURCES, AT_MOST_WEEKS * 7.0
    best = since + timedelta(days=round(days))
    if basis is Basis.SOURCES:
        earliest = since + timedelta(weeks=POSSIBLE_WEEKS[0])
        latest = since + timedelta(weeks=USUAL_WEEKS[1])
    else:
        # A plan for next week must not make the horse due on the day it was said.
        slack = timedelta(days=min(SLACK_DAYS, round(days / 2)))
        earliest, latest = best - slack, best + slack
        reasons.append(Reason(Why.SLACK))
    if usual is not None:
        reasons.insert(basis is Basis.ASKED, Reason(Why.USUAL, weeks=usual, times=len(gaps)))
    if known.last.on != since and basis is not Basis.ASKED:
        reasons.append(Reason(Why.CALLED_BACK, on=known.last.on))
    if days > POSSIBLE_WEEKS[1] * 7:
        reasons.append(Reason(Why.BEYOND, weeks=days / 7))
    reasons += [Reason(Why.AT_MOST), Reason(Why.SPAN), Reason(Why.LOAD)]
    return When(
        earliest=earliest,
        best=best,
        latest=latest,
        basis=basis,
        last=known.last.on,
        since=since,
        reasons=tuple(reasons),
        asked_weeks=plan[0] if plan else None,
        usual_weeks=usual,
    )


def _rounds(visits: Sequence[DayVisit]) -> list[date]:
    """The visits that began a shoeing: those not soon after another."""
    rounds: list[date] = []
    for visit in visits:
        if not rounds or (visit.on - rounds[-1]).days >= OWN_GAP_DAYS[0]:
            rounds.append(visit.on)
    return rounds


def own_gaps(history: History) -> list[int]:
    """Days between one shoeing of this horse and the next, oldest first, as far as usual."""
    rounds = _rounds(history.visits)
    gaps = [(after - before).days for before, after in pairwise(rounds)]
    return [gap for gap in gaps if OWN_GAP_DAYS[0] <= gap <= OWN_GAP_DAYS[1]]


def _asked(visits: Sequence[DayVisit]) -> tuple[tuple[int, date] | None, list[Reason]]:
    """The weeks asked for last and the day they were, unless a visit has overtaken them."""
    for at, visit in reversed(list(enumerate(visits))):
        said = [
            entry.weeks
            for entry in visit.entries
            if isinstance(entry, Plan) and entry.action == "return" and entry.weeks is not None
        ]
        if not said:
            continue
        weeks, later = said[-1], visits[at + 1 :]
        if not SENSIBLE_WEEKS[0] <= weeks <= SENSIBLE_WEEKS[1]:
            return None, [Reason(Why.ODD, weeks=weeks, on=visit.on)]
        # A call-back for a lost shoe leaves the plan as it is; the visit meant by it does not.
        early = min(OWN_GAP_DAYS[0], weeks * 7 / 2)
        if any((after.on - visit.on).days >= weeks * 7 - early for after in later):
            return None, []
        return (weeks, visit.on), [Reason(Why.ASKED, weeks=weeks, on=visit.on)]
    return None, []


def expected(history: History, days: Sequence[date], rate: Rate) -> tuple[Expected, ...]:
    """Toe length per foot on each of these days: the last after a trim, and what grows since.

    length + rate × days, in mm, by the slow, middle and fast rate. A foot that was worked on
    after its last measure, or measured only before the trim, is left out.
    """
    found: list[Expected] = []
    for limb in LIMBS:
        last = _last_left(history, limb)
        if last is None or not isinstance(last.value, Length):
            continue
        for day in days:
            grown = max(0, (day - last.on).days)
            low, middle, high = (
                last.value + growth.in_days(grown) for growth in (rate.slow, rate.middle, rate.fast)
            )
            found.append(Expected(day, limb, middle, low, high, last.unit))
    return tuple(found)


def _last_left(history: History, limb: str) -> Measured | None:
    """The toe length with which the foot was left; None where nobody measured it."""
    left = (Stage.AFTER, Stage.UNTOUCHED)
    usable = [
        m
        for m in measures(history, "toe_length", limb)
        if m.stage in left and isinstance(m.value, Length) and m.value.mm > 0
    ]
    if not usable:
        return None
    last = usable[-1]
    worked = (
        visit.on
        for visit in history.visits
        for entry in visit.entries
        if isinstance(entry, Work) and entry.limb == limb and entry.action in CUTS | SETS
    )
    return None if any(on > last.on for on in worked) else last


def state(window: When, today: date) -> State:
    """Whether the horse is overdue, due or coming on a day."""
    if today > window.latest:
        return State(Standing.OVERDUE, (today - window.latest).days)
    if today >= window.earliest:
        return State(Standing.DUE, (window.latest - today).days)
    return State(Standing.COMING, (window.earliest - today).days)


def by_lateness(window: When, today: date) -> tuple[int, int]:
    """Sorting key: the latest overdue first, then what is due, then what is coming."""
    now = state(window, today)
    order = list(Standing).index(now.standing)
    return (order, -now.days if now.standing is Standing.OVERDUE else now.days)


def state_text(state: State, words: Words) -> str:
    """ "overdue 12 days", "due now", "coming in 9 days"."""
    days = count(words, state.days, "day")
    match state.standing:
        case Standing.OVERDUE:
            return f"overdue {days}"
        case Standing.DUE:
            return "due now"
        case Standing.COMING:
            return f"coming in {days}"


def lines(window: Window, today: date, words: Words, lengths: bool = True) -> list[str]:
    """State, window, reasons with sources, growth and, if wanted, the toe lengths expected."""
    units = {each.unit for each in window.expected}
    return [
        f"{state_text(state(window, today), words)}; last visit {words.day(window.last)}",
        f"window {words.day(window.earliest)} to {words.day(window.latest)}, best "
        f"{words.day(window.best)}",
        *(reason.text(words) for reason in window.reasons),
        *growth_lines(window.growth, words, "in" if "in" in units else "mm"),
        *(expected_lines(window.expected, words) if lengths else ()),
    ]


def expected_lines(expected: Sequence[Expected], words: Words) -> list[str]:
    """One line for each foot: the toe length on each day, with its range."""
    said: list[str] = []
    for limb in dict.fromkeys(each.limb for each in expected):
        parts = [
            f"{words.measure(e.length, e.unit)} on {words.day(e.on)} "
            f"({words.measure(e.low, e.unit)} to {words.measure(e.high, e.unit)})"
            for e in expected
            if e.limb == limb
        ]
        name = words.word("quantity", "toe_length")
        said.append(f"{words.limb(limb)} {name} expected: {', '.join(parts)}")
    return said
