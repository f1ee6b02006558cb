"""An invented visit of forty entries, eight of them misheard, and a desk over it."""

import io
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import soundfile

from handsfree.grammar import Grammar, load
from handsfree.grammar.meaning import entries_of
from handsfree.log import Log, UtteranceRow
from handsfree.log.rows import Horse, Visit
from handsfree.records.entries import to_json
from handsfree.review.desk import Desk

BEGAN = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
APART = "pocketsphinx heard it differently"
NO_WORDS = "of the remark only the sound is kept: listen to it"
NO_NOTE = "sounds like speech that is no note"


@dataclass(frozen=True)
class Said:
    """One line of the visit: what was heard, how surely, and what was meant if not that.

    `meant` "" means that nothing was: the line is to be struck. `read` False: not understood.
    """

    heard: str
    confidence: float = 0.97
    doubt: str | None = None
    others: tuple[str, ...] = ()
    meant: str | None = None
    read: bool = True


SAID = (
    Said("left fore shoe pulled"),
    Said("foot up"),
    Said("pulled eight nails"),
    Said("outside heel bruise"),
    Said("toe length three and a half inches"),
    Said("hoof angle fifty two degrees"),
    Said("frog clear"),
    Said("trimmed"),
    Said("new shoe"),
    Said("drove eight nails"),
    Said("clinched"),
    Said("foot down"),
    Said("right fore shoe pulled"),
    Said("pulled seven nails", 0.6, APART, ("pulled eight nails",), "pulled eight nails"),
    Said("mild flare outside quarter"),
    Said("toe length thirty two and a half inches", meant="toe length three and a quarter inches"),
    Said("thrush in the frog", 0.6, APART, ("mild thrush in the frog",)),
    Said("trimmed"),
    Said("new shoe"),
    Said("drove eight nails"),
    Said("remark", 0.85, NO_WORDS),
    Said("left hind shoe pulled"),
    Said("pulled eight nails"),
    Said("inside heel bruise", 0.75, None, ("outside heel bruise",), "outside heel bruise"),
    Said("tow crack", 0.1, NO_NOTE, ("quarter crack", "toe crack"), "toe crack", read=False),
    Said("white line separation"),
    Said("hoof angle fifty four degrees"),
    Said("trimmed"),
    Said("shoe reset"),
    Said("drove eight nails"),
    Said("clinched"),
    Said("seedy toe", 0.6, APART, ("see the toe",), ""),
    Said("right hind shoe pulled"),
    Said("pulled eight nails"),
    Said("inside heel corn", 0.6, APART, (), "inside heel bruise and corn at the seat of corn"),
    Said(
        *("mild flair outside order", 0.1, NO_NOTE),
        *(("mild flare outside bulb", "mild flare outside quarter"), "mild flare outside quarter"),
        read=False,
    ),
    Said("stand still will you", 0.1, NO_NOTE, (), None, read=False),
    Said("trimmed"),
    Said("new shoe"),
    Said("drove nine nails", meant="drove eight nails"),
    Said("packed"),
    Said("heart girth two hundred thirty centimeters"),
    Said("weight nine hundred kilos"),
    Said("body condition six"),
    Said("come back in six weeks"),
)
"""Forty entries; Duke is a heavy horse whose shoes had eight nails each since the last visit."""

MISHEARD = tuple(line for line in SAID if line.meant is not None)
"""Eight: two to be picked, two numbers, one that was two things, one that was never said, two
not understood."""


@dataclass(frozen=True)
class Visit40:
    """The log at `path`, open as `log`; Bella is another horse without any visit."""

    path: Path
    log: Log
    grammar: Grammar
    id: str
    earlier_id: str
    said: tuple[Said, ...] = SAID
    misheard: tuple[Said, ...] = MISHEARD

    def desk(self) -> Desk:
        """A desk on the visit."""
        return Desk(self.log, self.grammar, self.id)


def flac() -> bytes:
    """A tenth of a second of a tone, 16 kHz mono, as a FLAC file."""
    tone = 0.1 * np.sin(2 * np.pi * 440 * np.arange(1600) / 16000)
    file = io.BytesIO()
    soundfile.write(file, tone.astype(np.float32), 16000, format="FLAC")
    return file.getvalue()


def record(log: Log, grammar: Grammar, visit: Visit, lines: tuple[Said, ...]) -> None:
    """Write lines to a visit as a session does: the limb stays in force until another is named."""
    limb, sound = None, flac()
    for number, line in enumerate(lines):
        reading = grammar.read(line.heard.split())
        meaning = reading.meaning if line.read else None
        if meaning is not None:
            named = [s.limbs[0] for s in meaning.statements if s.limbs] or list(meaning.limbs)
            limb = named[-1] if named else limb
        entries = entries_of(meaning, (limb,) if limb else ()) if meaning else ()
        at = BEGAN + timedelta(seconds=20 * number)
        row = UtteranceRow(
            heard=line.heard,
            status="unclear" if meaning is None else "recorded" if entries else "command",
            confidence=line.confidence,
            command=meaning.command if meaning else None,
            limb=limb,
            start_s=20.0 * number,
            end_s=20.0 * number + 2,
            recorded_at=at.isoformat(timespec="milliseconds"),
            engines=("neural", "pocketsphinx"),
            alternatives=tuple(
                {"engine": "neural", "text": text, "score": -1.0 - n}
                for n, text in enumerate(line.others)
            ),
            free_text=line.heard,
            doubt=line.doubt,
        )
        log.append(visit.id, row, [to_json(e) for e in entries], sound)


@pytest.fixture(scope="session")
def grammar() -> Grammar:
    return load(horse_names=("Bella", "Duke"))


@pytest.fixture(scope="session")
def _written(tmp_path_factory: pytest.TempPathFactory, grammar: Grammar) -> tuple[Path, str, str]:
    path = tmp_path_factory.mktemp("visit40") / "log.db"
    with Log.open(path) as log:
        duke: Horse = log.add_horse("Duke", "heavy")
        log.add_horse("Bella", "riding")
        earlier = log.start_visit("microphone", duke.id, started_at="2026-01-05T10:00:00.000+00:00")
        old = [Said(f"{limb} fore new shoe") for limb in ("left", "right")]
        old += [Said(f"{limb} hind new shoe") for limb in ("left", "right")]
        lines = [each for line in old for each in (line, Said("drove eight nails"))]
        record(log, grammar, earlier, tuple(lines))
        visit = log.start_visit("microphone", duke.id, started_at=BEGAN.isoformat())
        record(log, grammar, visit, SAID)
    return path, visit.id, earlier.id


@pytest.fixture
def path(tmp_path: Path, _written: tuple[Path, str, str]) -> Path:
    """A fresh copy of the log that holds the visit."""
    shutil.copy(_written[0], tmp_path / "log.db")
    return tmp_path / "log.db"


@pytest.fixture
def visit40(path: Path, grammar: Grammar, _written: tuple[Path, str, str]) -> Iterator[Visit40]:
    """The visit of forty entries in a log of its own."""
    with Log.open(path) as log:
        yield Visit40(path, log, grammar, _written[1], _written[2])


@pytest.fixture
def desk(visit40: Visit40) -> Desk:
    """A desk on the visit."""
    return visit40.desk()
