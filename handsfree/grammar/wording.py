"""Entries in the trade's words, for the screen, speech and sheets."""

from collections.abc import Iterable, Mapping

from handsfree.grammar.grammar import Grammar
from handsfree.grammar.words import TradeWord
from handsfree.records.checking import BY_THIS_VERSION, Unreadable
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
)

UNIT_SIGNS = {"deg": "°", "in": " in"}
DETAIL_FIRST = frozenset({"clips", "studs", "bar_shoe"})
"""Items of a shoe that are said after what narrows them down: "toe clip", "egg bar shoe"."""


class Wording:
    """Puts entries into words; every trade word comes from grammar/words.csv."""

    def __init__(self, grammar: Grammar) -> None:
        self._shown: dict[tuple[str, str], str] = {}
        self._with_detail = names_with_detail(grammar.table)
        for word in grammar.table:
            self._shown.setdefault((word.slot, word.id), word.forms[0])

    def word(self, slot: str, id: str | None) -> str:
        """The word to show for an id; the id itself where the table has none."""
        return self._shown.get((slot, id), id.replace("_", " ")) if id else ""

    def describe(self, entry: Entry | Unreadable) -> str:
        """The entry in a few words, without its limb."""
        match entry:
            case Unreadable(why=why):
                return f"({BY_THIS_VERSION}: {why})"
            case Finding():
                return self._finding(entry)
            case Measurement():
                side = self.word("side", entry.side)
                name = self.word("quantity", entry.quantity)
                return joined(side, name, number_with_unit(entry.value, entry.unit))
            case Nails(action="in_shoe", count=count):
                return f"{self.word('nail', 'in_shoe')} {count}"
            case Nails(action=action, count=count, side=side):
                count_text = "nails" if count is None else f"{count} nail{'s' * (count != 1)}"
                return joined(count_text, self.word("nail", action), self.word("side", side))
            case Shoe(item=item, detail=detail):
                return self._shoe(item, detail)
            case Work(action=action):
                return self.word("work", action)
            case Plan(action="return", weeks=weeks):
                return f"come back in {weeks} week{'s' * (weeks != 1)}"
            case Plan(action="next_time", text=text):
                return f"next time: {text}"
            case Plan(action=action):
                return {"call_vet": "call the vet", "watch": "watch this foot"}[str(action)]
            case Remark(text=text):
                return f"remark: {text or '(sound only)'}"

    def _finding(self, entry: Finding) -> str:
        before = joined(
            self.word("grade", entry.grade),
            self.word("age", entry.age),
            self.word("side", entry.side),
            self.word("zone", entry.zone),
            self.word("term", entry.term),
        )
        parts = [before] if before else []
        if entry.scale_grade:
            parts = [scale_in_words(entry.scale_grade)]
        if entry.below_hairline_mm is not None:
            parts.append(f"{entry.below_hairline_mm:g} mm below the hairline")
        if entry.extent_mm is not None:
            parts.append(f"{entry.extent_mm:g} mm long")
        if entry.trend:
            parts.append(self.word("trend", entry.trend))
        return ", ".join(parts)

    def _shoe(self, item: str | None, detail: str | None) -> str:
        if item == "fit":
            return detail or "fit"
        name = self.word("shoe", item)
        if detail and item:
            name = self._with_detail.get(item, name)
        said_first = item in DETAIL_FIRST
        return joined(detail or "", name) if said_first else joined(name, detail or "")


def names_with_detail(table: Iterable[TradeWord]) -> dict[str, str]:
    """What items of a shoe are called when more is said: "creased", "crease lengthened"."""
    rows = [word for word in table if word.slot == "shoe" and word.group != "plain"]
    return {word.id: word.forms[0] for word in reversed(rows)}


def scale_in_words(grade: ScaleGrade) -> str:
    """The grade on its scale, as "lameness grade 3"."""
    name = grade.scale.replace("_", " ")
    return f"{name}{'' if grade.scale == 'body_condition' else ' grade'} {grade.value:g}"


def number_with_unit(value: float | None, unit: str | None) -> str:
    """A number with its unit as it is read on a screen."""
    if value is None:
        return ""
    return f"{value:g}{UNIT_SIGNS.get(unit or '', f' {unit}' if unit else '')}"


def limb_name(grammar: Grammar, limb: str) -> str:
    """The spoken name of a limb id."""
    names: Mapping[str, str] = {w.id: w.forms[0] for w in grammar.table if w.slot == "limb"}
    return names.get(limb, limb)


def joined(*parts: str) -> str:
    """The parts that are not empty, a space between them."""
    return " ".join(p for p in parts if p)
