"""His own words: what may be one, what his file of them holds, what a correction shows. Pure.

A word of his own is a phrase and what it means, said in words that are understood already; it
stands for these words wherever it is said (`grammar.synonyms`), but not within a remark.
"""

import json
import re
import tomllib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from handsfree.errors import HandsfreeError
from handsfree.grammar.grammar import Grammar, folder
from handsfree.grammar.lessons import FREE_SPEECH
from handsfree.grammar.synonyms import Synonyms, Words
from handsfree.grammar.wording import Wording
from handsfree.grammar.words import plain_words
from handsfree.language.commands import WITHOUT_CONTENT
from handsfree.language.reader import SURE_TO
from handsfree.language.spans import Span, cut
from handsfree.language.tables import read_tables, split_words
from handsfree.language.understand import Understanding
from handsfree.records.entries import Finding

MOST_WORDS = 6
MOST_MEANING_WORDS = 12
LEAST_LETTERS = 3
"""Shorter ones are heard in any talk (this and the two above: common sense, no source)."""

TABLE = "means"

HEAD = """\
# Your own words: what you say, and what it means in words that are understood already.
# 'handsfree words add "pritchel lame" --means "severe lameness"' writes this file anew;
# it may be edited by hand as well (such notes are not kept).

[means]
"""

_NO_CONTENT = WITHOUT_CONTENT | {"deny", "of_five"}
"""Kinds of concept that give no meaning by themselves."""

_ONLY_BESIDE = frozenset("detail dimension extent below verb nails gone state".split())
"""Kinds that even small words may be of, as "over" and "got": these alone say nothing."""


class NotTaken(HandsfreeError):
    """A phrase or a meaning cannot be a word of his own; the line says why."""


class Damaged(HandsfreeError):
    """The text of a file is no list of his own words; the line says why."""


@dataclass(frozen=True)
class OwnWord:
    """A phrase as he says it, and what it means in words that are understood."""

    phrase: str
    means: str


def parse(text: str) -> tuple[OwnWord, ...]:
    """What a file holds, in its order, not checked against the grammar. Raises Damaged."""
    try:
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise Damaged(f"is no TOML: {error}") from None
    unknown = [key for key in data if key != TABLE]
    if unknown:
        raise Damaged(f"holds {unknown[0]!r}, which is nothing; words stand under [{TABLE}]")
    table = data.get(TABLE, {})
    if not isinstance(table, dict):
        raise Damaged(f"'{TABLE}' is no table")
    for phrase, means in table.items():
        if not isinstance(means, str):
            raise Damaged(f"{phrase!r} must have its meaning as text in quotes")
    return tuple(OwnWord(phrase, means) for phrase, means in table.items())


def as_toml(words: Iterable[OwnWord]) -> str:
    """The text of the file."""
    return HEAD + "".join(f"{_quoted(w.phrase)} = {_quoted(w.means)}\n" for w in words)


def _quoted(text: str) -> str:
    # JSON's escapes are TOML's, but for DEL, which TOML wants escaped.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def synonyms(words: Iterable[OwnWord]) -> Synonyms:
    """The words as the grammar takes them."""
    return Synonyms({_words(w.phrase): _words(w.means) for w in words})


def _words(text: str) -> Words:
    return tuple(plain_words(text))


class Checks:
    """Says what may be a word of his own, by the grammar and the words he has already."""

    def __init__(self, grammar: Grammar, own: Iterable[OwnWord] = ()) -> None:
        self._plain = grammar.with_synonyms(Synonyms())
        self._own = tuple(own)
        self._synonyms = synonyms(self._own)
        self._understanding = Understanding(self._plain)
        self._tables = read_tables(folder() / "said")
        self._wording = Wording(grammar)

    def usable(self, words: Iterable[OwnWord]) -> tuple[tuple[OwnWord, ...], list[str]]:
        """Those that can be used, and for each other one a line that says why not."""
        found: list[OwnWord] = []
        refused: list[str] = []
        for word in words:
            try:
                taken = self.checked(word.phrase, word.means)
                if any(taken.phrase == other.phrase for other in found):
                    raise NotTaken(f"'{taken.phrase}' is there twice; the first one counts")
                found.append(taken)
            except NotTaken as error:
                refused.append(str(error))
        return tuple(found), refused

    def checked(self, phrase: str, means: str) -> OwnWord:
        """The word, in lower case and with numbers spelled out. Raises NotTaken."""
        word = OwnWord(" ".join(self._phrase(phrase)), " ".join(self._meaning(means)))
        if word.phrase in (w.phrase for w in self._own):
            old = next(w for w in self._own if w.phrase == word.phrase)
            raise NotTaken(f"'{word.phrase}' means '{old.means}' already; remove that first")
        return word

    def plainest(self, word: OwnWord) -> OwnWord:
        """The word with its meaning as the grammar's sentences say it, where they can.

        Listeners that are held to these sentences can then hear it.
        """
        words = _words(word.means)
        meaning = self._understanding.read(words).meaning
        if meaning is None or len(meaning.statements) != 1 or self._plain.sentences.accepts(words):
            return word
        entry = meaning.statements[0].entry
        if not isinstance(entry, Finding):
            return word
        said = self._wording.describe(entry)
        same = [each.statements for each in self._plain.meanings(_words(said))[:1]]
        return OwnWord(word.phrase, said) if same == [meaning.statements] else word

    def says(self, means: str) -> str:
        """What a meaning is taken for, in the words of records: "severe lameness"."""
        return self._says(_words(means))

    def _spelled(self, text: str) -> list[str]:
        return self._plain.digits_spelled(_words(text))[0]

    def _phrase(self, text: str) -> list[str]:
        words = self._spelled(text)
        if not words:
            raise NotTaken("the phrase is empty: give the words as you say them")
        said = " ".join(words)
        if len(words) > MOST_WORDS:
            raise NotTaken(f"'{said}' is too long: {MOST_WORDS} words at most")
        if not all(re.fullmatch("[a-z]+('[a-z]+)?", word) for word in words):
            raise NotTaken(f"'{said}': the letters a to z only, as it is said")
        if sum(map(len, words)) < LEAST_LETTERS:
            raise NotTaken(f"'{said}' is too short: {LEAST_LETTERS} letters at least")
        if FREE_SPEECH in words:
            raise NotTaken(f"'{said}': what follows '{FREE_SPEECH}' is kept as it is said")
        if tuple(words) in (_words(name) for name in self._plain.horse_names):
            raise NotTaken(f"'{said}' is the name of a horse")
        already = self._already(words)
        if already is not None:
            raise NotTaken(f"'{said}' {already}")
        return words

    def _already(self, words: Sequence[str]) -> str | None:
        """What a phrase means already, None where it is free."""
        meaning = self._understanding.read(words).meaning
        if meaning is not None and meaning.command:
            return f"is a command already: {meaning.command.replace('_', ' ')}"
        spans = self._spans(words)
        if (meaning is not None and meaning.correction) or any(s.get("repair") for s in spans):
            return "puts right what was said before it"
        if self._plain.sentences.accepts(words):
            return f"means something already: {self._says(words)}"
        if all(span.known for span in spans):
            to_others = any(span.get("to_others") for span in spans)
            if not any(map(self._has_content, spans)):
                what = (
                    "is said to the horse or to people"
                    if to_others
                    else "is small words alone, as come up in any talk"
                )
                return f"{what}; put a word of your own to it"
            if not to_others:
                return f"means something already: {self._says(words)}"
        whole = self._part_of(words)
        return None if whole is None else f"is a part of '{whole}', which means something already"

    def _part_of(self, words: Sequence[str]) -> str | None:
        """What is said in other notes and has these words in it, side by side."""
        inside = f" {' '.join(split_words(words)[0])} "
        for phrase in self._meant:
            if inside in f" {phrase} ":
                return phrase.replace(" '", "'")
        return None

    @cached_property
    def _meant(self) -> tuple[str, ...]:
        """Every phrase that has a meaning in a record or is a command."""
        tables = self._tables
        told = (
            phrase
            for phrase, concepts in tables.phrases.items()
            if any(c.kind not in _NO_CONTENT for c in concepts)
        )
        return tuple(" ".join(phrase) for phrase in (*told, *tables.commands))

    def _meaning(self, text: str) -> list[str]:
        words, _ = self._synonyms.put(self._spelled(text))
        if not words:
            raise NotTaken("the meaning is empty: say it in words that are understood already")
        said = " ".join(words)
        if len(words) > MOST_MEANING_WORDS:
            raise NotTaken(f"'{said}' is too long a meaning: {MOST_MEANING_WORDS} words at most")
        if FREE_SPEECH in words:
            raise NotTaken(f"'{said}': '{FREE_SPEECH}' is a command, and no meaning")
        spans = self._spans(words)
        strange = [span.text for span in spans if not span.known]
        if strange:
            raise NotTaken(f"the meaning '{said}' is not understood: '{strange[0]}' says nothing")
        reading = self._understanding.read(words)
        meaning = reading.meaning
        if meaning is not None and (meaning.command or meaning.correction):
            raise NotTaken(f"'{said}' is a command, and no meaning")
        if any(span.get("to_others") or span.get("repair") for span in spans):
            raise NotTaken(f"the meaning '{said}' is not understood: it is no note")
        if not any(map(self._has_content, spans)):
            raise NotTaken(f"the meaning '{said}' says nothing that goes into a record")
        if meaning is not None and (reading.bend > SURE_TO or reading.doubt):
            why = f": {reading.doubt}" if reading.doubt else ""
            raise NotTaken(f"the meaning '{said}' is understood only in part{why}")
        return words

    def _has_content(self, span: Span) -> bool:
        kinds = {concept.kind for concept in span.concepts} - _NO_CONTENT
        small = all(word in self._tables.nothing for word in span.words)
        return span.amount is not None or bool(kinds - _ONLY_BESIDE if small else kinds)

    def _spans(self, words: Sequence[str]) -> list[Span]:
        split, _ = split_words(words, self._tables.dialect)
        return cut(split, self._tables)

    def _says(self, words: Sequence[str]) -> str:
        meaning = self._understanding.read(words).meaning
        if meaning is not None and meaning.statements:
            return "; ".join(
                dict.fromkeys(
                    " ".join((*statement.limbs, self._wording.describe(statement.entry)))
                    for statement in meaning.statements
                )
            )
        return ", ".join(dict.fromkeys(self._named(self._spans(words)))) or " ".join(words)

    def _named(self, spans: Iterable[Span]) -> Iterator[str]:
        """What each span stands for, in words."""
        for span in spans:
            if span.amount is not None:
                yield span.text
            for concept in span.concepts:
                if concept.kind not in WITHOUT_CONTENT:
                    yield self._wording.word(concept.kind, concept.id)
                    break


def learn(heard: str, meant: str, checks: Checks) -> OwnWord:
    """The word of his own that a correction shows: `heard` words were meant as `meant`.

    What both have in common at either end is left out. Raises NotTaken where nothing is left, or
    what is left cannot be a word of his own.
    """
    phrase, means = _words(heard), _words(meant)
    if FREE_SPEECH in (*phrase[:1], *means[:1]):
        raise NotTaken("a remark is kept as it is said")
    if phrase == means:
        raise NotTaken("nothing was said otherwise than it was meant")
    first = _alike(phrase, means)
    last = _alike(phrase[first:][::-1], means[first:][::-1])
    while first + last >= min(len(phrase), len(means)):
        # One of the two is all there: the word beside it belongs to the phrase.
        first, last = (first, last - 1) if last else (first - 1, last)
        if first < 0:
            raise NotTaken("there is nothing to be learnt of no words")
    ends = (len(phrase) - last, len(means) - last)
    return checks.checked(" ".join(phrase[first : ends[0]]), " ".join(means[first : ends[1]]))


def _alike(one: Sequence[str], other: Sequence[str]) -> int:
    """How many words both begin with."""
    count = 0
    while count < min(len(one), len(other)) and one[count] == other[count]:
        count += 1
    return count


def taken_out(words: Iterable[OwnWord], phrase: str) -> tuple[tuple[OwnWord, ...], OwnWord]:
    """The words without the one of this phrase, and that one. Raises NotTaken where it is none."""
    kept = tuple(words)
    gone = next((w for w in kept if _words(w.phrase) == _words(phrase)), None)
    if gone is None:
        raise NotTaken(f"'{phrase}' is no word of your own; 'handsfree words own' lists them")
    return tuple(w for w in kept if w is not gone), gone
