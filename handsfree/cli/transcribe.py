"""`handsfree transcribe`: recordings in, records out."""

import json
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack
from datetime import date, time
from pathlib import Path

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from handsfree.bringing.known import to_hear
from handsfree.cli.earlier import earlier_options, moment_of, recorder_of
from handsfree.cli.options import (
    again_option,
    asleep_until,
    attention_options,
    awake_s,
    engine_options,
    log_option,
    own_words_option,
)
from handsfree.cli.own_words import with_own_words
from handsfree.cli.screen import by_limb, clock, console, notice_line, safe
from handsfree.cli.voice_option import voice_option
from handsfree.dialogue.dialogue import Dialogue
from handsfree.dialogue.session import Session
from handsfree.engines.choose import TEXT, ModelFolders, in_words, listeners
from handsfree.engines.together import Together
from handsfree.errors import ExitCode, HandsfreeError, UnreadableSound
from handsfree.grammar.grammar import Grammar, load
from handsfree.grammar.wording import Wording
from handsfree.log import Horse, Log, Utterance
from handsfree.recording import Line, Recorder
from handsfree.records.limbs import LIMBS
from handsfree.records.sureness import unsure
from handsfree.transcribe import STANDARD_INPUT, kept_lines, sound_lines, typed_lines
from handsfree.voice.use import confidence_for, speaker_named


@click.command()
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per utterance.")
@click.option("--limb", type=click.Choice(LIMBS), help="The limb in force at the start.")
@click.option("--horse", metavar="NAME", help="The horse this is about (one of the log's).")
@earlier_options
@click.option("--no-log", is_flag=True, help="Print only; keep nothing in the log.")
@again_option
@attention_options
@voice_option
@engine_options
@own_words_option
@log_option
def transcribe(
    files: tuple[str, ...],
    as_json: bool,
    limb: str | None,
    horse: str | None,
    day: date | None,
    hour: time | None,
    no_log: bool,
    again: bool,
    attention: str | None,
    attention_s: float | None,
    voice_name: str | None,
    engines: tuple[str, ...],
    vosk_model: Path | None,
    neural_model: Path | None,
    own_words_path: Path | None,
    log_path: Path | None,
) -> int:
    """Turn recordings (WAV, FLAC, MP3 or M4A; - for WAV on standard input) into records.

    Each utterance is in the log before it is printed. A recording is heard once: what the log
    has of it is printed from there, and one that was broken off is gone on with. With
    --engine text the files hold typed words, one utterance a line.
    """
    if TEXT in engines and len(set(engines)) > 1:
        raise click.UsageError("--engine text cannot be joined with engines that hear")
    stays_s = awake_s(attention, attention_s)
    if TEXT in engines and stays_s is not None:
        raise click.UsageError("--attention is for sound; typed words have no times")
    if TEXT in engines and voice_name is not None:
        raise click.UsageError("--voice is for sound; typed words have none")
    moment = moment_of(day, hour, engines, horse)
    err = console(to_stderr=True)
    code = ExitCode.OK
    with ExitStack() as stack:
        log = None if no_log else stack.enter_context(Log.open(log_path))
        about = horse_named(log, horse)
        grammar = load(
            horse_names=log.horse_names() if log else (), lessons=log.lessons() if log else ()
        )
        grammar = with_own_words(
            grammar, own_words_path, lambda line: err.print(line, soft_wrap=True)
        )
        grammar = grammar.with_attention(attention)
        ears = None
        if TEXT not in engines:
            whose = speaker_named(voice_name, lambda line: err.print(safe(line), soft_wrap=True))
            folders = ModelFolders(vosk_model, neural_model)
            chosen, absent = listeners(grammar, engines, folders, False, whose.warp)
            ears = Together(chosen, grammar, confidence=confidence_for(whose))
            stack.callback(ears.close)
            err.print(in_words(chosen, absent))
            if len(chosen) == 1:
                err.print("one listener alone: there is no second opinion, its own score decides")
            for line in asleep_until(attention, stays_s):
                err.print(line)
        out = _Output(grammar, as_json)
        for file in files:
            session = Session(limb, attention_s=stays_s)
            dialogue = Dialogue(grammar, session)
            recorder = recorder_of(file, log, dialogue, about, moment)
            try:
                if ears is None:
                    lines = typed_lines(file, grammar, recorder)
                else:
                    hearing = _Hearing(file, ears, recorder, err, show=not as_json)
                    once = log is not None and not again and Path(file).is_file()
                    lines = hearing.once(log) if log and once else hearing.lines()
                out.file(file, lines)
            except UnreadableSound as error:
                err.print(f"handsfree: {safe(str(error))}", soft_wrap=True)
                code = ExitCode.UNREADABLE
    return code


def horse_named(log: Log | None, name: str | None) -> Horse | None:
    """The log's horse of this name, None where none is given. Raises HandsfreeError."""
    if name is None:
        return None
    if log is None:
        raise click.UsageError("--horse needs the log; leave out --no-log")
    horse = log.horse(name)
    if horse is None:
        raise HandsfreeError(
            f"there is no horse '{safe(name)}' in the log; 'handsfree horses add' adds one"
        )
    return horse


class _Hearing:
    """The lines of one recording, with what there is to say about it on standard error."""

    def __init__(
        self, file: str, ears: Together, recorder: Recorder, err: Console, show: bool
    ) -> None:
        self._file, self._ears, self._recorder = file, ears, recorder
        self._err, self._show = err, show
        self._name = "standard input" if file == STANDARD_INPUT else Path(file).name
        self._warned = False

    def lines(self, after: Utterance | None = None) -> Iterator[Line]:
        """Hear it, or what comes after this utterance of it."""
        with progress_bar(self._err, safe(self._name), enabled=self._show) as report:
            yield from sound_lines(
                self._file, self._ears, self._recorder, report, self._warn, after
            )

    def once(self, log: Log) -> Iterator[Line]:
        """Give the lines that the log has of it, and hear only what it has not."""
        kept: list[Line] = []
        with to_hear(log, [self._file], self._say, kept.append) as heard:
            yield from kept
            if not heard.files:
                return
            if heard.visits:
                self._say(f"{self._name}: was begun before; gone on with")
                yield from kept_lines(self._file, log, heard.visits)
            self._recorder.recording = heard.digest
            yield from self.lines(self._recorder.resume(heard.visits))
            if not self._warned:
                heard.done(log)

    def _warn(self, line: str) -> None:
        self._warned = True
        self._say(line)

    def _say(self, line: str) -> None:
        self._err.print(safe(line), soft_wrap=True)


class progress_bar:
    """A progress bar on standard error over the seconds of a recording."""

    def __init__(self, err: Console, name: str, enabled: bool = True) -> None:
        self._bar = Progress(
            TextColumn("{task.description}", markup=False),
            BarColumn(),
            TextColumn("{task.percentage:>3.0f}%"),
            TimeRemainingColumn(),
            console=err,
            transient=True,
            disable=not (enabled and err.is_terminal),
        )
        self._task = self._bar.add_task(name, total=None)

    def __enter__(self) -> Callable[[float, float | None], None]:
        self._bar.start()
        return lambda done, total: self._bar.update(self._task, completed=done, total=total)

    def __exit__(self, *error: object) -> None:
        self._bar.stop()


class _Output:
    """Prints lines as JSON, or as a readable list with a table by limb at the end."""

    def __init__(self, grammar: Grammar, as_json: bool) -> None:
        self._grammar, self._as_json = grammar, as_json
        self._wording = Wording(grammar)
        self._out = console()

    def file(self, name: str, lines: Iterable[Line]) -> None:
        if self._as_json:
            for line in lines:
                # JSON Lines, flushed: who reads the pipe sees each record as it is kept.
                click.echo(json.dumps(line.as_json()), nl=True)
            return
        self._out.print(safe(name), style="bold")
        in_force: list[Line] = []
        for line in lines:
            self._out.print(line_text(line, self._wording), soft_wrap=True)
            for due in line.turn.notices:
                if due.kind == "caution":
                    shown = notice_line(due.kind, due.limb, due.text)
                    self._out.print(safe(shown), soft_wrap=True, style="bold")
            take_back(in_force, line)
        entries = [
            (e, "" if sure(li) else "doubtful") for li in in_force for e in li.outcome.entries
        ]
        if entries:
            self._out.print(by_limb(entries, self._grammar, self._wording))
        else:
            self._out.print("nothing was recorded")


def take_back(in_force: list[Line], line: Line) -> None:
    """Keep the lines whose entries count: a strike or a correction drops the last one."""
    if (line.outcome.strikes or line.outcome.replaces) and in_force:
        in_force.pop()
    if line.outcome.entries:
        in_force.append(line)


def sure(line: Line) -> bool:
    """Whether the line may stand without a second look."""
    return not unsure(line.heard.confidence, line.doubt)


def line_text(line: Line, wording: Wording) -> str:
    """One utterance on one line: time, limb, what became of it, and what was heard."""
    outcome = line.outcome
    if outcome.status == "unclear":
        what = f"unclear: {safe(line.heard.text)}"
    elif outcome.status == "command":
        what = f"[{(outcome.command or 'limb').replace('_', ' ')}] {safe(line.heard.text)}"
        if outcome.command == "horse" and outcome.horse is None:
            what += "  -- not named yet: 'handsfree visits name' says whose visit it is"
    else:
        what = _entries_text(line, wording) + (" (in place of the last)" * outcome.replaces)
        if not sure(line):
            what += f"  -- doubtful, heard: {safe(line.heard.text)}"
    when = "" if line.heard.engines == (TEXT,) else clock(line.heard.start_s)
    return f"{when:>6}  {outcome.limb or '--'}  {what}"


def _entries_text(line: Line, wording: Wording) -> str:
    """The entries in words; limbs are named where it is not just the limb in force."""
    limbs: dict[str, list[str]] = {}
    for entry in line.outcome.entries:
        limbs.setdefault(safe(wording.describe(entry)), []).append(entry.limb or "")
    shown = []
    for text, of in limbs.items():
        named = [limb for limb in of if limb]
        shown.append(f"{' '.join(named)}: {text}" if len(named) > 1 else text)
    return "; ".join(shown)
