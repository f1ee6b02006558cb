"""`handsfree balance`: the feet of a horse held against the limits published."""

import json
from datetime import date
from pathlib import Path

import click
from rich.padding import Padding
from rich.text import Text

from handsfree import histories
from handsfree.cli.as_json import plain
from handsfree.cli.options import json_option, log_option, on_option
from handsfree.cli.screen import console, safe
from handsfree.grammar.grammar import load
from handsfree.log import Log
from handsfree.records.limbs import LIMBS
from handsfree.sums import balance as sums
from handsfree.sums.guidelines import CAVEAT
from handsfree.sums.history import History
from handsfree.sums.sources import CantSay
from handsfree.sums.wording import ForEye

NOTHING = (
    "nothing to hold against each other yet: measure two things of one foot (hoof angle and "
    "heel angle, frog width and frog length), or one thing of both fronts or both hinds"
)


@click.command()
@click.argument("horse")
@click.option("--limb", type=click.Choice(LIMBS, case_sensitive=False), help="Only this foot.")
@on_option
@json_option
@log_option
def balance(
    horse: str, limb: str | None, today: date, as_json: bool, log_path: Path | None
) -> None:
    """Hold the feet of HORSE against the limits published, and left against right.

    Before and after the trim where both were said. Every limit is shown with its source;
    numbers describe, they don't diagnose.
    """
    with Log.open(log_path, read_only=True) as log:
        history = histories.history(log, histories.named(log, horse)).until(today)
    found = sums.checks(history, limb)
    feet = (limb,) if limb else LIMBS
    wanting = {foot: sums.missing(history, foot) for foot in feet}
    odd = {foot: sums.odd(history, foot) for foot in feet}
    if as_json:
        click.echo(json.dumps(_json(history, today, found, wanting) | {"questions": odd}))
        return
    out, words = console(), ForEye(load())
    out.print(f"{safe(history.horse.name)}, balance on {today.isoformat()}")
    for check in found:
        first, *more = sums.lines(check, words)
        out.print(Text(first))
        for line in more:
            out.print(Padding(Text(line), (0, 0, 0, 4), expand=False))
    if not found:
        out.print(NOTHING)
    touched = {each for check in found for each in check.limbs} | ({limb} if limb else set())
    for foot in feet:
        for cant in wanting[foot] if foot in touched else ():
            out.print(Text(f"{foot} {cant}"))
    told = {question for check in found for question in check.questions}
    for foot, asked in odd.items():
        for question in asked:
            if question not in told:
                out.print(Text(f"{foot} {question}"))
    if found:
        out.print(CAVEAT)


def _json(
    history: History,
    today: date,
    found: list[sums.Check],
    wanting: dict[str, list[CantSay]],
) -> dict[str, object]:
    words = ForEye(load())
    return {
        "horse": history.horse.name,
        "on": today.isoformat(),
        "checks": [plain(check) | {"lines": sums.lines(check, words)} for check in found],
        "missing": plain(wanting),
        "caveat": CAVEAT,
    }
