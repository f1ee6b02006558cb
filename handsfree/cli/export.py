"""`handsfree export`: everything in the log for other programs."""

import sys
from pathlib import Path

import click

from handsfree import histories
from handsfree.cli.options import log_option
from handsfree.cli.screen import console, safe
from handsfree.log import Log
from handsfree.sheets import tables
from handsfree.sheets.files import new_file


@click.command()
@click.argument("horse", required=False)
@click.option("--csv", "as_csv", is_flag=True, help="A table: one row for each entry.")
@click.option("--json", "as_json", is_flag=True, help="One JSON text, by horse and visit.")
@click.option(
    "--to",
    "to",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write this file (default: print).",
)
@click.option("--force", is_flag=True, help="Replace the file if it is there.")
@click.option(
    "--all", "every", is_flag=True, help="Also what was struck or corrected, with that status."
)
@click.option("--bom", is_flag=True, help="CSV that a spreadsheet opens as UTF-8 by a click.")
@log_option
def export(
    horse: str | None,
    as_csv: bool,
    as_json: bool,
    to: Path | None,
    force: bool,
    every: bool,
    bom: bool,
    log_path: Path | None,
) -> None:
    """Print all that the log holds, or all of one HORSE, as CSV or JSON."""
    if as_csv == as_json:
        raise click.UsageError("say one of --csv and --json")
    if bom and as_json:
        raise click.UsageError("--bom is for --csv; JSON has none")
    with Log.open(log_path, read_only=True) as log:
        found = histories.named(log, horse) if horse is not None else None
        pieces = (
            tables.csv_lines(tables.COLUMNS, tables.rows(log, found, every), bom)
            if as_csv
            else tables.json_pieces(log, found, every)
        )
        if to is None:
            for piece in pieces:
                sys.stdout.buffer.write(piece)
            sys.stdout.buffer.flush()
            return
        with new_file(to, force) as file:
            size = sum(file.write(piece) for piece in pieces)
    console(to_stderr=True).print(f"{safe(str(to))}: {size:,} bytes written", soft_wrap=True)
