"""`handsfree due`: which horses are overdue, due and coming."""

import json
from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import Any

import click
from rich.table import Table
from rich.text import Text

from handsfree import histories
from handsfree.cli.as_json import plain
from handsfree.cli.options import json_option, log_option, on_option
from handsfree.cli.screen import console, safe
from handsfree.grammar.grammar import load
from handsfree.log import Log
from handsfree.sums.due_reasons import AT_MOST_WEEKS, EQUIMED, LESNIAK, USUAL_WEEKS, weeks_text
from handsfree.sums.history import History
from handsfree.sums.interval import (
    NOT_MEASURED,
    Basis,
    Expected,
    When,
    Window,
    by_lateness,
    lines,
    state,
    state_text,
    when,
    window,
)
from handsfree.sums.sources import CantSay
from handsfree.sums.wording import DECIMALS, ForEye, Words

SOURCES_LINE = (
    f"by the sources: no more than {AT_MOST_WEEKS} weeks ({LESNIAK}), {USUAL_WEEKS[0]} to "
    f"{USUAL_WEEKS[1]} usual ({EQUIMED})"
)


@click.command()
@click.argument("horse", required=False)
@click.option("--all", "everything", is_flag=True, help="Also the horses that are not due yet.")
@click.option(
    "--within",
    type=click.IntRange(min=0, max=520),
    default=0,
    metavar="WEEKS",
    help="Also the horses that become due within so many weeks.",
)
@on_option
@json_option
@log_option
def due(
    horse: str | None,
    everything: bool,
    within: int,
    today: date,
    as_json: bool,
    log_path: Path | None,
) -> None:
    """List who is due, the longest overdue first; of one HORSE say why, and what has grown.

    A plan that was said ("come back in six weeks") decides; else the horse's own usual interval;
    else what the sources recommend.
    """
    with Log.open(log_path, read_only=True) as log:
        if horse is None:
            known = list(histories.histories(log))
        else:
            known = [histories.history(log, histories.named(log, horse))]
    if horse is not None:
        _one(known[0], today, as_json)
        return
    found = [(each, when(each, today)) for each in known]
    dated = [(each, days) for each, days in found if isinstance(days, When)]
    dated.sort(key=lambda pair: by_lateness(pair[1], today))
    shown = [p for p in dated if everything or (p[1].earliest - today).days <= within * 7]
    if as_json:
        for each, _ in shown:
            _one(each, today, as_json)
        return
    out = console()
    if shown:
        out.print(_table(shown, today, ForEye(load())))
        if any(days.basis is Basis.SOURCES for _, days in shown):
            out.print(SOURCES_LINE)
        out.print("'handsfree due HORSE' says why, and how long the toes should be by then")
    else:
        out.print("nobody is due")
    for line in _rest(len(dated) - len(shown), len(found) - len(dated)):
        out.print(line)


def _one(history: History, today: date, as_json: bool) -> None:
    """One horse in full."""
    name, found, eye = history.horse.name, window(history, today), ForEye(load())
    if as_json:
        body = {"horse": name, **plain(found)}
        click.echo(json.dumps(_with_reasons(body, found, today, eye)))
    elif isinstance(found, CantSay):
        console().print(f"{safe(name)}: {found}")
    else:
        console().print(safe(name))
        print_indented(lines(found, today, eye, lengths=False))
        if found.expected:
            console().print("\nToe length expected")
            console().print(_lengths(found, eye))
        else:
            print_indented([f"toe length expected: {NOT_MEASURED}"])


def _with_reasons(
    body: dict[str, Any], found: Window | CantSay, today: date, words: Words
) -> dict[str, Any]:
    if isinstance(found, CantSay):
        return body
    now = state(found, today)
    reasons = [
        {**plain(reason), "text": reason.text(words), "source": plain(reason.source)}
        for reason in found.reasons
    ]
    return {**body, "state": plain(now.standing), "days": now.days, "reasons": reasons}


def print_indented(lines: Iterable[str]) -> None:
    """Lines under a heading, set in, and their second halves a little further."""
    out = console()
    for line in lines:
        room = max(20, out.width - 4)
        first, *rest = Text(safe(line)).wrap(out, room)
        out.print("  " + first.plain.rstrip())
        for more in rest:
            out.print("    " + more.plain.rstrip())


def _rest(later: int, without: int) -> list[str]:
    lines = []
    if later:
        lines.append(f"{later} horse{'s' * (later != 1)} not due yet (--all shows them)")
    if without:
        lines.append(f"{without} horse{'s' * (without != 1)} without a visit by then")
    return lines


def _table(shown: list[tuple[History, When]], today: date, words: Words) -> Table:
    table = Table("horse", box=None, padding=(0, 1, 0, 0), pad_edge=False)
    for name in ("last visit", "window", "state", "why"):
        table.add_column(name, no_wrap=True)
    table.columns[0].overflow = "fold"
    for history, each in shown:
        table.add_row(
            Text(safe(history.horse.name)),
            words.day(each.last),
            f"{words.day(each.earliest)}–{words.day(each.latest)}",
            state_text(state(each, today), words),
            _why(each, words),
        )
    return table


def _lengths(window: Window, words: Words) -> Table:
    days = (window.earliest, window.best, window.latest)
    table = Table("toe", *map(words.day, days), box=None, padding=(0, 2, 0, 0), pad_edge=False)
    for limb in dict.fromkeys(each.limb for each in window.expected):
        cells = (_length(each, words) for each in window.expected if each.limb == limb)
        table.add_row(words.limb(limb), *cells)
    return table


def _length(each: Expected, words: Words) -> str:
    low, high = (
        words.number(length.to(each.unit), DECIMALS[each.unit]) for length in (each.low, each.high)
    )
    return f"{words.measure(each.length, each.unit)} ({low}–{high})"


def _why(window: When, words: Words) -> str:
    match window.basis:
        case Basis.ASKED:
            return f"asked {weeks_text(window.asked_weeks or 0, words)}"
        case Basis.USUAL:
            return f"own {weeks_text(window.usual_weeks or 0, words)}"
        case Basis.SOURCES:
            return "sources"
