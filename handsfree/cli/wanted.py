"""What `--of` asks for, from the trade's words."""

from collections.abc import Iterable
from dataclasses import dataclass

from rapidfuzz import fuzz, process

from handsfree.cli.screen import safe
from handsfree.errors import HandsfreeError
from handsfree.grammar.grammar import Grammar
from handsfree.grammar.words import plain_words
from handsfree.records.entries import Finding, Shoe, Work
from handsfree.sums.helped import Comparison
from handsfree.sums.history import Measured
from handsfree.sums.seen import FindingTrack
from handsfree.sums.series import MeasureTrack

SLOTS = ("quantity", "term", "zone", "shoe", "work")
NEAR = 75.0
"""Likeness of 100 from which a word is taken for a slip of the typing."""


@dataclass(frozen=True)
class Wanted:
    """What must be so of a track or a change; None where anything may be."""

    quantity: str | None = None
    term: str | None = None
    zone: str | None = None
    side: str | None = None
    shoe: str | None = None
    work: str | None = None
    shown: str = ""
    note: str = ""
    """What the user is told, where his words were taken for others."""

    def finding(self, track: FindingTrack) -> bool:
        """Whether a finding is wanted."""
        asked = (self.term, self.zone, self.side)
        given = (track.term, track.zone, track.side)
        if self.quantity or self.shoe or self.work:
            return False
        return all(want in (None, have) for want, have in zip(asked, given, strict=True))

    def measure(self, track: MeasureTrack | Measured) -> bool:
        """Whether a measure is wanted."""
        if self.term or self.zone or self.shoe or self.work:
            return False
        return self.quantity in (None, track.quantity) and self.side in (None, track.side)

    def comparisons(self, found: Iterable[Comparison]) -> list[Comparison]:
        """The changes wanted: of that shoe or work, or with that thing before or after."""
        if self.shoe or self.work:
            return [c for c in found if self._changed(c.change)]
        return [c for c in found if self == Wanted() or any(self._about(p.about) for p in c.pairs)]

    def _changed(self, change: Shoe | Work) -> bool:
        if isinstance(change, Shoe):
            return self.shoe == change.item
        return self.work == change.action

    def _about(self, track: FindingTrack | MeasureTrack) -> bool:
        return self.finding(track) if isinstance(track, FindingTrack) else self.measure(track)


def wanted(grammar: Grammar, text: str) -> Wanted:
    """The words of `--of` understood: a name of words.csv, or a finding as it would be spoken.

    The nearest name where there is none such; HandsfreeError where nothing is near.
    """
    said = " ".join(plain_words(text))
    names: dict[str, tuple[str, str]] = {}
    for slot in SLOTS:
        for word in grammar.table:
            if word.slot == slot and word.id != "clear":
                for form in word.forms:
                    names.setdefault(form, (slot, word.id))
    sides = {form: w.id for w in grammar.table if w.slot == "side" for form in w.forms}
    first, _, rest = said.partition(" ")
    if said in names:
        return _named(*names[said], said)
    if said in sides:
        return Wanted(side=sides[said], shown=said)
    if first in sides and names.get(rest, ("",))[0] == "quantity":
        return Wanted(quantity=names[rest][1], side=sides[first], shown=said)
    for meaning in grammar.meanings(tuple(said.split())):
        for statement in meaning.statements:
            match statement.entry:
                case Finding(term=term, zone=zone, side=side) if term or zone:
                    return Wanted(term=term, zone=zone, side=side, shown=said)
                case Shoe(item=item):
                    return Wanted(shoe=item, shown=said)
                case Work(action=action):
                    return Wanted(work=action, shown=said)
    near = process.extractOne(said, list(names), scorer=fuzz.ratio, score_cutoff=NEAR)
    if near is None:
        raise HandsfreeError(
            f"'{safe(text)}' is no measure, finding or place; 'handsfree words' lists them"
        )
    return _named(*names[near[0]], near[0], f"'{safe(text)}' taken for '{near[0]}'")


def _named(slot: str, id: str, shown: str, note: str = "") -> Wanted:
    return Wanted(**{slot: id, "shown": shown, "note": note})
