"""`handsfree bill`: what a visit used and what was done, with the user's own prices."""

import json
import re
import sys
from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.table import Table
from rich.text import Text

from handsfree import histories
from handsfree.cli.options import json_option, log_option, on_option
from handsfree.cli.screen import console, safe
from handsfree.errors import HandsfreeError
from handsfree.grammar.grammar import load
from handsfree.log import Log
from handsfree.sheets import prices, tables
from handsfree.sheets.bill import BASIS, Bill
from handsfree.sheets.bill import bill as as_bill
from handsfree.sums.history import DayVisit, HorseFacts
from handsfree.sums.wording import ForEye

COLUMNS = (
    *("row", "day", "horse", "item", "what", "feet"),
    *("quantity", "price", "amount", "currency", "note"),
)
_OTHERS = ("included", "doubtful", "question")


@click.command()
@click.argument("target", required=False, metavar="HORSE|VISIT")
@click.option(
    "--prices",
    "price_file",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Your price list (default: prices.toml in your settings folder).",
)
@click.option("--template", is_flag=True, help="Print a price list to be filled in.")
@on_option
@click.option("--csv", "as_csv", is_flag=True, help="Print a table for a spreadsheet.")
@json_option
@log_option
def bill(
    target: str | None,
    price_file: Path | None,
    template: bool,
    today: date,
    as_csv: bool,
    as_json: bool,
    log_path: Path | None,
) -> None:
    """List what was done and used on the latest day of a HORSE, or in a VISIT, with prices.

    What is doubtful is named and left out. A basis for your bill, not an invoice.
    """
    if template:
        click.echo(prices.template(), nl=False)
        return
    if target is None:
        raise click.UsageError("name a horse or a visit")
    if as_csv and as_json:
        raise click.UsageError("say one of --csv and --json")
    path = price_file or prices.default_path()
    has_list = price_file is not None or path.exists()
    listed = prices.read(path) if has_list else prices.Prices()
    with Log.open(log_path, read_only=True) as log:
        visit, horse = _visit(log, target, today)
    made = as_bill(visit, horse, listed, ForEye(load()))
    if as_json:
        click.echo(json.dumps(_object(made)))
    elif as_csv:
        for piece in tables.csv_lines(COLUMNS, _rows(made)):
            sys.stdout.buffer.write(piece)
        sys.stdout.buffer.flush()
    else:
        _print(made, console())
    if not has_list:
        console(to_stderr=True).print(
            f"no prices: there is no {safe(str(path))}; 'handsfree bill --template' prints one "
            "to be filled in",
            soft_wrap=True,
        )


def _visit(log: Log, target: str, today: date) -> tuple[DayVisit, HorseFacts | None]:
    """The latest day of the horse of this name, else the visit of this id."""
    if log.horse(target) is None and re.fullmatch("[0-9a-fA-F]{4,32}", target.strip()):
        visit = log.visit(target)
        horse = log.horse(visit.horse) if visit.horse else None
        return histories.of_visit(log, visit), histories.facts(horse) if horse else None
    history = histories.history(log, histories.named(log, target))
    last = history.until(today).last
    if last is None:
        raise HandsfreeError(
            f"{safe(history.horse.name)} has no visit in the log by {today.isoformat()}"
        )
    return last, history.horse


def _digits(number: Decimal | None) -> str | None:
    return None if number is None else f"{number:f}"


def _object(made: Bill) -> dict[str, Any]:
    """As JSON; sums of money are texts, since a float would not be them."""
    totals = made.totals
    return {
        "horse": made.horse,
        "on": made.on.isoformat(),
        "lines": [
            {**vars(line), "price": _digits(line.price), "amount": _digits(line.amount)}
            for line in made.lines
        ],
        "included": made.included,
        "doubtful": made.doubtful,
        "questions": made.questions,
        "currency": totals.currency,
        "net": _digits(totals.net),
        "tax_name": totals.tax_name,
        "tax_percent": _digits(totals.tax_percent),
        "tax": _digits(totals.tax),
        "total": _digits(totals.total),
        "complete": made.complete,
        "note": BASIS,
    }


def _rows(made: Bill) -> Iterator[dict[str, tables.Cell]]:
    """As a table; the column `row` says what each row is."""
    about: dict[str, tables.Cell] = {"day": made.on.isoformat(), "horse": made.horse}
    totals = made.totals
    for line in made.lines:
        yield {
            **about,
            "row": "line",
            "item": line.key,
            "what": line.what,
            "feet": " ".join(line.limbs),
            "quantity": line.quantity,
            "price": line.price,
            "amount": line.amount,
            "currency": totals.currency,
            "note": "no price" if line.amount is None else "",
        }
    for name, texts in zip(_OTHERS, (made.included, made.doubtful, made.questions), strict=True):
        for text in texts:
            yield {**about, "row": name, "what": text}
    for name, amount in (("net", totals.net), ("tax", totals.tax), ("total", totals.total)):
        yield {
            **about,
            "row": name,
            "what": _tax(made) if name == "tax" else "",
            "amount": amount,
            "currency": totals.currency,
            "note": "" if made.complete else "of what has a price",
        }


def _tax(made: Bill) -> str:
    percent = made.totals.tax_percent
    return "no tax" if percent is None else f"{made.totals.tax_name} {percent.normalize():f}%"


def _print(made: Bill, out: Console) -> None:
    totals = made.totals
    title = f"{safe(made.horse or 'horse not named')}, {made.on.isoformat()}"
    table = Table(title=Text(title), title_justify="left")
    table.add_column("what", overflow="fold", ratio=1)
    table.add_column("feet", no_wrap=True)
    for name in ("no.", "each", f"amount {totals.currency}".strip()):
        table.add_column(name, justify="right", no_wrap=True)
    for line in made.lines:
        table.add_row(
            Text(safe(line.what)),
            " ".join(line.limbs),
            str(line.quantity),
            _digits(line.price) or "",
            _digits(line.amount) or "no price",
        )
    if made.lines:
        table.add_section()
        of = "" if made.complete else " of what has a price"
        if totals.tax_name is not None:
            table.add_row(f"net{of}", "", "", "", _digits(totals.net))
            table.add_row(Text(_tax(made)), "", "", "", _digits(totals.tax))
        table.add_row(f"total{of}", "", "", "", _digits(totals.total))
        out.print(table)
    else:
        out.print(f"{title}: nothing that is billed was noted")
    for name, texts in (
        ("included", made.included),
        ("not surely heard, left out", made.doubtful),
        ("?", made.questions),
    ):
        for text in texts:
            out.print(f"{name}: {safe(text)}")
    out.print(BASIS)
