"""`handsfree weight`: a horse's weight by the tape, and its feet against it."""

import json
import re
from collections.abc import Sequence
from datetime import date
from fractions import Fraction
from pathlib import Path

import click
from rich.padding import Padding
from rich.text import Text

from handsfree import histories
from handsfree.cli.as_json import plain
from handsfree.cli.horses import KINDS
from handsfree.cli.options import json_option, log_option, on_option
from handsfree.cli.screen import console, safe
from handsfree.grammar.grammar import load
from handsfree.log import Log
from handsfree.records.entries import Measurement
from handsfree.records.units import HANDS, hands_and_inches
from handsfree.sums import weight as sums
from handsfree.sums.foot import questions
from handsfree.sums.guidelines import CAVEAT
from handsfree.sums.history import DayVisit, History, HorseFacts, Noted
from handsfree.sums.sources import CantSay
from handsfree.sums.wording import ForEye, Words

UNITS = {
    "mm": "mm",
    "cm": "cm",
    "m": "m",
    "in": "in",
    "inch": "in",
    "inches": "in",
    '"': "in",
    **dict.fromkeys(("hh", "hand", "hands"), HANDS),
}
_LENGTH = re.compile(r"(\d{1,5}(?:[.,]\d+)?)(?:\s+(\d{1,2}/[1-9]\d?))?\s*([a-z\"]+)")


def tape_length(said: str) -> tuple[float, str]:
    """The number and its unit (mm, cm, in or hands) of "190 cm", "75 in", "75 1/2 in", "1.9 m",
    "16.1 hands"."""
    match = _LENGTH.fullmatch(said.strip().lower())
    unit = UNITS.get(match[3]) if match else None
    if match is None or unit is None:
        raise click.BadParameter(
            f"{said!r} is no length with its unit, such as '190 cm' or '75 in'"
        )
    number = float(match[1].replace(",", ".")) + float(Fraction(match[2] or "0"))
    if unit == HANDS:
        try:
            hands_and_inches(number)
        except ValueError as error:
            raise click.BadParameter(str(error)) from None
    return (number * 100, "cm") if unit == "m" else (number, unit)


@click.command()
@click.argument("horse", required=False)
@click.option("--girth", type=tape_length, metavar="LENGTH", help="Round the chest: '190 cm'.")
@click.option("--length", type=tape_length, metavar="LENGTH", help="Point of shoulder to buttock.")
@click.option("--height", type=tape_length, metavar="LENGTH", help="Ground to withers.")
@click.option("--neck", type=tape_length, metavar="LENGTH", help="Round the middle of the neck.")
@click.option("--kind", type=click.Choice(KINDS), help="Without a HORSE: what kind it is.")
@click.option("--breed", help="Without a HORSE: its breed (warmblood, Icelandic, Arabian ...).")
@on_option
@json_option
@log_option
def weight(
    horse: str | None,
    girth: tuple[float, str] | None,
    length: tuple[float, str] | None,
    height: tuple[float, str] | None,
    neck: tuple[float, str] | None,
    kind: str | None,
    breed: str | None,
    today: date,
    as_json: bool,
    log_path: Path | None,
) -> None:
    """Reckon the weight of HORSE from its tape numbers, or of any horse from --girth and --length.

    Shows the formula that goes with the kind of horse first and the others after it, the ideal
    weight where one is published, and the size of the feet against girth and weight.
    """
    tape = {"heart_girth": girth, "body_length": length, "height": height, "neck_girth": neck}
    if horse is None:
        if girth is None:
            raise click.UsageError("name a horse of the log, or give --girth (and --length)")
        history = _typed(tape, HorseFacts("", kind, breed), today)
    elif any(tape.values()) or kind or breed:
        raise click.UsageError("name a horse of the log or give tape numbers, not both")
    else:
        with Log.open(log_path, read_only=True) as log:
            history = histories.history(log, histories.named(log, horse)).until(today)
    if as_json:
        click.echo(json.dumps(_json(history, today)))
        return
    _show(history, today)


def _typed(tape: dict[str, tuple[float, str] | None], horse: HorseFacts, today: date) -> History:
    notes = [
        Noted(Measurement(quantity=quantity, value=said[0], unit=said[1]))
        for quantity, said in tape.items()
        if said is not None
    ]
    return History(horse, (DayVisit(today, tuple(notes)),))


def _show(history: History, today: date) -> None:
    out, words = console(), ForEye(load())
    name = safe(history.horse.name)
    out.print(f"{name}, weight on {today.isoformat()}" if name else "weight by the tape")
    scale = sums.scale_weight(history)
    if scale is not None:
        said = words.measure(scale.value, scale.unit)
        out.print(f"as said: {said} ({words.day(scale.on)})")
        _print(questions(history, (scale,)), indent=4)
    taped = sums.estimates(history)
    if isinstance(taped, CantSay):
        out.print(Text(f"weight by the tape: {taped}"))
    else:
        for estimate in taped:
            first, *more = sums.lines(estimate, words)
            day = words.day(estimate.on)
            out.print(Text(f"by the tape: {first}, {day}" if estimate.chosen else f"    {first}"))
            if estimate.chosen:
                _print(more, indent=4)
                if len(taped) > 1:
                    out.print("other formulas:")
    _print_result(sums.ideal_weight(history), "ideal weight", words)
    _print_result(sums.hoof_for_girth(history), "hoof against girth", words)
    _print_result(sums.hoof_for_weight(history), "hoof against weight", words)
    _print_result(sums.toe_for_weight(history), "toe against weight", words)
    out.print(CAVEAT)


def _print_result(
    result: CantSay | sums.IdealWeight | Sequence[sums.Result], about: str, words: Words
) -> None:
    if isinstance(result, CantSay):
        _print([f"{about}: {result}"])
        return
    for each in [result] if isinstance(result, sums.IdealWeight) else result:
        first, *more = sums.lines(each, words)
        _print([first])
        _print(more, indent=4)


def _print(lines: Sequence[str], indent: int = 0) -> None:
    out = console()
    for line in lines:
        out.print(Padding(Text(line), (0, 0, 0, indent), expand=False))


def _json(history: History, today: date) -> dict[str, object]:
    words = ForEye(load())

    def told(result: CantSay | sums.Result | Sequence[sums.Result]) -> object:
        if isinstance(result, CantSay):
            return plain(result)
        if isinstance(result, Sequence):
            return [told(each) for each in result]
        return plain(result) | {"lines": sums.lines(result, words)}

    return {
        "horse": history.horse.name or None,
        "on": today.isoformat(),
        "scale": plain(sums.scale_weight(history)),
        "estimates": told(sums.estimates(history)),
        "ideal": told(sums.ideal_weight(history)),
        "hoof_for_girth": told(sums.hoof_for_girth(history)),
        "hoof_for_weight": told(sums.hoof_for_weight(history)),
        "toe_for_weight": told(sums.toe_for_weight(history)),
        "caveat": CAVEAT,
    }
