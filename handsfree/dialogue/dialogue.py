"""The spoken dialogue: each utterance changes the visit and calls for answers.

Pure: readings and times in, turns out. What is to be kept and what is to be said are data;
`handsfree.recording` keeps the one, `handsfree.answers` speaks the other.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from handsfree.dialogue.session import LIMB_UNSURE, Outcome, Session, State
from handsfree.dialogue.turn import Kept, Key, Notice, Turn
from handsfree.grammar.grammar import Grammar, Reading
from handsfree.grammar.names import like
from handsfree.records.commands import Command
from handsfree.records.entries import Entry, belongs_to_horse
from handsfree.records.sureness import unsure
from handsfree.sums.asked import Past, Question, answer
from handsfree.sums.history import Noted
from handsfree.visit import cautions, nails, pace
from handsfree.visit.answer import Answer, Tone
from handsfree.visit.cautions import Caution
from handsfree.visit.plausible import question, unlikely_unit
from handsfree.visit.runsheet import RunSheet, left, usual_sheet
from handsfree.visit.spoken import Spoken

SET_DOWN = "Set the foot down when you can."


@dataclass
class _Visit:
    """What belongs to one visit and is forgotten with it."""

    known: Mapping[str, int] = field(default_factory=dict)
    past: Past | None = None
    kept: list[Kept] = field(default_factory=list)
    last: list[Kept] = field(default_factory=list)
    put_aside: list[Kept] = field(default_factory=list)
    gone: list[Kept] = field(default_factory=list)
    warned: dict[tuple[str, str | None], Key] = field(default_factory=dict)
    asked: dict[str, str] = field(default_factory=dict)
    said: list[tuple[float, str | None, str | None]] = field(default_factory=list)
    reminded_at: float | None = None

    @property
    def entries(self) -> list[Entry]:
        return [kept.entry for kept in self.kept]


class Dialogue:
    """Follows one session. `remind_after_s`: how long a foot may be up (None: no matter)."""

    def __init__(
        self,
        grammar: Grammar,
        session: Session | None = None,
        sheet: RunSheet | None = None,
        remind_after_s: float | None = None,
    ) -> None:
        self.session = session or Session()
        self._grammar, self._spoken = grammar, Spoken(grammar)
        self._sheet = sheet or usual_sheet()
        self._remind_after_s = remind_after_s
        self._visit = _Visit()
        self._number = 0

    @property
    def state(self) -> State:
        """What the session remembers now."""
        return self.session.state

    @property
    def attention(self) -> str | None:
        """The attention word, None where it never sleeps."""
        return None if self.session.attention_s is None else " ".join(self._grammar.attention)

    @property
    def pace(self) -> pace.Pace:
        """How long the feet of this visit were up."""
        return pace.fold(pace.events_of(self._visit.said))

    def know(self, nails_in_shoe: Mapping[str, int], past: Past | None = None) -> None:
        """Tell of this horse's earlier visits.

        `nails_in_shoe`: limb → nails in its shoe after the last one; `past`: all there is, for
        what is asked of it.
        """
        self._visit.known, self._visit.past = dict(nails_in_shoe), past

    def go_on(
        self,
        horse: str | None,
        limb: str | None,
        kept: Sequence[Kept],
        limb_unsure: bool = False,
        horse_said: str | None = None,
    ) -> None:
        """Take up a visit again that was broken off; nothing of it is said a second time."""
        self.session.state = replace(
            self.state,
            horse=horse,
            horse_said=None if horse else horse_said,
            noted=bool(kept),
            limbs=(limb,) if limb else self.state.limbs,
            limb_unsure=limb_unsure,
        )
        self._visit.kept = list(kept)
        self._number = max([self._number, *(k.key[0] for k in kept)])
        self._visit.warned = {(c.id, c.limb): self._key_of(c) for c in self._due()}

    def hear(
        self,
        reading: Reading,
        confidence: float = 1.0,
        start_s: float = 0.0,
        end_s: float = 0.0,
    ) -> Turn | None:
        """Act on one utterance. None while the ears are off, or it sleeps."""
        before = self.state
        outcome = self.session.take(reading, confidence, start_s, end_s)
        if outcome is None:
            return None
        self._number += 1
        leaving = self.state.visit != before.visit
        state = self.state
        turn = Turn(
            self._number, outcome, opens=leaving, horse=state.horse, horse_said=state.horse_said
        )
        said: list[Answer] = []
        if leaving:
            counts = nails.count(self._visit.entries, self._visit.known)
            said, parting = self._nails_of(tuple(counts))
            turn = replace(turn, parting=tuple(parting))
            self._visit = _Visit()
        turn = self._keep(turn, confidence)
        self._visit.said.append((end_s, outcome.command, outcome.limb))
        if outcome.command == Command.CONFIRM:
            turn = replace(turn, confirmed=self._confirmable())
        main = self._answer(turn, before, confidence)
        warnings, notices = self._cautions(turn)
        if not leaving:
            asked, of_nails, settled = self._nails_now(before, outcome)
            said += asked
            notices += of_nails
            turn = replace(turn, settled=settled)
        return replace(turn, answers=(main, *warnings, *said), notices=tuple(notices))

    def tick(self, now_s: float) -> tuple[Answer, ...]:
        """What is to be said because time has passed."""
        after, visit = self._remind_after_s, self._visit
        if after is None or not pace.reminder_due(self.pace, now_s, after, visit.reminded_at):
            return ()
        visit.reminded_at = now_s
        return (Answer(Tone.REMINDER, (SET_DOWN,)),)

    def _keep(self, turn: Turn, confidence: float) -> Turn:
        """Bring the entries in force up to date with the outcome."""
        visit, outcome = self._visit, turn.outcome
        if outcome.strikes or outcome.replaces:
            gone = [k for k in visit.last if k in visit.kept]
            visit.kept = [k for k in visit.kept if k not in gone]
            keys = tuple(k.key for k in gone)
            turn = replace(turn, struck=keys) if outcome.strikes else replace(turn, replaced=keys)
            visit.put_aside = gone if outcome.restated else []
            visit.last, visit.gone = [], gone
        elif outcome.restores:
            visit.kept = sorted(visit.kept + visit.put_aside, key=lambda k: k.key)
            turn = replace(turn, restored=tuple(k.key for k in visit.put_aside))
            visit.put_aside = []
        if outcome.entries:
            doubtful = unsure(confidence, outcome.doubt)
            visit.last = [
                Kept((turn.number, at), entry, doubtful) for at, entry in enumerate(outcome.entries)
            ]
            visit.kept = visit.kept + visit.last
            if not outcome.restated:
                visit.put_aside = []
        return turn

    def _confirmable(self) -> tuple[Key, ...]:
        """What "confirm foot" confirms; nothing while it may be another foot."""
        state = self.state
        return tuple(
            k.key
            for k in self._visit.kept
            if not (state.limb_unsure or self._open(k))
            and (k.entry.limb == state.limb or belongs_to_horse(k.entry))
        )

    def _open(self, kept: Kept) -> bool:
        """Whether an entry is for the review: not surely heard, or with a number to ask about."""
        past = self._visit.past
        kind = None if past is None else past.history.horse.kind
        return kept.doubtful or question(kept.entry, kind) is not None

    # Answers

    def _answer(self, turn: Turn, before: State, confidence: float) -> Answer:
        outcome = turn.outcome
        if outcome.status == "unclear":
            return self._unclear_answer(outcome, before)
        if outcome.status == "command":
            return self._command_answer(turn, confidence)
        spoken = self._spoken
        numbers = [part for e in outcome.entries if (part := spoken.number_part(e))]
        tone = Tone.NUMBER if numbers else Tone.FINDING
        if outcome.restated:
            tone = Tone.QUESTION
        limb = self._limb_change(before)
        if outcome.replaces and not outcome.restated:
            limbs = tuple(dict.fromkeys(e.limb for e in outcome.entries if e.limb))
            return Answer(tone, (*spoken.limbs(limbs), *self._entries(outcome)), slow=True)
        if outcome.doubt is not None and LIMB_UNSURE in outcome.doubt:
            named = self._spoken.limbs(self.state.limbs) or ("which foot",)
            return Answer(tone, ("perhaps", *named, *self._entries(outcome)), slow=True)
        if unsure(confidence, unlikely_unit(outcome.entries)):
            return Answer(tone, (*limb, "perhaps", *self._entries(outcome)), slow=True)
        return Answer(tone, (*limb, *numbers), slow=True, passing=not numbers)

    def _unclear_answer(self, outcome: Outcome, before: State) -> Answer:
        """That it was not understood, and what has changed all the same."""
        limb = self._limb_change(before)
        if outcome.doubt == LIMB_UNSURE:
            # All that follows is doubtful until he names one.
            return Answer(Tone.QUESTION, ("not understood", *(limb or ("which foot",))), slow=True)
        # A strike or correction that was not sure enough must not pass for mere talk.
        return Answer(Tone.UNCLEAR, ("nothing was changed",) if outcome.doubt else limb, bool(limb))

    def _entries(self, outcome: Outcome) -> tuple[str, ...]:
        return tuple(dict.fromkeys(self._spoken.entry(entry) for entry in outcome.entries))

    def _limb_change(self, before: State) -> tuple[str, ...]:
        if self.state.limbs == before.limbs or not self.state.limbs:
            return ()
        return self._spoken.limbs(self.state.limbs)

    def _command_answer(self, turn: Turn, confidence: float) -> Answer:
        outcome = turn.outcome
        match outcome.command:
            case None:
                # A limb alone is said back even where it was in force: that is what he asked.
                limbs = self._spoken.limbs(self.state.limbs)
                if unsure(confidence):
                    # All that follows would go to the wrong foot.
                    return Answer(Tone.QUESTION, ("perhaps", *limbs), slow=True)
                return Answer(Tone.COMMAND, limbs, slow=True, passing=True)
            case Command.STRIKE:
                if not turn.struck:
                    return Answer(Tone.COMMAND, ("nothing to strike",))
                gone = self._spoken.read_back([kept.entry for kept in self._visit.gone], ())
                return Answer(Tone.COMMAND, ("struck", *gone))
            case Command.KEEP_BOTH:
                kept = "both are kept" if turn.restored else "nothing was replaced"
                return Answer(Tone.COMMAND, (kept,))
            case Command.READ_BACK:
                return Answer(Tone.COMMAND, self._read_back(), slow=True)
            case Command.WHATS_LEFT:
                return Answer(Tone.COMMAND, self._whats_left())
            case Command.CONFIRM:
                return Answer(Tone.COMMAND, self._confirmed(turn))
            case Command.HORSE if outcome.horse is None:
                return Answer(Tone.QUESTION, self._which_horse(outcome.horse_said or ""), slow=True)
            case Command.HORSE:
                return Answer(Tone.COMMAND, (str(outcome.horse),))
            case Command.NEXT_HORSE | Command.EARS_OFF | Command.EARS_ON:
                return Answer(Tone.COMMAND, (outcome.command.replace("_", " "),))
            case Command.HORSE_DONE:
                return Answer(Tone.COMMAND, ("horse done", *self._summary()))
            case (
                Command.BRIEF
                | Command.PREVIOUS_VISIT
                | Command.DATE_MARK
                | Command.BALANCE
                | Command.WEIGHT
                | Command.DATE_VISIT as question
            ):
                return Answer(Tone.COMMAND, self._told(question), slow=True)
            case Command.FOOT_UP | Command.FOOT_DOWN | Command.BREAK | Command.ATTENTION:
                return Answer(Tone.COMMAND)
            case Command.REMARK:
                # Its words are the note: without an entry nothing is kept of it but the sound.
                return Answer(Tone.UNCLEAR)

    def _which_horse(self, said: str) -> tuple[str, ...]:
        """What is asked after a name that is no horse's of the log, or was not surely heard."""
        if not said:
            return ("which horse", "it is not named yet")
        near = like(said, self._grammar.horse_names)
        heard = self._spoken.text(said)
        if near is None:
            return (f"no horse is called {heard}", "it is not named yet")
        return (f"heard {heard}", f"did you mean {near}", "it is not named yet")

    def _read_back(self) -> tuple[str, ...]:
        limb = self.state.limb
        chosen = [k for k in self._visit.kept if limb is None or k.entry.limb == limb]
        doubtful = {at for at, kept in enumerate(chosen) if kept.doubtful}
        if not chosen:
            return (*self._named(limb), "nothing noted")
        return self._spoken.read_back([k.entry for k in chosen], doubtful)

    def _whats_left(self) -> tuple[str, ...]:
        limb = self.state.limb
        if limb is None:
            return ("no limb is named",)
        todo = left(self._sheet, self._visit.entries, limb)
        return (*self._named(limb), *(("left to do", *todo) if todo else ("nothing left",)))

    def _told(self, question: Question) -> tuple[str, ...]:
        """What the horse's earlier visits and this one answer together."""
        past, limb = self._visit.past, self.state.limb
        if past is None:
            return ("no horse is named",)
        notes = [Noted(kept.entry, kept.doubtful) for kept in self._visit.kept]
        return answer(question, past, notes, limb, self._grammar)

    def _confirmed(self, turn: Turn) -> tuple[str, ...]:
        limb = self.state.limb
        if self.state.limb_unsure:
            return ("which foot",)
        doubtful = sum(self._open(k) and k.entry.limb == limb for k in self._visit.kept)
        parts = [f"{self._spoken.number(len(turn.confirmed))} confirmed"]
        if doubtful:
            parts.append(f"{self._spoken.number(doubtful)} doubtful, for the review")
        return (*self._named(limb), *parts)

    def _summary(self) -> tuple[str, ...]:
        kept = self._visit.kept
        doubtful = sum(k.doubtful for k in kept)
        notes = f"{self._spoken.number(len(kept))} note{'s' * (len(kept) != 1)}"
        return (notes, *((f"{self._spoken.number(doubtful)} doubtful",) if doubtful else ()))

    def _named(self, limb: str | None) -> tuple[str, ...]:
        return (self._spoken.limb(limb),) if limb else ()

    # Cautions and nails

    def _due(self) -> list[Caution]:
        return cautions.due(self._visit.entries)

    def _key_of(self, caution: Caution) -> Key:
        return self._visit.kept[caution.entry_index].key

    def _cautions(self, turn: Turn) -> tuple[list[Answer], list[Notice]]:
        """Say each caution once, unless what called for it was struck; keep it as often."""
        answers: list[Answer] = []
        notices: list[Notice] = []
        due, warned = self._due(), self._visit.warned
        if turn.struck:
            still = {(c.id, c.limb) for c in due}
            warned = self._visit.warned = {w: k for w, k in warned.items() if w in still}
        for caution in due:
            about, key = (caution.id, caution.limb), self._key_of(caution)
            if about not in warned:
                said = (*caution.spoken[:1], *self._named(caution.limb), *caution.spoken[1:])
                tone = Tone.CAUTION if caution.urgent else Tone.REMINDER
                answers.append(Answer(tone, said, urgent=caution.urgent))
            if warned.get(about) != key:
                entry = key[1] if key[0] == turn.number else None
                notices.append(
                    Notice("caution", caution.id, caution.text, caution.limb, caution.source, entry)
                )
            warned[about] = key
        return answers, notices

    def _nails_now(
        self, before: State, outcome: Outcome
    ) -> tuple[list[Answer], list[Notice], tuple[str, ...]]:
        """What to ask about nails after this utterance, and the limbs that are settled."""
        counts = nails.count(self._visit.entries, self._visit.known)
        settled = tuple(
            limb
            for limb in self._visit.asked
            if limb not in counts or nails.question(counts[limb], self._spoken) is None
        )
        for limb in settled:
            del self._visit.asked[limb]
        limbs: tuple[str | None, ...] = ()
        if outcome.command == pace.FOOT_DOWN:
            limbs = (before.up or before.limb,)
        elif outcome.command == Command.HORSE_DONE:
            limbs = tuple(counts)
        elif self.state.limb != before.limb:
            limbs = (before.limb,)
        return (*self._nails_of(limbs), settled)

    def _nails_of(self, limbs: Sequence[str | None]) -> tuple[list[Answer], list[Notice]]:
        """Ask about the nails of these feet, about each count once."""
        counts = nails.count(self._visit.entries, self._visit.known)
        answers: list[Answer] = []
        notices: list[Notice] = []
        for limb in limbs:
            question = nails.question(counts[limb], self._spoken) if limb in counts else None
            if limb is None or question is None or self._visit.asked.get(limb) == question:
                continue
            self._visit.asked[limb] = question
            answers.append(Answer(Tone.REMINDER, (question,), slow=True))
            notices.append(Notice("nails", "count", question, limb))
        return answers, notices
