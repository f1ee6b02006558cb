"""`handsfree voice`: twenty phrases read once, and what can be fitted to this voice."""

import json
import sys
from collections.abc import Mapping, Sequence
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import click

from handsfree.audio.devices import choose, devices
from handsfree.cli.options import engine_options, log_option
from handsfree.cli.screen import console, safe
from handsfree.cli.voice_readings import Readings, Recorded, Spoken
from handsfree.engines.base import Clip
from handsfree.engines.choose import TEXT, ModelFolders, listeners
from handsfree.engines.confidence import load as load_confidence
from handsfree.errors import ExitCode, HandsfreeError
from handsfree.grammar.grammar import Grammar, load
from handsfree.log import Log
from handsfree.log.files import default_path
from handsfree.voice.kept import (
    USUAL,
    DamagedVoice,
    Kept,
    Taught,
    path_of,
    plain_name,
    read,
    versions,
    write,
)
from handsfree.voice.lessons import teach, unteach
from handsfree.voice.measure import Measure
from handsfree.voice.outcome import tally
from handsfree.voice.phrases import COUNT, read_phrases
from handsfree.voice.readings import find_recordings
from handsfree.voice.report import Report
from handsfree.voice.setup import Setup

FEWEST = 10
"""Phrases read below which nothing is measured (common sense, no source)."""


@click.command()
@click.option("--name", default=USUAL, show_default=True, help="Whose voice it is.")
@click.option("--device", metavar="NAME", help="A microphone's number or a part of its name.")
@click.option(
    "--from",
    "from_folder",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Hear recordings instead, named by the phrase's number: 01.wav to "
    f"{COUNT}.wav, and 07-again.wav for a second reading.",
)
@click.option("--phrases", "only_phrases", is_flag=True, help="List the phrases to be read.")
@click.option("--forget", is_flag=True, help="Take back all that was fitted to this voice.")
@click.option("--yes", is_flag=True, help="Learn what is misheard alike twice, without asking.")
@click.option("--json", "as_json", is_flag=True, help="Print the result as one JSON object.")
@engine_options
@log_option
def voice(
    name: str,
    device: str | None,
    from_folder: Path | None,
    only_phrases: bool,
    forget: bool,
    yes: bool,
    as_json: bool,
    engines: tuple[str, ...],
    vosk_model: Path | None,
    neural_model: Path | None,
    log_path: Path | None,
) -> int:
    """Fit the recognizers to a voice: twenty phrases, read once from the screen.

    What helps with phrases it was not fitted to is kept, and 'listen' and 'transcribe' use it.
    Nothing is written before the end, and no sound is kept.
    """
    name = plain_name(name)
    if TEXT in engines:
        raise click.UsageError("--engine text hears nothing; name one that does")
    if only_phrases:
        _list_phrases(as_json)
        return ExitCode.OK
    if forget:
        _forget(name, log_path, as_json)
        return ExitCode.OK
    recordings = find_recordings(from_folder, COUNT) if from_folder is not None else None
    if recordings is None:
        choose(devices(), device)
    err = console(to_stderr=True)

    def tell(line: str) -> None:
        err.print(safe(line), soft_wrap=True)

    tell("getting ready ...")
    grammar = _grammar(log_path)
    phrases = read_phrases(grammar)
    chosen, absent = listeners(grammar, engines, ModelFolders(vosk_model, neural_model), live=True)
    for reason in absent:
        tell(f"not {reason}")
    with closing(Measure(grammar, load_confidence(), chosen, tell)) as measure:
        readings: Readings
        if recordings is not None:
            readings = Recorded(recordings, tell)
        else:
            readings = Spoken(measure, device, console(to_stderr=as_json))
        clips = readings.first(phrases)
        if len(clips) < FEWEST:
            raise HandsfreeError(
                f"{len(clips)} of {COUNT} phrases were read; nothing is changed below {FEWEST}"
            )
        tell("hearing them as they are ...")
        setup = Setup(measure, phrases, clips)
        report = _report(name, setup, readings.again(setup.worth_again()), yes, as_json)
    _keep(report, log_path)
    if as_json:
        click.echo(json.dumps(report.as_json()))
        return ExitCode.OK
    out = console()
    for line in report.lines():
        out.print(safe(line), soft_wrap=True)
    return ExitCode.OK


def _report(name: str, setup: Setup, again: Mapping[int, Clip], yes: bool, as_json: bool) -> Report:
    proposed, refused = setup.lessons(again)
    fit = setup.adaptation
    return Report(
        name=name,
        engines=tuple(ear.name for ear in setup.measure.ears),
        phrases=setup.read,
        before=fit.before,
        after=fit.after,
        speaker=fit.speaker,
        tried=fit.tried,
        proposed=proposed,
        stored=_agreed(proposed, yes, as_json),
        refused=refused,
        missed=setup.missed,
        to_read_again=[p for p in setup.worth_again() if p.number not in again],
        path=path_of(name),
    )


def _agreed(proposed: Sequence[Taught], yes: bool, as_json: bool) -> list[Taught]:
    """Those that may be learnt: asked one by one where somebody can answer."""
    if yes:
        return list(proposed)
    if as_json or not sys.stdin.isatty():
        return []
    return [
        each
        for each in proposed
        if click.confirm(f"heard '{safe(each.heard)}' twice: take it for '{each.meant}'?", err=True)
    ]


def _keep(report: Report, log_path: Path | None) -> None:
    """The file first: what it names and the log lacks does no harm when it is forgotten."""
    try:
        older = read(report.name)
    except DamagedVoice:
        older = None
    lessons = dict.fromkeys((*(older.lessons if older else ()), *report.stored))
    made_at = datetime.now(UTC).isoformat(timespec="seconds")
    before, after = tally(report.before).as_json(), tally(report.after).as_json()
    write(Kept(report.name, report.speaker, made_at, tuple(lessons), before, after, versions()))
    if report.stored:
        with Log.open(log_path) as log:
            teach(log, report.name, report.stored, report.engines)


def _grammar(log_path: Path | None) -> Grammar:
    """With the names and lessons of the log, where there is one; none is made for this."""
    path = Path(log_path or default_path())
    if not path.is_file():
        return load()
    with Log.open(path, read_only=True) as log:
        return load(horse_names=log.horse_names(), lessons=log.lessons())


def _list_phrases(as_json: bool) -> None:
    for phrase in read_phrases(load()):
        if as_json:
            click.echo(json.dumps({"number": phrase.number, "say": phrase.text}))
        else:
            click.echo(f"{phrase.number:02d}  {phrase.text}")


def _forget(name: str, log_path: Path | None, as_json: bool) -> None:
    path = path_of(name)
    lessons: tuple[Taught, ...] = ()
    try:
        kept = read(name)
        if kept is None:
            raise HandsfreeError(f"there is no voice '{name}' ({path})")
        lessons = kept.lessons
    except DamagedVoice as error:
        line = f"{error}; what it taught, if anything, stays: see 'handsfree words --learnt'"
        console(to_stderr=True).print(safe(line), soft_wrap=True)
    gone, stay = list[Taught](), list[Taught]()
    if lessons and Path(log_path or default_path()).is_file():
        with Log.open(log_path) as log:
            gone, stay = unteach(log, lessons)
    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        raise HandsfreeError(f"{path}: cannot be removed: {error.strerror}") from error
    if as_json:
        done = {"name": name, "file": str(path), "forgotten": [vars(each) for each in gone]}
        click.echo(json.dumps(done | {"stays": [vars(each) for each in stay]}))
        return
    out = console()
    out.print(f"forgotten: the voice of {name} ({safe(str(path))})", soft_wrap=True)
    for each in gone:
        line = f"forgotten: heard '{safe(each.heard)}', meant '{safe(each.meant)}'"
        out.print(line, soft_wrap=True)
    for each in stay:
        out.print(f"stays, as corrections taught it too: '{safe(each.heard)}'", soft_wrap=True)
