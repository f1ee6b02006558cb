"""Typed text as words, and numbers and units among them: "3 1/2 inches", "85mm", "six"."""

import re
import unicodedata
from collections.abc import Iterable, Sequence
from fractions import Fraction

from handsfree.grammar.derive import Deriver
from handsfree.grammar.grammar import Grammar

UNITS: dict[str, str] = {
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("cm", "centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
    **dict.fromkeys(("in", "inch", "inches"), "in"),
    **dict.fromkeys(("hh", "hand", "hands"), "hands"),
    **dict.fromkeys(("deg", "degree", "degrees"), "deg"),
    **dict.fromkeys(("kg", "kgs", "kilo", "kilos", "kilogram", "kilograms"), "kg"),
    **dict.fromkeys(("lb", "lbs", "pound", "pounds"), "lb"),
}
MOST_WORDS = 9
"""Words of the longest number: "nine hundred and ninety nine and fifteen sixteenths"."""

_SIGNS = {
    "°": " degrees ",
    "″": " inches ",
    '"': " inches ",
    ">=": " at least ",
    "≥": " at least ",
    "<=": " at most ",
    "≤": " at most ",
    ">": " over ",
    "<": " under ",
    "\u2019": "'",
}
_TOKEN = re.compile(
    r"\d{4}-\d{2}-\d{2}(?!\d)"
    r"|\d+/\d+"
    r"|(?:(?<![^\s])-)?\d+(?:[.,]\d+)?(?:(?:st|nd|rd|th)\b)?"
    r"|[^\W\d_]+(?:'[^\W\d_]+)*"
)


def split(text: str) -> list[str]:
    """The words and numbers of typed text, in small letters, without other signs."""
    text = re.sub(r"(\d)([½¼¾⅛⅜⅝⅞])", r"\1 \2", text)
    for sign, words in _SIGNS.items():
        text = text.replace(sign, words)
    text = unicodedata.normalize("NFKC", text).replace("\u2044", "/")
    return [_plain(token) for token in _TOKEN.findall(text.casefold())]


def _plain(token: str) -> str:
    return token.removesuffix("'s") if len(token) > 3 and token != "what's" else token


class Numbers:
    """Reads numbers in digits and in the grammar's own words."""

    def __init__(self, grammar: Grammar) -> None:
        self._deriver = Deriver(grammar.rules)

    def read(self, words: Sequence[str], at: int) -> tuple[float, int] | None:
        """The number at a place and how many words it takes; None where there is none."""
        if at >= len(words):
            return None
        first = _digits(words[at])
        if first is not None:
            part = _fraction(words, at + 1)
            if part is not None and first == int(first) and "/" not in words[at]:
                return first + part if first >= 0 else first - part, 2
            if words[at + 1 : at + 3] == ["and", "a"] and words[at + 3 : at + 4] == ["half"]:
                return first + 0.5, 4
            return first, 1
        return self._said(words, at, ("numbers.number", "numbers.thousands"))

    def inches(self, words: Sequence[str], at: int) -> tuple[float, int] | None:
        """Part of an inch in words, as "half an inch"."""
        return self._said(words, at, ("numbers.fraction-of-inch",))

    def _said(
        self, words: Sequence[str], at: int, rules: Sequence[str]
    ) -> tuple[float, int] | None:
        for length in range(min(MOST_WORDS, len(words) - at), 0, -1):
            for rule in rules:
                found = self._deriver.derive(words[at : at + length], rule)
                if found:
                    return _value(tag for _, tag in found[0]), length
        return None


def _value(tags: Iterable[str]) -> float:
    value, decimals = Fraction(0), 0
    for tag in tags:
        if tag.startswith("+"):
            value += Fraction(tag[1:])
        elif tag.startswith("*"):
            value *= int(tag[1:])
        elif tag.startswith("."):
            decimals += 1
            value += Fraction(int(tag[1:]), 10**decimals)
    return float(value)


def _digits(word: str) -> float | None:
    if re.fullmatch(r"-?[0-9]{1,9}([.,][0-9]{1,6})?", word):
        return float(word.replace(",", "."))
    return _fraction((word,), 0)


def _fraction(words: Sequence[str], at: int) -> float | None:
    found = re.fullmatch(r"([0-9]{1,3})/([0-9]{1,3})", words[at]) if at < len(words) else None
    if found is None or not 0 < int(found[1]) < int(found[2]):
        return None
    return int(found[1]) / int(found[2])
