"""`handsfree brief`: a horse on one screen, or aloud, before the next visit."""

import json
import textwrap
import time
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import click

from handsfree.answers import voice
from handsfree.answers.output import Output, Tape
from handsfree.answers.speaker import Speaker
from handsfree.answers.tape_file import write_tape
from handsfree.answers.tones import ANSWER_RATE
from handsfree.audio.devices import c_libraries_silenced
from handsfree.cli.as_json import plain
from handsfree.cli.options import json_option, log_option, on_option
from handsfree.cli.screen import console, safe
from handsfree.errors import EngineError
from handsfree.grammar.grammar import Grammar, load
from handsfree.histories import history, named
from handsfree.log import Log
from handsfree.sums.asked import aloud as phrases
from handsfree.sums.brief import Section
from handsfree.sums.brief import brief as brief_of
from handsfree.sums.history import History
from handsfree.sums.wording import ForEar, ForEye

WIDTH, ROWS = 80, 23
INDENT = 11


@click.command()
@click.argument("horse", metavar="HORSE")
@click.option("--all", "everything", is_flag=True, help="All lines, also if more than a screen.")
@click.option("--aloud", is_flag=True, help="Speak it as well.")
@click.option("--speaker", metavar="NAME", help="Headset or loudspeaker: number or part of name.")
@click.option(
    "--to",
    "file",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Speak it into this WAV or FLAC.",
)
@json_option
@on_option
@log_option
def brief(
    horse: str,
    everything: bool,
    aloud: bool,
    speaker: str | None,
    file: Path | None,
    as_json: bool,
    today: date,
    log_path: Path | None,
) -> None:
    """What to mind, do, look at and bring at the next visit to HORSE, on one screen.

    It is made from what was said of the horse and diagnoses nothing. Cautions of earlier visits
    are told for a year; what the vet said of them is not known here.
    """
    grammar = load()
    with Log.open(log_path, read_only=True) as log:
        past = history(log, named(log, horse)).until(today)
    sections = brief_of(past, grammar, today, ForEye(grammar))
    if as_json:
        click.echo(json.dumps({"horse": past.horse.name, "on": plain(today)} | _by_title(sections)))
    else:
        about = f"{safe(past.horse.name)}, {_about(past)}brief for {today.isoformat()}"
        for line in _screen(about, sections, None if everything else ROWS):
            console().print(safe(line), soft_wrap=True, markup=False, highlight=False)
    if aloud or file is not None:
        _speak(past, grammar, today, speaker, file)


def _by_title(sections: Sequence[Section]) -> dict[str, list[str]]:
    return {section.title.lower().replace(" ", "_"): list(section.lines) for section in sections}


def _about(past: History) -> str:
    horse = past.horse
    born = f"born {horse.born.year}" if horse.born else None
    known = [part for part in (horse.breed or horse.kind, born) if part]
    return "".join(f"{safe(part)}, " for part in known)


def _screen(title: str, sections: Sequence[Section], rows: int | None) -> list[str]:
    """The lines to print; of a full screen each section gets its share, first things first."""
    if not sections:
        return [title, "nothing is known of this horse yet"]
    blocks = [[_wrapped(line) for line in section.lines] for section in sections]
    shown = [len(block) for block in blocks]
    if rows is not None:
        shown = _shares(blocks, rows - 1)
    lines = [title]
    for section, block, many in zip(sections, blocks, shown, strict=True):
        rows_of = [row for line in block[:many] for row in line]
        if many < len(block):
            rows_of[-1] = f"{rows_of[-1]} [+{len(block) - many}]"
        lines += [f"{'' if at else section.title:<{INDENT}}{row}" for at, row in enumerate(rows_of)]
    if any(many < len(block) for many, block in zip(shown, blocks, strict=True)):
        lines.append(f"{'':<{INDENT}}[+n]: so many more lines; --all shows them")
    return lines


def _wrapped(line: str) -> list[str]:
    # Room is left for the note of how many lines are not shown.
    return textwrap.wrap(line, WIDTH - INDENT - 6) or [""]


def _shares(blocks: Sequence[Sequence[Sequence[str]]], rows: int) -> list[int]:
    """How many lines of each section fit: one of each at least, then round by round."""
    shown = [1] * len(blocks)
    left = rows - 1 - sum(len(block[0]) for block in blocks)
    grown = True
    while grown:
        grown = False
        for at, block in enumerate(blocks):
            if shown[at] < len(block) and len(block[shown[at]]) <= left:
                left -= len(block[shown[at]])
                shown[at] += 1
                grown = True
    return shown


def _speak(
    past: History, grammar: Grammar, today: date, speaker: str | None, file: Path | None
) -> None:
    reason = voice.unavailable()
    if reason is not None:
        raise EngineError(f"the brief cannot be spoken: {reason}")
    said = phrases(brief_of(past, grammar, today, ForEar(grammar, today)))
    sound = voice.PiperSpeech().say((past.horse.name, *said), slow=True)
    tape = Tape() if file is not None else None
    with c_libraries_silenced():
        output: Output = tape or Speaker(speaker)
        try:
            output.play(sound)
            seconds = len(sound) / ANSWER_RATE
            if tape is not None:
                tape.advance(seconds)
            else:
                time.sleep(seconds + 0.5)
            trouble = output.trouble()
            if trouble:
                console(to_stderr=True).print(trouble, soft_wrap=True)
        finally:
            output.close()
    if tape is not None and file is not None:
        write_tape(tape, file)
