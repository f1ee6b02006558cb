"""The two voices of a sheet: plain words for the owner, anatomical ones for the vet."""

from dataclasses import replace
from datetime import date

from handsfree.grammar.grammar import Grammar
from handsfree.grammar.wording import Wording, limb_name, number_with_unit
from handsfree.records.checking import Unreadable
from handsfree.records.entries import Entry, Finding, Measurement
from handsfree.records.units import Length, Quantity
from handsfree.sheets.content_parts import Audience, Definition
from handsfree.sheets.drawing import SheetLabels, owner_labels, vet_labels
from handsfree.sums.wording import DECIMALS, MONTHS, ForEye

PLAIN = {
    ("work", "shoe_pulled"): "old shoe taken off",
    ("work", "shoe_reset"): "the same shoe put back on",
    ("work", "new_shoe"): "new shoe put on",
    ("work", "clinched"): "nail ends turned over",
    ("work", "barefoot"): "left without a shoe",
}
"""What an owner reads for a trade word."""

ANATOMICAL = {
    ("side", "medial"): "medial",
    ("side", "lateral"): "lateral",
    ("quantity", "toe_length"): "toe length (dorsal wall)",
    ("quantity", "hoof_angle"): "hoof angle (dorsal wall)",
    ("zone", "coronary_band"): "coronary band",
}
"""What a vet reads for a trade word; the rest is the same in both trades."""

PALM = {"LF": "palmar", "RF": "palmar", "LH": "plantar", "RH": "plantar"}
"""The NAV term for the back of a fore and of a hind foot."""

OF_THE_BACK = frozenset({("quantity", "heel_angle"), ("quantity", "heel_height")}) | {
    ("quantity", "heel_length")
}
"""Measures of the back of the foot, which a vet calls palmar or plantar."""

SCALES = {
    "lameness": "From 0, none seen, to 5, hardly bears weight or cannot move (after AAEP)",
    "laminitis": "From 1, shifts weight and trots stiffly, to 4, moves only if forced (after Obel)",
    "body_condition": "From 1, poor, to 9, extremely fat (after Henneke 1983)",
}
"""What a grade on a scale means, in our own words."""

EXPLAINED = {
    Audience.OWNER: frozenset({"scale", "term", "zone", "side", "work", "shoe", "quantity"}),
    Audience.VET: frozenset({"scale", "work", "shoe"}),
}
"""The slots whose words are explained to whom: the foot's own names are no news to a vet."""

JARGON = frozenset(
    {"seedy_toe", "corn", "flare", "dish", "nail_bind", "loose_clinch", "risen_clinch"}
) | {"sprung_shoe", "shifted_shoe", "wear", "forging", "overreach", "brushing", "underrun_heels"}
"""Findings that are called so by farriers more than by vets."""

SIXTEENTHS = 16


class SheetWording(Wording):
    """Entries in the words of one audience, lengths of findings in one unit."""

    def __init__(self, grammar: Grammar, audience: Audience, unit: str, strict: bool) -> None:
        super().__init__(grammar)
        self._own = PLAIN if audience is Audience.OWNER else ANATOMICAL
        self._unit, self._strict = unit, strict

    def length(self, length: Length) -> str:
        """A length of a finding, of which the log has only mm.

        In mm where it is no whole number of sixteenths, as it was not said in inches then;
        unless inches are asked for (strict).
        """
        if self._unit == "in" and not _sixteenths(length.to("in")):
            return (
                number_with_unit(round(length.to("in"), 2), "in")
                if self._strict
                else (exact(length, "mm"))
            )
        return exact(length, self._unit)

    def word(self, slot: str, id: str | None) -> str:
        """The word to show for an id."""
        own = self._own.get((slot, id or ""))
        return own if own is not None else super().word(slot, id)

    def describe(self, entry: Entry | Unreadable) -> str:
        """The entry in a few words, without its limb."""
        if isinstance(entry, Measurement) and entry.unit == "in" and entry.value is not None:
            # Inches as a rule is read, as in the table of measures.
            if even := _sixteenths(entry.value):
                entry = replace(entry, value=None, unit=None)
                return " ".join((super().describe(entry), even))
            return super().describe(entry)
        if not isinstance(entry, Finding):
            return super().describe(entry)
        bare = replace(entry, below_hairline_mm=None, extent_mm=None, trend=None)
        parts = [super().describe(bare)]
        for mm, where in (
            (entry.below_hairline_mm, "below the hairline"),
            (entry.extent_mm, "long"),
        ):
            parts += [] if mm is None else [f"{self.length(Length(mm))} {where}"]
        parts += [self.word("trend", entry.trend)]
        return ", ".join(part for part in parts if part)


class _OfDrawings(ForEye):
    """Lengths on the drawings as they are in the lists beside them."""

    def __init__(self, grammar: Grammar, wording: SheetWording) -> None:
        super().__init__(grammar)
        self._lengths = wording

    def measure(self, value: Quantity, unit: str, decimals: int | None = None) -> str:
        """A length of a finding."""
        if isinstance(value, Length):
            return self._lengths.length(value)
        return super().measure(value, unit, decimals)


class Voice(ForEye):
    """Words for one audience.

    `unit` is the one that lengths of findings are told in; `strict`: no other is.
    """

    def __init__(
        self, grammar: Grammar, audience: Audience, unit: str = "mm", strict: bool = False
    ) -> None:
        super().__init__(grammar)
        self.audience, self.unit = audience, unit
        self._wording = SheetWording(grammar, audience, unit, strict)
        self._meanings = {(w.slot, w.id): w.definition for w in reversed(grammar.table)}
        self._limbs = {id: limb_name(grammar, id) for id in PALM}
        made = owner_labels if audience is Audience.OWNER else vet_labels
        eye = _OfDrawings(grammar, self._wording)
        self.labels: SheetLabels = replace(made(grammar, unit), eye=eye)

    @property
    def plain_words(self) -> bool:
        """Whether this is the owner's voice."""
        return self.audience is Audience.OWNER

    def limb(self, id: str | None) -> str:
        """ "left hind" for the owner, "LH" for the vet."""
        if id is None:
            return "a foot, not said which"
        return self._limbs.get(id, id) if self.plain_words else id

    def heading(self, limb: str) -> str:
        """What stands over a foot: "Left hind", "LH: left hind"."""
        name = self._limbs.get(limb, limb)
        if self.plain_words:
            return name[:1].upper() + name[1:]
        return f"{limb}: {name}"

    def quantity(self, id: str, limb: str | None) -> str:
        """The name of a measure of a limb."""
        name = self.word("quantity", id)
        back = PALM.get(limb or "")
        if not self.plain_words and back and ("quantity", id) in OF_THE_BACK:
            return f"{back} {name}"
        return name

    def day(self, day: date) -> str:
        """ "14 October 2026" for the owner, 2026-10-14 for the vet."""
        if self.plain_words:
            return f"{day.day} {MONTHS[day.month - 1]} {day.year}"
        return day.isoformat()

    def measure(self, value: Quantity, unit: str, decimals: int | None = None) -> str:
        """A measure; inches in sixteenths as a rule is read, where they come out even."""
        if unit == "in" and (text := _sixteenths(value.to(unit))):
            return text
        return super().measure(value, unit, decimals)

    def explains(self, id: str) -> bool:
        """Whether a trade word is explained to this audience, by its id in the glossary."""
        slot, _, key = id.partition("-")
        return slot in EXPLAINED[self.audience] or key in JARGON

    def definition(self, id: str) -> Definition:
        """A trade word of the sheet by its id in the glossary ("term-bruise")."""
        slot, _, key = id.partition("-")
        if slot == "scale":
            return Definition(id, key.replace("_", " "), SCALES[key])
        return Definition(id, self.word(slot, key), self._meanings[slot, key])

    def terms(self, entry: Entry) -> tuple[str, ...]:
        """The glossary's ids of the trade words of an entry."""
        found: list[tuple[str, object]] = []
        if isinstance(entry, Finding) and entry.scale_grade is not None:
            scale = entry.scale_grade.scale
            return (f"scale-{scale}",) if scale in SCALES else ()
        if isinstance(entry, Finding):
            found = [("term", entry.term), ("zone", entry.zone), ("side", entry.side)]
        elif entry.kind == "work":
            found = [("work", getattr(entry, "action", None))]
        elif entry.kind == "shoe":
            found = [("shoe", getattr(entry, "item", None))]
        elif entry.kind == "measurement":
            found = [("quantity", getattr(entry, "quantity", None))]
        return tuple(
            f"{slot}-{id}"
            for slot, id in found
            if (slot, id) in self._meanings and not (self.plain_words and (slot, id) in PLAIN)
        )


def exact(value: Quantity, unit: str) -> str:
    """A measure as it was said, with no digit lost: "4 11/16 in", "82.5 mm", "50°"."""
    number = value.to(unit)
    if unit == "in" and (text := _sixteenths(number)):
        return text
    return number_with_unit(round(number, max(3, DECIMALS[unit])), unit)


def short(value: float, unit: str) -> str:
    """A number in a unit for an axis, without the unit."""
    even = _sixteenths(value) if unit == "in" else ""
    return even.removesuffix(" in") or f"{round(value, DECIMALS[unit] + 1):g}"


def _sixteenths(inches: float) -> str:
    """Inches with a fraction; "" where they are no whole number of sixteenths."""
    parts = inches * SIXTEENTHS
    if inches < 0 or abs(parts - round(parts)) > 0.01:
        return ""
    whole, top = divmod(round(parts), SIXTEENTHS)
    bottom = SIXTEENTHS
    while top and top % 2 == 0:
        top, bottom = top // 2, bottom // 2
    fraction = f"{top}/{bottom}" if top else ""
    return (
        " ".join(part for part in (str(whole) if whole or not top else "", fraction) if part)
        + " in"
    )
