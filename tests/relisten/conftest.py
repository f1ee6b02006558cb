"""Logs of the demo's recordings, written as if they had been heard so or otherwise."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pytest
import soundfile

from handsfree import demo
from handsfree.audio.speech import to_flac
from handsfree.dialogue.session import Session
from handsfree.grammar.grammar import Grammar, load
from handsfree.log import Log, UtteranceRow
from handsfree.records.entries import to_json
from handsfree.relisten.tasks import Again


@dataclass(frozen=True)
class Line:
    """One utterance to write: its words, how sure they are, and its sound if one is kept.

    `read` False: it was not understood.
    """

    heard: str
    confidence: float = 0.95
    doubt: str | None = None
    read: bool = True
    flac: bytes | None = b"none"
    gap_s: float = 8.0


@dataclass
class Material:
    """Makes logs, sounds and hearings for the tests."""

    grammar: Grammar
    line: type[Line] = Line
    _spoken: list[tuple[str, bytes]] = field(default_factory=list)

    def write(self, log: Log, lines: Sequence[Line | str], horse: str | None = None) -> str:
        """Write a visit as `transcribe` does; returns its id."""
        horse_id = None if horse is None else log.add_horse(horse).id
        visit = log.start_visit("heavy.flac", horse_id)
        session, at_s = Session(), 0.0
        last: list[str] = []
        for given in lines:
            line = Line(given) if isinstance(given, str) else given
            at_s += line.gap_s
            words = line.heard.split() if line.read else ["mumble"]
            outcome = session.take(self.grammar.read(words), line.confidence, at_s, at_s + 2)
            assert outcome is not None
            row = UtteranceRow(
                heard=line.heard,
                status=outcome.status,
                confidence=line.confidence,
                command=outcome.command,
                limb=outcome.limb,
                start_s=at_s,
                end_s=at_s + 2,
                engines=("neural", "pocketsphinx"),
                alternatives=({"engine": "neural", "text": line.heard, "score": -1.0},),
                doubt=outcome.doubt or line.doubt,
            )
            entries = [to_json(entry) for entry in outcome.entries]
            kept = log.append(
                *(visit.id, row, entries, line.flac),
                strikes=last if outcome.strikes else (),
                replaces=last if outcome.replaces else (),
            )
            last = list(kept.entry_ids) or last
            at_s += 2
        return visit.id

    def again(self, utterance_id: str, heard: str, confidence: float = 0.9) -> Again:
        """A new hearing of these words; "" is noise."""
        reading = self.grammar.read(heard.split())
        taken = reading.meaning is not None
        return Again(
            utterance_id,
            heard,
            tuple(reading.words) if taken else None,
            reading.bend,
            confidence if taken else 0.1,
            bool(heard),
            ("neural", "pocketsphinx"),
            worker="here:1",
        )

    def spoken(self, count: int) -> list[tuple[str, bytes]]:
        """The first utterances of a demo recording: what is said, and the sound."""
        if not self._spoken:
            place, file = demo.folder(), "heavy_horse.flac"
            sound, rate = soundfile.read(place / file, dtype="float32")
            assert rate == 16_000
            for row in demo.manifest(place):
                if row.file == file and not row.talk:
                    start = max(0, round((row.start_s - 0.35) * rate))
                    part = sound[start : round((row.end_s + 0.25) * rate)]
                    self._spoken.append((row.said, to_flac(part)))
        return self._spoken[:count]


@pytest.fixture(scope="session")
def material() -> Material:
    return Material(load())


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    """The test's own log."""
    with Log.open(tmp_path / "log.db") as opened:
        yield opened
