"""`handsfree find`: what was said in all the years, asked in plain words."""

import json
import sys
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import click

from handsfree.cli.options import ROWS, Day, json_option, log_option
from handsfree.cli.screen import console, safe
from handsfree.errors import HandsfreeError
from handsfree.finding import ask, understand
from handsfree.finding.question import STATUSES
from handsfree.finding.telling import COLUMNS, Told
from handsfree.grammar.grammar import load
from handsfree.log import Log
from handsfree.log.finding import Found
from handsfree.records.limbs import LIMBS
from handsfree.sheets.files import file_name, write_new
from handsfree.sheets.tables import csv_lines


def _today(ctx: click.Context, parameter: click.Parameter, value: Any) -> date:
    return date.today() if value is None else value.date()


@click.command()
@click.argument("words", nargs=-1)
@click.option("--horse", metavar="NAME", help="Only this horse's.")
@click.option(
    "--limb", "limbs", multiple=True, type=click.Choice(LIMBS, case_sensitive=False), help="A foot."
)
@click.option("--since", metavar="DAY", help="As 2026-03-01, 'spring', 'june 2025'.")
@click.option("--until", metavar="DAY", help="The last day, in the same words.")
@click.option("--status", type=click.Choice(list(STATUSES)), help="Only what is so.")
@click.option("--limit", type=ROWS, default=20, show_default=True)
@click.option("--all", "every", is_flag=True, help="All results, however many.")
@click.option("--context", is_flag=True, help="Also what was said before and after each result.")
@click.option("--csv", "as_csv", is_flag=True, help="Print a table: one row for each entry.")
@click.option("--hear", type=click.IntRange(min=1), metavar="N", help="Play result N.")
@click.option("--device", metavar="NAME", help="The loudspeaker for --hear.")
@click.option(
    "--sound-to",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="FOLDER",
    help="Write the sound of the results there, as FLAC.",
)
@click.option(
    "--on",
    "today",
    type=Day(),
    callback=_today,
    metavar="DATE",
    help="As if today were this day; later visits are not found.",
)
@json_option
@log_option
def find(
    words: Sequence[str],
    horse: str | None,
    limbs: Sequence[str],
    since: str | None,
    until: str | None,
    status: str | None,
    limit: int,
    every: bool,
    context: bool,
    as_csv: bool,
    hear: int | None,
    device: str | None,
    sound_to: Path | None,
    today: date,
    as_json: bool,
    log_path: Path | None,
) -> None:
    """Find what was said: plain words in any order, the newest visit first.

    \b
      handsfree find brushing near hind since spring
      handsfree find toe length over 3 1/2 inches juniper
      handsfree find between march and june 2025 crack
      handsfree find doubtful last 3 visits

    A trade word finds every way to say it. Days: months, years, seasons (of the northern
    hemisphere: spring begins in March), "last 6 weeks", "yesterday", 2026-05-14. Measures:
    over, under, at least, at most, between. Status: confirmed, doubtful, unclear; struck,
    corrected and commands are found only when asked for.
    """
    if as_json and as_csv:
        raise click.UsageError("--json or --csv, one of them")
    grammar = load()
    with Log.open(log_path, read_only=True) as log:
        understood = understand(
            " ".join(words),
            grammar,
            log,
            today,
            horse=horse,
            limbs=[limb.upper() for limb in limbs],
            since=since,
            until=until,
            status=status,
        )
        question = understood.question
        if question.empty and not understood.notes:
            raise click.UsageError("say what to find, as 'handsfree find thrush near hind'")
        found = ask(log, question, None if every else limit)
        told = Told(grammar, question, understood.notes, found, context)
        if as_json:
            click.echo(json.dumps(told.as_json()))
        elif as_csv:
            for piece in csv_lines(COLUMNS, told.rows()):
                sys.stdout.buffer.write(piece)
            sys.stdout.buffer.flush()
        else:
            for line in told.lines():
                console().print(line, soft_wrap=True)
        if as_csv:
            for line in told.head():
                click.echo(line, err=True)
        if sound_to is not None:
            _write_sound(log, found, sound_to)
        if hear is not None:
            _play(log, found, hear, device)


def _write_sound(log: Log, found: Found, folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        taken: list[str] = [path.name for path in folder.iterdir()]
    except OSError as error:
        why = error.strerror or error
        raise HandsfreeError(f"{safe(str(folder))}: is no folder to write to: {why}") from error
    written = 0
    for each in found.utterances:
        flac = log.sound(each.id)
        if flac is None:
            continue
        name = file_name(each.horse or "", each.day, ".flac", taken)
        write_new(folder / name, flac)
        taken.append(name)
        written += 1
        click.echo(f"{safe(name)}: {safe(each.heard)}", err=True)
    without = len(found.utterances) - written
    click.echo(
        f"{written} written to {safe(str(folder))}"
        + (f"; of {without} no sound is kept" if without else ""),
        err=True,
    )


def _play(log: Log, found: Found, number: int, device: str | None) -> None:
    if number > len(found.utterances):
        raise HandsfreeError(f"there is no result {number}; {len(found.utterances)} are shown")
    each = found.utterances[number - 1]
    flac = log.sound(each.id)
    if flac is None:
        raise HandsfreeError(f"no sound is kept of result {number}")
    from handsfree.review.player import SoundPlayer

    player = SoundPlayer(device, wait=True)
    try:
        reason = player.play(flac)
    finally:
        player.close()
    if reason is not None:
        raise HandsfreeError(f"result {number} cannot be played: {reason}")
