"""From utterances to lines of the log: what was decided is on the disk before it is told."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from handsfree.engines.together import Alternative
from handsfree.grammar.grammar import Reading
from handsfree.log import Log, UtteranceRow
from handsfree.records.entries import to_json
from handsfree.session import Outcome, Session


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
    outcome: Outcome
    utterance_id: str | None

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


@dataclass
class Recorder:
    """Puts the utterances of one recording through a session and into the log.

    `log` may be None: then nothing is kept. A visit is begun with the first utterance, and
    anew with "next horse" or the name of another horse.
    """

    source: str
    log: Log | None
    session: Session = field(default_factory=Session)
    horse_id: str | None = None
    note: str | None = None
    _visit_id: str | None = field(default=None, init=False)
    _last_entries: Sequence[str] = field(default=(), init=False)

    def take(self, heard: Heard) -> Line | None:
        """Act on one utterance and keep it; None where nothing is to be kept (ears off)."""
        outcome = self.session.take(heard.reading, heard.confidence)
        if outcome is None:
            return None
        utterance_id = self._keep(heard, outcome) if self.log is not None else None
        return Line(self.source, heard, outcome, utterance_id)

    def _keep(self, heard: Heard, outcome: Outcome) -> str:
        assert self.log is not None
        if outcome.command == "horse" and outcome.horse is not None:
            horse = self.log.horse(outcome.horse)
            if horse is not None and horse.id != self.horse_id:
                self._leave_visit()
                self.horse_id = horse.id
        if self._visit_id is None:
            self._visit_id = self.log.start_visit(self.source, self.horse_id, self.note).id
        gone = self._last_entries if outcome.strikes or outcome.replaces else ()
        kept = self.log.append(
            self._visit_id,
            UtteranceRow(
                heard=heard.text,
                status=outcome.status,
                confidence=heard.confidence,
                command=outcome.command,
                limb=outcome.limb,
                start_s=heard.start_s,
                end_s=heard.end_s,
                engines=heard.engines,
                alternatives=tuple(vars(a) for a in heard.alternatives),
                free_text=heard.free_text,
                doubt=outcome.doubt or heard.doubt,
            ),
            [to_json(entry) for entry in outcome.entries],
            heard.flac,
            strikes=gone if outcome.strikes else (),
            replaces=gone if outcome.replaces else (),
        )
        if outcome.entries or outcome.strikes:
            self._last_entries = kept.entry_ids
        if outcome.command == "next_horse":
            self._leave_visit()
        return kept.utterance_id

    def _leave_visit(self) -> None:
        self._visit_id, self.horse_id, self._last_entries = None, None, ()
