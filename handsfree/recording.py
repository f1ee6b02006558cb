"""From utterances to lines of the log: what was decided is on the disk before it is told."""

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, TypeVar

from handsfree.dialogue.dialogue import Dialogue
from handsfree.dialogue.session import LIMB_UNSURE, Outcome
from handsfree.dialogue.turn import Kept, Key, Notice, Turn
from handsfree.engines.together import Alternative
from handsfree.grammar.grammar import Reading
from handsfree.histories import history
from handsfree.language.known import entry_of
from handsfree.log import Appended, Horse, Log, NoticeRow, Utterance, UtteranceRow, Visit, local_day
from handsfree.log import Entry as LoggedEntry
from handsfree.log.rows import BadEntry, now, zone_of
from handsfree.log.writing import check_bodies
from handsfree.records.checking import Unreadable
from handsfree.records.entries import to_json
from handsfree.records.sureness import unsure
from handsfree.sums.asked import Past
from handsfree.sums.nailed import in_shoes
from handsfree.visit.answer import Answer, Tone
from handsfree.waiting import Waiting

T = TypeVar("T")


@dataclass(frozen=True)
class Heard:
    """One utterance as the engines gave it, before it means anything.

    Times are seconds from the start of the recording; `flac` is its sound, None if typed.
    """

    text: str
    reading: Reading
    confidence: float
    start_s: float
    end_s: float
    engines: tuple[str, ...]
    alternatives: tuple[Alternative, ...] = ()
    free_text: str | None = None
    doubt: str | None = None
    flac: bytes | None = None


@dataclass(frozen=True)
class Line:
    """One utterance of the output; `as_json` is the record contract's object."""

    file: str
    heard: Heard
    turn: Turn
    written: Future[str] | None

    @property
    def outcome(self) -> Outcome:
        """What became of it."""
        return self.turn.outcome

    @property
    def utterance_id(self) -> str | None:
        """Its id in the log, None where it is not (yet) written."""
        return self.written.result() if self.written and self.written.done() else None

    def as_json(self) -> dict[str, Any]:
        """The contract's keys, then the ones of our own."""
        heard, outcome = self.heard, self.outcome
        return {
            "file": self.file,
            "start_s": round(heard.start_s, 2),
            "end_s": round(heard.end_s, 2),
            "heard": heard.text,
            "status": outcome.status,
            "confidence": round(heard.confidence, 3),
            "command": outcome.command,
            "limb": outcome.limb,
            "horse": self.turn.horse,
            "horse_said": self.turn.horse_said,
            "entries": [to_json(entry) for entry in outcome.entries],
            "engines": list(heard.engines),
            "doubt": self.doubt,
            "alternatives": [
                {"engine": a.engine, "heard": a.text, "score": a.score} for a in heard.alternatives
            ],
            "utterance_id": self.utterance_id,
        }

    @property
    def doubt(self) -> str | None:
        """Why a person should look at it, None where it is sure."""
        return self.outcome.doubt or self.heard.doubt


class Recorder:
    """Puts utterances through a dialogue and into the log.

    `log` may be None: then nothing is kept. A visit is begun with the first utterance, and
    anew with "next horse" or the name of another horse; that of a name which no horse of the
    log has is without a horse, and keeps the words. With `patient`, what the log refuses
    for a while waits in `waiting`, in order; else LogError is raised at once. `recording` is
    the digest of the recording that is heard: the log keeps which visits it became.
    """

    def __init__(
        self,
        source: str,
        log: Log | None,
        dialogue: Dialogue,
        horse: Horse | None = None,
        patient: bool = False,
        recording: str | None = None,
    ) -> None:
        self.dialogue = dialogue
        self.source, self.recording = source, recording
        self.waiting = Waiting()
        self._patient = patient
        self._log, self._horse = log, horse
        self._visit_id: str | None = None
        self._horse_said: str | None = None
        self._opened_by = 0
        self._ids: dict[Key, str] = {}
        self._nail_notices: dict[str, str] = {}
        if horse is not None:
            dialogue.go_on(horse.name, None, ())
            self._tell_of_the_past()

    @property
    def visit_id(self) -> str | None:
        """The visit that is being written, None before its first utterance."""
        return self._visit_id

    def go_on(self, visit: Visit) -> None:
        """Write on in a visit that was broken off."""
        assert self._log is not None
        self._visit_id = visit.id
        self._horse = self._log.horse(visit.horse) if visit.horse else None
        kept: list[Kept] = []
        self._ids = {}
        for number, stored in enumerate(self._log.entries(visit.id, in_force=True), 1):
            entry = entry_of(stored.body)
            if not isinstance(entry, Unreadable):
                doubtful = stored.status != "confirmed" and is_doubtful(stored)
                kept.append(Kept((number, 0), entry, doubtful))
                self._ids[number, 0] = stored.id
        utterances = self._log.utterances(visit.id)
        limb = utterances[-1].limb if utterances else None
        self.dialogue.go_on(visit.horse, limb, kept, _limb_unsure(utterances), visit.horse_said)
        self._tell_of_the_past()
        for notice in self._log.notices(visit.id):
            if notice.kind == "nails" and notice.limb:
                self._nail_notices[notice.limb] = notice.id

    def resume(self, visits: Sequence[str]) -> Utterance | None:
        """Go on in the last of a recording's visits; returns what was heard last of it."""
        assert self._log is not None
        utterances = [u for each in visits for u in self._log.utterances(each)]
        # Who had said "next horse" begins another visit with what follows.
        if visits and not (utterances and utterances[-1].command == "next_horse"):
            self.go_on(self._log.visit(visits[-1]))
        last = max(utterances, key=lambda u: u.start_s or 0.0, default=None)
        if last is not None:
            session = self.dialogue.session
            ears = [u.command for u in utterances if u.command in ("ears_off", "ears_on")]
            stays_s = session.attention_s
            session.state = replace(
                session.state,
                ears_on=ears[-1:] != ["ears_off"],
                awake_until_s=None if stays_s is None else (last.start_s or 0.0) + stays_s,
            )
        return last

    def take(self, heard: Heard) -> Line | None:
        """Act on one utterance and keep it; None where nothing is to be kept (ears
        off, or asleep until the attention word is said).

        Raises LogError where the log refuses (when patient, only what it never will take).
        """
        turn = self.dialogue.hear(heard.reading, heard.confidence, heard.start_s, heard.end_s)
        if turn is None:
            return None
        turn = _keepable(turn)
        if self._log is None:
            return Line(self.source, heard, turn, None)
        for notice in turn.parting:
            self.notice(notice)
        at = self._now()
        return Line(self.source, heard, turn, self._write(lambda: self._keep(heard, turn, at)))

    def notice(self, notice: Notice) -> None:
        """Keep a notice that no utterance called for, in the visit at hand if there is one."""
        if self._log is not None:
            self._write(lambda: self._add_notice(notice))

    def _write(self, job: Callable[[], T]) -> Future[T]:
        if self._patient:
            return self.waiting.put(job)
        done: Future[T] = Future()
        done.set_result(job())
        return done

    def _add_notice(self, notice: Notice) -> None:
        assert self._log is not None
        if self._visit_id is not None:
            self._log.notice(self._visit_id, NoticeRow(**vars(notice)))

    def _keep(self, heard: Heard, turn: Turn, at: str) -> str:
        """Write one utterance. Safe to repeat: what succeeded before a failure is not redone."""
        assert self._log is not None
        outcome = turn.outcome
        if outcome.command == "horse":
            self._turn_to(turn)
        if self._visit_id is None:
            horse_id = self._horse.id if self._horse else None
            self._visit_id = self._begin_visit(horse_id, at)
            self._tell_of_the_past()
        row = UtteranceRow(
            heard=heard.text,
            status=outcome.status,
            confidence=heard.confidence,
            command=outcome.command,
            limb=outcome.limb,
            start_s=heard.start_s,
            end_s=heard.end_s,
            recorded_at=at,
            engines=heard.engines,
            alternatives=tuple(vars(a) for a in heard.alternatives),
            free_text=heard.free_text,
            doubt=outcome.doubt or heard.doubt,
        )
        kept = self._append(row, heard, turn)
        self._ids |= {(turn.number, at): each for at, each in enumerate(kept.entry_ids)}
        for notice, notice_id in zip(turn.notices, kept.notice_ids, strict=True):
            if notice.kind == "nails" and notice.limb:
                self._nail_notices[notice.limb] = notice_id
        if outcome.command == "next_horse":
            self._part()
            self._horse = self._horse_said = None
        return kept.utterance_id

    def _now(self) -> str:
        """The moment that is written beside what is said."""
        return now()

    def _begin_visit(self, horse_id: str | None, at: str) -> str:
        assert self._log is not None
        said = self._horse_said
        if self.recording is None:
            return self._log.start_visit(self.source, horse_id, horse_said=said).id
        return self._log.start_recorded_visit(
            self.recording, self.source, horse_id, at, said, self._zone()
        )

    def _zone(self) -> str:
        """How far the clock is from UTC where a recording was made, as in Visit."""
        return zone_of(datetime.now())

    def _turn_to(self, turn: Turn) -> None:
        """Go to the visit of the horse that was named, or give the visit in hand its name."""
        assert self._log is not None
        if turn.opens and turn.number != self._opened_by:
            self._part()
            self._opened_by = turn.number
        self._horse = self._log.horse(turn.horse) if turn.horse else None
        self._horse_said = turn.horse_said if self._horse or not turn.horse else turn.horse
        if self._visit_id is not None and self._horse is not None:
            self._log.name_horse(self._visit_id, self._horse.id)
            self._tell_of_the_past()

    def _append(self, row: UtteranceRow, heard: Heard, turn: Turn) -> Appended:
        assert self._log is not None
        assert self._visit_id is not None
        return self._log.append(
            self._visit_id,
            row,
            [to_json(entry) for entry in turn.outcome.entries],
            heard.flac,
            strikes=self._known(turn.struck),
            replaces=self._known(turn.replaced),
            restores=self._known(turn.restored),
            confirms=self._known(turn.confirmed),
            notices=[NoticeRow(**vars(notice)) for notice in turn.notices],
            settles=self._settled(turn),
        )

    def _known(self, keys: Iterable[Key]) -> list[str]:
        return [self._ids[key] for key in keys if key in self._ids]

    def _settled(self, turn: Turn) -> list[str]:
        """Nail notices that are answered, or that a newer count of the foot replaces."""
        limbs = {*turn.settled, *(n.limb for n in turn.notices if n.kind == "nails")}
        return [found for limb, found in self._nail_notices.items() if limb in limbs]

    def _part(self) -> None:
        self._visit_id, self._ids, self._nail_notices = None, {}, {}

    def _tell_of_the_past(self) -> None:
        """Tell the dialogue of the horse's visits before this one, as if on the day of this."""
        if self._log is not None and self._horse is not None:
            day = (
                local_day(self._now())
                if self._visit_id is None
                else self._log.visit(self._visit_id).day
            )
            past = history(self._log, self._horse, but=self._visit_id).until(day)
            self.dialogue.know(in_shoes(past), Past(past, day))


def _keepable(turn: Turn) -> Turn:
    """The turn; one that was not understood where the log would refuse an entry of it.

    What it was taken to say cannot be kept; that it was said can, and is told as that.
    """
    try:
        check_bodies([to_json(entry) for entry in turn.outcome.entries])
    except BadEntry as error:
        outcome = Outcome("unclear", limb=turn.outcome.limb, doubt=str(error))
        return Turn(
            turn.number,
            outcome,
            (Answer(Tone.UNCLEAR, ("not kept",)),),
            parting=turn.parting,
            opens=turn.opens,
            horse=turn.horse,
            horse_said=turn.horse_said,
        )
    return turn


def _limb_unsure(utterances: Sequence[Utterance]) -> bool:
    """Whether the foot in force after these may be another, as `State.limb_unsure` says."""
    for each in reversed(utterances):
        if each.doubt is not None and LIMB_UNSURE in each.doubt:
            return True
        if each.status != "unclear" and each.command is None:
            return unsure(each.confidence, None)
    return False


def is_doubtful(entry: LoggedEntry) -> bool:
    """Whether a stored entry needs a second look."""
    return unsure(entry.confidence, entry.doubt)
