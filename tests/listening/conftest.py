"""A session with everything real but the microphone and the loudspeaker."""

import shutil
import subprocess
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest

from handsfree.answers.output import Tape
from handsfree.answers.tones import sound_of
from handsfree.audio.live import Scripted, Source
from handsfree.audio.sources import open_sound
from handsfree.dialogue.dialogue import Dialogue
from handsfree.dialogue.session import Session
from handsfree.engines.base import SAMPLE_RATE, Sound
from handsfree.engines.choose import ModelFolders, listeners
from handsfree.engines.together import Together
from handsfree.grammar import Grammar, load
from handsfree.listening.loop import Listening
from handsfree.listening.mouth import Mouth
from handsfree.log import Log
from handsfree.recording import Line, Recorder
from handsfree.spool import Spool
from handsfree.visit.answer import Tone

Speak = Callable[..., Sound]


@pytest.fixture(scope="session")
def speak(tmp_path_factory: pytest.TempPathFactory) -> Speak:
    """A made voice: each phrase with a pause of 1.2 s after it, over a faint hiss."""
    if shutil.which("flite") is None:
        pytest.skip("flite is not installed")
    folder: Path = tmp_path_factory.mktemp("spoken")

    def say(*phrases: str) -> Sound:
        parts = [np.zeros(SAMPLE_RATE // 2, np.float32)]
        for phrase in phrases:
            path = folder / f"{phrase.replace(' ', '_')}.wav"
            if not path.exists():
                subprocess.run(["flite", "-voice", "slt", "-t", phrase, "-o", path], check=True)
            sound = np.concatenate(list(open_sound(path)))
            parts += [0.08 * sound / np.sqrt((sound**2).mean()), np.zeros(19_200, np.float32)]
        whole = np.concatenate(parts)
        hiss = np.random.default_rng(1).standard_normal(len(whole))
        return (whole + 1e-4 * hiss).astype(np.float32)

    return say


@pytest.fixture(scope="session")
def grammar() -> Grammar:
    return load(horse_names=["Lantern"])


@pytest.fixture(scope="session")
def ears(grammar: Grammar) -> Iterator[Together]:
    """One real recognizer, which is enough for what these tests are about, and quick."""
    together = Together(listeners(grammar, ["pocketsphinx"], ModelFolders())[0], grammar)
    yield together
    together.close()


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with Log.open(tmp_path / "log.db", busy_s=0.05) as opened:
        yield opened


@dataclass
class Seen:
    """Everything that was shown and answered."""

    lines: list[Line] = field(default_factory=list)
    troubles: list[str] = field(default_factory=list)
    told: list[tuple[float, Tone | None, Sequence[str]]] = field(default_factory=list)
    at_line: Callable[[Line], None] = lambda line: None

    def line(self, line: Line) -> None:
        self.lines.append(line)
        self.at_line(line)

    def trouble(self, text: str) -> None:
        self.troubles.append(text)

    def block(self, sound: Sound, at_s: float) -> None:
        pass

    def answered(self, at_s: float, tone: Tone | None, say: Sequence[str]) -> None:
        self.told.append((at_s, tone, say))

    @property
    def heard(self) -> list[str]:
        return [line.heard.text for line in self.lines]

    @property
    def tones(self) -> list[Tone]:
        return [tone for _, tone, _ in self.told if tone is not None]


@dataclass
class Live:
    """One session over a script of sound and troubles."""

    ears: Together
    log: Log
    grammar: Grammar
    seen: Seen = field(default_factory=Seen)
    tape: Tape = field(default_factory=Tape)

    def session(
        self, source: Source | Sequence[object], spool: Spool | None = None, speech: object = None
    ) -> Listening:
        if not hasattr(source, "read"):
            source = Scripted(source, live=False)  # type: ignore[arg-type]
        dialogue = Dialogue(self.grammar, Session(restating=True))
        recorder = Recorder("microphone", self.log, dialogue, patient=True)
        mouth = Mouth(self.tape, speech, True, self.seen.answered)  # type: ignore[arg-type]
        return Listening(
            source,  # type: ignore[arg-type]
            self.ears,
            recorder,
            mouth,
            self.seen,
            spool,
            pass_time=self.tape.advance,
        )

    @property
    def tones_on_tape(self) -> list[Tone]:
        """The tones that really went out, known by their samples."""
        sounds = {sound_of(tone).tobytes(): tone for tone in Tone}
        return [sounds[s.tobytes()] for _, s in self.tape.played if s.tobytes() in sounds]

    def written(self) -> list[str]:
        return [u.heard for v in reversed(self.log.visits()) for u in self.log.utterances(v.id)]


@pytest.fixture
def live(ears: Together, log: Log, grammar: Grammar) -> Live:
    return Live(ears, log, grammar)
