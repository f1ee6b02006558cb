"""Reads natural speech: words as they came, statements with evidence out. Pure."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

from handsfree.grammar.meaning import Meaning, Statement
from handsfree.language import (
    again,
    clear,
    commands,
    findings,
    limbs,
    made,
    measures,
    places,
    plans,
    scope,
    second_look,
    shoes,
    tense,
    work,
)
from handsfree.language.clauses import LEFT_OVER, Frame, Utterance
from handsfree.language.settle import (
    PRONOUNS,
    merge,
    not_but,
    not_this_but_that,
    same_side,
    why,
)
from handsfree.language.spans import Span, cut
from handsfree.language.tables import Tables, split_words
from handsfree.records.entries import KINDS, Entry
from handsfree.records.limbs import LIMBS
from handsfree.records.sureness import DOUBTFUL_BELOW

UNEXPLAINED = 0.21
"""What each word costs of which no table knows anything."""


ASIDE = 0.11
"""What a word of the trade costs that no entry needs: one is in passing, two are too many."""
TELLING = "state thing nails verb quantity dimension shoe scale work nail_word plan".split()

SURE_TO = round(1 - DOUBTFUL_BELOW, 3)
"""What is no more unsure than this needs nobody to look at it."""

TOO_UNSURE = 0.7
"""Beyond this the utterance is unclear, not doubtful."""


MOST_WORDS = 80
"""Nobody says more in one breath: longer words are read out, pasted or made by a machine."""


ASKS = frozenset("how what when where who why whose which".split())


AUXILIARY = frozenset(
    "is are was were do does did has have had can could would will should shall may".split()
)


@dataclass(frozen=True)
class Understood:
    """What words say, and how unsure that is (0: not at all). `meaning` None: unclear.

    `limbs`: the feet that were named, also where the rest is unclear. `doubts`: why, in words.
    """

    meaning: Meaning | None
    unsure: float = 0.0
    limbs: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    unread: tuple[str, ...] = ()


class Reader:
    """Reads utterances with the tables and the names of the log's horses."""

    def __init__(self, tables: Tables, horses: Iterable[str] = ()) -> None:
        self.tables = tables
        self._horses = [(tuple(split_words(name.lower().split())[0]), name) for name in horses]

    def read(self, words: Sequence[str]) -> Understood:
        """Read one utterance: lower-case words without punctuation."""
        original = list(words)
        split, starts = split_words(original, self.tables.dialect)
        if not split or len(split) > MOST_WORDS:
            return Understood(None)
        command = commands.find(split, self.tables, self._horses)
        if command is not None:
            meaning = Meaning(
                command=command.id, horse=command.horse, horse_said=command.horse_said
            )
            return Understood(meaning)
        plain = cut(split, self.tables)
        spans = [self._named(span) for span in plain]
        spans, rather = scope.not_that_but(spans)
        spans, corrects = scope.put_right(spans)
        corrects = corrects or rather
        said = Utterance(spans)
        if _asks(split) or not spans:
            return Understood(None)
        if corrects and not any(_says_more(span) for span in spans):
            return _changed(said)
        self._find(said, original, starts)
        return _looked_at_again(self._judged(said, corrects), split, plain)

    def _named(self, span: Span) -> Span:
        """A horse's name in what is said of it is no word that has to be explained."""
        known = span.known or any(span.text in name for name, _ in self._horses)
        return span if known == span.known else replace(span, known=known)

    def tells(self, word: str) -> bool:
        """Whether a word by itself has a meaning of the trade."""
        concepts = self.tables.phrases.get((word,), ())
        return any(c.kind not in commands.WITHOUT_CONTENT for c in concepts)

    def _find(self, said: Utterance, original: list[str], starts: list[int]) -> None:
        copies = again.same_on_another(said)
        why(said)
        plans.plans(said, original, starts)
        self.named = limbs.mentions(said)
        shoes.shoes(said, self.tables, original, starts)
        findings.find(said, self.tables)
        made.shoes_off(said)
        work.work(said)
        measures.read(said)
        clear.find_clear(said)
        clear.find_gone(said)
        again.carry_on(said, self.named)
        places.give_places(said, self.tables)
        places.share_places(said)
        places.give_qualities(said)
        places.of_it(said)
        limbs.give_limbs(said, self.named)
        limbs.by_joint(said)
        merge(said)
        not_but(said)
        tense.not_of_today(said)
        scope.deny(said)
        scope.only_a_touch(said)
        tense.no_longer(said)
        scope.contradictions(said)
        same_side(said)
        not_this_but_that(said)
        again.copy(said, copies, self.named)
        again.nor(said, self.named)
        again.left_over(said, self.named)

    def _judged(self, said: Utterance, corrects: bool) -> Understood:
        named = tuple(dict.fromkeys(limb for m in self.named for limb in m.limbs))
        if not said.frames:
            return self._only_limbs(said, named)
        unread: list[str] = []
        for at, span in enumerate(said.spans):
            if at not in said.used:
                _weigh(said, span, unread, self.tables.nothing)
        statements = tuple(s for f in said.frames for s in _statements(f))
        unsure = round(min(1.0, said.unsure), 3)
        told = any(f.limbs for f in said.frames)
        if (unsure > TOO_UNSURE and not told) or not statements:
            return Understood(None, 1.0, named, tuple(said.doubts), tuple(unread))
        meaning = Meaning(statements, correction=corrects, changes=() if corrects else None)
        return Understood(meaning, unsure, named, tuple(said.doubts), tuple(unread))

    def _only_limbs(self, said: Utterance, named: tuple[str, ...]) -> Understood:
        others = [s for at, s in enumerate(said.spans) if at not in said.used]
        plain = all(s.known and not s.amount and _is_small(s) for s in others)
        told = [s for s in others if _tells(s) and not set(s.words) <= self.tables.nothing]
        plain = plain and len(told) < 2
        if named and plain and not any(s.get("to_others") for s in others):
            return Understood(Meaning(limbs=named), 0.0, named)
        return Understood(None, 1.0, named, (), tuple(s.text for s in others if not s.known))


def _looked_at_again(
    understood: Understood, words: Sequence[str], spans: Sequence[Span]
) -> Understood:
    """What words seldom tell is doubtful, and so is a reading that lacks what they mostly tell."""
    if understood.meaning is None or understood.unsure > SURE_TO:
        return understood
    found = second_look.surprises(words, spans, understood.meaning.statements)
    if not found:
        return understood
    names = ", ".join(each.split()[1].replace("_", " ") for each in found)
    doubts = (*understood.doubts, f"these words may mean something else ({names})")
    return replace(understood, unsure=round(understood.unsure + LEFT_OVER, 3), doubts=doubts)


def _says_more(span: Span) -> bool:
    """Whether a span says what the utterance is about, not only which side or how many."""
    if span.get("nail_word") or span.text in ("pulled", "driven", "drove") or span.text == "back":
        return False
    kinds = ("term", "quantity", "work", "shoe", "plan", "clear", "sound", "dimension")
    return any(span.get(kind) for kind in kinds) or span.get("thing") is not None


def _changed(said: Utterance) -> Understood:
    """A correction that gives only a side, a place, a number or a foot."""
    named = limbs.mentions(said)
    changes: dict[str, Any] = {}
    for at, span in enumerate(said.spans):
        before = {w for s in said.spans[max(0, at - 2) : at] for w in s.words}
        for kind in ("side", "zone", "grade", "age", "trend"):
            value = span.get(kind)
            if before & {"not", "isn't", "ain't"}:
                continue
            if value and at not in said.used and kind not in changes:
                changes[kind] = value
        if span.amount is not None and (span.text != "one" or not changes):
            changes["number"] = span.amount.number
            if span.amount.unit:
                changes["unit"] = span.amount.unit
    feet = tuple(dict.fromkeys(limb for m in named for limb in m.limbs))
    if not set(feet) <= set(LIMBS):
        feet = ()
    unread = tuple(s.text for s in said.spans if not s.known)
    if not changes and not feet:
        return Understood(None, 1.0, (), (), unread)
    # The marker and the slot tell enough to outweigh a word or two of talk.
    unsure = 0.1 * len(unread) if len(unread) < 3 else round(min(1.0, UNEXPLAINED * len(unread)), 3)
    kept = tuple(changes.items()) if changes else None
    return Understood(Meaning(limbs=feet, correction=True, changes=kept), unsure, feet, (), unread)


def _tells(span: Span) -> bool:
    return any(span.get(kind) for kind in ("thing", "state", "verb", "nails", "detail"))


def _is_small(span: Span) -> bool:
    kinds = {c.kind for c in span.concepts}
    return kinds <= {
        "moving",
        "talk",
        "split",
        "thing",
        "state",
        "verb",
        "plan",
        "extent",
        "detail",
        "nails",
        "to_others",
    }


def _asks(words: Sequence[str]) -> bool:
    """Whether it is a question to somebody: nothing in it is a note."""
    at = 0
    while at < len(words) - 1 and words[at] in commands.FILLERS - {"what", "could", "can", "would"}:
        at += 1
    first = words[at]
    following = words[at + 1] if at + 1 < len(words) else ""
    if first in ASKS and following in (
        AUXILIARY | {"'s", "much", "many", "about", "'d", "time", "way"}
    ):
        return True
    return first in AUXILIARY and following in PRONOUNS


def _weigh(said: Utterance, span: Span, unread: list[str], nothing: frozenset[str]) -> None:
    """What a span costs that no frame uses."""
    if not span.known:
        unread.append(span.text)
        said.doubt(f"'{span.text}' was not understood", UNEXPLAINED)
    elif span.get("to_others"):
        said.doubt("may be talk to somebody", 0.4)
    elif span.get("deny") and all(f.slots.get("action") == "return" for f in said.frames):
        # "Five weeks, no longer"
        return
    elif span.get("deny") and span.text not in ("no", "not much", "hardly"):
        said.doubt("a denial that belongs to nothing", 0.5)
    elif span.get("deny"):
        said.doubt("a denial that belongs to nothing", 0.4)
    elif span.amount is not None and span.text != "one":
        said.doubt(f"the number {span.text} belongs to nothing", 0.4)
    elif span.get("side") or span.get("zone") or span.get("plan") in ("call_vet", "xray"):
        said.doubt(f"'{span.text}' belongs to nothing", LEFT_OVER)
    elif any(span.get(kind) for kind in TELLING) and not set(span.words) <= nothing:
        said.doubt(f"'{span.text}' belongs to nothing", ASIDE)


def _statements(frame: Frame) -> list[Statement]:
    """The records of a frame: one, or one for each side where both are meant."""
    kind = KINDS[frame.kind]
    allowed = {f.name for f in fields(kind)}
    slots: dict[str, Any] = {
        key: value for key, value in frame.slots.items() if key in allowed and value is not None
    }
    if frame.denied and "denied" in allowed:
        slots["denied"] = True
        for key in ("grade", "trend"):
            slots.pop(key, None)
    sides = ["medial", "lateral"] if slots.get("side") == "both" else [slots.get("side")]
    found: list[Statement] = []
    for side in sides:
        values = dict(slots)
        values.pop("side", None)
        if side is not None:
            values["side"] = side
        entry: Entry = kind(**values)
        found.append(Statement(entry, frame.limbs or ()))
    return found
