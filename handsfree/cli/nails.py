"""`handsfree nails`: the nails of each foot from visit to visit."""

import json
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path

import click
from rich.table import Table

from handsfree import histories
from handsfree.cli.as_json import plain
from handsfree.cli.due import print_indented
from handsfree.cli.options import json_option, log_option, on_option
from handsfree.cli.screen import console, safe
from handsfree.grammar.grammar import load
from handsfree.log import Log
from handsfree.sums import ledger
from handsfree.sums.wording import ForEye, Words

MOST_ROWS = 4
"""Visits of a foot that are shown unless all are asked for."""


@click.command()
@click.argument("horse")
@click.option("--all", "everything", is_flag=True, help=f"Every visit, not the last {MOST_ROWS}.")
@on_option
@json_option
@log_option
def nails(horse: str, everything: bool, today: date, as_json: bool, log_path: Path | None) -> None:
    """Show the nails of a HORSE: pulled, lost, driven, missing, and the pattern used."""
    with Log.open(log_path, read_only=True) as log:
        history = histories.history(log, histories.named(log, horse)).until(today)
    days = ledger.ledger(history)
    bring = ledger.to_bring(history)
    if as_json:
        result = {
            "horse": history.horse.name,
            "ledger": {
                limb: [{**plain(each), "unaccounted": each.count.unaccounted} for each in of_foot]
                for limb, of_foot in days.items()
            },
            "in_shoes": ledger.in_shoes(history),
            "patterns": {limb: ledger.usual_pattern(history, limb) for limb in days},
            "missing": ledger.missing(history),
            "bring": bring,
            "nails_to_bring": ledger.total_nails(bring),
        }
        click.echo(json.dumps(plain(result)))
        return
    out, eye = console(), ForEye(load())
    if not days:
        out.print(f"{safe(history.horse.name)}: no visit speaks of nails or shoes")
        return
    out.print(f"Nails of {safe(history.horse.name)}")
    out.print(_table(days, eye, None if everything else MOST_ROWS))
    if any(each.doubtful for of_foot in days.values() for each in of_foot):
        out.print("? a doubtful note is left out until it is confirmed (handsfree review)")
    if not everything and any(len(of_foot) > MOST_ROWS for of_foot in days.values()):
        out.print(f"the last {MOST_ROWS} visits of each foot (--all shows every one)")
    for title, lines in (
        ("Now, and usually", ledger.pattern_lines(history, eye)),
        ("Not accounted for", ledger.missing_lines(ledger.missing(history), eye)),
        ("Is that right?", ledger.question_lines(history, eye)),
        ("To bring", ledger.bring_lines(bring, eye)),
    ):
        if lines:
            out.print(f"\n{title}")
            print_indented(lines)


def _table(days: Mapping[str, Sequence[ledger.FootDay]], words: Words, most: int | None) -> Table:
    table = Table("foot", "visit", box=None, padding=(0, 1, 0, 0), pad_edge=False)
    for name in ("were in", "pulled", "left in", "lost", "missing", "driven", "now in"):
        table.add_column(name, justify="right")
    for limb, of_foot in days.items():
        for each in of_foot[-most:] if most else of_foot:
            one = each.count
            moved = (one.known, one.pulled, one.left_in, one.lost, one.driven, each.after)
            if not each.doubtful and all(number == 0 for number in moved[1:]) and not one.known:
                continue  # a bare foot
            numbers = (
                one.known,
                one.pulled,
                one.left_in,
                one.lost,
                one.unaccounted,
                one.driven,
                each.after,
            )
            shown = ("–" if number is None else words.number(number) for number in numbers)
            mark = " ?" if each.doubtful else ""
            table.add_row(words.limb(limb), f"{words.day(each.on)}{mark}", *shown)
    return table
