"""One slot of an entry put right: what was picked or typed becomes a value."""

import re
from dataclasses import replace

from handsfree.grammar.wording import Wording
from handsfree.records.entries import Entry, Finding, Measurement, Plan, Remark, Shoe
from handsfree.records.units import HANDS, MM_PER_UNIT, hands_and_inches, to_mm
from handsfree.review.choices import LABELS, Choices
from handsfree.review.sayable import Sayable
from handsfree.review.sayings import Sayings

TOO_LARGE = 10_000
"""No number of a horse is that large in any unit of the grammar."""


class Unusable(ValueError):
    """A value that cannot be put there; the text says why, in one line."""


class Putting:
    """Puts values into slots. Unlikely numbers are taken; only what is no number is not."""

    def __init__(
        self, choices: Choices, sayable: Sayable, sayings: Sayings, wording: Wording
    ) -> None:
        self._choices, self._sayable, self._sayings = choices, sayable, sayings
        self._wording = wording

    def put(self, entry: Entry, name: str, said: str) -> Entry:
        """The entry with one slot changed, and without what does not go with it any more.

        Raises Unusable for a slot it has not and for a value that is none.
        """
        if name not in self._choices.names(entry):
            raise Unusable(f"a {entry.kind} has no such thing here: {name}")
        if self._choices.is_free(entry, name):
            return self._free(entry, name, " ".join(said.split()))
        known, value = self._choices.meant(entry, name, said)
        changed = self._choices.changed(entry, name, value) if known else None
        if changed is None:
            raise Unusable(f"{LABELS[name]}: there is no '{' '.join(said.split())}' here")
        fitted = self._choices.fitted(changed, name)
        if fitted is None:
            raise Unusable(f"'{self._wording.describe(changed)}' does not go together")
        return fitted

    def _free(self, entry: Entry, name: str, said: str) -> Entry:
        if name == "text" and isinstance(entry, Remark | Plan):
            if not said:
                raise Unusable("nothing was said")
            return replace(entry, text=said)
        if name == "detail" and isinstance(entry, Shoe):
            return self._detail(entry, said)
        if isinstance(entry, Measurement):
            return self._measure(entry, said)
        if isinstance(entry, Finding):
            return replace(entry, **{name: self._length(said)})  # type: ignore[arg-type]
        none = said.lower() in {"", "not said"} and name == "count"
        number = None if none else self._whole(said)
        return replace(entry, **{name: number})  # type: ignore[arg-type]

    def _detail(self, entry: Shoe, said: str) -> Shoe:
        number = self._number(said)
        detail = f"{number:g}" if number is not None else " ".join(self._sayings.words(said))
        changed = replace(entry, detail=detail)
        if number is None and not self._sayable.can_say(changed):
            raise Unusable(f"'{said}' is no {self._wording.word('shoe', entry.item)}")
        return changed

    def _measure(self, entry: Measurement, said: str) -> Measurement:
        """With a number, and with the unit it is given in if it is one of this quantity's."""
        number, unit = self._with_unit(said)
        if unit is not None and not self._sayable.can_say(replace(entry, unit=unit)):
            raise Unusable(f"{self._wording.word('quantity', entry.quantity)} is not in {unit}")
        if (unit or entry.unit) == HANDS:
            try:
                hands_and_inches(number)
            except ValueError as error:
                raise Unusable(str(error)) from None
        changed = replace(entry, value=number)
        return changed if unit is None else replace(changed, unit=unit, unit_inferred=False)

    def _length(self, said: str) -> float | None:
        if said.lower() in {"", "not said"}:
            return None
        number, unit = self._with_unit(said)
        if unit not in (None, *MM_PER_UNIT):  # hands are of the horse's height alone
            raise Unusable(f"'{said}' is no length (mm, cm, in)")
        return to_mm(number, unit or "mm")

    def _whole(self, said: str) -> int:
        number = self._number(said)
        if number is None or number != int(number):
            raise Unusable(f"'{said}' is no whole number")
        return int(number)

    def _with_unit(self, said: str) -> tuple[float, str | None]:
        unit = None
        number = self._number(said)
        if number is None:
            for unit, forms in self._choices.unit_words.items():
                for form in forms:
                    bare = said.lower().removesuffix(form).rstrip()
                    number = self._number(bare) if bare != said.lower() else None
                    if number is not None:
                        return number, unit
            raise Unusable(f"'{said}' is no number")
        return number, unit

    def _number(self, said: str) -> float | None:
        """A number in digits, with a fraction or in words; None where it is none."""
        found = re.fullmatch(r"(\d+)(?:[.,](\d+))?", said, re.ASCII)
        part = re.fullmatch(r"(?:(\d+)[ -])?(\d+)/(\d+)", said, re.ASCII)
        value: float
        if found:
            value = float(f"{found[1]}.{found[2] or 0}")
        elif part and int(part[3]):
            value = int(part[1] or 0) + int(part[2]) / int(part[3])
        else:
            return self._in_words(said)
        if value >= TOO_LARGE:
            raise Unusable(f"{said} is too large a number")
        return int(value) if value == int(value) else value

    def _in_words(self, said: str) -> float | None:
        """A number as it is spoken, read in a sentence that takes any."""
        named = self._wording.word("quantity", "toe_length"), self._wording.word("unit", "mm")
        weighed = self._wording.word("quantity", "weight"), self._wording.word("unit", "kg")
        for before, after in (named, weighed):
            words = [*before.split(), *said.lower().split(), *after.split()]
            meaning = self._sayings.exact(words)
            if meaning and isinstance(meaning.statements[0].entry, Measurement):
                return meaning.statements[0].entry.value
        return None
