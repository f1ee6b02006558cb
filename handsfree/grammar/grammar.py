"""The whole grammar in one object: what recognizers, parser and docs read."""

import copy
import random
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property, lru_cache
from pathlib import Path

from handsfree.errors import GrammarError
from handsfree.grammar import jsgf, words
from handsfree.grammar.acceptor import Acceptor, with_call
from handsfree.grammar.attention import CALL, attention_words, is_called
from handsfree.grammar.compile import acceptor_of
from handsfree.grammar.derive import Deriver, Sentence
from handsfree.grammar.lessons import Lesson, Taught, by_heard
from handsfree.grammar.limbs import NO_LIMB, NamedLimbs, limbs_named
from handsfree.grammar.meaning import Meaning, Statement, meaning_of
from handsfree.grammar.names import name_said
from handsfree.grammar.nearest import NearestSentence, SmallWords
from handsfree.grammar.rules import RuleSet, link
from handsfree.grammar.synonyms import Synonyms
from handsfree.records.entries import Remark

FILES = (
    "sentences.jsgf",
    "numbers.jsgf",
    "words.csv",
    "pronunciations.dict",
    "respellings.csv",
    "smallwords.csv",
    "soundalikes.csv",
    "twins.csv",
)

FILLER = 0.05
"""A word that costs no more than this to leave out ("um") is nothing that is said."""

TOO_CLOSE = 0.05
"""Two sentences of different meaning nearer to each other than this are both a guess."""


@dataclass(frozen=True)
class Reading:
    """What heard words were taken to say.

    `heard` as they came, `words` the allowed sentence they were bent into, `bend` how far
    (0: not at all), `meaning` what it says. A reading without meaning is unclear. `taught`
    is the sentence a person once put in place of just these words, empty where nobody did
    or where it says the same. `called`: the attention word came first; it is only in `heard`.
    `named` are the feet that the words of an unclear one name. `doubt`: why a person should look
    at it, in words.
    """

    heard: tuple[str, ...]
    words: tuple[str, ...] = ()
    bend: float = 0.0
    meaning: Meaning | None = None
    taught: tuple[str, ...] = ()
    called: bool = False
    named: NamedLimbs = NO_LIMB
    doubt: str | None = None

    @property
    def by_lesson(self) -> bool:
        """Whether it says what was taught, not what the words say by themselves."""
        return bool(self.taught) and self.taught == self.words


@cache
def folder() -> Path:
    """Where the grammar files are: inside the installed package, or beside it in a checkout."""
    here = Path(__file__).resolve().parent.parent
    inside = here / "data" / "grammar"
    return inside if inside.is_dir() else here.parent / "grammar"


class Grammar:
    """Rules, words and everything compiled from them. Immutable once made."""

    def __init__(
        self,
        rules: RuleSet,
        table: tuple[words.TradeWord, ...],
        pronunciations: dict[str, tuple[str, ...]],
        respellings: dict[str, tuple[str, ...]],
        small: SmallWords,
        sound_alikes: Mapping[str, Mapping[str, float]],
        twins: dict[tuple[str, ...], tuple[str, ...]],
        horse_names: tuple[str, ...] = (),
        lessons: Iterable[Taught] = (),
    ) -> None:
        self.rules = rules
        self.table = table
        self.pronunciations = pronunciations
        self.respellings = respellings
        self.horse_names = horse_names
        self.attention: tuple[str, ...] = ()
        self.synonyms = Synonyms()
        self._small = small
        self._sound_alikes = sound_alikes
        self._twins = twins
        self._deriver = Deriver(rules)
        self._lessons = by_heard(lessons)

    @cached_property
    def sentences(self) -> Acceptor:
        """The automaton of every sentence."""
        return acceptor_of(self.rules)

    @cached_property
    def acceptor(self) -> Acceptor:
        """The automaton of everything that may be said: sentences, also with words of the user's
        own, and the attention word."""
        return with_call(self.synonyms.within(self.sentences), self.attention)

    @cached_property
    def _nearest(self) -> NearestSentence:
        return NearestSentence(self.sentences, self._small, self._sound_alikes)

    def with_attention(self, text: str | None) -> "Grammar":
        """The same grammar with these one or two words to call attention by (None: without any).

        Raises HandsfreeError where they cannot be that.
        """
        words = () if text is None else attention_words(text, self._taken_for)
        if words == self.attention:
            return self
        other = copy.copy(self)
        other.attention = words
        other.__dict__.pop("acceptor", None)
        return other

    def _taken_for(self, word: str) -> str | None:
        return word if word in self.synonyms.vocabulary else self._nearest.taken_for(word)

    def with_synonyms(self, synonyms: Synonyms) -> "Grammar":
        """The same grammar with phrases of the user's own, before an attention word is given.

        The name of a horse stays its name.
        """
        other = copy.copy(self)
        names = (tuple(words.plain_words(name)) for name in self.horse_names)
        other.synonyms = synonyms.without(names)
        other.__dict__.pop("acceptor", None)
        return other

    def after_call(self, said: Sequence[str]) -> tuple[str, ...]:
        """What was said, without the attention word where it came first."""
        return tuple(said[len(self.attention) :] if self.is_called(said) else said)

    def is_called(self, said: Sequence[str]) -> bool:
        """Whether the attention word came first."""
        return is_called(said, self.attention)

    def with_lessons(self, lessons: Iterable[Taught]) -> "Grammar":
        """The same grammar, compiled no second time, with these lessons in place of its own."""
        other = copy.copy(self)
        other._lessons = by_heard(lessons)
        return other

    def meanings(self, sentence: Sequence[str], rule: str | None = None) -> list[Meaning]:
        """Every different meaning of an allowed sentence, in the order of the rules."""
        found = (meaning_of(sentence, tags) for tags in self._deriver.derive(sentence, rule))
        return list(dict.fromkeys(found))

    def read(self, heard: Sequence[str], sureness: Sequence[float | None] = ()) -> Reading:
        """Bend heard words into the nearest allowed sentence, or leave them unclear."""
        given = tuple(heard)
        if not self.is_called(given):
            return self._read(given, sureness, self.lesson(given))
        said = self.after_call(given)
        if not said:
            return Reading(given, meaning=Meaning(command=CALL), called=True)
        reading = self._read(said, sureness[len(self.attention) :], self.lesson(given))
        return replace(reading, heard=given, called=True)

    def _read(
        self, given: tuple[str, ...], sureness: Sequence[float | None], lesson: Lesson | None
    ) -> Reading:
        """The reading of words without the attention word; `lesson` is what was taught of them."""
        if not given:
            return Reading(given)
        if given[0] == "remark":
            statement = Statement(Remark(text=" ".join(given[1:])))
            return Reading(given, given, 0.0, Meaning((statement,), command="remark"))
        as_said, sure = self.digits_spelled(given, sureness)
        spelled, sure = self.synonyms.put(as_said, sure)
        reading = self._bent(given, spelled, sure)
        name = self._horse_named(as_said)
        if name is not None and not self._as_spelled(reading, spelled):
            return self._of_horse(given, name)
        return reading if lesson is None else self._weighed(reading, lesson)

    def refused(self, heard: Sequence[str]) -> Reading:
        """The reading of words that are no note: they may name a foot all the same."""
        said, _ = self.synonyms.put(self.after_call(heard))
        return Reading(tuple(heard), named=limbs_named(said, self.table, self._small.drop))

    def _of_horse(self, given: tuple[str, ...], name: tuple[str, ...]) -> Reading:
        """The horse of just this name, else one the log does not know.

        A name is never bent into another horse's, and what follows is not the last horse's.
        """
        said = ("horse", *name)
        meaning = next(iter(self.meanings(said)), None)
        if meaning is None or meaning.command != "horse":
            meaning = Meaning(command="horse", horse_said=" ".join(name))
        return Reading(given, said, 0.0, meaning)

    def _horse_named(self, spelled: Sequence[str]) -> tuple[str, ...] | None:
        """The name where a horse is being named, empty where it was not heard; else None."""
        filler = [w for w, cost in self._small.drop.items() if cost <= FILLER]
        said = [word for word in spelled if word not in filler or word in self._small.supply]
        known = self._trade_words | self._small.kept | self._small.drop.keys()
        names = [words.plain_words(name) for name in self.horse_names]
        return name_said(said, names, known, self._small.supply)

    @cached_property
    def _trade_words(self) -> frozenset[str]:
        """All words that are said otherwise than in a horse's name."""
        names = {word for name in self.horse_names for word in words.plain_words(name)}
        return frozenset(self.sentences.vocabulary) - names

    def _as_spelled(self, reading: Reading, spelled: Sequence[str]) -> bool:
        """Whether nothing but small words was left out or put in to make it a sentence."""
        small = self._small.drop.keys() | self._small.supply.keys()
        said, meant = ([w for w in each if w not in small] for each in (spelled, reading.words))
        return reading.meaning is not None and said == meant

    def twin(self, words: Sequence[str]) -> tuple[str, ...] | None:
        """Another sentence that sounds the same, where no listener can be sure of this one."""
        said = tuple(words)
        for heard, other in self._twins.items():
            for at in range(len(said) - len(heard) + 1):
                if said[at : at + len(heard)] == heard:
                    meant = said[:at] + other + said[at + len(heard) :]
                    if self.read(meant).meaning is not None:
                        return meant
        return None

    def lesson(self, heard: Sequence[str]) -> Lesson | None:
        """What corrections taught of just these words, whether or not `read` would take it."""
        if not self._lessons:
            return None
        # A lesson's words went through the log as text, with digits as they came, and with the
        # attention word where there was one.
        for given in dict.fromkeys((tuple(heard), self.after_call(heard))):
            for said in (given, self.digits_spelled(given, ())[0]):
                found = self._lessons.get(tuple(words.plain_words(" ".join(said))))
                if found is not None:
                    return found
        return None

    def _bent(
        self, given: tuple[str, ...], spelled: list[str], sure: list[float | None]
    ) -> Reading:
        """What the words say by themselves."""
        near = self._nearest.find(spelled, sure)
        if not near:
            return self.refused(given)
        best = self.meanings(near[0].words)[0]
        for other in near[1:]:
            if other.cost - near[0].cost < TOO_CLOSE and self.meanings(other.words)[0] != best:
                return replace(self.refused(given), words=near[0].words, bend=near[0].cost)
        return Reading(given, near[0].words, near[0].cost, best)

    def _weighed(self, reading: Reading, lesson: Lesson) -> Reading:
        """The reading, or what was taught of these words where that is nearer.

        Words that are a sentence as they stand keep their meaning: one mishearing must not
        turn every "fifty five" into "fifty four".
        """
        said = tuple(self.digits_spelled(lesson.meant, ())[0])
        meant = next(iter(self.meanings(said)), None)
        # Horses come and go, and so do sentences; and a lesson may never act as a command.
        if meant is None or meant.command or meant.correction or meant == reading.meaning:
            return reading
        own = reading.meaning
        if own is not None and own.command:
            return reading
        if own is None or (reading.bend > 0 and lesson.bend <= reading.bend):
            return Reading(reading.heard, said, lesson.bend, meant, said)
        return replace(reading, taught=said)

    def generate(self, rng: random.Random, rule: str | None = None) -> tuple[Sentence, Meaning]:
        """A random allowed sentence and its meaning."""
        sentence = self._deriver.generate(rng, rule)
        return sentence, meaning_of(sentence.words, sentence.tags)

    def phrases(self, count: int = 4000, seed: int = 1) -> list[str]:
        """Sample phrases for recognizers that learn word pairs from phrases, without repeats."""
        rng = random.Random(seed)
        made = {" ".join(self._deriver.generate(rng).words) for _ in range(count)}
        heard = [word for word in self.table if word.in_sentences]
        made |= {form for word in heard for form in word.forms}
        made |= {" ".join(phrase) for phrase in self.synonyms.means}
        if self.attention:
            call = " ".join(self.attention)
            made |= {call} | {
                f"{call} {word}" for word in self.sentences.arcs[self.sentences.start]
            }
        return sorted(made)

    def number_words(self, value: int) -> tuple[str, ...]:
        """A whole number from 0 to 999 in the grammar's own words. Raises ValueError beyond."""
        if value not in self._numbers:
            raise ValueError(f"the grammar has no words for {value} (0 to 999)")
        return self._numbers[value]

    @cached_property
    def _numbers(self) -> dict[int, tuple[str, ...]]:
        """Numbers 0–999 as words, read from the grammar's own rule."""
        result: dict[int, tuple[str, ...]] = {}
        numbers = acceptor_of(self.rules, "numbers.whole")
        todo: list[tuple[int, tuple[str, ...]]] = [(numbers.start, ())]
        while todo:
            state, said = todo.pop()
            if state in numbers.finals:
                tags = self._deriver.derive(said, "numbers.whole")[0]
                value = 0
                for _, tag in tags:
                    value = value * int(tag[1:]) if tag[0] == "*" else value + int(tag[1:])
                if value not in result or len(said) < len(result[value]):
                    result[value] = said
            todo += [(t, (*said, w)) for w, t in numbers.arcs[state].items()]
        return result

    def digits_spelled(
        self, heard: tuple[str, ...], sureness: Sequence[float | None] = ()
    ) -> tuple[list[str], list[float | None]]:
        """The words with whole numbers spelled out, and the sureness of each."""
        spelled: list[str] = []
        sure: list[float | None] = []
        for i, word in enumerate(heard):
            as_words = (
                self._numbers.get(int(word), (word,))
                if word.isdecimal() and word.isascii() and len(word) <= 3
                else (word,)
            )
            spelled += as_words
            sure += [sureness[i] if i < len(sureness) else None] * len(as_words)
        return spelled, sure


def load(
    place: Path | None = None, horse_names: Iterable[str] = (), lessons: Iterable[Taught] = ()
) -> Grammar:
    """Read the grammar files of a folder (default: the ones that come with handsfree).

    `lessons` are the corrections of the log, which `Grammar.read` weighs. Raises GrammarError
    with file, line and reason.

    The ones that come with handsfree are read and compiled once in a process for the same names
    and lessons.
    """
    names, taught = tuple(horse_names), tuple(lessons)
    return _load_ours(names, taught) if place is None else _load(place, names, taught)


@lru_cache(maxsize=4)
def _load_ours(names: tuple[str, ...], lessons: tuple[Taught, ...]) -> Grammar:
    return _load(folder(), names, lessons)


def _load(place: Path, names: tuple[str, ...], lessons: tuple[Taught, ...]) -> Grammar:
    missing = [name for name in FILES if not (place / name).is_file()]
    if missing:
        raise GrammarError(str(place), None, f"lacks {', '.join(missing)}")
    table = words.read_table(place / "words.csv")
    numbers = jsgf.read(place / "numbers.jsgf")
    rules = link(
        jsgf.read(place / "sentences.jsgf"),
        {
            "numbers": numbers,
            "words": words.as_grammar(table),
            "names": words.names_grammar(names),
        },
    )
    return Grammar(
        rules,
        table,
        words.read_pronunciations(place / "pronunciations.dict"),
        words.read_respellings(place / "respellings.csv"),
        _read_small_words(place / "smallwords.csv"),
        words.read_sound_alikes(place / "soundalikes.csv"),
        words.read_twins(place / "twins.csv"),
        names,
        lessons,
    )


def _read_small_words(path: Path) -> SmallWords:
    drop: dict[str, float] = {}
    supply: dict[str, float] = {}
    kept: set[str] = set()
    for line, row in words.csv_rows(path, ("word", "drop", "supply")):
        try:
            if row["drop"] == "never":
                kept.add(row["word"])
            else:
                drop[row["word"]] = float(row["drop"])
            if row["supply"]:
                supply[row["word"]] = float(row["supply"])
        except ValueError:
            raise GrammarError(path.name, line, "drop and supply are numbers, or 'never'") from None
    return SmallWords(drop, supply, frozenset(kept))
