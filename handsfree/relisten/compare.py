"""What a new hearing says beside what the log holds. Pure: nothing is read or written."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from handsfree.dialogue.session import Last, Outcome, Session, State
from handsfree.grammar.grammar import Grammar
from handsfree.grammar.words import plain_words
from handsfree.language.known import readable
from handsfree.log.heard_again import Held, NewHearing
from handsfree.log.rows import Utterance
from handsfree.records.checking import BY_THIS_VERSION
from handsfree.records.entries import Entry, Remark
from handsfree.records.sureness import unsure
from handsfree.relisten.tasks import Again

NEXT_WITHIN_S = 0.05
"""A clip that begins no later than this after the one before is the rest of the same speech:
the cutter parts them at one sample, the log keeps seconds. No source."""


class Kind(Enum):
    """How the new hearing stands to what the log holds."""

    SAME = "same"
    NEW = "new"
    DIFFERENT = "different"
    LOST = "lost"
    FAILED = "failed"


@dataclass(frozen=True)
class Sure:
    """How sure a hearing was, 0..1 (None: typed), and whether the review would ask about it."""

    confidence: float | None
    doubtful: bool


@dataclass(frozen=True)
class Difference:
    """One utterance, as the log holds it and as it is heard now.

    `old` are its entries in force, `new` what they would be. `applies`: it goes in with
    `--apply`; where it is not the same and does not, `stays` says why. `limb_after` is set
    where the limb in force after it would be another than the log's: what was said next may
    stand under the wrong one.
    """

    utterance: Utterance
    kind: Kind
    old: tuple[Entry, ...]
    new: tuple[Entry, ...]
    before: Sure
    now: Sure
    again: Again
    outcome: Outcome | None
    applies: bool
    stays: str | None
    judged: bool
    old_ids: tuple[str, ...]
    limb_after: str | None = None

    @property
    def surer_by(self) -> float:
        """How much surer the new hearing is; negative where it is less so."""
        return (self.now.confidence or 0.0) - (self.before.confidence or 0.0)

    def hearing(self) -> NewHearing:
        """The new hearing as the log keeps it: always with a doubt, so that somebody looks.

        What it was heard as before is the first of the other readings to choose from.
        """
        doubt = "heard again, and taken otherwise than at first"
        if self.again.doubt:
            doubt = f"{doubt}; {self.again.doubt}"
        first = {"engine": "before", "text": self.utterance.heard, "score": 0.0}
        return NewHearing(
            heard=self.again.heard,
            confidence=self.again.confidence,
            doubt=doubt,
            engines=self.again.engines,
            alternatives=(first, *self.again.alternatives),
            free_text=self.again.free_text,
        )


def compare(held: Sequence[Held], at: int, again: Again, grammar: Grammar) -> Difference:
    """Set a new hearing beside utterance number `at` of its visit; `held` is the whole visit."""
    mine = held[at]
    utterance = mine.utterance
    old = tuple(readable(entry.body for entry in mine.entries))
    before = Sure(utterance.confidence, _was_doubtful(mine))
    outcome, corrects = _outcome(held, at, again, grammar)
    new = () if outcome is None else outcome.entries
    kind = _kind(mine, old, again, outcome)
    doubtful = outcome is None or unsure(again.confidence, outcome.doubt or again.doubt)
    now = Sure(None if again.failed else again.confidence, doubtful)
    stays = _stays(mine, kind, outcome, corrects, before, now)
    if len(old) < len(mine.entries):
        stays = f"a note of it {BY_THIS_VERSION}"
    limb_after = None
    if outcome is not None and kind is not Kind.SAME and outcome.status != "unclear":
        limb_after = outcome.limb if outcome.limb != utterance.limb else None
    return Difference(
        utterance,
        kind,
        old,
        new,
        before,
        now,
        again,
        outcome,
        kind in (Kind.NEW, Kind.DIFFERENT) and stays is None,
        None if kind is Kind.SAME else stays,
        mine.judged,
        tuple(entry.id for entry in mine.entries),
        limb_after,
    )


def goes_on(held: Sequence[Held], at: int) -> bool:
    """Whether an utterance is the rest of a remark that was too long for one clip."""
    if at == 0:
        return False
    before, mine = held[at - 1].utterance, held[at].utterance
    if before.command != "remark" or mine.command != "remark":
        return False
    if before.end_s is None or mine.start_s is None:
        return False
    return abs(mine.start_s - before.end_s) <= NEXT_WITHIN_S


def limbs_before(held: Sequence[Held], at: int, grammar: Grammar) -> tuple[str, ...]:
    """The limbs in force when an utterance was said, from the ones before it in its visit.

    The log keeps one limb, or none where there are several: then their names are looked for.
    """
    for earlier in reversed(held[:at]):
        utterance = earlier.utterance
        if utterance.limb is not None:
            return (utterance.limb,)
        if utterance.command in ("horse", "next_horse"):
            return ()
        if utterance.status == "command" and utterance.command is None:
            meaning = grammar.read(plain_words(utterance.heard)).meaning
            if meaning is not None and meaning.limbs:
                return meaning.limbs
    return ()


def _outcome(
    held: Sequence[Held], at: int, again: Again, grammar: Grammar
) -> tuple[Outcome | None, bool]:
    """What the session would have made of it (None: noise), and whether it corrects another."""
    if again.failed or not again.speech:
        return None, False
    reading = again.reading(grammar)
    session = Session()
    session.state = State(
        limbs=limbs_before(held, at, grammar),
        last=Last(tuple(readable(held[at].replaced))),
    )
    corrects = reading.meaning is not None and reading.meaning.correction
    return session.take(reading, again.confidence), corrects


def _kind(mine: Held, old: tuple[Entry, ...], again: Again, outcome: Outcome | None) -> Kind:
    if again.failed:
        return Kind.FAILED
    was_unclear = not old and mine.utterance.status == "unclear"
    if outcome is None or outcome.status == "unclear":
        return Kind.SAME if was_unclear else Kind.LOST
    if was_unclear:
        return Kind.NEW
    if old:
        if _only_sound(old) and outcome.entries and not _only_sound(outcome.entries):
            return Kind.NEW
        return Kind.SAME if old == outcome.entries else Kind.DIFFERENT
    same_command = not outcome.entries and outcome.command == mine.utterance.command
    same = same_command and outcome.limb == mine.utterance.limb
    return Kind.SAME if same else Kind.DIFFERENT


def _only_sound(entries: Sequence[Entry]) -> bool:
    return all(isinstance(entry, Remark) and not entry.text for entry in entries)


def _was_doubtful(mine: Held) -> bool:
    utterance = mine.utterance
    if utterance.status == "unclear" and not mine.entries:
        return True
    return unsure(utterance.confidence, utterance.doubt)


def _stays(
    mine: Held,
    kind: Kind,
    outcome: Outcome | None,
    corrects: bool,
    before: Sure,
    now: Sure,
) -> str | None:
    """Why the log is left as it is; None where the new hearing may go in."""
    if kind is Kind.FAILED:
        return "it could not be heard"
    if kind is Kind.LOST:
        return "what was heard first is kept"
    if mine.judged:
        return "you have dealt with it"
    if mine.gone:
        return "it was taken back"
    if outcome is None or not outcome.entries:
        return "it makes no note; look at it in the review"
    if corrects:
        return "it corrects another one; look at it in the review"
    if kind is Kind.DIFFERENT and (now.confidence or 0.0) <= (before.confidence or 0.0):
        return "it is no surer than before"
    return None
