"""Entries in the trade's words, for the screen, speech and sheets."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

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
DETAIL_FIRST = frozenset({"clips", "studs", "bar_shoe", "pads", "wedge"})
"""Items of a shoe that are said after what narrows them down: "toe clip", "egg bar shoe"."""

PLAN_NAMES = {
    "return": "come back",
    "call_vet": "call the vet",
    "watch": "watch this foot",
    "next_time": "next time",
    "tell_owner": "tell the owner",
    "xray": "x-ray",
}
"""What plans are called; their words, where there are any, follow a colon."""

AS_STATES = {
    **{"lameness": "lame", "tender": "tender", "base_narrow": "base narrow"},
    **{"base_wide": "base wide", "toed_in": "toed in", "toed_out": "toed out", "clear": "clear"},
}
"""Findings that are denied with "not": "not lame"; all others with "no"."""

HOLLOWS = frozenset("frog sole bulb white_line central_sulcus collateral_sulcus".split())
"""Places that a thing is in; at the others it is at."""

Name = Callable[[str, str | None], str]
"""The word of a slot's id; "" for None."""


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
            case Nails(action="in_shoe", count=count, side=side):
                number = "" if count is None else str(count)
                return joined(self.word("nail", "in_shoe"), number, self.word("side", side))
            case Nails(action=action, count=count, side=side):
                count_text = "nails" if count is None else f"{count} nail{'s' * (count != 1)}"
                return joined(count_text, self.word("nail", action), self.word("side", side))
            case Shoe(item=item, detail=detail):
                return self._shoe(item, detail)
            case Work(action=action):
                return self.word("work", action)
            case Plan(action="return", weeks=int(weeks)):
                return f"{PLAN_NAMES['return']} in {weeks} week{'s' * (weeks != 1)}"
            case Plan(action=action, text=text):
                return plan_in_words(action, text)
            case Remark(text=text):
                return f"remark: {text or '(sound only)'}"

    def _finding(self, entry: Finding) -> str:
        before = joined(
            self.word("grade", entry.grade),
            self.word("age", entry.age),
            *named_at_its_place(entry, self.word),
        )
        parts = [before] if before else []
        if entry.scale_grade:
            parts = [scale_in_words(entry.scale_grade)]
        if entry.denied:
            parts = [denied(entry, self.word, parts[0] if entry.scale_grade else "")]
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
        return with_detail(item, name, detail or "")


def names_with_detail(table: Iterable[TradeWord]) -> dict[str, str]:
    """What items of a shoe are called when more is said: "creased", "crease lengthened"."""
    rows = [word for word in table if word.slot == "shoe" and word.group != "plain"]
    return {word.id: word.forms[0] for word in reversed(rows)}


def with_detail(item: str | None, name: str, detail: str) -> str:
    """An item of a shoe with what narrows it down; what both say is said once."""
    if not detail or not name:
        return detail or name
    end = _stem(name.split()[-1])
    if any(_stem(word) == end for word in detail.split()):
        return detail
    if item not in DETAIL_FIRST:
        return joined(name, detail)
    first, _, rest = name.partition(" ")
    return joined(detail, rest if rest and detail.split()[-1] == first else name)


def _stem(word: str) -> str:
    return word.removesuffix("s")


def plan_in_words(action: str | None, text: str | None) -> str:
    """A plan and its words: "tell the owner: soak that foot"."""
    name = PLAN_NAMES.get(action or "", (action or "a plan").replace("_", " "))
    if not text:
        return name
    return f"{'watch' if action == 'watch' else name}: {text}"


def named_at_its_place(entry: Finding, word: Name) -> tuple[str, ...]:
    """Side, place and name of a finding in the order they are said."""
    side, zone = word("side", entry.side), word("zone", entry.zone)
    if entry.term == "high_side" and side:
        return zone, f"{side} higher"
    return side, zone, word("term", entry.term)


def denied(entry: Finding, word: Name, scaled: str = "") -> str:
    """What was said not to be there: "no thrush in the frog", "not lame".

    `scaled` is its grade on a scale in words, where it has one.
    """
    place = joined(word("side", entry.side), word("zone", entry.zone))
    if entry.term == "high_side" and entry.side:
        return joined(word("zone", entry.zone), f"{word('side', entry.side)} not higher")
    how = joined(word("grade", entry.grade), word("age", entry.age))
    if scaled:
        said = f"not {scaled}"
    elif entry.term in AS_STATES:
        said = joined("not", how, AS_STATES[entry.term or ""])
    else:
        said = joined("no", how, word("term", entry.term) or "finding")
    if not place:
        return said
    if not entry.zone:
        return f"{said} on the {place}"
    return f"{said} {'in' if entry.zone in HOLLOWS else 'at'} the {place}"


def as_if_there(entry: Entry) -> Entry:
    """The entry without what no sentence of the grammar says of it: that it is not there, and
    that its unit was not said."""
    match entry:
        case Finding():
            return replace(entry, denied=False)
        case Measurement():
            return replace(entry, unit_inferred=False)
        case _:
            return entry


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
