"""Numbers for the ear, in the words of grammar/numbers.jsgf, so that they can be said back."""

import math
import re
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction

from handsfree.grammar.compile import acceptor_of
from handsfree.grammar.derive import Deriver
from handsfree.grammar.grammar import Grammar

TOO_LARGE = 10**12
"""From here on a number is not spelled out: it is a slip, and saying it helps nobody."""


class NumberWords:
    """Says numbers; each method gives words without digits for any number at all."""

    def __init__(self, grammar: Grammar) -> None:
        self._words = grammar.number_words
        self._hundred = grammar.number_words(200)[-1]
        self._fractions = _fractions(grammar, "numbers.fraction")
        self._inches = _fractions(grammar, "numbers.fraction-of-inch")

    def whole(self, value: int) -> str:
        """A whole number: "two hundred six", "eighteen hundred", "two thousand one hundred"."""
        if value < 0:
            return f"minus {self.whole(-value)}"
        if value >= TOO_LARGE:
            return "a very large number"
        if value < 1000:
            return " ".join(self._words(value))
        if value >= 1_000_000:
            return " ".join(" ".join(self._words(int(digit))) for digit in str(value))
        thousands, rest = divmod(value, 1000)
        if thousands == 1 and rest >= 100:
            hundreds, below = divmod(value, 100)
            return self._joined(hundreds, self._hundred, below)
        start = "a thousand" if thousands == 1 else f"{self.whole(thousands)} thousand"
        if rest < 100:
            return f"{start} {self.whole(rest)}" if rest else start
        hundreds, below = divmod(rest, 100)
        return f"{start} {self._joined(hundreds, self._hundred, below)}"

    def _joined(self, count: int, of: str, rest: int) -> str:
        more = f" {self.whole(rest)}" if rest else ""
        return f"{self.whole(count)} {of}{more}"

    def decimal(self, value: float) -> str:
        """Up to two decimals, as "twelve point five"; "about" where there are more."""
        if abs(value) >= TOO_LARGE:
            return self.whole(TOO_LARGE if value > 0 else -TOO_LARGE)
        if math.isnan(value):
            return "no number"
        exact = Decimal(str(value))
        rounded = exact.quantize(Decimal("0.01"))
        whole, _, decimals = str(abs(rounded)).partition(".")
        said = self.whole(int(whole))
        if decimals.strip("0"):
            digits = (self.whole(int(d)) for d in decimals.rstrip("0"))
            said = f"{said} point {' '.join(digits)}"
        sign = "minus " if rounded < 0 else ""
        return f"{'' if exact == rounded else 'about '}{sign}{said}"

    def mixed(self, value: float) -> str | None:
        """Whole and sixteenths, as "five and three eighths"; None where it is no such number."""
        whole, part = self._split(value)
        if part is None:
            return None
        if not part:
            return self.whole(whole)
        return f"{self.whole(whole)} and {self._fractions[part]}"

    def part_of_inch(self, value: float) -> str | None:
        """Less than an inch, as "three quarters of an inch"; None where it is no such length."""
        whole, part = self._split(value)
        return self._inches.get(part) if part and not whole else None

    def _split(self, value: float) -> tuple[int, Fraction | None]:
        if not 0 <= value < TOO_LARGE:
            return 0, None
        part = Fraction(value) % 1
        return int(value), part if part == 0 or part in self._fractions else None

    def in_text(self, text: str) -> str:
        """Free words with every digit said: "size 4.5" as "size four point five"."""
        said = re.sub(r"\d+(?:\.\d+)?", lambda n: f" {self._of_text(n[0])} ", text)
        said = re.sub(r"\d", lambda d: f" {self._of_text(d[0])} ", said)
        return re.sub(r"\s+([.,;:!?])", r"\1", " ".join(said.replace("_", " ").split()))

    def _of_text(self, digits: str) -> str:
        if len(digits) > 12:
            return " ".join(self.whole(int(d)) for d in digits if d != ".")
        return self.decimal(float(digits)) if "." in digits else self.whole(int(digits))


def _fractions(grammar: Grammar, rule: str) -> Mapping[Fraction, str]:
    """Fraction → how the rule says it; of several ways "of an inch", "a" and "an" come first."""
    acceptor, deriver = acceptor_of(grammar.rules, rule), Deriver(grammar.rules)
    found: dict[Fraction, str] = {}
    todo: list[tuple[int, tuple[str, ...]]] = [(acceptor.start, ())]
    while todo:
        state, said = todo.pop()
        if state in acceptor.finals:
            value = sum((Fraction(t[1:]) for _, t in deriver.derive(said, rule)[0]), Fraction(0))
            text = " ".join(said)
            if value not in found or _rank(text) < _rank(found[value]):
                found[value] = text
        todo += [(to, (*said, word)) for word, to in acceptor.arcs[state].items()]
    return found


def _rank(text: str) -> tuple[bool, str]:
    return not text.endswith(" an inch"), text
