from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from handsfree.grammar.grammar import Grammar, load
from handsfree.grammar.words import plain_words
from handsfree.log import Appended, Log, UtteranceRow
from handsfree.records.entries import belongs_to_horse, to_json

Say = Callable[..., Appended]


@pytest.fixture(scope="session")
def grammar() -> Grammar:
    return load()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "log.db"


@pytest.fixture
def log(path: Path) -> Iterator[Log]:
    with Log.open(path) as opened:
        yield opened


@pytest.fixture
def say(log: Log, grammar: Grammar) -> Say:
    """Say words in a visit; what is no sentence of the grammar is unclear."""

    def call(
        visit: str, words: str, limb: str | None = None, confidence: float = 0.97, **more: object
    ) -> Appended:
        reading = grammar.read(plain_words(words))
        entries = []
        command = None
        if reading.meaning is not None and confidence > 0.3:
            command = None if reading.meaning.statements else reading.meaning.command or "limb"
            for statement in reading.meaning.statements:
                limbs = statement.limbs or (limb,)
                if belongs_to_horse(statement.entry):
                    limbs = (None,)
                entries += [to_json(statement.entry) | {"limb": each} for each in limbs]
        status = "recorded" if entries else "command" if command else "unclear"
        row = UtteranceRow(
            heard=words,
            status=status,
            confidence=confidence,
            limb=limb,
            doubt=more.get("doubt"),  # type: ignore[arg-type]
            free_text=more.get("free_text"),  # type: ignore[arg-type]
        )
        return log.append(visit, row, entries, more.get("sound"))  # type: ignore[arg-type]

    return call


@pytest.fixture
def visit(log: Log) -> Callable[[str, str], str]:
    """Begin a visit to a horse, at noon of a day."""

    def call(horse: str, day: str) -> str:
        id = log.add_horse(horse).id
        return log.start_visit("typed", id, started_at=f"{day}T12:00:00.000+00:00").id

    return call
