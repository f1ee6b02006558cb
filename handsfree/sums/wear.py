"""Which branch, toe or heel wore over the visits, and what may have caused it.

The candidate causes are data (grammar/wear.toml), each with its source, and always several.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import Any

from handsfree.errors import GrammarError
from handsfree.grammar.grammar import folder
from handsfree.grammar.known import ids_of
from handsfree.grammar.words import read_table
from handsfree.records.checking import Ids
from handsfree.records.entries import Finding
from handsfree.records.limbs import FRONT, HIND
from handsfree.sums.history import History, findings
from handsfree.sums.nailed import place
from handsfree.sums.sources import FROM_MEMORY, PRACTICE, Source
from handsfree.sums.wording import Words, count
from handsfree.visit.conditions import (
    Complaint,
    Condition,
    check_keys,
    read_conditions,
    read_toml,
)

FILE = "wear.toml"
CAUSE_KEYS = ("wear", "text", "source", "full", "unchecked", "findings", "of")
EVIDENCE_KEYS = ("text", "source", "full", "unchecked")
FEWEST_CAUSES = 2

PAIRS = (frozenset(FRONT), frozenset(HIND))


class Of(StrEnum):
    """Whose findings speak for a cause: this foot's, also the opposite foot's, or any foot's."""

    FOOT = "foot"
    PAIR = "pair"
    HORSE = "horse"


@dataclass(frozen=True)
class CauseRule:
    """One cause of the file: where it wears, and which findings speak for it."""

    text: str
    source: Source
    wear: tuple[Condition, ...]
    findings: tuple[Condition, ...] = ()
    of: Of = Of.FOOT

    def hears(self, finding: Finding, limb: str | None) -> bool:
        """Whether a finding speaks for it as a cause of wear at this limb."""
        if finding.scale_grade is not None and finding.scale_grade.value <= 0:
            return False  # "lameness grade zero" is no lameness
        if self.of is not Of.HORSE and finding.limb not in (None, limb):
            together = {finding.limb, limb}
            if self.of is Of.FOOT or not any(together <= pair for pair in PAIRS):
                return False
        return any(condition.fits(finding) for condition in self.findings)


@dataclass(frozen=True)
class Evidence:
    """What wear is worth, by whose word."""

    text: str
    source: Source


@dataclass(frozen=True)
class WearRules:
    """The file of causes."""

    evidence: Evidence
    causes: tuple[CauseRule, ...]


@dataclass(frozen=True)
class Recorded:
    """A finding of this horse that speaks for a cause, and the latest day it was noted."""

    on: date
    finding: Finding


@dataclass(frozen=True)
class Cause:
    """A possible cause, never the only one."""

    text: str
    source: Source
    recorded: tuple[Recorded, ...] = ()


@dataclass(frozen=True)
class Wear:
    """Wear at one place of one foot.

    `seen`: the visits that note it, oldest first; `of_visits`: the visits since the first of
    them at which anything was noted of this foot. `latest` is the last finding, with what was
    said of its grade and trend. `causes`: at least two, or none where no two are named.
    """

    limb: str | None
    side: str | None
    zone: str | None
    seen: tuple[date, ...]
    of_visits: int
    latest: Finding
    causes: tuple[Cause, ...]


def wear(history: History, rules: WearRules | None = None) -> list[Wear]:
    """Wear by foot and place, what was seen oftenest first within a foot.

    Lungwitz & Adams 1897: base-wide loads the inner half, base-narrow the outer. From memory:
    base-narrow feet land on the outer branch and wear it. `rules` as read_rules gives them.
    """
    rules = _usual() if rules is None else rules
    sightings: dict[tuple[str | None, str | None, str | None], list[tuple[date, Finding]]] = {}
    everything = findings(history)
    for on, finding in everything:
        if finding.term == "wear":
            where = (finding.limb, finding.side, finding.zone)
            sightings.setdefault(where, []).append((on, finding))
    found = [
        Wear(
            limb,
            side,
            zone,
            days := tuple(dict.fromkeys(on for on, _ in seen)),
            _visits_with(history, limb, days[0]),
            seen[-1][1],
            _causes(seen[-1][1], everything, rules),
        )
        for (limb, side, zone), seen in sightings.items()
    ]
    # The sort is stable: what was noted first of equally often seen places stays first.
    return sorted(found, key=lambda w: (place(w.limb or ""), -len(w.seen)))


def _visits_with(history: History, limb: str | None, since: date) -> int:
    return sum(
        visit.on >= since and any(entry.limb == limb for entry in visit.entries)
        for visit in history.visits
    )


def _causes(
    worn: Finding, noted: Sequence[tuple[date, Finding]], rules: WearRules
) -> tuple[Cause, ...]:
    causes = tuple(
        Cause(rule.text, rule.source, _recorded(rule, worn.limb, noted))
        for rule in rules.causes
        if any(condition.fits(worn) for condition in rule.wear)
    )
    return causes if len(causes) >= FEWEST_CAUSES else ()


def _recorded(
    rule: CauseRule, limb: str | None, noted: Sequence[tuple[date, Finding]]
) -> tuple[Recorded, ...]:
    latest: dict[tuple[str | None, ...], Recorded] = {}
    for on, finding in noted:
        if rule.hears(finding, limb):
            about = (finding.limb, finding.term, finding.zone, finding.side)
            latest[about] = Recorded(on, finding)
    return tuple(latest.values())


def lines(found: Sequence[Wear], words: Words, rules: WearRules | None = None) -> list[str]:
    """For each place one line and its possible causes; at the end what wear is worth."""
    said = [line for each in found for line in (headline(each, words), *cause_lines(each, words))]
    return [*said, evidence_line(words, rules)] if said else []


def headline(each: Wear, words: Words) -> str:
    """ "LH outside branch worn: 4 of 6 visits, last 2026-10-10"."""
    visits = f"{words.number(len(each.seen))} of {count(words, each.of_visits, 'visit')}"
    text = (
        f"{words.limb(each.limb)} {_where(each, words)}: {visits}, last {words.day(each.seen[-1])}"
    )
    said = [words.word("grade", each.latest.grade), words.word("trend", each.latest.trend)]
    return ", ".join([text, *(word for word in said if word)])


def _where(each: Wear, words: Words) -> str:
    side, zone = words.word("side", each.side), words.word("zone", each.zone)
    if side and not zone:
        return f"{side} branch worn"
    return " ".join(part for part in (side, zone, "worn") if part)


def cause_lines(each: Wear, words: Words) -> list[str]:
    """The possible causes, one a line, with their sources and what is recorded for them."""
    if not each.causes:
        return ["no source names a cause for wear there"]
    said: list[str] = []
    for cause in each.causes:
        text = f"possible: {words.plain(cause.text)} ({words.plain(str(cause.source))})"
        for recorded in cause.recorded:
            finding = recorded.finding
            other = f"{words.limb(finding.limb)} " if finding.limb not in (None, each.limb) else ""
            text += f"; {other}{words.entry(finding)} recorded on {words.day(recorded.on)}"
        said.append(text)
    return said


def evidence_line(words: Words, rules: WearRules | None = None) -> str:
    """What wear is worth, with its source."""
    evidence = (_usual() if rules is None else rules).evidence
    return f"{words.plain(evidence.text)} ({words.plain(str(evidence.source))})"


@cache
def _usual() -> WearRules:
    data = folder()
    return read_rules(data / FILE, ids_of(read_table(data / "words.csv")))


def read_rules(path: Path, ids: Ids) -> WearRules:
    """Read a file of causes; `ids` of the table (grammar.known.ids_of).

    Raises GrammarError with the file, the cause and what is wrong with it.
    """
    data = read_toml(path, path.name)
    check_keys(data, ("evidence", "cause"), lambda why: GrammarError(path.name, None, why))
    evidence, given = data.get("evidence"), data.get("cause")
    complain = _complaint(path.name, "evidence")
    if not isinstance(evidence, dict):
        raise complain("is missing: a table with text and source")
    check_keys(evidence, EVIDENCE_KEYS, complain)
    if not isinstance(given, list) or not given:
        raise GrammarError(path.name, None, "has no [[cause]]")
    causes = tuple(
        _cause(one, ids, _complaint(path.name, f"cause {number}"))
        for number, one in enumerate(given, 1)
    )
    shown = Evidence(_text(evidence, "text", complain), _source(evidence, complain))
    return WearRules(shown, causes)


def _complaint(file: str, where: str) -> Complaint:
    return lambda reason: GrammarError(file, None, f"{where}: {reason}")


def _cause(data: Any, ids: Ids, complain: Complaint) -> CauseRule:
    if not isinstance(data, dict):
        raise complain("is no table")
    check_keys(data, CAUSE_KEYS, complain)
    if "wear" not in data:
        raise complain("lacks 'wear': the side or the zone that wears")
    worn = data["wear"]
    for one in worn if isinstance(worn, list) else [worn]:
        if isinstance(one, dict):
            check_keys(one, ("side", "zone"), complain)
    return CauseRule(
        _text(data, "text", complain),
        _source(data, complain),
        read_conditions(worn, ids, complain, "finding"),
        read_conditions(data["findings"], ids, complain, "finding") if "findings" in data else (),
        _of(data.get("of", Of.FOOT), complain),
    )


def _of(value: object, complain: Complaint) -> Of:
    for known in Of:
        if known == value:
            return known
    raise complain(f"of is {', '.join(map(repr, map(str, Of)))}, not {value!r}")


def _text(data: Mapping[str, Any], key: str, complain: Complaint) -> str:
    value = data.get(key, "")
    if not isinstance(value, str) or not value.isprintable():
        raise complain(f"{key} is text on one line, not {value!r}")
    if key == "text" and not value.strip():
        raise complain("lacks 'text'")
    return " ".join(value.split())


def _source(data: Mapping[str, Any], complain: Callable[[str], GrammarError]) -> Source:
    short, full = _text(data, "source", complain), _text(data, "full", complain)
    unchecked = data.get("unchecked")
    if unchecked not in (None, FROM_MEMORY, PRACTICE):
        raise complain(f"unchecked is {FROM_MEMORY!r} or {PRACTICE!r}, not {unchecked!r}")
    if not short and unchecked is None:
        raise complain("needs a source, or 'unchecked'")
    return Source(short, full, unchecked)
