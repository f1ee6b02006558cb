"""After one slot was changed: what of the rest still goes with it."""

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations
from typing import Any

from handsfree.grammar.wording import Wording
from handsfree.records.entries import Entry, Finding, Measurement, Nails, Plan, Shoe
from handsfree.review.sayable import Sayable

DROPPED_FIRST = ("trend", "age", "grade", "side", "zone", "below_hairline_mm", "extent_mm")
"""What gives way, in this order, where it does not go with a newly chosen word."""


class Fitting:
    """Makes entries that the grammar can say out of ones that it cannot."""

    def __init__(self, sayable: Sayable, wording: Wording, units: tuple[str, ...]) -> None:
        self._sayable, self._wording, self._units = sayable, wording, units

    def fitted(self, entry: Entry, name: str) -> Entry | None:
        """The entry without what does not go with its slot `name`; None where nothing helps."""
        if name == "limb":
            return entry
        if isinstance(entry, Finding) and name == "term" and self._says_its_place(entry):
            entry = replace(entry, zone=None)
        candidates = (entry, *self._variants(entry, name))
        return next((each for each in candidates if self._sayable.can_say(each)), None)

    def _says_its_place(self, entry: Finding) -> bool:
        """Whether the place is among the words of the term, as in "white line disease"."""
        place = self._wording.word("zone", entry.zone)
        return bool(place) and f" {place} " in f" {self._wording.word('term', entry.term)} "

    def _variants(self, entry: Entry, name: str) -> Iterator[Entry]:
        """The entry with less and less of what was said of the old word."""
        match entry:
            case Measurement() if name == "quantity":
                yield from (replace(entry, unit=unit) for unit in self._units)
                yield from (replace(entry, unit=unit, side=None) for unit in self._units)
            case Shoe() if name == "item":
                yield replace(entry, detail=None)
                details = self._sayable.details.get(entry.item or "", ())
                yield from (replace(entry, detail=detail) for detail in details)
            case Nails() if name == "action":
                yield replace(entry, side=None)
            case Plan() if name == "action":
                yield replace(entry, weeks=None, text=None)
            case Finding() if name == "term":
                said = [s for s in DROPPED_FIRST if getattr(entry, s) is not None]
                for count in range(1, len(said) + 1):
                    for gone in combinations(said, count):
                        yield _without(entry, gone)


def _without(entry: Finding, gone: tuple[str, ...]) -> Finding:
    nothing: dict[str, Any] = dict.fromkeys(gone)
    return replace(entry, **nothing)
