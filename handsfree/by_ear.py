"""A visit by ear: a script of what is said and answered, beside what the live loop made of it.

`demo_audio/by_ear.toml` is the script, `by_ear.jsonl` the same with times in the recording.
"""

import json
import tomllib
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from difflib import SequenceMatcher
from enum import StrEnum
from pathlib import Path
from typing import Any, Protocol

from handsfree.answers.output import Tape
from handsfree.answers.voice import Speech
from handsfree.audio.live import Replay
from handsfree.demo import beside, plain
from handsfree.dialogue.dialogue import Dialogue
from handsfree.dialogue.session import Session
from handsfree.engines.base import Sound
from handsfree.engines.together import Together
from handsfree.grammar.grammar import Grammar
from handsfree.listening.loop import Listening, Screen
from handsfree.listening.mouth import Mouth
from handsfree.log import Log
from handsfree.recording import Line, Recorder
from handsfree.records.entries import to_json
from handsfree.records.sureness import unsure
from handsfree.visit.answer import Answer, Tone

SAME_REMARK = 0.75
"""A remark is heard freely; with so many of its words alike (difflib's ratio) it is the same."""

SUMS_UP = frozenset({"confirm", "read_back", "whats_left", "horse_done"})
"""Commands whose answer tells of earlier utterances, and so of any doubt about them."""

Body = dict[str, Any]


@dataclass(frozen=True)
class Said:
    """One utterance of the script and what must come of it. Times in seconds.

    `talk`: no record may come of it, and it may be answered by its tone or not at all.
    `answers` are given at once, `later` ones because time passes before the next utterance.
    `undone`: its entries do not count in the end. `notices` are (kind, code, limb).
    """

    start_s: float
    end_s: float
    horse: str
    said: str
    status: str
    command: str | None
    limb: str | None
    entries: tuple[Body, ...]
    answers: tuple[Answer, ...]
    later: tuple[Answer, ...]
    notices: tuple[tuple[str, str, str | None], ...]
    settles: tuple[str, ...]
    talk: bool
    undone: bool
    may_be_doubtful: bool


@dataclass(frozen=True)
class Script:
    """The recording and all that is said in it; `remind_s` as for `listen --remind`."""

    recording: Path
    remind_s: float
    utterances: tuple[Said, ...]

    @property
    def in_force(self) -> list[tuple[str, Body]]:
        """Horse and entry of all that counts in the end, in the order it was said."""
        return [(u.horse, e) for u in self.utterances if not u.undone for e in u.entries]


@dataclass(frozen=True)
class Told:
    """A tone or words as they went out; `at_s` by the recording's clock."""

    at_s: float
    tone: str | None
    say: tuple[str, ...] = ()


class Verdict(StrEnum):
    """What became of an utterance. Missed: nothing of it was recorded or carried out."""

    RIGHT = "right"
    DOUBTFUL = "doubtful"
    WRONG = "wrong"
    MISSED = "missed"


@dataclass(frozen=True)
class Compared:
    """What was said beside the line that came of it (None: no line) and what was answered.

    `after_doubt`: something that was said before in this visit was not right and sure.
    """

    expected: Said
    line: Line | None
    told: tuple[Told, ...] = ()
    after_doubt: bool = False

    @property
    def sure(self) -> bool:
        """Whether the recognizers agreed; what only the dialogue doubts (a restatement) is sure."""
        if self.line is None:
            return True
        heard = self.line.heard
        return not unsure(heard.confidence, heard.doubt)

    @property
    def verdict(self) -> Verdict:
        """Whether all keys of all entries, the command and the limb are as they must be."""
        outcome, must = self.line.outcome if self.line else None, self.expected
        if outcome is None or outcome.status == "unclear":
            return Verdict.RIGHT if must.status == "none" else Verdict.MISSED
        entries = tuple(_as_said(plain(to_json(e)), must) for e in outcome.entries)
        became = (outcome.status, outcome.command, outcome.limb, entries)
        if became != (must.status, must.command, must.limb, must.entries):
            return Verdict.WRONG
        return Verdict.RIGHT if self.sure or must.may_be_doubtful else Verdict.DOUBTFUL

    @property
    def tones_right(self) -> bool:
        """Whether the tones are the script's, in order."""
        given = [told.tone for told in self.told if told.tone is not None]
        return given == self.tones or (self.expected.talk and not given)

    @property
    def words_right(self) -> bool:
        """Whether what was spoken is the script's; what came of doubt need not be."""
        spoken = [told.say for told in self.told if told.say]
        if spoken == self.words:
            return True
        if self.after_doubt and self.expected.command in SUMS_UP:
            return [s[0] for s in spoken] == [w[0] for w in self.words]
        return not self.sure and any("perhaps" in say for say in spoken)

    @property
    def tones(self) -> list[str]:
        """The tones of the script, in order."""
        every = (*self.expected.answers, *self.expected.later)
        return [str(answer.tone) for answer in every if answer.tone is not None]

    @property
    def words(self) -> list[tuple[str, ...]]:
        """The phrases of the script, in order."""
        return [a.say for a in (*self.expected.answers, *self.expected.later) if a.say]


@dataclass(frozen=True)
class Played:
    """What a run of the loop gave: its lines, what went out, and the recorded answers."""

    lines: Sequence[Line]
    told: Sequence[Told]
    tape: Tape


class Shown(Screen, Protocol):
    """What shows a run while it goes on."""

    def told(self, at_s: float, tone: Tone | None, say: Sequence[str]) -> None:
        """An answer went out."""
        ...


def read(place: Path) -> Script:
    """The script in the folder of the demo's recordings."""
    about = tomllib.loads((place / "by_ear.toml").read_text(encoding="utf-8"))
    rows = map(json.loads, (place / "by_ear.jsonl").read_text(encoding="utf-8").splitlines())
    said = tuple(_said(row) for row in rows if row["said"])
    return Script(place / about["file"], about["remind_s"], said)


def play(
    script: Script,
    log: Log,
    ears: Together,
    grammar: Grammar,
    speech: Speech | None,
    shown: Shown | None = None,
) -> Played:
    """Put the recording through the loop that `handsfree listen` runs, faster than in life.

    `speech` None: answers by tones alone. Raises what `Replay` and `Listening.run` raise.
    """
    tape, witness = Tape(), _Witness(shown)
    dialogue = Dialogue(grammar, Session(restating=True), remind_after_s=script.remind_s)
    listening = Listening(
        Replay([script.recording], speed=0),
        ears,
        Recorder(script.recording.name, log, dialogue, patient=True),
        Mouth(tape, speech, wait=True, told=witness.told),
        witness,
        pass_time=tape.advance,
    )
    listening.mouth.answer([Answer(Tone.READY)], listening.now_s)
    listening.run()
    return Played(witness.lines, witness.all_told, tape)


def compare(
    script: Script, lines: Sequence[Line], told: Sequence[Told]
) -> tuple[list[Compared], list[Told]]:
    """Each utterance with its line and its answers; also what was told before all of them.

    An answer belongs to the utterance that ended last before it was given.
    """
    ends = [said.end_s for said in script.utterances]
    answers: list[list[Told]] = [[] for _ in range(len(ends) + 1)]
    for each in told:
        answers[bisect_right(ends, each.at_s)].append(each)
    compared: list[Compared] = []
    doubted: set[str] = set()
    for (said, line), given in zip(beside(script.utterances, lines), answers[1:], strict=True):
        one = Compared(said, line, tuple(given), said.horse in doubted)
        if one.verdict is not Verdict.RIGHT or not one.sure:
            doubted.add(said.horse)
        compared.append(one)
    return compared, answers[0]


def in_force(log: Log) -> list[tuple[str, Body]]:
    """Horse and entry of all that counts in the log, visit by visit, as `Script.in_force`."""
    visits = reversed(log.visits())
    return [(v.horse or "", e.body) for v in visits for e in log.entries(v.id, in_force=True)]


@dataclass
class _Witness:
    """Keeps what a run shows, and passes it on."""

    shown: Shown | None
    lines: list[Line] = field(default_factory=list)
    all_told: list[Told] = field(default_factory=list)

    def line(self, line: Line) -> None:
        self.lines.append(line)
        if self.shown is not None:
            self.shown.line(line)

    def told(self, at_s: float, tone: Tone | None, say: Sequence[str]) -> None:
        self.all_told.append(Told(at_s, str(tone) if tone else None, tuple(say)))
        if self.shown is not None:
            self.shown.told(at_s, tone, say)

    def trouble(self, text: str) -> None:
        if self.shown is not None:
            self.shown.trouble(text)

    def block(self, sound: Sound, at_s: float) -> None:
        if self.shown is not None:
            self.shown.block(sound, at_s)


def _said(row: Body) -> Said:
    answers, later = (
        tuple(Answer(Tone(a["tone"]), tuple(a.get("say", ()))) for a in row[key])
        for key in ("answers", "later")
    )
    return Said(
        row["start_s"],
        row["end_s"],
        row["horse"],
        row["said"],
        row["status"],
        row.get("command"),
        row.get("limb"),
        tuple(row["entries"]),
        answers,
        later,
        tuple((n["kind"], n["code"], n.get("limb")) for n in row["notices"]),
        tuple(row.get("settles", ())),
        row.get("talk", False),
        row.get("undone", False),
        row.get("may_be_doubtful", False),
    )


def _as_said(entry: Body, must: Said) -> Body:
    """The entry; a remark that is nearly what was said with the words of the script."""
    for wanted in must.entries:
        if entry["kind"] == wanted["kind"] == "remark":
            alike = SequenceMatcher(None, entry["text"].split(), wanted["text"].split()).ratio()
            if alike >= SAME_REMARK:
                return entry | {"text": wanted["text"]}
    return entry
