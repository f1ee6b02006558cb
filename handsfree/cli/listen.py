"""`handsfree listen`: under the horse, by ear and voice alone."""

import os
import signal
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from types import FrameType

import click
import platformdirs

from handsfree.answers import voice
from handsfree.answers.output import Output, Silent, Tape
from handsfree.answers.speaker import Speaker
from handsfree.answers.tape_file import write_tape
from handsfree.audio.devices import c_libraries_silenced
from handsfree.audio.live import Replay, Source
from handsfree.audio.microphone import Microphone
from handsfree.bringing.known import ToHear, to_hear
from handsfree.cli.listen_screen import LivePicture, Printed
from handsfree.cli.options import (
    Number,
    again_option,
    asleep_until,
    attention_options,
    awake_s,
    engine_options,
    log_option,
    own_words_option,
)
from handsfree.cli.own_words import with_own_words
from handsfree.cli.screen import console, safe
from handsfree.cli.transcribe import horse_named
from handsfree.cli.voice_option import voice_option
from handsfree.dialogue.dialogue import Dialogue
from handsfree.dialogue.session import Session
from handsfree.engines.choose import TEXT, ModelFolders, listeners
from handsfree.engines.together import Together
from handsfree.errors import ExitCode
from handsfree.grammar.grammar import load
from handsfree.listening.loop import Listening
from handsfree.listening.mouth import Mouth
from handsfree.listening.recovery import forget, recover, spool_folder
from handsfree.log import Log
from handsfree.recording import Recorder
from handsfree.records.limbs import LIMBS
from handsfree.spool import Spool
from handsfree.visit.answer import Answer, Tone
from handsfree.visit.runsheet import RunSheet, read_sheet
from handsfree.voice.use import confidence_for, speaker_named

BUSY_S = 1.0
"""How long a write waits for the log here: the sound goes on, and what was refused waits."""


@click.command()
@click.option("--device", metavar="NAME", help="Microphone: its number or part of its name.")
@click.option("--speaker", metavar="NAME", help="Headset or loudspeaker, likewise.")
@click.option("--horse", metavar="NAME", help="The horse this is about (one of the log's).")
@click.option("--limb", type=click.Choice(LIMBS), help="The limb in force at the start.")
@click.option(
    "--remind",
    "remind_s",
    type=Number(min=0),
    default=0.0,
    metavar="SECONDS",
    help="Remind gently to set the foot down after so long (default: never).",
)
@click.option(
    "--sheet",
    type=click.Path(dir_okay=False, path_type=Path),
    envvar="HANDSFREE_SHEET",
    help='Your own run sheet for "what\'s left" (default: runsheet.toml in your settings folder).',
)
@click.option("--tones-only", is_flag=True, help="Answer by tones, never by words.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per utterance.")
@click.option(
    "--from",
    "files",
    multiple=True,
    metavar="FILE",
    help="Replay a recording through the same loop instead of a microphone (may be repeated).",
)
@click.option(
    "--speed",
    type=Number(min=0),
    default=1.0,
    show_default=True,
    help="How much faster than in life --from goes; 0: as fast as it can.",
)
@click.option(
    "--answers",
    "answers_to",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="With --from: write the answers to this WAV or FLAC instead of playing them.",
)
@again_option
@attention_options
@voice_option
@engine_options
@own_words_option
@log_option
def listen(
    device: str | None,
    speaker: str | None,
    horse: str | None,
    limb: str | None,
    remind_s: float,
    sheet: Path | None,
    tones_only: bool,
    as_json: bool,
    files: tuple[str, ...],
    speed: float,
    answers_to: Path | None,
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
    """Listen under the horse and answer by ear, until Ctrl-C.

    Every utterance is in the log before it is answered. Nothing has to be touched or looked
    at; what is printed is for anyone who stands near the screen. A recording is heard once: of
    one that the log has already its lines are printed, and one that was broken off is gone on
    with where it stopped.
    """
    _check(files, speed, answers_to, engines)
    stays_s = awake_s(attention, attention_s)
    out, err = console(), console(to_stderr=True)
    if out.is_terminal and err.is_terminal:
        err = out  # one picture: lines must not be written through the moving one below them
    whose = speaker_named(voice_name, lambda line: err.print(safe(line), soft_wrap=True))
    with ExitStack() as stack:
        log = stack.enter_context(Log.open(log_path, busy_s=BUSY_S))
        if not files:
            stack.enter_context(c_libraries_silenced())
        about = horse_named(log, horse)
        run_sheet = _run_sheet(sheet)
        grammar = load(horse_names=log.horse_names(), lessons=log.lessons())
        grammar = with_own_words(
            grammar, own_words_path, lambda line: err.print(line, soft_wrap=True)
        ).with_attention(attention)
        shown = Printed(grammar, out, err, as_json)
        heard = ToHear(files)
        if not again:
            heard = stack.enter_context(to_hear(log, files, shown.trouble, shown.line))
        if files and not heard.files:
            return ExitCode.OK
        if heard.digest is not None:
            forget(log, heard.digest)
        files = heard.files
        output, tape = _output(files, speed, answers_to, speaker)
        stack.callback(output.close)
        source = stack.enter_context(_source(heard, speed, device, output))
        chosen, absent = listeners(
            grammar, engines, ModelFolders(vosk_model, neural_model), True, whose.warp
        )
        ears = Together(chosen, grammar, live=True, confidence=confidence_for(whose))
        stack.callback(ears.close)
        shown.trouble(
            f"listening to {safe(source.name)} with "
            + " and ".join(ear.name for ear in chosen)
            + "".join(f"; not {safe(reason)}" for reason in absent)
        )
        for line in asleep_until(attention, stays_s):
            shown.trouble(line)
        broken_off = None
        if not files:
            broken_off = recover(log, ears, grammar, shown.trouble, shown.line)
        speech = _speech(tones_only, shown.trouble)
        session = Session(limb, restating=True, attention_s=stays_s)
        dialogue = Dialogue(grammar, session, run_sheet, remind_s or None)
        recorder = Recorder(source.name, log, dialogue, about, patient=True, recording=heard.digest)
        if heard.visits:
            recorder.resume(heard.visits)
            shown.trouble(f"{safe(source.name)}: was begun before; gone on with")
        if broken_off is not None and about is None:
            recorder.go_on(broken_off.visit)
            shown.trouble(f"going on with {safe(broken_off.visit.whose)}")
        picture = stack.enter_context(LivePicture(shown, recorder, err, hidden=as_json))
        listening = Listening(
            source,
            ears,
            recorder,
            Mouth(output, speech, wait=not source.live, told=shown.told),
            picture,
            Spool.create(spool_folder(log.path), {}),
            pass_time=tape.advance if tape else lambda seconds: None,
            ahead_s=broken_off.ahead_s if broken_off else heard.up_to_s,
        )
        listening.mouth.answer([Answer(Tone.READY)], listening.now_s)
        with _stopped_by_signals(listening.stop) as signalled:
            listening.run()
        if tape is not None and answers_to is not None:
            write_tape(tape, answers_to)
        if listening.unwritten:
            return ExitCode.LOG
        if listening.ended and isinstance(source, Replay) and not source.damaged:
            heard.done(log)
    return 128 + signal.SIGTERM if signal.SIGTERM in signalled else ExitCode.OK


def _check(
    files: tuple[str, ...], speed: float, answers_to: Path | None, engines: tuple[str, ...]
) -> None:
    if TEXT in engines:
        raise click.UsageError(
            "listen hears sound; 'handsfree transcribe --engine text' reads text"
        )
    if not files and (speed != 1.0 or answers_to is not None):
        raise click.UsageError("--speed and --answers need --from FILE")


@contextmanager
def _source(heard: ToHear, speed: float, device: str | None, output: Output) -> Iterator[Source]:
    source: Source
    if heard.files:
        source = Replay(heard.files, speed, from_s=heard.up_to_s)
    elif isinstance(output, Speaker):
        # Looking for a device again restarts the sound system; the speaker steps aside for it.
        source = Microphone(device, around_restart=output.set_aside)
    else:
        source = Microphone(device)
    try:
        yield source
    finally:
        source.close()


def _output(
    files: tuple[str, ...], speed: float, answers_to: Path | None, speaker: str | None
) -> tuple[Output, Tape | None]:
    if answers_to is not None:
        tape = Tape()
        return tape, tape
    if files and speed != 1.0:
        # Nobody can listen to answers faster than in life.
        return Silent(), None
    return Speaker(speaker), None


def _speech(tones_only: bool, tell: Callable[[str], None]) -> voice.Speech | None:
    if tones_only:
        return None
    reason = voice.unavailable()
    if reason is not None:
        tell(f"answering by tones alone: {reason}")
        return None
    speech = voice.PiperSpeech()
    speech.warm_up()
    return speech


def _run_sheet(named: Path | None) -> RunSheet | None:
    if named is not None:
        return read_sheet(named)
    usual = Path(platformdirs.user_config_dir("handsfree", appauthor=False)) / "runsheet.toml"
    return read_sheet(usual) if usual.is_file() else None


@contextmanager
def _stopped_by_signals(stop: Callable[[], None]) -> Iterator[set[int]]:
    """Let Ctrl-C and SIGTERM end the session in order; a second one ends it at once."""
    seen: set[int] = set()

    def on_signal(number: int, frame: FrameType | None) -> None:
        if seen:
            os._exit(128 + number)
        seen.add(number)
        stop()

    before = {each: signal.signal(each, on_signal) for each in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield seen
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)
