"""What can be said, read from grammar/said/: phrases and the concepts they stand for.

A concept is a (kind, id) pair, as ("term", "bruise") or ("state", "loose"). A phrase may stand
for several. Patterns are written with (one|or|the other), [optional words] and <macros>.
"""

import itertools
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from handsfree.errors import GrammarError
from handsfree.language.numbers import NumberReader, NumberWords

FILES = ("numbers.toml", "places.toml", "findings.toml", "done.toml", "talk.toml", "commands.toml")

Phrase = tuple[str, ...]

MOST_PHRASES = 5000
"""A pattern that stands for more is written as a thing and a state instead."""

SLOTS = {
    **{"term": "term", "clear": "term", "zone": "zone", "quantity": "quantity", "unit": "unit"},
    **{"work": "work", "made_work": "work", "shoe": "shoe", "plan": "plan", "nails": "nail"},
    **{"grade": "grade", "age": "age", "trend": "trend"},
}
"""Kind of concept → slot of words.csv, where the concepts' ids are those of entries."""

TIMES = frozenset({"day", "week", "fortnight", "month"})
"""Units that no measurement has."""

NAMED = frozenset({"<horse>", "<name>"})
"""What stands in a pattern for words that no table holds."""


@dataclass(frozen=True)
class Concept:
    """What a phrase stands for; `adds` are slots that the wording itself fills."""

    kind: str
    id: str
    adds: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Made:
    """A finding that a thing and a state make together, whichever comes first.

    `keeps`: the places that stay in the record.
    """

    term: str
    heads: frozenset[str]
    state: str
    keeps: frozenset[str]


@dataclass
class Tables:
    """Everything that can be said. Not changed once made."""

    phrases: dict[Phrase, tuple[Concept, ...]]
    starts: dict[str, int]
    """First word → the longest phrase that begins with it."""
    made: dict[str, tuple[Made, ...]]
    """State → what it makes, and with what."""
    made_work: tuple[tuple[str, ...], ...]
    """Work, the verb and the object that make it."""
    adds: dict[str, tuple[str, str]]
    """State → the slot that it fills besides, as the frog of "into the frog"."""
    nothing: frozenset[str]
    numbers: NumberReader
    commands: dict[Phrase, str] = field(default_factory=dict)
    horse_forms: dict[str, tuple[Phrase, ...]] = field(default_factory=dict)
    words: frozenset[str] = frozenset()
    dialect: dict[str, Phrase] = field(default_factory=dict)


def expanded(pattern: str, macros: Mapping[str, str]) -> list[Phrase]:
    """Every phrase of a pattern. Raises ValueError where brackets do not match."""
    text = re.sub(r"<(\w+)>", lambda m: f"({macros[m[1]]})" if m[1] in macros else m[0], pattern)
    tokens = re.findall(r"[()\[\]|]|[^\s()\[\]|]+", text)
    at = 0

    def choice(closing: str) -> list[Phrase]:
        nonlocal at
        found: list[Phrase] = []
        now: list[Phrase] = [()]
        while True:
            token = tokens[at] if at < len(tokens) else ""
            if token in (closing, "|"):
                found += now
                if token == closing:
                    return found
                now, at = [()], at + 1
                continue
            if len(now) > MOST_PHRASES:
                raise ValueError(f"more than {MOST_PHRASES} phrases in {pattern[:60]!r}")
            if token in ("", ")", "]"):
                raise ValueError(f"brackets do not match in {pattern!r}")
            at += 1
            if token == "(":
                parts = choice(")")
                at += 1
            elif token == "[":
                parts = [(), *choice("]")]
                at += 1
            else:
                parts = [split_word(token)]
            now = [(*a, *b) for a, b in itertools.product(now, parts)]

    tokens.append("\0")
    return [phrase for phrase in dict.fromkeys(choice("\0")) if phrase]


_ENDINGS = re.compile(r"^(.+?)('s|'d|'ve|'re|'ll|'m)$")
_THE = re.compile(r"^(t|th)'(.+)$")


def split_word(word: str) -> Phrase:
    """A word and what is joined to it: "frog's" → "frog", "'s"; "ain't" stays whole."""
    if found := _THE.match(word):
        return ("the", *split_word(found[2]))
    found = _ENDINGS.match(word)
    return (found[1], found[2]) if found and word not in NAMED else (word,)


def split_words(
    words: Iterable[str], dialect: Mapping[str, Phrase] | None = None
) -> tuple[list[str], list[int]]:
    """Split all words; beside them the place of each in the words given.

    `dialect`: words of some parts of the country and what they are elsewhere.
    """
    out: list[str] = []
    places: list[int] = []
    given = list(words)
    for at, word in enumerate(given):
        parts = split_word(word)
        if dialect:
            parts = tuple(w for part in parts for w in dialect.get(part, (part,)))
            joins = given[at + 1 : at + 2] in (["a"], ["the"], ["his"], ["her"])
            if parts == ("o",) and out and (joins or out[-1] not in _BEFORE_ZERO):
                parts = ("of",)
        out += parts
        places += [at] * len(parts)
    return out, places


_BEFORE_ZERO = frozenset("one two three four size double triple oh o zero single".split())
"""After these "o" is a nought, elsewhere a short "of"."""


class _Reading:
    """Gathers the tables while the files are read."""

    def __init__(self, place: Path) -> None:
        self.place = place
        self.phrases: dict[Phrase, dict[Concept, None]] = {}
        self.made: dict[str, list[Made]] = {}
        self.macros: dict[str, str] = {}
        self.adds: dict[str, tuple[str, str]] = {}

    def file(self, name: str) -> dict[str, Any]:
        try:
            with (self.place / name).open("rb") as stream:
                return tomllib.load(stream)
        except (OSError, tomllib.TOMLDecodeError) as error:
            raise GrammarError(f"said/{name}", None, str(error)) from None

    def patterns(self, name: str, text: str) -> list[Phrase]:
        try:
            return [
                phrase
                for pattern in re.split(r"[;\n]", text)
                if pattern.strip()
                for phrase in expanded(pattern.strip(), self.macros)
            ]
        except ValueError as error:
            raise GrammarError(f"said/{name}", None, str(error)) from None

    def add(self, name: str, concept: Concept, text: str) -> None:
        for phrase in self.patterns(name, text):
            self.phrases.setdefault(phrase, {}).setdefault(concept)

    def concepts(self, name: str) -> None:
        for kind, table in self.file(name).items():
            for id, said in table.items():
                if kind == "macro":
                    self.macros[id] = said
                elif kind == "adds":
                    slot, _, value = said.partition("=")
                    self.adds[id] = (slot, value)
                elif kind == "term":
                    self.term(name, id, said)
                elif kind == "made_work":
                    continue
                else:
                    self.add(name, Concept(kind, id), said)

    def term(self, name: str, id: str, said: Mapping[str, Any]) -> None:
        """One [term.…] table; a table in it is the same finding with a grade of its own."""
        id = _term_id(id)
        own = "; ".join((said.get("say", ""), *said.get("also", {})))
        for phrase in self.patterns(name, own):
            adds = said.get("also", {}).get(" ".join(phrase), {})
            concept = Concept("term", id, tuple(sorted(adds.items())))
            self.phrases.setdefault(phrase, {}).setdefault(concept)
        if "severe" in said:
            self.add(name, Concept("term", id, (("grade", "severe"),)), said["severe"]["say"])
        if "made" in said:
            heads, states = (
                frozenset(part.split("|")) for part in said["made"].replace(" ", "").split("+")
            )
            kept = said.get("keeps", [])
            keeps = heads if kept is True else frozenset(kept)
            for state in states:
                self.made.setdefault(state, []).append(Made(id, heads, state, keeps))


@cache
def read_tables(place: Path) -> Tables:
    """Read grammar/said/ (`place`). Raises GrammarError with the file and the reason."""
    missing = [name for name in FILES if not (place / name).is_file()]
    if missing:
        raise GrammarError(str(place), None, f"lacks {', '.join(missing)}")
    reading = _Reading(place)
    numbers = _numbers(reading)
    for name in ("places.toml", "findings.toml", "done.toml"):
        reading.concepts(name)
    done = reading.file("done.toml")
    talk = reading.file("talk.toml")
    nothing = frozenset(talk.pop("nothing")["small"].split())
    for phrase in reading.patterns("talk.toml", reading.file("talk.toml")["nothing"]["phrases"]):
        reading.phrases.setdefault(phrase, {}).setdefault(Concept("talk", "phrase"))
    dialect = {word: tuple(plain.split()) for word, plain in talk.pop("dialect").items()}
    for kind, table in talk.items():
        for id, said in table.items():
            reading.add("talk.toml", Concept(kind, id), said)
    commands: dict[Phrase, str] = {}
    said_commands = reading.file("commands.toml")
    for id, said in said_commands["command"].items():
        for phrase in reading.patterns("commands.toml", said):
            commands.setdefault(phrase, id)
    forms = {
        id: tuple(reading.patterns("commands.toml", said))
        for id, said in said_commands["horse"].items()
    }
    for phrase in reading.patterns("commands.toml", said_commands["limb"]["stand"]):
        reading.phrases.setdefault(phrase, {}).setdefault(Concept("moving", "moving"))
    starts: dict[str, int] = {}
    for phrase in reading.phrases:
        starts[phrase[0]] = max(starts.get(phrase[0], 0), len(phrase))
    made_work = tuple(
        (work, *pair.replace(" ", "").split("+"))
        for work, said in done["made_work"].items()
        for pair in said.split(";")
    )
    words = frozenset(w for phrase in reading.phrases for w in phrase) | nothing
    return Tables(
        {phrase: tuple(concepts) for phrase, concepts in reading.phrases.items()},
        starts,
        {state: tuple(found) for state, found in reading.made.items()},
        made_work,
        reading.adds,
        nothing,
        numbers,
        commands,
        forms,
        words,
        dialect,
    )


def read_ids(place: Path) -> dict[str, frozenset[str]]:
    """Slot of words.csv → the ids that grammar/said/ (`place`) has words for.

    Quick: no pattern is written out. Raises GrammarError as `read_tables` does.
    """
    reading = _Reading(place)
    said: dict[str, set[str]] = {}
    for name in ("places.toml", "findings.toml", "done.toml"):
        for kind, table in reading.file(name).items():
            said.setdefault(kind, set()).update(map(_term_id, table) if kind == "term" else table)
    said["unit"] = set(reading.file("numbers.toml").get("units", ())) - TIMES
    ids: dict[str, frozenset[str]] = {}
    for kind, slot in SLOTS.items():
        ids[slot] = ids.get(slot, frozenset()) | said.get(kind, frozenset())
    return ids


def _term_id(name: str) -> str:
    """[term.puncture_by_stone] is one more table of puncture."""
    return name.partition("_by_")[0]


def _numbers(reading: _Reading) -> NumberReader:
    data = reading.file("numbers.toml")
    units = {
        tuple(form.split()): unit
        for unit, said in data["units"].items()
        for form in said.split(";")
        if form.strip()
    }
    rough = {tuple(said.split()): Fraction(value) for said, value in data["rough"].items()}
    return NumberReader(
        NumberWords(data["ones"], data["teens"], data["tens"], data["parts"], rough, units)
    )
