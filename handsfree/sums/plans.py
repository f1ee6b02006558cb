"""What was planned, and what became of it: "did I do that last time?"."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from handsfree.grammar.grammar import Grammar
from handsfree.records.entries import Entry, Finding, Plan, Shoe, Work
from handsfree.sums.history import DayVisit, History
from handsfree.sums.wording import Words


class Fate(StrEnum):
    """What became of a plan. Nothing recorded is not the same as nothing done."""

    OPEN = "open"
    """No visit since."""
    DONE = "done"
    UNRECORDED = "not recorded since"
    """There were visits since, and none of them notes it."""


OF_OTHERS = frozenset({"call_vet", "tell_owner", "xray"})
"""Plans that others do or hear of."""


@dataclass(frozen=True)
class PlanFate:
    """A plan that was said on a day. `visits_since` counts those after it."""

    plan: Plan
    on: date
    fate: Fate
    done_on: date | None
    visits_since: int


def plans(history: History, grammar: Grammar) -> list[PlanFate]:
    """Every plan but "come back in …", latest first; the same one said again counts once.

    Something planned for the next time is done once a later visit notes it of that limb (of any
    where none was named); a foot to watch once a later visit notes a finding of it; whether a
    vet was called, pictures were taken or the owner was told no record tells, so that stays open
    until the next visit is over.
    """
    found: list[PlanFate] = []
    for at, visit in reversed(list(enumerate(history.visits))):
        since = history.visits[at + 1 :]
        for entry in visit.entries:
            if not isinstance(entry, Plan) or entry.action == "return":
                continue
            if any(entry == known.plan for known in found):
                continue
            done = _done_on(entry, since, grammar)
            fate = Fate.DONE if done else Fate.UNRECORDED if since else Fate.OPEN
            found.append(PlanFate(entry, visit.on, fate, done, len(since)))
    return found


def still_open(history: History, grammar: Grammar, longest: int = 2) -> list[PlanFate]:
    """Plans that are not done; those passed over by more than `longest` visits are given up."""
    return [
        each
        for each in plans(history, grammar)
        if each.fate is not Fate.DONE
        and each.visits_since <= (0 if each.plan.action in OF_OTHERS else longest)
    ]


def _done_on(plan: Plan, since: tuple[DayVisit, ...], grammar: Grammar) -> date | None:
    wanted = _meant(plan, grammar)
    for visit in since:
        for entry in visit.entries:
            if plan.limb not in (None, entry.limb):
                continue
            if plan.action == "watch" and isinstance(entry, Finding):
                return visit.on
            if any(_same(entry, each) for each in wanted):
                return visit.on
    return None


def _meant(plan: Plan, grammar: Grammar) -> list[Entry]:
    """The shoe, work or finding that a plan for the next time speaks of."""
    if plan.action != "next_time" or not plan.text:
        return []
    return [
        statement.entry
        for meaning in grammar.meanings(plan.text.split(), "said")[:1]
        for statement in meaning.statements
    ]


def _same(entry: Entry, wanted: Entry) -> bool:
    match entry, wanted:
        case Shoe(), Shoe():
            return entry.item == wanted.item and wanted.detail in (None, entry.detail)
        case Work(), Work():
            return entry.action == wanted.action
        case Finding(), Finding():
            # "Next time outside heel bruise" is looked at also where there is none.
            place = (wanted.zone, wanted.side)
            of_place = (entry.zone, entry.side) == place or (entry.zone, None) == place
            of_place = of_place or (entry.denied and entry.zone is None)
            return (entry.term == wanted.term and of_place) or (
                entry.term == "clear" and entry.zone in (None, wanted.zone)
            )
    return False


def line(fate: PlanFate, words: Words) -> str:
    """ "left hind next time: full outside (said June fourteen, not recorded since)"."""
    limb = f"{words.limb(fate.plan.limb)} " if fate.plan.limb else ""
    said = f"said {words.day(fate.on)}"
    if fate.fate is Fate.DONE and fate.done_on is not None:
        said += f", done {words.day(fate.done_on)}"
    elif fate.fate is Fate.UNRECORDED:
        said += f", {fate.fate.value}"
    return f"{limb}{words.entry(fate.plan)} ({said})"
