"""The state of one visit while it is spoken, and how each utterance changes it.

Pure: meanings and times in, outcomes out. It reads no clock, no sound and no log. `State`
is everything that is remembered, `Session.take` the only thing that changes it.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from handsfree.grammar.grammar import Reading
from handsfree.grammar.limbs import RELATIVE, NamedLimbs, resolved
from handsfree.grammar.meaning import Meaning, Statement, entries_of, with_limb
from handsfree.language.putting_right import corrected
from handsfree.records.commands import Command
from handsfree.records.entries import Entry, Finding, Remark, Shoe, belongs_to_horse, to_json
from handsfree.records.sureness import unsure
from handsfree.visit.plausible import unlikely_unit

LIMB_UNSURE = "the foot was not surely heard"
"""The doubt of what is noted of a foot that may be another one."""

HORSE_UNNAMED = "which horse it is was not surely heard; its visit is not named yet"
"""The doubt of a name that is no horse's of the log, or may be another one's."""

RESTATED_WITHIN_S = 5.0
"""Longest time from the end of an utterance to the start of one that may restate it.

Common practice, no source: many spoken corrections are the right words said again, at once.
"""


@dataclass(frozen=True)
class Last:
    """The last utterance that made entries.

    `end_s` is when it ended; `instead_of` what it took the place of because it was nearly
    the same, until "keep both" or anything else is said.
    """

    entries: tuple[Entry, ...]
    end_s: float = 0.0
    instead_of: tuple[Entry, ...] = ()


@dataclass(frozen=True)
class State:
    """What is remembered between two utterances; times in seconds of the session's clock.

    `horse` is None until one of the log is named, `horse_said` are the words of a name that is
    none's (empty: not heard), None where none was said. `visit` counts the visits of this
    session, `noted` is whether anything was noted in this one. `limbs` are in force;
    `limb_unsure`: another one may have been named, until a foot is surely heard. `up` is the
    limb held up (empty where none was named, None while all feet are down) since `up_since_s`.
    `awake_until_s` counts only where there is an attention word to wake it; None before it was
    ever said.
    """

    horse: str | None = None
    visit: int = 1
    horse_said: str | None = None
    noted: bool = False
    limbs: tuple[str, ...] = ()
    limb_unsure: bool = False
    up: str | None = None
    up_since_s: float = 0.0
    ears_on: bool = True
    awake_until_s: float | None = None
    last: Last = Last(())

    @property
    def limb(self) -> str | None:
        """The one limb in force, None where none or several are."""
        return self.limbs[0] if len(self.limbs) == 1 else None


@dataclass(frozen=True)
class Outcome:
    """What one utterance became.

    `status` is recorded, command or unclear (see the record contract in README). `limb` is
    the limb in force afterwards, None where none or several are. `strikes` says that the
    last recorded entries are taken back, `replaces` that `entries` stand in their place,
    `restated` that they do so only because they are nearly the same, `restores` that both
    stand again. `horse` and `horse_said` are the name that was said, as in `State`. `doubt` is a
    line for the user where something needs his ear or eye.
    """

    status: str
    command: Command | None = None
    limb: str | None = None
    entries: tuple[Entry, ...] = ()
    strikes: bool = False
    replaces: bool = False
    restated: bool = False
    restores: bool = False
    horse: str | None = None
    horse_said: str | None = None
    doubt: str | None = None


class Session:
    """Follows one recording or one listening session from utterance to utterance.

    `restating` turns on what needs a person at the other end: the right words said again
    soon after the wrong ones replace them, and "keep both" takes that back. With `attention_s`
    it sleeps until the attention word is said, and again so many seconds after the last
    utterance that was taken.
    """

    def __init__(
        self,
        limb: str | None = None,
        restating: bool = False,
        attention_s: float | None = None,
    ) -> None:
        self.state = State(limbs=(limb,) if limb else ())
        self.attention_s = attention_s
        self._restating = restating

    @property
    def limb(self) -> str | None:
        """The one limb in force, None where none or several are."""
        return self.state.limb

    def take(
        self,
        reading: Reading,
        confidence: float = 1.0,
        start_s: float = 0.0,
        end_s: float = 0.0,
    ) -> Outcome | None:
        """Act on one utterance. None while the ears are off, or it sleeps, and that stays so."""
        if self._is_deaf_to(reading, start_s):
            return None
        outcome = self._taken(reading, confidence, start_s, end_s)
        if self.attention_s is not None and (reading.called or outcome.status != "unclear"):
            self._change(awake_until_s=end_s + self.attention_s)
        return outcome

    def asleep(self, at_s: float) -> bool:
        """Whether only the attention word is heard at this time."""
        until_s = self.state.awake_until_s
        return self.attention_s is not None and (until_s is None or at_s > until_s)

    def _is_deaf_to(self, reading: Reading, start_s: float) -> bool:
        if not self.state.ears_on:
            # By itself, also without the attention word: it says what it is for.
            return reading.meaning is None or reading.meaning.command != Command.EARS_ON
        return self.asleep(start_s) and not reading.called

    def _taken(self, reading: Reading, confidence: float, start_s: float, end_s: float) -> Outcome:
        meaning = reading.meaning
        if meaning is None:
            return self._refused(reading.named, end_s)
        meaning, unknown = self._in_full(meaning)
        if unknown:
            outcome = self._acted(meaning, confidence, end_s, start_s)
            return replace(outcome, doubt=_joined(outcome.doubt, LIMB_UNSURE))
        return self._acted(meaning, confidence, end_s, start_s)

    def _in_full(self, meaning: Meaning) -> tuple[Meaning, bool]:
        """The meaning with "the other one" and the like as limbs, and whether one is not known."""
        named = [statement.limbs for statement in meaning.statements] + [meaning.limbs]
        if not any(RELATIVE & set(limbs) for limbs in named):
            return meaning, False
        *each, own = [resolved(limbs, self.state.limbs) for limbs in named]
        statements = tuple(
            replace(statement, limbs=limbs or ())
            for statement, limbs in zip(meaning.statements, each, strict=True)
        )
        unknown = None in (*each, own)
        return replace(meaning, statements=statements, limbs=own or ()), unknown

    def _acted(self, meaning: Meaning, confidence: float, end_s: float, start_s: float) -> Outcome:
        if meaning.command and not meaning.statements:
            return self._command(Command(meaning.command), meaning, confidence, end_s)
        if meaning.correction:
            return self._correct(meaning, confidence, end_s)
        if not meaning.statements:
            self._stand_at(meaning.limbs, end_s, confidence)
            return Outcome("command", limb=self.limb)
        last = self.state.last
        doubt = self._limb_doubt(meaning.statements)
        entries = self._entries(meaning, self.state.limbs, end_s, confidence)
        doubt = _joined(doubt, unlikely_unit(entries)) or None
        self._change(last=Last(entries, end_s), noted=True)
        command = Command(meaning.command) if meaning.command else None
        outcome = Outcome("recorded", command, self.limb, entries, doubt=doubt)
        if not self._restating or start_s - last.end_s > RESTATED_WITHIN_S:
            return outcome
        return self._restated(outcome, last, end_s)

    def _refused(self, named: NamedLimbs, at_s: float) -> Outcome:
        """Speech that is no note may still have named the foot that the next notes are of."""
        if named.limbs:
            self._stand_at(named.limbs, at_s)
        if not named.sure:
            self._change(limb_unsure=True)
        return Outcome("unclear", limb=self.limb, doubt=None if named.sure else LIMB_UNSURE)

    def _limb_doubt(self, statements: Iterable[Statement]) -> str | None:
        """Why these statements may belong to another foot: they name none, and it is not sure."""
        bare = (not s.limbs and not belongs_to_horse(s.entry) for s in statements)
        return LIMB_UNSURE if self.state.limb_unsure and any(bare) else None

    def _change(self, **parts: object) -> None:
        self.state = replace(self.state, **parts)  # type: ignore[arg-type]

    def _command(
        self, command: Command, meaning: Meaning, confidence: float, at_s: float
    ) -> Outcome:
        state = self.state
        strikes = restores = False
        match command:
            case Command.STRIKE:
                if unsure(confidence):
                    doubt = "may have been 'strike that'; nothing was struck"
                    return Outcome("unclear", limb=self.limb, doubt=doubt)
                strikes = bool(state.last.entries)
                self._change(last=Last(()))
            case Command.KEEP_BOTH:
                restores = bool(state.last.instead_of)
                self._change(last=replace(state.last, instead_of=()))
            case Command.FOOT_UP:
                self._change(up=self.limb or "", up_since_s=at_s)
            case Command.FOOT_DOWN:
                self._change(up=None)
            case Command.EARS_OFF | Command.EARS_ON:
                self._change(ears_on=command == Command.EARS_ON)
            case Command.NEXT_HORSE:
                self.state = State(None, state.visit + 1)
            case Command.HORSE:
                return self._named(meaning, confidence)
            case Command.HORSE_DONE:
                self._change(up=None)
        return Outcome(
            "command",
            command,
            self.limb,
            strikes=strikes,
            restores=restores,
        )

    def _named(self, meaning: Meaning, confidence: float) -> Outcome:
        """Another horse begins another visit, also where the log knows none of that name.

        One that was not surely heard is not taken: it is asked about, and the visit stays
        without a name. A visit in which nothing is noted yet is named by the next name.
        """
        state, horse, said = self.state, meaning.horse, meaning.horse_said
        if horse is not None and unsure(confidence):
            said, horse = horse.lower(), None
        if horse is None:
            another = not said or said != state.horse_said
        else:
            another = horse != state.horse and (state.horse_said is None or state.noted)
        self.state = State(horse, state.visit + another, said)
        doubt = HORSE_UNNAMED if horse is None else None
        return Outcome("command", Command.HORSE, None, horse=horse, horse_said=said, doubt=doubt)

    def _correct(self, meaning: Meaning, confidence: float, end_s: float) -> Outcome:
        if unsure(confidence):
            if meaning.limbs or any(s.limbs for s in meaning.statements):
                self._change(limb_unsure=True)
            why = "may have been a correction; nothing was replaced"
            return Outcome("unclear", limb=self.limb, doubt=why)
        last = self.state.last.entries
        doubt = self._limb_doubt(meaning.statements)
        had = tuple(dict.fromkeys(e.limb for e in last if e.limb))
        if meaning.changes is not None:
            changed = corrected(last, meaning)
            if changed is None and not meaning.statements:
                return Outcome("unclear", limb=self.limb, doubt="there is nothing to put right")
            entries = changed or self._entries(meaning, self.state.limbs, end_s, confidence)
            if changed is None:
                last = ()
        elif meaning.statements:
            entries = self._entries(meaning, had or self.state.limbs, end_s, confidence)
        else:
            # "Wrong, right hind": the same findings belong to the other limb.
            self._stand_at(meaning.limbs, end_s, confidence)
            entries = tuple(
                with_limb(entry, limb)
                for entry in dict.fromkeys(with_limb(e, None) for e in last)
                for limb in (meaning.limbs if not belongs_to_horse(entry) else (None,))
            )
            if not entries:
                return Outcome("command", limb=self.limb)
        doubt = _joined(doubt, unlikely_unit(entries)) or None
        self._change(last=Last(entries, end_s), noted=True)
        return Outcome("recorded", None, self.limb, entries, replaces=bool(last), doubt=doubt)

    def _restated(self, outcome: Outcome, last: Last, end_s: float) -> Outcome:
        differing = slots_that_differ(last.entries, outcome.entries)
        if differing == 1:
            self._change(last=Last(outcome.entries, end_s, last.entries))
            why = "taken in place of what was said just before, which differs in one thing"
            return replace(outcome, replaces=True, restated=True, doubt=_joined(outcome.doubt, why))
        if differing == 0:
            twice = _joined(outcome.doubt, "said twice within a few seconds")
            return replace(outcome, restated=True, doubt=twice)
        return outcome

    def _stand_at(self, limbs: tuple[str, ...], at_s: float, confidence: float = 1.0) -> None:
        """Put limbs in force; who holds a foot up and names another limb holds that one.

        What follows is as sure of its foot as the foot was heard.
        """
        self._change(limbs=limbs, limb_unsure=unsure(confidence))
        if self.state.up is not None and self.limb and self.state.up != self.limb:
            since = self.state.up_since_s if self.state.up == "" else at_s
            self._change(up=self.limb, up_since_s=since)

    def _entries(
        self, meaning: Meaning, otherwise: tuple[str, ...], at_s: float, confidence: float
    ) -> tuple[Entry, ...]:
        for statement in meaning.statements:
            if len(statement.limbs) == 1:
                self._stand_at(statement.limbs, at_s, confidence)
        return entries_of(meaning, otherwise)


def _joined(*doubts: str | None) -> str:
    return "; ".join(doubt for doubt in doubts if doubt)


_SAME_THING = {
    "finding": ("term",),
    "measurement": ("quantity", "side"),
    "nails": ("action", "side"),
    "shoe": ("item",),
    "work": ("action",),
    "plan": ("action", "text"),
}
"""Slots that say what an entry is about: where one of them differs it is another thing."""


def slots_that_differ(before: tuple[Entry, ...], after: tuple[Entry, ...]) -> int | None:
    """In how many slots two utterances about the same things differ.

    None where they are about different things or feet, or about something that may well be
    said twice with another detail (clips, the fit, a remark).
    """
    if not before or [_about(e) for e in before] != [_about(e) for e in after]:
        return None
    if any(_may_be_several(entry) for entry in after):
        return None
    pairs = [(to_json(a), to_json(b)) for a, b in zip(before, after, strict=True)]
    return sum(int(a[key] != b[key]) for a, b in pairs for key in a)


def _about(entry: Entry) -> tuple[object, ...]:
    slots = _SAME_THING.get(entry.kind, ())
    graded = entry.scale_grade if isinstance(entry, Finding) else None
    scale = graded.scale if graded else None
    return (entry.kind, entry.limb, scale, *(getattr(entry, slot) for slot in slots))


def _may_be_several(entry: Entry) -> bool:
    return isinstance(entry, Remark) or (isinstance(entry, Shoe) and entry.item != "size")
