"""The phrases that are read at a voice set-up; they are data, in grammar/voice.toml."""

import tomllib
from dataclasses import dataclass
from pathlib import Path

from handsfree.errors import GrammarError
from handsfree.grammar.grammar import Grammar, folder
from handsfree.grammar.meaning import Meaning
from handsfree.grammar.words import plain_words

COUNT = 20
FILE = "voice.toml"


@dataclass(frozen=True)
class Phrase:
    """Something to read, its number from 1, and what it means."""

    number: int
    text: str
    meaning: Meaning


def read_phrases(grammar: Grammar, place: Path | None = None) -> tuple[Phrase, ...]:
    """The phrases in order, from `place` (default: where the grammar's files are).

    Raises GrammarError naming the phrase that is no sentence of the grammar.
    """
    path = (place or folder()) / FILE
    try:
        with path.open("rb") as file:
            said = tomllib.load(file).get("say")
    except OSError as error:
        raise GrammarError(FILE, None, f"cannot be read: {error.strerror}") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise GrammarError(FILE, None, f"is no TOML: {error}") from error
    if not isinstance(said, list) or len(said) != COUNT or len({*map(str, said)}) != COUNT:
        raise GrammarError(FILE, None, f"'say' must be a list of {COUNT} different phrases")
    return tuple(_phrase(grammar, number, text) for number, text in enumerate(said, 1))


def _phrase(grammar: Grammar, number: int, text: object) -> Phrase:
    words = tuple(plain_words(text)) if isinstance(text, str) else ()
    meanings = grammar.meanings(words) if words else []
    if not meanings:
        raise GrammarError(FILE, None, f"phrase {number} ({text}) is no sentence of the grammar")
    return Phrase(number, " ".join(words), meanings[0])
