from collections.abc import Callable
from datetime import date

import pytest

from handsfree.dialogue.session import Session
from handsfree.grammar import Grammar, load
from handsfree.grammar.words import plain_words
from handsfree.records.entries import Entry
from handsfree.sums.history import DayVisit, History, HorseFacts, Noted

Told = Callable[..., History]


@pytest.fixture(scope="session")
def grammar() -> Grammar:
    return load()


@pytest.fixture(scope="session")
def told(grammar: Grammar) -> Told:
    """A history spoken word by word: told(v2025_01_10=["left hind trimmed"])."""

    def make(horse: HorseFacts | None = None, **visits: list[str]) -> History:
        days = []
        for name, said in visits.items():
            session = Session()
            entries: list[Entry] = []
            for text in said:
                outcome = session.take(grammar.read(plain_words(text)), 1.0, 0.0, 1.0)
                assert outcome is not None
                assert outcome.status != "unclear", text
                entries += outcome.entries
            day = date.fromisoformat(name[1:].replace("_", "-"))
            days.append(DayVisit(day, tuple(Noted(e) for e in entries)))
        return History(horse or HorseFacts("Bramble", "riding"), tuple(days))

    return make
