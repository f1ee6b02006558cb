"""`handsfree visits` and `handsfree show`: what the log holds."""

import json
from pathlib import Path

import click
from rich.table import Table
from rich.text import Text

from handsfree.cli.options import ROWS, log_option
from handsfree.cli.screen import by_limb, clock, console, notice_line, safe
from handsfree.errors import LogError
from handsfree.grammar.grammar import load
from handsfree.grammar.names import like
from handsfree.grammar.wording import Wording
from handsfree.language.known import entry_of
from handsfree.log import Log
from handsfree.log.rows import Entry
from handsfree.recording import is_doubtful
from handsfree.records.checking import BY_THIS_VERSION, Unreadable
from handsfree.visit import pace

ID_SHOWN = 8
"""Digits of a visit's id that are shown; any unambiguous beginning is taken."""


@click.group(invoke_without_command=True)
@click.option("--horse", metavar="NAME", help="Only this horse's.")
@click.option("--limit", type=ROWS, default=20, show_default=True)
@log_option
@click.pass_context
def visits(ctx: click.Context, horse: str | None, limit: int, log_path: Path | None) -> None:
    """List the visits, latest first, or name the horse of one."""
    ctx.obj = {**(ctx.obj or {}), "log_path": log_path}
    if ctx.invoked_subcommand is not None:
        return
    with Log.open(log_path, read_only=True) as log:
        if horse is not None and log.horse(horse) is None:
            raise LogError(f"there is no horse '{safe(horse)}' in the log")
        table = Table("visit", "when", "horse", "from", "entries", "confirmed", "doubtful")
        for visit in log.visits(limit, horse):
            table.add_row(
                visit.id[:ID_SHOWN],
                f"{visit.began:%Y-%m-%d %H:%M}",
                Text(safe(visit.horse or f"({visit.not_named})")),
                Text(safe(Path(visit.source).name)),
                str(visit.entries),
                str(visit.confirmed),
                str(visit.doubtful),
            )
    if table.row_count:
        console().print(table)
    else:
        console().print("no visits yet")


@visits.command()
@click.argument("visit")
@click.argument("horse")
@click.pass_context
def name(ctx: click.Context, visit: str, horse: str) -> None:
    """Say that a VISIT (its id or the beginning of it) is about this HORSE.

    A horse of a new name is added to the log. A visit that has a horse already is given this
    one.
    """
    with Log.open(ctx.obj["log_path"]) as log:
        found = log.visit(visit)
        known = log.horse_names()
        named = log.name_visit(found.id, horse)
    was = f" (was {found.horse}'s)" if found.horse and found.horse != named.name else ""
    told = f"visit {found.id[:ID_SHOWN]} is {named.name}'s{was}"
    if named.name not in known:
        near = like(named.name, known)
        hint = f"; did you mean {near}? Then name it again" if near else ""
        told += f"; {named.name} is new in the log{hint}"
    console().print(safe(told), soft_wrap=True)


@click.command()
@click.argument("visit", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per entry.")
@log_option
def show(visit: str | None, as_json: bool, log_path: Path | None) -> None:
    """Show a VISIT by limb (its id or the beginning of it; default: the latest)."""
    out = console()
    with Log.open(log_path, read_only=True) as log:
        if visit is None:
            latest = log.visits(1)
            if not latest:
                raise LogError(f"{log.path} holds no visits yet")
            visit = latest[0].id
        found = log.visit(visit)
        entries = log.entries(found.id, in_force=True)
        notices = log.notices(found.id)
        utterances = log.utterances(found.id)
        unclear = [u for u in utterances if u.status == "unclear"]
    if as_json:
        for entry in entries:
            about = {"entry_id": entry.id, "status": entry.status, "heard": entry.heard}
            read = entry_of(entry.body)
            if isinstance(read, Unreadable):
                about["unreadable"] = read.why
            click.echo(json.dumps(entry.body | about))
        return
    grammar = load()
    title = f"{safe(found.whose)}, {found.day}"
    rows = [(entry_of(entry.body), _note(entry)) for entry in entries]
    if rows:
        out.print(by_limb(rows, grammar, Wording(grammar), title))
    else:
        out.print(f"{title}: nothing recorded")
    unread = sum(isinstance(entry, Unreadable) for entry, _ in rows)
    if unread:
        out.print(f"notes that {BY_THIS_VERSION}: {unread}; they are kept as they are")
    held = pace.fold(pace.events_of((u.end_s or 0.0, u.command, u.limb) for u in utterances))
    if held.times_up:
        out.print(_pace_text(held))
    for line in dict.fromkeys(notice_line(n.kind, n.limb, n.text) for n in notices):
        out.print(safe(line), soft_wrap=True)
    for utterance in unclear:
        out.print(f"unclear at {clock(utterance.start_s)}: {safe(utterance.heard)}", soft_wrap=True)


def _note(entry: Entry) -> str:
    if entry.status == "confirmed":
        return "confirmed"
    return "doubtful" if is_doubtful(entry) else ""


def _pace_text(held: pace.Pace) -> str:
    feet = ", ".join(
        f"{limb} {clock(held.up_s.get(limb, 0.0))} in {times} hold{'s' * (times != 1)}"
        for limb, times in held.times_up.items()
    )
    breaks = f"; {held.breaks} break{'s' * (held.breaks != 1)}"
    return f"feet held up: {feet}; longest {clock(held.longest_s)}{breaks}"
