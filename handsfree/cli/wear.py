"""`handsfree wear`: which branch wore over the visits, and what may have caused it."""

import json
from datetime import date
from pathlib import Path

import click

from handsfree import histories
from handsfree.cli.as_json import plain
from handsfree.cli.due import print_indented
from handsfree.cli.options import json_option, log_option, on_option
from handsfree.cli.screen import console, safe
from handsfree.grammar.grammar import load
from handsfree.log import Log
from handsfree.sums import wear as sums
from handsfree.sums.wording import ForEye


@click.command()
@click.argument("horse")
@on_option
@json_option
@log_option
def wear(horse: str, today: date, as_json: bool, log_path: Path | None) -> None:
    """Show the wear noted of a HORSE by foot, with several possible causes each."""
    with Log.open(log_path, read_only=True) as log:
        history = histories.history(log, histories.named(log, horse)).until(today)
    found = sums.wear(history)
    if as_json:
        click.echo(json.dumps({"horse": history.horse.name, "wear": plain(found)}))
        return
    out, eye = console(), ForEye(load())
    if not found:
        out.print(f"{safe(history.horse.name)}: no visit notes wear")
        return
    out.print(f"Wear of {safe(history.horse.name)}")
    for each in found:
        out.print(f"\n{safe(sums.headline(each, eye))}")
        print_indented(sums.cause_lines(each, eye))
    out.print(f"\n{safe(sums.evidence_line(eye))}")
