"""What is said back: entries as short phrases for the ear, numbers in words."""

import re
from collections.abc import Collection, Sequence
from dataclasses import replace

from handsfree.grammar.grammar import Grammar
from handsfree.grammar.wording import (
    PLAN_NAMES,
    denied,
    joined,
    named_at_its_place,
    names_with_detail,
    plan_in_words,
    with_detail,
)
from handsfree.grammar.words import TradeWord
from handsfree.records.entries import (
    Entry,
    Finding,
    Measurement,
    Nails,
    Plan,
    Remark,
    ScaleGrade,
    Shoe,
    Work,
    belongs_to_horse,
)
from handsfree.records.units import HANDS, MM_PER_UNIT, hands_and_inches, to_mm
from handsfree.visit.numbers import TOO_LARGE, NumberWords

SAYABLE = 1000
"""The grammar's lengths end below this; a longer one is said in a larger unit."""


class Spoken:
    """Puts entries into words to be spoken.

    Every trade word and number word comes from the grammar, so that what is said back can be
    said by the user too. Phrases are meant to have a pause between them.
    """

    def __init__(self, grammar: Grammar) -> None:
        self._numbers = NumberWords(grammar)
        self._table = grammar.table
        self._with_detail = names_with_detail(grammar.table)
        self._words: dict[tuple[str, str], TradeWord] = {}
        for word in grammar.table:
            self._words.setdefault((word.slot, word.id), word)

    def _word(self, slot: str, id: str | None) -> str:
        if not id:
            return ""
        known = self._words.get((slot, id))
        return known.forms[0] if known else self._numbers.in_text(id)

    def limb(self, id: str | None) -> str:
        """ "left hind"; "a foot" where none was named."""
        return self._word("limb", id) or "a foot"

    def limbs(self, ids: Sequence[str]) -> tuple[str, ...]:
        """Several limbs in as few phrases as there are words for: ("both hinds",)."""
        together = self._together(ids)
        return (together,) if together else tuple(self.limb(id) for id in ids)

    def _together(self, ids: Sequence[str]) -> str | None:
        for word in self._table:
            several = word.id.split("+")
            if word.slot == "limb" and len(several) > 1 and sorted(several) == sorted(ids):
                return word.forms[0]
        return None

    def number(self, value: float) -> str:
        """A bare number in words."""
        return self._numbers.decimal(value)

    def text(self, words: str) -> str:
        """Free words with every digit said."""
        return self._numbers.in_text(words)

    def nails(self, count: int) -> str:
        """ "one nail", "seven nails"."""
        return f"{self._numbers.whole(count)} nail{'' if count == 1 else 's'}"

    def measure(self, value: float, unit: str | None) -> str:
        """A number with its unit: "three and a quarter inches", "twelve point five millimeters".

        Inches are said in eighths and sixteenths where they are such, else in decimals; hands as
        in "sixteen hands one".
        """
        numbers = self._numbers
        if unit == HANDS and (hands := self._hands(value)):
            return hands
        if unit == "in" and (part := numbers.part_of_inch(value)):
            return part
        decimal, mixed = numbers.decimal(value), numbers.mixed(value)
        said = mixed if mixed and (unit == "in" or decimal.startswith("about")) else decimal
        return joined(said, self._unit(unit, value == 1))

    def _hands(self, value: float) -> str | None:
        """ "sixteen hands one"; less than a hand in inches. None for what is no such number."""
        try:
            whole, inches = hands_and_inches(value)
        except ValueError:
            return None
        if not whole:
            return self.measure(inches, "in")
        hands = joined(self._numbers.whole(whole), self._unit(HANDS, whole == 1))
        if not inches:
            return hands
        return joined(hands, self._numbers.mixed(inches) or self._numbers.decimal(inches))

    def _unit(self, id: str | None, one: bool) -> str:
        word = self._words.get(("unit", id)) if id else None
        if word is None:
            return self._word("unit", id)
        plural = word.forms[0]
        singular = (f for f in word.forms if plural in (f"{f}s", f"{f}es"))
        return next(singular, plural) if one else plural

    def _length(self, mm: float) -> str:
        """A length kept in mm, in the unit it was most likely said in; the value is the same."""
        if not 0 <= mm < TOO_LARGE:
            return self.measure(mm, "mm")
        in_sixteenths = round(mm / 25.4 * 16) / 16
        if mm != int(mm) and to_mm(in_sixteenths, "in") == mm:
            return self.measure(in_sixteenths, "in")
        if mm >= SAYABLE:
            for unit in ("cm", "in"):
                value = mm / MM_PER_UNIT[unit]
                for said in (round(value, 2), round(value * 16) / 16):
                    if said < SAYABLE and to_mm(said, unit) == mm:
                        return self.measure(said, unit)
        return self.measure(mm, "mm")

    def entry(self, entry: Entry) -> str:
        """The entry in a few words, without its limb."""
        match entry:
            case Finding():
                return self._finding(entry)
            case Measurement(side=side, quantity=quantity, value=value, unit=unit):
                said = "" if value is None else self.measure(value, unit)
                names = self._word("side", side), self._word("quantity", quantity)
                return joined(*names, said) or "a measurement"
            case Nails():
                return self._nails(entry)
            case Shoe(item=item, detail=detail):
                return self._shoe(item, detail)
            case Work(action=action):
                return self._word("work", action) or "work"
            case Plan():
                return self._plan(entry)
            case Remark(text=text):
                return f"remark: {self._numbers.in_text(text) or 'sound only'}"

    def _finding(self, entry: Finding) -> str:
        scaled = self._scale(entry.scale_grade) if entry.scale_grade else ""
        grade, age = self._word("grade", entry.grade), self._word("age", entry.age)
        if entry.denied:
            parts = [denied(entry, self._word, scaled)]
        elif entry.term == "clear" and not (entry.zone or scaled):
            side = self._word("side", entry.side)
            parts = [joined(grade, age, side, "foot", self._word("term", "clear"))]
        else:
            about = replace(entry, term=None) if scaled else entry
            parts = [joined(grade, age, *named_at_its_place(about, self._word)), scaled]
        parts += self._lengths(entry)
        parts.append(self._word("trend", entry.trend))
        return ", ".join(p for p in parts if p) or "a finding"

    def _lengths(self, entry: Finding) -> list[str]:
        below, extent = entry.below_hairline_mm, entry.extent_mm
        said = [] if below is None else [f"{self._length(below)} below the hairline"]
        return said if extent is None else [*said, f"{self._length(extent)} long"]

    def _scale(self, grade: ScaleGrade) -> str:
        name = self._numbers.in_text(grade.scale)
        return joined(name, "" if grade.scale == "body_condition" else "grade", self._grade(grade))

    def _grade(self, grade: ScaleGrade) -> str:
        return self._numbers.mixed(grade.value) or self._numbers.decimal(grade.value)

    def _nails(self, entry: Nails) -> str:
        action, side = self._word("nail", entry.action), self._word("side", entry.side)
        if entry.action == "in_shoe":
            number = "" if entry.count is None else self._numbers.whole(entry.count)
            return joined(action, number, side)
        return joined("nails" if entry.count is None else self.nails(entry.count), action, side)

    def _shoe(self, item: str | None, detail: str | None) -> str:
        said = self._detail(detail)
        if item == "fit":
            return said or "fit"
        name = self._word("shoe", item) or "shoe"
        if said:
            name = self._with_detail.get(item or "", name)
        return with_detail(item, name, said)

    def _detail(self, detail: str | None) -> str:
        if detail and re.fullmatch(r"0\d{1,2}", detail):
            # Sizes smaller than nought: "00" has two noughts and is not the size 0.
            return " ".join(self._numbers.whole(int(digit)) for digit in detail)
        if detail and (size := re.fullmatch(r"(\d{1,3}(?:\.\d+)?)(?: (mm|cm|in))?", detail)):
            value = float(size[1])
            if size[2]:
                return self.measure(value, size[2])
            return self._numbers.mixed(value) or self._numbers.decimal(value)
        return self._numbers.in_text(detail or "")

    def _plan(self, plan: Plan) -> str:
        match plan.action:
            case "return":
                return joined("come back", "" if plan.weeks is None else "in", self._weeks(plan))
            case "next_time":
                return joined(PLAN_NAMES["next_time"], self._numbers.in_text(plan.text or ""))
            case action:
                return self._numbers.in_text(plan_in_words(action, plan.text))

    def _weeks(self, plan: Plan) -> str:
        if plan.weeks is None:
            return ""
        return f"{self._numbers.whole(plan.weeks)} week{'' if plan.weeks == 1 else 's'}"

    def number_part(self, entry: Entry) -> str | None:
        """What to repeat when a number was taken; None where the entry holds none."""
        match entry:
            case Measurement(value=value, unit=unit) if value is not None:
                return self.measure(value, unit)
            case Nails(count=count) if count is not None:
                return self.nails(count)
            case Finding(scale_grade=ScaleGrade() as grade):
                of_body = grade.scale == "body_condition"
                return self._grade(grade) if of_body else f"grade {self._grade(grade)}"
            case Finding():
                return ", ".join(self._lengths(entry)) or None
            case Plan(weeks=weeks) if weeks is not None:
                return self._weeks(entry)
            case Shoe(item="size" | "section", detail=str()):
                return self._shoe(entry.item, entry.detail)
            case _:
                return None

    def read_back(self, entries: Sequence[Entry], doubtful: Collection[int]) -> tuple[str, ...]:
        """Limb by limb what was noted: ("left hind", "outside heel bruise", …).

        `doubtful`: indexes of the entries that were not surely heard; they begin with
        "perhaps". One thing noted of both fronts, both hinds or all four is said once. What
        belongs to the horse has no limb before it.
        """
        said: list[str] = []
        last: str | None = None
        at = 0
        while at < len(entries):
            size, limb = self._run(entries, at)
            if limb is not None and limb != last:
                said.append(limb)
                last = limb
            unsure = any(i in doubtful for i in range(at, at + size))
            said.append(f"{'perhaps ' * unsure}{self.entry(entries[at])}")
            at += size
        return tuple(said)

    def _run(self, entries: Sequence[Entry], at: int) -> tuple[int, str | None]:
        """How many entries from `at` on say the same of several limbs, and those limbs' name."""
        first = entries[at]
        if belongs_to_horse(first) and first.limb is None:
            return 1, None
        limbs: list[str] = []
        for entry in entries[at : at + 4]:
            if entry.limb is None or replace(entry, limb=None) != replace(first, limb=None):
                break
            limbs.append(entry.limb)
        for size in range(len(limbs), 1, -1):
            together = self._together(limbs[:size])
            if together:
                return size, together
        return 1, self.limb(first.limb)
