"""Reads natural speech: words as they came, statements with evidence out. Pure."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from typing import Any

from handsfree.grammar.meaning import Meaning, Statement
from handsfree.language import amounts, commands, deeds, limbs, marks, scope
from handsfree.language.clauses import Frame, Utterance
from handsfree.language.spans import Span, cut
from handsfree.language.tables import Phrase, Tables, split_words
from handsfree.records.entries import KINDS, Entry

UNEXPLAINED = 0.21
"""What each word costs of which no table knows anything."""
LEFT_OVER = 0.25
"""What a side, a place or a number costs that belongs to nothing."""
TOO_UNSURE = 0.7
"""Beyond this the utterance is unclear, not doubtful."""

ASKS = frozenset("how what when where who why whose which".split())
AUXILIARY = frozenset(
    "is are was were do does did has have had can could would will should shall may".split()
)
PRONOUNS = frozenset("he she it you i we they that this there his her your".split())


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
        if not split:
            return Understood(None)
        command = commands.find(split, self.tables, self._horses)
        if command is not None:
            meaning = Meaning(
                command=command.id, horse=command.horse, horse_said=command.horse_said
            )
            return Understood(meaning)
        spans = cut(split, self.tables)
        spans, rather = scope.not_that_but(spans)
        spans, corrects = scope.put_right(spans)
        corrects = corrects or rather
        said = Utterance(spans)
        if _asks(split) or not spans:
            return Understood(None)
        if corrects and not any(_says_more(span) for span in spans):
            return _changed(said)
        self._find(said, original, starts)
        return self._judged(said, corrects)

    def tells(self, word: str) -> bool:
        """Whether a word by itself has a meaning of the trade."""
        concepts = self.tables.phrases.get((word,), ())
        return any(c.kind not in commands.WITHOUT_CONTENT for c in concepts)

    def _find(self, said: Utterance, original: list[str], starts: list[int]) -> None:
        copies = _same_on_another(said)
        _why(said)
        deeds.plans(said, original, starts)
        self.named = limbs.mentions(said)
        deeds.shoes(said, self.tables, original, starts)
        marks.find(said, self.tables)
        marks.shoes_off(said)
        deeds.work(said)
        amounts.read(said)
        marks.find_clear(said)
        marks.find_gone(said)
        marks.give_places(said, self.tables)
        marks.give_qualities(said)
        marks.of_it(said)
        limbs.give_limbs(said, self.named)
        limbs.by_joint(said)
        _merge(said)
        _not_but(said)
        _perhaps_later(said)
        scope.deny(said)
        scope.only_a_touch(said)
        _copy(said, copies, self.named)

    def _judged(self, said: Utterance, corrects: bool) -> Understood:
        named = tuple(dict.fromkeys(limb for m in self.named for limb in m.limbs))
        if not said.frames:
            return self._only_limbs(said, named)
        unread: list[str] = []
        for at, span in enumerate(said.spans):
            if at not in said.used:
                _weigh(said, span, unread)
        statements = tuple(s for f in said.frames for s in _statements(f))
        unsure = round(min(1.0, said.unsure), 3)
        if unsure > TOO_UNSURE or not statements:
            return Understood(None, 1.0, named, tuple(said.doubts), tuple(unread))
        meaning = Meaning(statements, correction=corrects, changes=() if corrects else None)
        return Understood(meaning, unsure, named, tuple(said.doubts), tuple(unread))

    def _only_limbs(self, said: Utterance, named: tuple[str, ...]) -> Understood:
        others = [s for at, s in enumerate(said.spans) if at not in said.used]
        plain = all(s.known and not s.amount and _is_small(s) for s in others)
        if named and plain and not any(s.get("to_others") for s in others):
            return Understood(Meaning(limbs=named), 0.0, named)
        return Understood(None, 1.0, named, (), tuple(s.text for s in others if not s.known))


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
    if not set(feet) <= set(limbs.FRONT + limbs.HIND):
        feet = ()
    unread = tuple(s.text for s in said.spans if not s.known)
    if not changes and not feet:
        return Understood(None, 1.0, (), (), unread)
    # The marker and the slot tell enough to outweigh a word or two of talk.
    unsure = 0.1 * len(unread) if len(unread) < 3 else round(min(1.0, UNEXPLAINED * len(unread)), 3)
    kept = tuple(changes.items()) if changes else None
    return Understood(Meaning(limbs=feet, correction=True, changes=kept), unsure, feet, (), unread)


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


def _why(said: Utterance) -> None:
    """ "So he'll not catch himself": why it was done, which no record keeps."""
    for at in range(1, len(said.spans) - 2):
        words = [w for s in said.spans[at : at + 5] for w in s.words]
        if words[0] != "so" or words[1] not in PRONOUNS:
            continue
        if set(words[2:6]) & {"not", "don't", "doesn't", "won't", "can't", "'ll", "can", "never"}:
            end = next(
                (
                    i
                    for i in range(at, len(said.spans))
                    if said.spans[i].amount or said.spans[i].get("limb")
                ),
                len(said.spans),
            )
            said.used |= set(range(at, end))


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


def _weigh(said: Utterance, span: Span, unread: list[str]) -> None:
    """What a span costs that no frame uses."""
    if not span.known:
        unread.append(span.text)
        said.doubt(f"'{span.text}' was not understood", UNEXPLAINED)
    elif span.get("to_others"):
        said.doubt("may be talk to somebody", 0.4)
    elif span.get("deny") and span.text not in ("no", "not much", "hardly"):
        said.doubt("a denial that belongs to nothing", 0.5)
    elif span.get("deny"):
        said.doubt("a denial that belongs to nothing", 0.4)
    elif span.amount is not None and span.text != "one":
        said.doubt(f"the number {span.text} belongs to nothing", 0.4)
    elif span.get("side") or span.get("zone") or span.get("plan") in ("call_vet", "xray"):
        said.doubt(f"'{span.text}' belongs to nothing", LEFT_OVER)


def _same_on_another(said: Utterance) -> list[int]:
    """ "Flare on the near fore same on the off": where what was said is said of another foot."""
    found = []
    for at, span in enumerate(said.spans):
        if span.text in limbs.CALLS_FOR_LIMB and at:
            near = said.spans[at + 1 : at + 5]
            limb = next((i for i, s in enumerate(near) if s.get("limb") or s.get("relative")), None)
            if limb is not None and all(not s.concepts or s.get("moving") for s in near[:limb]):
                said.used.add(at)
                found.append(at)
    return found


def _merge(said: Utterance) -> None:
    """The same finding said twice in one breath is one: "dead lame, won't put it down"."""
    for frame in list(said.frames):
        if frame.kind == "nails" or frame not in said.frames:
            continue
        for other in [f for f in said.frames if f is not frame and f.at >= frame.at]:
            if (other.kind, other.term, other.limbs) != (frame.kind, frame.term, frame.limbs):
                continue
            denied = any(said.spans[i].get("deny") for i in said.between(frame.at, other.at))
            if not denied and _is_told_twice(frame, other):
                frame.slots |= {k: v for k, v in other.slots.items() if v is not None}
                frame.last = max(frame.last, other.last)
                frame.denied = frame.denied and other.denied
                said.frames.remove(other)


def _is_told_twice(frame: Frame, other: Frame) -> bool:
    if frame.kind == "shoe":
        return _same_item(frame, other)
    if frame.kind != "finding":
        return _bare(other) == _bare(frame)
    return all(frame.slots.get(k, v) == v for k, v in other.slots.items())


def _same_item(one: Frame, other: Frame) -> bool:
    """Whether an item of the shoe is told twice: "a bar shoe, egg bar"."""
    if one.slots["item"] != other.slots["item"] or one.slots["item"] in ("clips", "size"):
        return False
    return one.slots["item"] != "bar_shoe" or None in (
        one.slots.get("detail"),
        other.slots.get("detail"),
    )


def _there_too(said: Utterance, mention: limbs.Mention) -> None:
    """ "But there's a bit in the near fore": what was said of one foot, of another too."""
    clause = said.clause[mention.first]
    here = [i for i in range(len(said.spans)) if said.clause[i] == clause]
    grade = next((i for i in here if said.spans[i].get("grade") and i not in said.used), None)
    words = {w for i in here for w in said.spans[i].words}
    if any(said.clause[f.at] == clause for f in said.frames) or (
        grade is None and not {"some", "too"} & words
    ):
        return
    before = [
        f for f in said.frames if said.clause[f.at] < clause and f.kind in ("finding", "work")
    ]
    if not before or (before[-1].kind == "work" and "too" not in words):
        return
    slots = {k: v for k, v in before[-1].slots.items() if k not in ("grade", "trend", "age")}
    frame = Frame(before[-1].kind, mention.first, slots, mention.first, mention.last, mention.limbs)
    if grade is not None:
        frame.slots["grade"] = said.spans[grade].get("grade")
        said.used.add(grade)
    said.frames.append(frame)


def _not_but(said: Utterance) -> None:
    """What tells of another thing: "he jumped" beside a close nail, "not hot, just a touch"."""
    nailed = any(f.term in ("nail_bind", "nail_prick") for f in said.frames)
    for frame in list(said.frames):
        if frame.kind != "finding":
            continue
        text = said.spans[frame.at].text
        reaction = frame.term == "tender" and "zone" not in frame.slots
        gone = nailed and reaction and text.startswith(("jump", "flinch", "snatch"))
        gone |= frame.term == "puncture" and any(f.term == "nail_prick" for f in said.frames)
        others = {f.term for f in said.frames if f is not frame}
        gone |= _is_why(said, frame)
        gone |= frame.term == "missing_nail" and "puncture" in others
        gone |= frame.term == "cut" and text.startswith("tr") and "overreach" in others
        if frame.term == "heat" and text == "hot" and _shod(said) and not _is_felt(said, frame):
            frame.kind, frame.slots = "work", {"action": "hot_fitted"}
            continue
        gone |= frame.term == "abscess" and text.endswith("pus") and _opened(said)
        if frame.term == "high_side":
            sheared = next((f for f in said.frames if f.term == "sheared_heels"), None)
            if sheared and sheared.limbs == frame.limbs and "side" not in sheared.slots:
                sheared.slots["side"] = frame.slots["side"]
                gone = True
        if gone:
            said.frames.remove(frame)


MAYBE = frozenset("might may could should ought".split())


WHILE = frozenset("where from since because cos till until".split())
"""After these something is told that explains, not something done today."""


def _perhaps_later(said: Utterance) -> None:
    """ "Might pull it": what may yet be done is no record of today."""
    for frame in [f for f in said.frames if f.kind in ("work", "nails")]:
        before = [w for s in said.spans[max(0, frame.first - 4) : frame.first] for w in s.words]
        aside = set(before[-2:]) & MAYBE or set(before[-4:]) & WHILE
        if aside and len(said.frames) > 1:
            said.frames.remove(frame)


def _is_why(said: Utterance, frame: Frame) -> bool:
    """ "Rounded the inside for the brushing": why something was done, not found today."""
    before = said.spans[max(0, frame.first - 2) : frame.first]
    words = [w for s in before for w in s.words]
    done = any(f.kind in ("work", "shoe") and f.at < frame.at for f in said.frames)
    return done and bool({"for", "against"} & set(words[:2]))


def _shod(said: Utterance) -> bool:
    return any(f.slots.get("action") in ("new_shoe", "shoe_reset") for f in said.frames)


def _is_felt(said: Utterance, frame: Frame) -> bool:
    """Whether a foot is hot, not the shoe put on so."""
    before = {w for s in said.spans[max(0, frame.at - 2) : frame.at] for w in s.words}
    return bool(before & {"'s", "is", "are", "feels", "foot", "feet"})


def _opened(said: Utterance) -> bool:
    return any(f.slots.get("action") == "abscess_opened" for f in said.frames)


def _bare(frame: Frame) -> dict[str, object]:
    return {key: value for key, value in frame.slots.items() if key != "zone"}


def _copy(said: Utterance, copies: list[int], named: list[limbs.Mention]) -> None:
    for mention in named[1:]:
        _there_too(said, mention)
    for at in copies:
        there = next((m for m in named if m.first > at), None)
        if there is None:
            continue
        before = [f for f in said.frames if f.at < at]
        for frame in before:
            if frame.limbs == there.limbs and len(named) > 1:
                frame.limbs = next((m.limbs for m in named if m is not there), None)
            again = Frame(
                frame.kind,
                at,
                dict(frame.slots),
                at,
                there.last,
                there.limbs,
                frame.denied,
                frame.of_horse,
            )
            said.frames.append(again)


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


def horses_of(names: Iterable[str]) -> list[tuple[Phrase, str]]:
    """The names of horses as phrases, with the names as the log has them."""
    return [(tuple(split_words(name.lower().split())[0]), name) for name in names]
