"""`handsfree calendar`: the next visits and what was planned, for any calendar."""

import json
import sys
from datetime import UTC, date, datetime
from pathlib import Path

import click

from handsfree import histories
from handsfree.cli.as_json import plain
from handsfree.cli.options import json_option, log_option, on_option
from handsfree.cli.screen import console, safe
from handsfree.errors import HandsfreeError
from handsfree.grammar.grammar import Grammar, load
from handsfree.log import Log
from handsfree.sheets.calendar import EVENING_BEFORE, Item, is_given_up, items
from handsfree.sheets.calendar import calendar as as_calendar
from handsfree.sheets.files import write_new
from handsfree.sums.sources import CantSay


@click.command()
@click.argument("horses", nargs=-1, metavar="[HORSE]...")
@click.option(
    "--to",
    "to",
    type=click.Path(path_type=Path),
    metavar="FILE.ics",
    help="Write this file (default: print).",
)
@on_option
@click.option("--remind", is_flag=True, help="With an alarm at six the evening before.")
@click.option("--force", is_flag=True, help="Replace the file if it is there.")
@json_option
@log_option
def calendar(
    horses: tuple[str, ...],
    to: Path | None,
    today: date,
    remind: bool,
    force: bool,
    as_json: bool,
    log_path: Path | None,
) -> None:
    """Make a calendar file of the next visit and the open plans of each HORSE (default: all).

    A file made later replaces in the calendar what an earlier one put there.
    """
    if as_json and to is not None:
        raise click.UsageError("--json prints; leave out --to")
    with Log.open(log_path, read_only=True) as log:
        found, left_out = _items(log, horses, today, load())
    out = console(to_stderr=True)
    for line in left_out:
        out.print(safe(line), soft_wrap=True)
    if as_json:
        for item in found:
            click.echo(json.dumps(plain(item)))
        return
    if not found:
        raise HandsfreeError("there is nothing to put into a calendar")
    data = as_calendar(found, datetime.now(UTC), EVENING_BEFORE if remind else None)
    if to is None:
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
        return
    write_new(to, data, force)
    count = len({item.horse for item in found})
    out.print(
        f"{safe(str(to))}: {len(found)} entr{'y' if len(found) == 1 else 'ies'} for {count} "
        f"horse{'s' * (count != 1)}",
        soft_wrap=True,
    )


def _items(
    log: Log, names: tuple[str, ...], today: date, grammar: Grammar
) -> tuple[list[Item], list[str]]:
    """The items in order of their days, and a line for each horse that is left out."""
    asked = {horse.id: horse for horse in (histories.named(log, name) for name in names)}
    given_up = 0
    found: list[Item] = []
    left_out: list[str] = []
    for horse in asked.values() or log.horses():
        history = histories.history(log, horse)
        if not asked and is_given_up(history, today):
            given_up += 1
            continue
        of_horse = items(history, today, grammar)
        if isinstance(of_horse, CantSay):
            # Of all horses, those never seen are no news.
            left_out += [f"{horse.name}: {of_horse}"] if asked else []
            continue
        found += of_horse
    if given_up:
        left_out.append(
            f"left out: {given_up} horse{'s' * (given_up != 1)} overdue by more than half a year; "
            "name a horse to have it"
        )
    return sorted(found, key=lambda item: (item.on, item.horse)), left_out
