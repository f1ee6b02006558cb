"""From rows of the log to the items of a review, in the order they are looked at."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence

from handsfree.grammar.meaning import entries_of
from handsfree.grammar.wording import Wording
from handsfree.grammar.words import plain_words
from handsfree.language.known import entry_of, readable
from handsfree.log.joining import Conflict
from handsfree.log.rows import Entry as LoggedEntry
from handsfree.log.rows import Lesson, Utterance, Visit, local_time
from handsfree.records.checking import BY_THIS_VERSION, Unreadable
from handsfree.records.entries import Entry, Measurement, Remark
from handsfree.records.limbs import LIMBS
from handsfree.records.sureness import unsure
from handsfree.review.items import (
    CONFIRMED,
    DOUBTFUL,
    STATES,
    SURE,
    UNCLEAR,
    Alternative,
    Item,
    Part,
)
from handsfree.review.sayings import Sayings
from handsfree.visit.plausible import question

MOST_ALTERNATIVES = 8
UNIT_NOT_SAID = "unit not said"


class Gatherer:
    """Makes items. `closer`: look for the nearest sentences too, which takes time."""

    def __init__(self, sayings: Sayings, wording: Wording) -> None:
        self._sayings, self._wording = sayings, wording
        self._conflicts: dict[str, Conflict] = {}
        self._candidates: dict[tuple[str, bool], tuple[str, ...]] = {}
        self.closer = False
        self.horse_kind: str | None = None

    def items(
        self,
        visit: Visit,
        utterances: Sequence[Utterance],
        entries: Sequence[LoggedEntry],
        passed: frozenset[str],
        lessons: Sequence[Lesson],
        conflicts: Sequence[Conflict] = (),
    ) -> tuple[Item, ...]:
        """The items of a visit; `entries` are those in force, `conflicts` those still open."""
        self._conflicts = {conflict.utterance_id: conflict for conflict in conflicts}
        by_utterance: dict[str, list[LoggedEntry]] = defaultdict(list)
        for entry in entries:
            by_utterance[entry.utterance_id].append(entry)
        taught: dict[str, list[str]] = defaultdict(list)
        for lesson in lessons:
            taught[lesson.heard].append(lesson.meant)
        found: list[tuple[tuple[int, int, int], Item]] = []
        for utterance in utterances:
            theirs = by_utterance[utterance.id]
            open_ = utterance.status == "unclear" and utterance.id not in passed
            if theirs or open_:
                item = self._item(visit, utterance, theirs, taught)
                group = LIMBS.index(item.limb) if item.limb else len(LIMBS)
                first = group if item.state == SURE else 0
                found.append(((STATES.index(item.state), first, utterance.seq), item))
        return tuple(item for _, item in sorted(found, key=lambda pair: pair[0]))

    def _item(
        self,
        visit: Visit,
        utterance: Utterance,
        entries: Sequence[LoggedEntry],
        taught: Mapping[str, Sequence[str]],
    ) -> Item:
        parts = tuple(self._part(entry) for entry in entries)
        limbs = {part.limb for part in parts}
        limb = utterance.limb if not parts else limbs.pop() if len(limbs) == 1 else None
        state, why = self._state(utterance, parts)
        return Item(
            utterance.id,
            state,
            utterance.heard,
            why,
            sureness(utterance),
            utterance.confidence,
            limb,
            when(visit, utterance),
            utterance.has_sound,
            parts,
            self._alternatives(utterance, parts, taught) if self._wanted(state, utterance) else (),
        )

    def _part(self, stored: LoggedEntry) -> Part:
        entry = entry_of(stored.body)
        text = self._wording.describe(entry)
        if isinstance(entry, Measurement) and entry.unit_inferred:
            text = f"{text} ({UNIT_NOT_SAID})"
        asked = None if isinstance(entry, Unreadable) else question(entry, self.horse_kind)
        return Part(stored.id, entry, text, entry.limb, stored.status, asked)

    def _state(self, utterance: Utterance, parts: Sequence[Part]) -> tuple[str, str | None]:
        conflict = self._conflicts.get(utterance.id)
        why = conflict.text if conflict else utterance.doubt
        if not parts:
            return UNCLEAR, why or "not understood"
        asked = [part.question for part in parts if part.question]
        if any(isinstance(part.entry, Unreadable) for part in parts):
            return DOUBTFUL, f"a note of it {BY_THIS_VERSION}: correct it, or leave it as it is"
        if all(part.status == "confirmed" for part in parts):
            return CONFIRMED, asked[0] if asked else None
        if why is None and unsure(utterance.confidence):
            why = "not sure of the hearing"
        if len({part.entry for part in parts}) < len(parts):
            why = "the same stands here twice; correct one or strike it"
        elif any(isinstance(p.entry, Remark) and not p.entry.text for p in parts):
            why = why or "of the remark only the sound is kept: listen to it"
        reasons = [*([why] if why else []), *asked]
        return (DOUBTFUL, "; ".join(reasons)) if reasons else (SURE, None)

    def _wanted(self, state: str, utterance: Utterance) -> bool:
        """Of what is sure alternatives are read once there is time: nobody looks there first."""
        doubted = state in (UNCLEAR, DOUBTFUL) or (utterance.id, False) in self._candidates
        return doubted or self.closer

    def _alternatives(
        self,
        utterance: Utterance,
        parts: Sequence[Part],
        taught: Mapping[str, Sequence[str]],
    ) -> tuple[Alternative, ...]:
        limbs = tuple(dict.fromkeys(p.limb for p in parts if p.limb))
        limbs = limbs or ((utterance.limb,) if utterance.limb else ())
        seen: set[tuple[Entry | Unreadable, ...]] = {tuple(part.entry for part in parts), ()}
        found: list[Alternative] = []
        if utterance.id in self._conflicts:
            bodies = self._conflicts[utterance.id].other
            other = tuple(readable(bodies))
            if other not in seen and len(other) == len(bodies):
                seen.add(other)
                found.append(Alternative("", self._sayings.in_words(other), other))
        key = " ".join(plain_words(utterance.heard))
        for words in (*taught.get(key, ()), *self._words_for(utterance)):
            meaning = self._sayings.exact(words.split())
            entries = entries_of(meaning, limbs) if meaning else ()
            if entries not in seen:
                seen.add(entries)
                found.append(Alternative(words, self._sayings.in_words(entries)))
        return tuple(found[:MOST_ALTERNATIVES])

    def _words_for(self, utterance: Utterance) -> tuple[str, ...]:
        """Sentences the utterance may have been, likeliest first; kept, as they never change."""
        key = utterance.id, self.closer
        if key not in self._candidates:
            heard = [utterance.heard, *_in_turn(utterance.alternatives), utterance.free_text or ""]
            words = [plain_words(text) for text in heard]
            if self.closer:
                words += [list(self._sayings.read(said).words) for said in list(words)]
            sentences = dict.fromkeys(" ".join(w) for w in words if self._sayings.exact(w))
            self._candidates[key] = tuple(sentences)
        return self._candidates[key]


def _in_turn(alternatives: Iterable[object]) -> Iterator[str]:
    """The texts of what the engines had besides: the best of each, then the second of each."""
    by_engine: dict[str, list[str]] = defaultdict(list)
    for one in alternatives:
        if isinstance(one, dict) and isinstance(one.get("text"), str):
            by_engine[str(one.get("engine"))].append(one["text"])
    for rank in range(max(map(len, by_engine.values()), default=0)):
        yield from (texts[rank] for texts in by_engine.values() if rank < len(texts))


def sureness(utterance: Utterance) -> str:
    """How well it was heard, whatever was decided since."""
    if utterance.status == "unclear":
        return "not understood"
    return "doubtful" if unsure(utterance.confidence, utterance.doubt) else "sure"


def when(visit: Visit, utterance: Utterance) -> str:
    """The time of day it was said; for a recording, how far into it."""
    if visit.source in ("microphone", "typed") or utterance.start_s is None:
        return f"{local_time(utterance.recorded_at or visit.started_at, visit.zone):%H:%M}"
    minutes, seconds = divmod(int(utterance.start_s), 60)
    return f"{minutes}:{seconds:02d}"
