"""Remarks that warn of the horse itself, in the words they were heard in."""

import re
from datetime import date
from functools import cache

from handsfree.errors import GrammarError
from handsfree.grammar.grammar import folder
from handsfree.grammar.words import plain_words
from handsfree.records.entries import Remark
from handsfree.sums.history import History
from handsfree.visit.conditions import check_keys, read_toml

FILE = "temper.toml"


def warnings(history: History) -> list[tuple[date, Remark]]:
    """Remarks of any visit, also doubtful ones, that speak of such things; latest first."""
    pattern = _pattern()
    return [
        (visit.on, note.entry)
        for visit in reversed(history.visits)
        for note in visit.notes
        if isinstance(note.entry, Remark) and pattern.search(" ".join(plain_words(note.entry.text)))
    ]


@cache
def _pattern() -> re.Pattern[str]:
    data = read_toml(folder() / FILE, FILE)
    check_keys(data, ("words", "phrases"), lambda why: GrammarError(FILE, None, why))
    said: list[str] = []
    for key in ("words", "phrases"):
        given = data.get(key, [])
        if not isinstance(given, list) or not all(isinstance(w, str) and w for w in given):
            raise GrammarError(FILE, None, f"{key} is a list of words")
        said += given
    # Without a single word the pattern would match everything.
    alternatives = "|".join(re.escape(each) for each in said) or "(?!)"
    return re.compile(rf"\b(?:{alternatives})\b")
