"""`handsfree horses`: the horses of the log."""

from pathlib import Path

import click
from rich.table import Table
from rich.text import Text

from handsfree.cli.options import log_option
from handsfree.cli.screen import console, safe
from handsfree.log import Log

KINDS = ("heavy", "riding")


@click.group(invoke_without_command=True)
@log_option
@click.pass_context
def horses(ctx: click.Context, log_path: Path | None) -> None:
    """List the horses, or add one: their names can be spoken ("horse" and the name)."""
    ctx.obj = {**(ctx.obj or {}), "log_path": log_path}
    if ctx.invoked_subcommand is not None:
        return
    with Log.open(log_path) as log:
        table = Table("horse", "kind", "visits", "last visit")
        for name in log.horse_names():
            horse = log.horse(name)
            visits = log.visits(horse=name)
            last = visits[0].started_at[:10] if visits else ""
            kind = horse.kind if horse and horse.kind else ""
            table.add_row(Text(safe(name)), kind, str(len(visits)), last)
    if table.row_count:
        console().print(table)
    else:
        console().print("no horses yet; 'handsfree horses add NAME' adds one")


@horses.command()
@click.argument("name")
@click.option("--kind", type=click.Choice(KINDS), help="A heavy working horse or a riding horse.")
@click.pass_context
def add(ctx: click.Context, name: str, kind: str | None) -> None:
    """Add a horse under the NAME by which it is called in speech."""
    with Log.open(ctx.obj["log_path"]) as log:
        horse = log.add_horse(name, kind)
    console().print(f"{safe(horse.name)} is in the log")
