"""`handsfree tones`: what each answer sounds like."""

import time
from pathlib import Path

import click

from handsfree.answers.output import Output, Tape
from handsfree.answers.speaker import Speaker
from handsfree.answers.tape_file import write_tape
from handsfree.answers.tones import ANSWER_RATE, DESCRIPTIONS, sound_of
from handsfree.audio.devices import c_libraries_silenced
from handsfree.cli.screen import console

GAP_S = 0.8


@click.command()
@click.option("--speaker", metavar="NAME", help="Headset or loudspeaker: number or part of name.")
@click.option(
    "--to",
    "file",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write them to this WAV or FLAC instead of playing them.",
)
def tones(speaker: str | None, file: Path | None) -> None:
    """Play every tone once and print what it means."""
    out, err = console(), console(to_stderr=True)
    tape = Tape() if file is not None else None
    with c_libraries_silenced():
        output: Output = tape or Speaker(speaker)
        try:
            for tone, meaning in DESCRIPTIONS.items():
                out.print(f"{tone:>9}  {meaning}")
                output.play(sound_of(tone))
                seconds = len(sound_of(tone)) / ANSWER_RATE + GAP_S
                if tape is not None:
                    tape.advance(seconds)
                else:
                    time.sleep(seconds)
                trouble = output.trouble()
                if trouble:
                    err.print(trouble, soft_wrap=True)
        finally:
            output.close()
    if tape is not None and file is not None:
        write_tape(tape, file)
