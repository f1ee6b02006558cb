"""`handsfree horses`: the horses of the log."""

import json
import re
from datetime import date
from pathlib import Path

import click
from rich.table import Table
from rich.text import Text

from handsfree.cli.options import log_option
from handsfree.cli.screen import console, safe
from handsfree.log import Horse, Log

KINDS = ("heavy", "riding")

EARLIEST_BORN = 1950
"""No horse lives so long (common practice, no source): an earlier year is a slip."""

WRONG_BORN = "is neither a year (2015) nor a day (2015-04-12)"


@click.group(invoke_without_command=True)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per horse.")
@log_option
@click.pass_context
def horses(ctx: click.Context, as_json: bool, log_path: Path | None) -> None:
    """List the horses, or add one: their names can be spoken ("horse" and the name)."""
    ctx.obj = {**(ctx.obj or {}), "log_path": log_path}
    if ctx.invoked_subcommand is not None:
        return
    table = Table("horse", "kind", "breed", "born", "visits", "last visit")
    with Log.open(log_path, read_only=True) as log:
        for horse in log.horses():
            visits = log.visits_of(horse.id)
            last = visits[-1].day.isoformat() if visits else None
            if as_json:
                click.echo(json.dumps({**_facts(horse), "visits": len(visits), "last_visit": last}))
            table.add_row(
                Text(safe(horse.name)),
                horse.kind or "",
                Text(safe(horse.breed or "")),
                Text(safe(horse.born or "")),
                str(len(visits)),
                last or "",
            )
    if as_json:
        return
    if table.row_count:
        console().print(table)
    else:
        console().print("no horses yet; 'handsfree horses add NAME' adds one")


def _facts(horse: Horse) -> dict[str, str | None]:
    return {"name": horse.name, "kind": horse.kind, "breed": horse.breed, "born": horse.born}


def _born(_: click.Context, __: click.Parameter, given: str | None) -> str | None:
    """A year or a day of birth as the log keeps it."""
    if given is None:
        return None
    text, today = given.strip(), date.today()
    shown = safe(text)
    if not re.fullmatch(r"[0-9]{4}(-[0-9]{2}-[0-9]{2})?", text):
        raise click.BadParameter(f"'{shown}' {WRONG_BORN}")
    if not EARLIEST_BORN <= int(text[:4]) <= today.year:
        raise click.BadParameter(f"'{shown}' is not between {EARLIEST_BORN} and {today.year}")
    if len(text) > 4:
        try:
            born = date.fromisoformat(text)
        except ValueError:
            raise click.BadParameter(f"'{shown}' is no day of the calendar") from None
        if born > today:
            raise click.BadParameter(f"'{shown}' is still to come")
    return text


@horses.command()
@click.argument("name")
@click.option("--kind", type=click.Choice(KINDS), help="A heavy working horse or a riding horse.")
@click.option("--breed", metavar="TEXT", help="Its breed, in your words.")
@click.option(
    "--born",
    metavar="YEAR|DAY",
    callback=_born,
    help="Its year (2015) or day (2015-04-12) of birth.",
)
@click.pass_context
def add(
    ctx: click.Context, name: str, kind: str | None, breed: str | None, born: str | None
) -> None:
    """Add a horse under the NAME by which it is called in speech.

    Of a horse that is there already, breed and birth are changed to what is given, and its
    kind is set if it had none.
    """
    breed = " ".join((breed or "").split()) or None
    with Log.open(ctx.obj["log_path"]) as log:
        horse = log.add_horse(name, kind, breed, born)
    known = (horse.kind, horse.breed, horse.born and f"born {horse.born}")
    facts = ", ".join(safe(fact) for fact in known if fact)
    console().print(
        f"{safe(horse.name)} is in the log" + (f" ({facts})" if facts else ""), soft_wrap=True
    )
