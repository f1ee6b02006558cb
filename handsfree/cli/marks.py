"""`handsfree marks`: when the marks in the wall were at the hairline."""

import json
import re
import textwrap
from dataclasses import replace
from datetime import date
from fractions import Fraction
from pathlib import Path

import click

from handsfree import histories
from handsfree.cli.as_json import plain
from handsfree.cli.options import json_option, log_option, on_option
from handsfree.cli.screen import console, safe
from handsfree.errors import HandsfreeError
from handsfree.grammar.grammar import Grammar, load
from handsfree.log import Log
from handsfree.records.entries import Measurement
from handsfree.records.limbs import LIMBS
from handsfree.records.units import Length
from handsfree.sums import growth
from handsfree.sums.forward import Wall, to_ground
from handsfree.sums.history import Age, History, Stage
from handsfree.sums.mark_lines import forward_lines, lines, range_lines, span
from handsfree.sums.marks import birth_ring, date_mark, dated, undated
from handsfree.sums.ranges import DateRange
from handsfree.sums.sources import CantSay
from handsfree.sums.wording import ForEye

_WRITTEN = re.compile(
    r"(?P<number>-?\d+(?:[.,]\d+)?|-?\.\d+)?\s*(?P<fraction>\d+/\d+)?\s*"
    r"(?P<unit>mm|cm|in|inch|inches|\"|millimet(?:er|re)s?|centimet(?:er|re)s?)\.?",
    re.IGNORECASE,
)
IN = "  "
_UNITS = {"mm": "mm", "mi": "mm", "cm": "cm", "ce": "cm", "in": "in", '"': "in"}


@click.command()
@click.argument("horse", required=False)
@click.option("--limb", type=click.Choice(LIMBS, case_sensitive=False), help="Only this foot's.")
@on_option
@click.option("--below", metavar="LENGTH", help='Date a distance alone: "25 mm", "1 in".')
@click.option("--place", metavar="PLACE", help="With --below: toe, quarter, heel …")
@click.option("--foal", is_flag=True, help="With --below: of a foal.")
@click.option("--toe", metavar="LENGTH", help="With --below: the length of that foot's toe.")
@json_option
@log_option
def marks(
    horse: str | None,
    limb: str | None,
    today: date,
    below: str | None,
    place: str | None,
    foal: bool,
    toe: str | None,
    as_json: bool,
    log_path: Path | None,
) -> None:
    """When the marks in HORSE's feet were at the hairline, and when they will be trimmed out.

    Every mark noted with a distance below the hairline is dated by the growth of the wall, by
    the horse's own records where they tell it. Without a horse, --below dates a distance alone.
    """
    grammar = load()
    if horse is None:
        if below is None:
            raise HandsfreeError('name a horse, or a distance with --below "25 mm"')
        if limb:
            raise HandsfreeError("--limb goes with a horse, not with --below")
        _distance(below, place, foal, toe, today, grammar, as_json)
        return
    if below or place or foal or toe:
        raise HandsfreeError("--below, --place, --foal and --toe go without a horse")
    with Log.open(log_path, read_only=True) as log:
        history = histories.history(log, histories.named(log, horse))
    _of_horse(history, limb, today, grammar, as_json)


def _of_horse(
    history: History, limb: str | None, on: date, grammar: Grammar, as_json: bool
) -> None:
    words, out = ForEye(grammar), console()
    past = history.until(on)
    found, without = dated(past, on, limb), undated(past, on, limb)
    own = growth.own_rate(past)
    foal = history.horse.age(on) is Age.FOAL
    ring = birth_ring(history) if foal else None
    if as_json:
        result = {
            "horse": history.horse.name,
            "on": on,
            "own_growth": own,
            # What the rate rests on is told once, under own_growth.
            "marks": [replace(m, rate=replace(m.rate, intervals=(), left_out=())) for m in found],
            "undated": without,
            "birth_ring": ring,
        }
        click.echo(json.dumps(plain(result)))
        return
    out.print(f"{safe(history.horse.name)}, {on.isoformat()}")
    for mark in found:
        first, *rest = lines(mark, words)
        out.print()
        _line(first, "")
        for line in rest:
            _line(line)
    if not found:
        out.print("no mark was noted with a distance below the hairline")
    if without:
        out.print("\nnot dated, as no distance below the hairline was said:")
        for each in without:
            _line(
                f"{words.limb(each.finding.limb)} {words.entry(each.finding)} "
                f"({words.day(each.on)})"
            )
    if isinstance(ring, DateRange):
        out.print(f"\nbirth ring at the ground about {span(ring, words)}: {growth.CURTIS}")
    out.print("\nits own growth:")
    if isinstance(own, CantSay):
        _line(str(own))
    else:
        for line in growth.lines(own, words, growth.toe_unit(past)):
            _line(line)


def _distance(
    text: str,
    place: str | None,
    foal: bool,
    toe_text: str | None,
    on: date,
    grammar: Grammar,
    as_json: bool,
) -> None:
    below, unit = length(text, grammar)
    zone = None if place is None else _zone(place, grammar)
    toe = None if toe_text is None else length(toe_text, grammar)
    age = Age.FOAL if foal else Age.ADULT
    rate = growth.published(age, toe[0] if toe else None)
    dates = date_mark(below, zone, rate, on)
    if toe and isinstance(dates, DateRange) and toe[0] < below:
        dates = CantSay("it is further below the hairline than the toe is long: which is wrong?")
    ahead = None
    if isinstance(dates, DateRange):
        wall = None
        if toe and zone != "heel":
            wall = Wall("toe_length", toe[0], on, toe[1], Stage.UNTOUCHED)
        ahead = to_ground(below, zone, rate, on, dates, age, wall)
    if as_json:
        result = {
            "below": below,
            "zone": zone,
            "age": age,
            "on": on,
            "rate": rate,
            "range": dates,
            "days_before": _days_before(dates, on),
            "forward": ahead,
        }
        click.echo(json.dumps(plain(result)))
        return
    words = ForEye(grammar)
    where = f" at the {words.word('zone', zone)}" if zone else ""
    console().print(f"{words.measure(below, unit)} below the hairline{where}, {on.isoformat()}")
    if isinstance(dates, CantSay):
        _line(str(dates))
        return
    for line in (*range_lines(dates, below, on, words), *growth.lines(rate, words, unit)):
        _line(line)
    if ahead is not None:
        for line in forward_lines(ahead, on, words):
            _line(line)


def _days_before(dates: DateRange | CantSay, on: date) -> dict[str, int] | None:
    if isinstance(dates, CantSay):
        return None
    days = {"earliest": dates.earliest, "likeliest": dates.likeliest, "latest": dates.latest}
    return {name: (on - day).days for name, day in days.items()}


def length(text: str, grammar: Grammar) -> tuple[Length, str]:
    """A length as it is written ("25 mm", "2.5cm", "1 1/4 in") or said ("one inch")."""
    written = _WRITTEN.fullmatch(text.strip())
    if written and (written["number"] or written["fraction"]):
        try:
            value = Fraction((written["number"] or "0").replace(",", "."))
            value += Fraction(written["fraction"] or 0)
        except ZeroDivisionError:
            raise _no_length(text) from None
        unit = _UNITS[written["unit"][:2].casefold()]
        try:
            return Length.of(float(value), unit), unit
        except OverflowError:
            raise _no_length(text) from None
    reading = grammar.read(f"toe length {text}".casefold().split())
    for statement in reading.meaning.statements if reading.meaning else ():
        said = statement.entry
        if isinstance(said, Measurement) and said.value is not None and not reading.bend:
            try:
                return Length.of(said.value, said.unit or ""), said.unit or ""
            except ValueError:
                break
    raise _no_length(text)


def _no_length(text: str) -> HandsfreeError:
    return HandsfreeError(f"'{safe(text)}' is no length; write it as 25 mm, 2.5 cm or 1 in")


def _zone(text: str, grammar: Grammar) -> str:
    wanted = text.strip().casefold().replace("_", " ")
    zones = [word for word in grammar.table if word.slot == "zone"]
    for word in zones:
        if wanted in (word.id.replace("_", " "), *word.forms):
            return word.id
    raise HandsfreeError(f"'{safe(text)}' is no place on the foot; say toe, quarter or heel")


def _line(line: str, indent: str = IN) -> None:
    """A line that goes on, further in, where it does not fit."""
    out = console()
    shown = textwrap.fill(
        safe(line),
        max(out.width, 20),
        initial_indent=indent,
        subsequent_indent=indent + IN,
        break_on_hyphens=False,
    )
    out.print(shown, soft_wrap=True)
