"""Plain words as a question. There is no query language: whatever order, whatever is left out."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

from rapidfuzz import fuzz, process

from handsfree.errors import HandsfreeError
from handsfree.finding.amounts import Range, Ranges
from handsfree.finding.days import MONTHS, SEASONS, DayWords
from handsfree.finding.measured import Meant, measured
from handsfree.finding.numbers import UNITS, Numbers, split
from handsfree.finding.question import STATUSES, Days, Group, Question, Understood
from handsfree.finding.vocabulary import Trade, Vocabulary
from handsfree.grammar.grammar import Grammar
from handsfree.log import Horse, Log
from handsfree.log.find_schema import SLOTS
from handsfree.log.store import name_key
from handsfree.sheets.files import printable

NEAR = 75.0
"""Likeness of 100 from which a word is taken for a slip of the typing."""
SHORTEST_SLIP = 4
"""Letters of the shortest word that is taken for another one."""

_SMALL = frozenset(
    "a an and any are as at by did do does for from had has have he her him his i in is it its "
    "me my of on or our over said say says she show so that the their them there they this to "
    "under us was we were what what's when where which who with find everything all branch "
    "horse horses visit visits foot feet mark marks".split()
)
_STATUS_WORDS = {
    **{name: name for name in STATUSES},
    "sure": "confirmed",
    "doubt": "doubtful",
    "doubts": "doubtful",
    "command": "commands",
}
_NEED_A_DAY = frozenset("since until till before after between".split())
_NUMBER_LIKE = frozenset("won ate two three four five six seven eight nine ten fore for".split())


@dataclass
class _Reading:
    """What was read so far."""

    meant: Meant = field(default_factory=dict)
    free: list[Group] = field(default_factory=list)
    horse: Horse | None = None
    days: Days = field(default_factory=Days)
    visits: int | None = None
    status: str | None = None
    ranges: list[Range] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    unused: list[str] = field(default_factory=list)


def understand(
    text: str,
    grammar: Grammar,
    log: Log,
    today: date,
    *,
    horse: str | None = None,
    limbs: Sequence[str] = (),
    since: str | None = None,
    until: str | None = None,
    status: str | None = None,
) -> Understood:
    """The words as a question to this log, with what else the options say.

    `since` and `until` are days in plain words. Raises HandsfreeError where they, or `horse`, are
    none, and with a question to the user where a number cannot be understood without guessing.
    """
    return _Reader(grammar, log, today).read(text, horse, limbs, since, until, status)


class _Reader:
    def __init__(self, grammar: Grammar, log: Log, today: date) -> None:
        self._grammar, self._log, self._today = grammar, log, today
        self._words = Vocabulary(grammar)
        self._numbers = Numbers(grammar)
        self._days = DayWords(today, self._numbers.read)
        self._ranges = Ranges(self._numbers)
        self._horses = {name_key(h.name): h for h in log.horses()}
        self._split_names = {tuple(split(h.name)): h for h in self._horses.values()}
        self._longest_name = max(map(len, self._split_names), default=0)

    def read(
        self,
        text: str,
        horse: str | None,
        limbs: Sequence[str],
        since: str | None,
        until: str | None,
        status: str | None,
    ) -> Understood:
        said = _Reading(status=status)
        if horse is not None:
            self._named(said, horse)
        if limbs:
            said.meant["limb",] = [self._words.named(limb.casefold()) for limb in limbs]
        for day, word in ((since, "since"), (until, "until")):
            if day is not None:
                self._option(said, day, word)
        kept = {*_SMALL, *UNITS, *MONTHS, *SEASONS, *_NUMBER_LIKE, *self._known_names()}
        words = self._words.respelled(split(text), kept)
        at = 0
        while at < len(words):
            at += self._take(said, words, at)
        return self._done(said)

    def _known_names(self) -> set[str]:
        return {word for name in self._split_names for word in name}

    def _option(self, said: _Reading, day: str, word: str) -> None:
        words = split(f"{word} {day}")
        found = self._days.read(words, 0) if len(words) > 1 else None
        if found is None or found.length < len(words):
            raise HandsfreeError(
                f"--{word} '{printable(day)}' is no day; say it as 2026-03-01, 'spring', "
                "'june 2025' or '6 weeks ago'"
            )
        said.days = said.days.within(found.days)

    def _take(self, said: _Reading, words: list[str], at: int) -> int:
        """Read what stands at a place; how many words it took."""
        if words[at] == "horse" and at + 1 < len(words):
            length = self._horse_at(words, at + 1)
            if length:
                self._set_horse(said, self._split_names[tuple(words[at + 1 : at + 1 + length])])
                return 1 + length
        if words[at : at + 2] == ["not", "confirmed"]:
            said.status = "unconfirmed"
            return 2
        size = _number_after(words, at, "size", self._numbers)
        if size is not None:
            own = self._log.index_words(f"{SLOTS['own']}{size[0]:g}")
            said.free.append(Group(f"size {size[0]:g}", ((f"{SLOTS['shoe']}size", *own),)))
            return size[1]
        number = self._ranges.read(words, at)
        if number is not None:
            said.ranges.append(number)
            return number.length
        when = self._days.read(words, at)
        if when is not None:
            said.days = said.days.within(when.days)
            said.visits = when.visits if when.visits is not None else said.visits
            return when.length
        trade, name = self._words.at(words, at), self._horse_at(words, at)
        if trade is not None and trade[1] >= name:
            if name:
                shown = " ".join(words[at : at + name])
                said.notes.append(
                    f"'{shown}' taken for the trade's word, not for the horse; "
                    f"'horse {shown}' is the horse"
                )
            said.meant.setdefault(trade[0].slot, []).append(trade[0])
            return trade[1]
        if name:
            self._set_horse(said, self._split_names[tuple(words[at : at + name])])
            return name
        if words[at] in _STATUS_WORDS:
            said.status = _STATUS_WORDS[words[at]]
            return 1
        return self._other(said, words, at)

    def _horse_at(self, words: Sequence[str], at: int) -> int:
        """How many words from here on are the name of a horse."""
        for length in range(min(self._longest_name, len(words) - at), 0, -1):
            if tuple(words[at : at + length]) in self._split_names:
                return length
        return 0

    def _set_horse(self, said: _Reading, horse: Horse) -> None:
        if said.horse is not None and said.horse.id != horse.id:
            said.notes.append(f"one horse at a time: {horse.name}, not {said.horse.name}")
        said.horse = horse

    def _named(self, said: _Reading, name: str) -> None:
        """The horse of `--horse`: exactly, else the nearest."""
        horse = self._horses.get(name_key(name))
        if horse is None:
            near = process.extractOne(
                name_key(name), list(self._horses), scorer=fuzz.ratio, score_cutoff=60
            )
            if near is None:
                raise HandsfreeError(
                    f"there is no horse '{printable(name)}' in the log ('handsfree horses')"
                )
            horse = self._horses[near[0]]
            said.notes.append(f"there is no horse '{name}'; taken for {horse.name}")
        said.horse = horse

    def _other(self, said: _Reading, words: list[str], at: int) -> int:
        """A word that is none of the trade's, no name, no day and no number."""
        word = words[at]
        if word in _NEED_A_DAY:
            said.notes.append(f"'{word}' not used: no day follows that is understood")
            return 1
        if word in _SMALL:
            return 1
        one = self._words.singular(word)
        if one is not None:
            trade = self._words.named(one)
            said.meant.setdefault(trade.slot, []).append(trade)
            return 1
        group = self._said(word)
        if group is not None:
            said.free.append(group)
            return 1
        return self._like(said, words, at)

    def _said(self, word: str) -> Group | None:
        """The words of the log that begin so."""
        if word.isascii() and word.isalpha():
            found = self._log.said_so(word) if len(word) > 2 else [word]
            alternatives = tuple((each,) for each in dict.fromkeys((word, *found)))
            return Group(f"'{word}'", alternatives) if found else None
        tokens = self._log.index_words(word)
        known = tokens and self._log.is_said(tokens)
        return Group(f"'{word}'", (tokens,)) if known else None

    def _like(self, said: _Reading, words: list[str], at: int) -> int:
        """The horse, trade word or word said that is most like a word nobody said."""
        best: tuple[float, str, Trade | Horse | None] = (0.0, "", None)
        length = 1
        for name, horse in self._split_names.items():
            typed = " ".join(words[at : at + len(name)])
            score = fuzz.ratio(typed, " ".join(name))
            if score > best[0]:
                best, length = (score, horse.name, horse), min(len(name), len(words) - at)
        word = words[at]
        near = process.extractOne(word, list(self._words.forms), scorer=fuzz.ratio)
        if near is not None and near[1] > best[0]:
            best, length = (near[1], near[0], self._words.named(near[0])), 1
        near = process.extractOne(word, self._log.words_said(), scorer=fuzz.ratio)
        if near is not None and near[1] > best[0]:
            best, length = (near[1], near[0], None), 1
        score, shown, meant = best
        typed = " ".join(words[at : at + length])
        if score < NEAR or len(typed) < SHORTEST_SLIP:
            said.unused.append(word)
            return 1
        said.notes.append(f"'{typed}' taken for '{shown}'")
        match meant:
            case Horse():
                self._set_horse(said, meant)
            case Trade():
                said.meant.setdefault(meant.slot, []).append(meant)
            case None:
                said.free.append(Group(f"'{shown}'", ((shown,),)))
        return length

    def _done(self, said: _Reading) -> Understood:
        asked, meant = measured(said.meant, said.ranges, self._grammar)
        if said.ranges[1:]:
            said.notes.append("only the first number with its measure is used")
        if said.unused:
            names = ", ".join(f"'{word}'" for word in said.unused)
            said.notes.append(f"not used: {names}: nobody said so, and it is no word of the trade")
        limb_first = sorted(meant, key=lambda slot: slot != ("limb",))
        question = Question(
            horse_id=said.horse.id if said.horse else None,
            horse=said.horse.name if said.horse else None,
            groups=(*(self._words.group(meant[slot]) for slot in limb_first), *said.free),
            amount=asked,
            days=said.days,
            visits=said.visits,
            status=said.status,
            today=self._today,
        )
        return Understood(question, tuple(said.notes))


def _number_after(
    words: Sequence[str], at: int, name: str, numbers: Numbers
) -> tuple[float, int] | None:
    """The number that follows a word, and how many words both take; None where none does."""
    found = numbers.read(words, at + 1) if words[at] == name else None
    return found and (found[0], 1 + found[1])
