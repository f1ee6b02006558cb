"""`handsfree transcribe`: recordings in, records out."""

import json
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack
from pathlib import Path

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from handsfree.bringing.digest import digest
from handsfree.cli.options import (
    asleep_until,
    attention_options,
    awake_s,
    engine_options,
    log_option,
)
from handsfree.cli.screen import LIMBS, by_limb, clock, console, safe
from handsfree.cli.voice_option import voice_option
from handsfree.engines.choose import TEXT, ModelFolders, in_words, listeners
from handsfree.engines.together import Together
from handsfree.errors import ExitCode, HandsfreeError, UnreadableSound
from handsfree.grammar.grammar import Grammar, load
from handsfree.grammar.wording import Wording
from handsfree.log import Horse, Log
from handsfree.recording import Line, Recorder
from handsfree.session import Session
from handsfree.transcribe import STANDARD_INPUT, sound_lines, typed_lines
from handsfree.visit.dialogue import DOUBTFUL_BELOW, Dialogue
from handsfree.voice.use import confidence_for, speaker_named


@click.command()
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per utterance.")
@click.option("--limb", type=click.Choice(LIMBS), help="The limb in force at the start.")
@click.option("--horse", metavar="NAME", help="The horse this is about (one of the log's).")
@click.option("--no-log", is_flag=True, help="Print only; keep nothing in the log.")
@attention_options
@voice_option
@engine_options
@log_option
def transcribe(
    files: tuple[str, ...],
    as_json: bool,
    limb: str | None,
    horse: str | None,
    no_log: bool,
    attention: str | None,
    attention_s: float | None,
    voice_name: str | None,
    engines: tuple[str, ...],
    vosk_model: Path | None,
    neural_model: Path | None,
    log_path: Path | None,
) -> int:
    """Turn recordings (WAV, FLAC, MP3 or M4A; - for WAV on standard input) into records.

    Each utterance is in the log before it is printed. With --engine text the files hold
    typed words, one utterance a line.
    """
    if TEXT in engines and len(set(engines)) > 1:
        raise click.UsageError("--engine text cannot be joined with engines that hear")
    stays_s = awake_s(attention, attention_s)
    if TEXT in engines and stays_s is not None:
        raise click.UsageError("--attention is for sound; typed words have no times")
    if TEXT in engines and voice_name is not None:
        raise click.UsageError("--voice is for sound; typed words have none")
    err = console(to_stderr=True)
    code = ExitCode.OK
    with ExitStack() as stack:
        log = None if no_log else stack.enter_context(Log.open(log_path))
        about = horse_named(log, horse)
        grammar = load(
            horse_names=log.horse_names() if log else (), lessons=log.lessons() if log else ()
        ).with_attention(attention)
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
            recorder = Recorder(file, log, Dialogue(grammar, session), about)
            try:
                lines = _lines(file, ears, grammar, recorder, err, show=not as_json)
                if log is not None and ears is not None and Path(file).is_file():
                    lines = _remembered(log, file, recorder, lines, err)
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


def _lines(
    file: str,
    ears: Together | None,
    grammar: Grammar,
    recorder: Recorder,
    err: Console,
    show: bool,
) -> Iterator[Line]:
    if ears is None:
        yield from typed_lines(file, grammar, recorder)
        return
    name = "standard input" if file == STANDARD_INPUT else Path(file).name
    with progress_bar(err, safe(name), enabled=show) as report:
        yield from sound_lines(
            file, ears, recorder, report, lambda line: err.print(safe(line), soft_wrap=True)
        )


def _remembered(
    log: Log, file: str, recorder: Recorder, lines: Iterable[Line], err: Console
) -> Iterator[Line]:
    """The lines, with a word where the log has this sound already; it is remembered from now on."""
    sound, _ = digest(Path(file))
    known = log.recording(sound)
    if known is not None and known.visits:
        visit = log.visit(known.visits[-1])
        err.print(
            f"{safe(Path(file).name)}: was taken before, visit {visit.id[:8]} of "
            f"{visit.started_at[:10]}; this makes another",
            soft_wrap=True,
        )
    elif known is None:
        log.take_recording(sound, Path(file).name)
    visit_id: str | None = None
    for line in lines:
        if known is None and recorder.visit_id not in (None, visit_id):
            visit_id = recorder.visit_id
            log.recording_became(sound, [visit_id] if visit_id else [], done=False)
        yield line
    log.recording_became(sound, [], done=True)


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
    return line.heard.confidence >= DOUBTFUL_BELOW and line.doubt is None


def line_text(line: Line, wording: Wording) -> str:
    """One utterance on one line: time, limb, what became of it, and what was heard."""
    outcome = line.outcome
    if outcome.status == "unclear":
        what = f"unclear: {safe(line.heard.text)}"
    elif outcome.status == "command":
        what = f"[{(outcome.command or 'limb').replace('_', ' ')}] {safe(line.heard.text)}"
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
