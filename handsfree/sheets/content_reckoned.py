"""What is reckoned of the notes for a sheet: balance, the dates of marks, nails not accounted for.

Sums are done only of what is confirmed, whatever else is on the sheet.
"""

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date

from handsfree.records.units import Length
from handsfree.sheets.content_notes import kept
from handsfree.sheets.content_parts import CautionPart, Change, Reckoned
from handsfree.sheets.content_words import Voice
from handsfree.sheets.files import printable
from handsfree.sums import balance, ledger, mark_lines, marks
from handsfree.sums.forward import Forward
from handsfree.sums.guidelines import CAVEAT
from handsfree.sums.history import History, Measured
from handsfree.sums.marks import MarkDate
from handsfree.sums.nailed import Missing

BALANCE = "Balance of the feet, reckoned"
MARKS = "Marks in the wall, reckoned"
"""Headings of what no farrier said: sums of it."""

RECKONED = (
    "Sums of this visit\u2019s confirmed measures beside limits that others published; the farrier "
    f"said none of this. {CAVEAT}"
)
DATED = (
    "Reckoned by the growth of the wall from the distances below the hairline that were confirmed; "
    "the farrier said none of these days."
)

SIDES = {"inside": "medial", "outside": "lateral"}
"""The sums say a side as the farrier does."""


def balance_checks(history: History, voice: Voice, unit: str | None) -> tuple[Reckoned, ...]:
    """The last day's feet against the limits published, and left against right.

    What a foot is held against that is no guideline is left out; of left and right every
    difference is told. `unit` of lengths, None: as said.
    """
    day = _day(history)
    told = []
    for check in balance.checks(kept(history, False)):
        if check.on != day or (check.beyond is None and len(check.limbs) == 1):
            continue
        values = tuple(_in(measured, unit) for measured in check.values)
        of_length = isinstance(check.number, Length)
        check = replace(check, values=values, unit=unit if unit and of_length else check.unit)
        text, against, *questions = balance.lines(check, voice)
        asked = [f"asked of the farrier: {question}" for question in questions]
        told.append(Reckoned(_sided(text), _sided("; ".join((against, *asked)))))
    return tuple(told)


def mark_dates(history: History, voice: Voice, unit: str | None) -> tuple[Change, ...]:
    """When the marks of the last day, and those not yet grown out, were at the hairline."""
    day = _day(history)
    told = []
    for mark in marks.dated(kept(history, False), day):
        if mark.seen_on == day or _may_be_there(mark, day):
            shown = replace(mark, unit=unit or mark.unit)
            title, *details = map(_sided, mark_lines.lines(shown, voice))
            told.append(Change(mark.limb, title, tuple(details)))
    return tuple(told)


def _may_be_there(mark: MarkDate, day: date) -> bool:
    return isinstance(mark.forward, Forward) and mark.forward.reach.latest >= day


def missing_nails(history: History, shown: History, voice: Voice) -> Iterator[CautionPart]:
    """The nails that nobody has spoken of on the last day.

    `history` is all that counts, `shown` what is on the sheet: where the two do not count
    alike, the nail may be in a note that is left out, and nothing is told.
    """
    day = _day(history)
    of_sheet = _missing(shown, day)
    for limb, each in _missing(history, day).items():
        if not each.doubtful and each == of_sheet.get(limb):
            (line, *_) = ledger.missing_lines([each], voice)
            yield CautionPart(
                orders=f"{ledger.ORDER[:1].upper()}{ledger.ORDER[1:]}.",
                limb=limb,
                where=voice.heading(limb),
                noted=printable(line.removeprefix(f"{voice.limb(limb)}, {voice.day(day)}: ")),
                shown=f"{ledger.CAUTION[:1].upper()}{ledger.CAUTION[1:]}.",
                source=str(ledger.ACCOUNTED),
            )


def _missing(history: History, day: date) -> dict[str, Missing]:
    return {each.limb: each for each in ledger.missing(history) if each.on == day}


def _day(history: History) -> date:
    """The last day; the sheet is asked for only where there is one."""
    return history.visits[-1].on


def _in(measured: Measured, unit: str | None) -> Measured:
    return replace(measured, unit=unit) if unit and isinstance(measured.value, Length) else measured


def _sided(line: str) -> str:
    # "at the outside" is said of days.
    return printable(
        re.sub(r"(?<!at the )\b(inside|outside)\b", lambda found: SIDES[found[0]], line)
    )
