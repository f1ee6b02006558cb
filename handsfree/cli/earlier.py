"""`--on` and `--at`: typed notes of an earlier day."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import TypeVar

import click

from handsfree.bringing.earlier import EarlierDay
from handsfree.dialogue.dialogue import Dialogue
from handsfree.engines.choose import TEXT
from handsfree.log import Horse, Log
from handsfree.recording import Recorder

NOON = time(12)
"""The hour of notes of an earlier day where none is said."""
OLDEST = 1970
"""A year before this is a slip (common sense, no source)."""

F = TypeVar("F", bound=Callable[..., object])


@dataclass(frozen=True)
class Moment:
    """When notes of an earlier day were; `hour_said`: the hour too was given."""

    at: datetime
    hour_said: bool


def earlier_options(command: F) -> F:
    """`--on`, `--at`."""
    command = click.option(
        "--at",
        "hour",
        callback=_as_hour,
        metavar="HH:MM",
        help="With --on: the hour of that day (default: noon, or that of the visit gone on with).",
    )(command)
    return click.option(
        "--on",
        "day",
        callback=_as_day,
        metavar="DATE",
        help="With --engine text and --horse: the notes are of this day (as 2026-05-14) and go "
        "into the horse's visit of that day. A day to come, or that is none, ends with exit code "
        "1.",
    )(command)


def _as_day(ctx: click.Context, parameter: click.Parameter, value: str | None) -> date | None:
    if value is None:
        return None
    try:
        day = datetime.strptime(value, "%Y-%m-%d").date()
    except ValueError:
        raise click.BadParameter(f"there is no day '{value}'; give it as 2026-05-14") from None
    if day > date.today():
        raise click.BadParameter(f"{day} is still to come")
    if day.year < OLDEST:
        raise click.BadParameter(f"{day} is too long ago; is the year right?")
    return day


def _as_hour(ctx: click.Context, parameter: click.Parameter, value: str | None) -> time | None:
    try:
        return None if value is None else datetime.strptime(value, "%H:%M").time()
    except ValueError:
        raise click.BadParameter(f"there is no hour '{value}'; give it as 14:30") from None


def moment_of(
    day: date | None, hour: time | None, engines: tuple[str, ...], horse: str | None
) -> Moment | None:
    """When the notes were, by the clock of this place; None: now. Raises UsageError."""
    if day is None:
        if hour is not None:
            raise click.UsageError("--at needs --on, the day of the notes")
        return None
    if TEXT not in engines:
        raise click.UsageError("--on is for typed notes: it needs --engine text")
    if horse is None:
        raise click.UsageError("--on needs --horse NAME: whose visit of that day is it?")
    now = datetime.now().astimezone()
    at = datetime.combine(day, hour or NOON).astimezone()
    if at > now and hour is not None:
        raise click.UsageError(f"{day} {hour:%H:%M} is still to come")
    return Moment(min(at, now), hour is not None)


def recorder_of(
    file: str, log: Log | None, dialogue: Dialogue, horse: Horse | None, moment: Moment | None
) -> Recorder:
    """What keeps the notes of a file: of an earlier day, or of now."""
    if log is None or horse is None or moment is None:
        return Recorder(file, log, dialogue, horse)
    return EarlierDay(file, log, dialogue, horse, moment.at, moment.hour_said)
