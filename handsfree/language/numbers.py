"""Numbers as they are spoken in a stable: "inch and five eighths", "one eighty two", "sixteen one".

The words stand in grammar/said/numbers.toml. Pure.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

SIDED = frozenset(("inside", "outside", "medial", "lateral"))
"""After these a quarter is a place of the foot."""
POINT, AND, OF = "point", "and", "of"
OH = frozenset("oh o nought zero aught ought naught aughts oughts noughts".split())


@dataclass(frozen=True)
class Amount:
    """A number that was said, with its unit where one was.

    `start`, `end`: its words (end exclusive). `unit` is an id of the record contract or "week",
    "month", "day". `most`: the upper end of a range ("six to seven weeks"). `rough`: a word for
    a number ("a couple"). `text`: how a size is written ("00", "3").
    """

    start: int
    end: int
    value: Fraction
    unit: str | None = None
    most: Fraction | None = None
    rough: bool = False
    text: str | None = None

    @property
    def number(self) -> int | float:
        """The plain number."""
        return plain(self.value)


def plain(value: Fraction) -> int | float:
    """An int where it is whole, else a float of at most four decimals."""
    return int(value) if value.denominator == 1 else round(float(value), 4)


@dataclass(frozen=True)
class NumberWords:
    """The words of numbers and units, as grammar/said/numbers.toml lists them."""

    ones: Mapping[str, int]
    teens: Mapping[str, int]
    tens: Mapping[str, int]
    parts: Mapping[str, int]
    """A part of a whole: "eighths" → 8."""
    rough: Mapping[tuple[str, ...], Fraction]
    units: Mapping[tuple[str, ...], str]

    def unit_at(self, words: Sequence[str], at: int) -> tuple[str, int] | None:
        """The unit whose words begin at `at`, and where they end; the longest of several."""
        for length in (3, 2, 1):
            unit = self.units.get(tuple(words[at : at + length]))
            if unit is not None and at + length <= len(words):
                return unit, at + length
        return None


class NumberReader:
    """Finds amounts in words."""

    def __init__(self, said: NumberWords) -> None:
        self._said = said

    def at(self, words: Sequence[str], at: int) -> Amount | None:
        """The amount that begins with the word at `at`, the longest; None where none does."""
        said = self._said
        for length in (4, 3, 2, 1):
            rough = said.rough.get(tuple(words[at : at + length]))
            if (
                rough is not None
                and at + length <= len(words)
                and not _of_nothing(words, at, length)
            ):
                return self._with_unit(words, at, at + length, rough, rough=True)
        first = self._value(words, at)
        if first is None:
            return self._unit_first(words, at)
        value, end = first
        if _is(words, end, "to", "or") and (more := self._value(words, end + 1)) is not None:
            upper = self._with_unit(words, at, more[1], more[0])
            if more[0] > value and upper.unit is not None:
                return Amount(at, upper.end, value, upper.unit, more[0])
        return self._with_unit(words, at, end, value)

    def _with_unit(
        self, words: Sequence[str], start: int, end: int, value: Fraction, rough: bool = False
    ) -> Amount:
        """The amount with the unit that follows, and what may follow that."""
        at = end
        if _is(words, at, OF) and _is(words, at + 1, "an", "a", "inch"):
            at += 1
        if _is(words, at, "an", "a") and self._said.unit_at(words, at + 1):
            at += 1
        found = self._said.unit_at(words, at)
        if found is None:
            return Amount(start, end, value, rough=rough)
        unit, end = found
        if unit == "fortnight":
            return Amount(start, end, value * 2, "week")
        if unit == "hands":
            return self._hands(words, start, end, value)
        if (part := self._and_part(words, end)) is not None and value.denominator == 1:
            value, end = value + part[0], part[1]
        return Amount(start, end, value, unit)

    def _hands(self, words: Sequence[str], start: int, end: int, value: Fraction) -> Amount:
        """Hands and inches: "sixteen hands one" is written 16.1, "fifteen two hands" 15.2."""
        more = self._said.ones.get(words[end]) if end < len(words) else None
        if value.denominator == 1 and more is not None and more <= 3:
            value, end = value + Fraction(more, 10), end + 1
            if _is(words, end, "inches", "inch"):
                end += 1
        elif _is(words, end, AND) and _is(words, end + 2, "inch", "inches"):
            inches = self._said.ones.get(words[end + 1], 1 if words[end + 1] == "an" else 0)
            value, end = value + Fraction(inches, 10), end + 3
        elif _is(words, end, AND) and _is(words, end + 1, "a") and _is(words, end + 2, "half"):
            value, end = value + Fraction(2, 10), end + 3
        elif value.denominator == 2:
            value = value - Fraction(1, 2) + Fraction(2, 10)
        return Amount(start, end, value, "hands")

    def _unit_first(self, words: Sequence[str], at: int) -> Amount | None:
        """ "an inch and a half", "inch and five eighths", "a fortnight": a unit stands for one."""
        begin = at + 1 if _is(words, at, "a", "an") else at
        if begin > at and _is(
            words, begin, "good", "full", "bare", "scant", "clear", "big", "short"
        ):
            begin += 1
        found = self._said.unit_at(words, begin)
        if found is None:
            return None
        unit, end = found
        if unit == "fortnight":
            return Amount(at, end, Fraction(2), "week")
        part = self._and_part(words, end)
        if part is not None and unit in ("in", "cm", "mm"):
            return Amount(at, part[1], 1 + part[0], unit)
        if begin == at or unit not in ("in", "cm", "mm", "week", "month"):
            return None
        return Amount(at, end, Fraction(1), unit)

    # Numbers without their unit

    def _value(self, words: Sequence[str], at: int) -> tuple[Fraction, int] | None:
        part = self._part(words, at, alone=True)
        if part is not None:
            return part
        whole = self._whole(words, at)
        if whole is None:
            if _is(words, at, POINT) and at + 1 < len(words) and words[at + 1] in self._said.ones:
                return self._decimals(words, at, Fraction(0))
            return None
        value, end = whole
        if _is(words, end, POINT):
            decimals = self._decimals(words, end, value)
            if decimals is not None:
                return decimals
        mixed = self._and_part(words, end)
        if mixed is not None:
            return value + mixed[0], mixed[1]
        return value, end

    def _and_part(self, words: Sequence[str], at: int) -> tuple[Fraction, int] | None:
        """ "and a half", "and five eighths", or the part without "and" where that is plain."""
        if _is(words, at, AND):
            return self._part(words, at + 1)
        part = self._part(words, at)
        # "three quarter" is a part by itself; after a number only what cannot be a place is.
        if part is not None and part[1] - at == 2 and words[part[1] - 1] in self._said.parts:
            denominator = self._said.parts[words[part[1] - 1]]
            return part if denominator >= 8 else None
        return None

    def _decimals(
        self, words: Sequence[str], at: int, value: Fraction
    ) -> tuple[Fraction, int] | None:
        digits, end = "", at + 1
        while end < len(words) and len(digits) < 3:
            word = words[end]
            if word in self._said.ones:
                digits += str(self._said.ones[word])
            elif word in OH:
                digits += "0"
            elif not digits and word in self._said.tens:
                # "point twenty five"
                two = self._said.tens[word] + (
                    self._said.ones.get(words[end + 1], 0) if end + 1 < len(words) else 0
                )
                end += 2 if two % 10 else 1
                return value + Fraction(two, 100), end
            else:
                break
            end += 1
        return (value + Fraction(int(digits), 10 ** len(digits)), end) if digits else None

    def _part(
        self, words: Sequence[str], at: int, alone: bool = False
    ) -> tuple[Fraction, int] | None:
        """A part of a whole: "a half", "five eighths", "three quarter", "an eighth".

        `alone`: nothing whole stands before it, so that a quarter may be a place of the foot.
        """
        if at >= len(words):
            return None
        word = words[at]
        if word in ("a", "an", "one") and at + 1 < len(words):
            below = self._said.parts.get(words[at + 1])
            if below and (not alone or below != 4 or self._is_measured(words, at + 2)):
                return Fraction(1, below), at + 2
            return None
        if word in self._said.parts and word in ("half", "quarter"):
            beside = at > 0 and words[at - 1] == "by"
            if word == "quarter" and alone and at > 0 and words[at - 1] in SIDED:
                return None
            if not alone or beside or self._is_measured(words, at + 1):
                return Fraction(1, self._said.parts[word]), at + 1
            return None
        over = self._said.ones.get(word) or self._said.teens.get(word)
        if over and at + 1 < len(words):
            below = self._said.parts.get(words[at + 1])
            if below and over < below and (below != 4 or over == 3):
                return Fraction(over, below), at + 2
        return None

    def _is_measured(self, words: Sequence[str], at: int) -> bool:
        """Whether a unit follows: "quarter inch", "a quarter of an inch"."""
        if _is(words, at, "by"):
            return True
        while _is(words, at, OF, "an", "a"):
            at += 1
        return self._said.unit_at(words, at) is not None

    def _whole(self, words: Sequence[str], at: int) -> tuple[Fraction, int] | None:
        if at >= len(words):
            return None
        if words[at].isdecimal() and words[at].isascii():
            return Fraction(words[at]), at + 1
        if words[at] == "ought" and (at == 0 or words[at - 1] not in NOUGHTS):
            # "It ought to be": no number.
            return None
        if words[at] in OH and words[at] != "oh" and words[at] != "o":
            return Fraction(0), at + 1
        start = at
        if words[at] == "a" and _is(words, at + 1, "hundred", "thousand"):
            value, at = 1, at + 1
        elif words[at] == "hundred":
            value = 1
        else:
            below = self._below_hundred(words, at)
            if below is None:
                return None
            value, at = below
        if _is(words, at, "hundred"):
            value, at = value * 100, at + 1
            value, at = self._more(words, at, value, 100)
        elif _is(words, at, "thousand"):
            value, at = value * 1000, at + 1
            value, at = self._more(words, at, value, 1000)
        elif at - start == 1 and 1 <= value <= 29:
            value, at = self._juxtaposed(words, at, value)
        return Fraction(value), at

    def _more(self, words: Sequence[str], at: int, value: int, below: int) -> tuple[int, int]:
        """What is added to hundreds or thousands."""
        begin = at + 1 if _is(words, at, AND) else at
        more = self._whole(words, begin) if below == 1000 else None
        if more is None:
            tail = self._below_hundred(words, begin)
            more = None if tail is None else (Fraction(tail[0]), tail[1])
        if more is None or more[0] >= below:
            return value, at
        # "a hundred and a half" and "two hundred and three quarters" are no sums.
        if begin > at and self._part(words, begin) is not None:
            return value, at
        return value + int(more[0]), more[1]

    def _juxtaposed(self, words: Sequence[str], at: int, value: int) -> tuple[int, int]:
        """ "one eighty two", "two ten", "eleven fifty", "one oh five"."""
        if value <= 20 and _is(words, at, "oh", "o") and at + 1 < len(words):
            digit = self._said.ones.get(words[at + 1])
            if digit is not None:
                return value * 100 + digit, at + 2
        if at < len(words) and (words[at] in self._said.tens or words[at] in self._said.teens):
            below = self._below_hundred(words, at)
            assert below is not None
            if value < 10 or words[at] in self._said.tens:
                return value * 100 + below[0], below[1]
        return value, at

    def _below_hundred(self, words: Sequence[str], at: int) -> tuple[int, int] | None:
        if at >= len(words):
            return None
        word = words[at]
        if word in self._said.tens:
            value = self._said.tens[word]
            one = self._said.ones.get(words[at + 1]) if at + 1 < len(words) else None
            # "fifty three quarters": the three belongs to the part.
            if one is not None and self._part(words, at + 1) is None:
                return value + one, at + 2
            return value, at + 1
        value = self._said.teens.get(word, self._said.ones.get(word, -1))
        return (value, at + 1) if value >= 0 else None


NOUGHTS = frozenset("size sizes single double triple point number a and".split())
"""After these "ought" is a nought."""


def _of_nothing(words: Sequence[str], at: int, length: int) -> bool:
    """ "... clinches risen, a couple": with nothing behind it, it counts nothing of its own."""
    return words[at + length - 1] == "couple" and at + length == len(words)


def _is(words: Sequence[str], at: int, *wanted: str) -> bool:
    return at < len(words) and words[at] in wanted
