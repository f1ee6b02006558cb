"""Sums in words, written once for the eye and for the ear.

A sum makes its lines of `Words`; what differs between a screen and a voice is only how a
number, a day or an entry is put.
"""

import math
import re
from dataclasses import replace
from datetime import date
from typing import Protocol

from handsfree.grammar.grammar import Grammar
from handsfree.grammar.wording import Wording, number_with_unit
from handsfree.records.checking import Unreadable
from handsfree.records.entries import Entry, Finding
from handsfree.records.units import HANDS, Length, Quantity, reckoned_in
from handsfree.visit.spoken import Spoken

DECIMALS = {"mm": 0, "cm": 1, "in": 2, "hands": 3, "deg": 0, "kg": 0, "lb": 0}
"""Digits after the point that are worth telling: nobody measures a hoof closer. Of hands the
first stands for whole inches, the others for a part of one."""

STICK = 4
"""Parts of an inch that a measuring stick for horses is read to (common practice, no source)."""

MONTHS = (
    "January February March April May June July August September October November December"
).split()


_A_YEAR = re.compile(r"(?<![\d.,-])(?:1[5-9]|20)\d\d(?![\d.,-])")


class Words(Protocol):
    """How a listener or a reader is told things. All words come from grammar/words.csv."""

    def limb(self, id: str | None) -> str:
        """ "left hind" for the ear, "LH" for the eye."""
        ...

    def word(self, slot: str, id: str | None) -> str:
        """The trade word of an id of words.csv ("hoof angle"); "" for None."""
        ...

    def entry(self, entry: Entry) -> str:
        """An entry without its limb."""
        ...

    def number(self, value: float, decimals: int = 0) -> str:
        """A bare number."""
        ...

    def measure(self, value: Quantity, unit: str, decimals: int | None = None) -> str:
        """A measure in the unit wanted (mm, cm, in, hands, deg, kg, lb); DECIMALS where not
        said."""
        ...

    def day(self, day: date) -> str:
        """A day."""
        ...

    def plain(self, text: str) -> str:
        """Free words; for the ear with their digits said."""
        ...


def count(words: Words, number: int, one: str, several: str | None = None) -> str:
    """ "1 week", "6 weeks"."""
    return f"{words.number(number)} {one if number == 1 else several or one + 's'}"


def said_in(length: Length) -> str:
    """The unit of a finding's length, of which the log keeps only the mm: a number of sixteenths
    of an inch that is no whole number of mm was said in inches."""
    if not math.isfinite(length.mm) or abs(length.mm - round(length.mm)) < 0.01:
        return "mm"
    sixteenths = length.to("in") * 16
    return "in" if abs(sixteenths - round(sixteenths)) < 0.02 else "mm"


class _AsSaid(Wording):
    """Entries with the lengths of a finding in the unit they were said in."""

    def describe(self, entry: Entry | Unreadable) -> str:
        if not isinstance(entry, Finding):
            return super().describe(entry)
        lengths = ((entry.below_hairline_mm, "below the hairline"), (entry.extent_mm, "long"))
        bare = replace(entry, below_hairline_mm=None, extent_mm=None, trend=None)
        parts = [super().describe(bare)]
        parts += [f"{_length(mm)} {where}" for mm, where in lengths if mm is not None]
        return ", ".join(part for part in (*parts, self.word("trend", entry.trend)) if part)


def _length(mm: float) -> str:
    if said_in(Length(mm)) == "mm":
        return number_with_unit(mm, "mm")
    return number_with_unit(round(Length(mm).to("in") * 16) / 16, "in")


class ForEye:
    """Words for a screen or a sheet."""

    def __init__(self, grammar: Grammar) -> None:
        self._wording: Wording = _AsSaid(grammar)

    def limb(self, id: str | None) -> str:
        """LH; "a foot" where none was named."""
        return id or "a foot"

    def word(self, slot: str, id: str | None) -> str:
        """The trade word of an id."""
        return self._wording.word(slot, id)

    def entry(self, entry: Entry | Unreadable) -> str:
        """An entry without its limb."""
        return self._wording.describe(entry)

    def number(self, value: float, decimals: int = 0) -> str:
        """Digits, without needless zeros."""
        return _digits(value, decimals)

    def measure(self, value: Quantity, unit: str, decimals: int | None = None) -> str:
        """ "82 mm", "50°", "3.25 in"."""
        if unit == HANDS:
            return number_with_unit(_on_the_stick(value), unit)
        places = DECIMALS[unit] if decimals is None else decimals
        return number_with_unit(float(_digits(value.to(unit), places)), unit)

    def day(self, day: date) -> str:
        """2026-11-25 (ISO 8601)."""
        return day.isoformat()

    def plain(self, text: str) -> str:
        """The words as they are."""
        return text


class ForEar:
    """Words for the voice: no digits, every number as it would be said."""

    def __init__(self, grammar: Grammar, today: date | None = None) -> None:
        self._spoken, self._wording = Spoken(grammar), Wording(grammar)
        self._today = today

    def limb(self, id: str | None) -> str:
        """ "left hind"; "a foot" where none was named."""
        return self._spoken.limb(id)

    def word(self, slot: str, id: str | None) -> str:
        """The trade word of an id."""
        return self._wording.word(slot, id)

    def entry(self, entry: Entry) -> str:
        """An entry without its limb."""
        return self._spoken.entry(entry)

    def number(self, value: float, decimals: int = 0) -> str:
        """A number in words."""
        return self._spoken.number(float(_digits(value, decimals)))

    def measure(self, value: Quantity, unit: str, decimals: int | None = None) -> str:
        """ "eighty two millimeters", "three and a quarter inches"."""
        if unit == HANDS:
            return self._spoken.measure(_on_the_stick(value), unit)
        number = value.to(unit)
        if unit == "in" and decimals is None:
            # In sixteenths, as a rule is read.
            return self._spoken.measure(round(number * 16) / 16, unit)
        places = DECIMALS[unit] if decimals is None else decimals
        return self._spoken.measure(float(_digits(number, places)), unit)

    def day(self, day: date) -> str:
        """ "June fourteen"; with the year where it is not the present one."""
        said = f"{MONTHS[day.month - 1]} {self._spoken.number(day.day)}"
        if self._today is None or day.year == self._today.year:
            return said
        return f"{said} {self._year(day.year)}"

    def _year(self, year: int) -> str:
        """ "nineteen ninety two"."""
        hundreds, rest = divmod(year, 100)
        if rest < 10:
            return self._spoken.number(year)
        return f"{self._spoken.number(hundreds)} {self._spoken.number(rest)}"

    def plain(self, text: str) -> str:
        """Free words with every digit said, and what looks like a year said as one."""
        return self._spoken.text(_A_YEAR.sub(lambda found: self._year(int(found[0])), text))


def _on_the_stick(value: Quantity) -> float:
    """A height in hands, as near as a stick is read."""
    parts = round(value.to(reckoned_in(HANDS)) * STICK)
    return Length.of(parts / STICK, reckoned_in(HANDS)).to(HANDS)


def _digits(value: float, decimals: int) -> str:
    # Without the crumbs of binary fractions: an eighth more is an eighth more on either foot.
    text = f"{round(value, 6):.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text
