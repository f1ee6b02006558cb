"""Options that several commands take."""

import math
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import Any, TypeVar

import click

AWAKE_S = 20.0
"""How long it stays awake after what it took, unless told otherwise (no source)."""

OWN_WORDS_ENVIRONMENT = "HANDSFREE_OWN_WORDS"
OWN_WORDS_FILE = "own_words.toml"

ROWS = click.IntRange(min=1, max=1_000_000_000)
"""How many results may be asked for: SQLite takes no number of any length."""

_YEARS = range(1900, 2200)
"""Years of days that may be meant; the calendar itself ends at both ends of it."""


class Day(click.DateTime):
    """A day, as 2026-11-25."""

    def __init__(self) -> None:
        super().__init__(["%Y-%m-%d"])

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> datetime:
        """The day at midnight."""
        day = super().convert(value, param, ctx)
        if day.year not in _YEARS:
            self.fail(f"'{value}' is not between {_YEARS[0]} and {_YEARS[-1]}", param, ctx)
        return day


class Number(click.FloatRange):
    """A number that is one: neither "nan" nor "inf"."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """The number within its bounds."""
        number = float(super().convert(value, param, ctx))
        if not math.isfinite(number):
            self.fail(f"'{value}' is no number", param, ctx)
        return number


F = TypeVar("F", bound=Callable[..., object])


def log_option(command: F) -> F:
    """`--log FILE`."""
    return click.option(
        "--log",
        "log_path",
        type=click.Path(dir_okay=False, path_type=Path),
        envvar="HANDSFREE_LOG",
        metavar="FILE",
        help="The log's file (default: log.db in your data folder, or $HANDSFREE_LOG).",
    )(command)


def own_words_option(command: F) -> F:
    """`--own-words FILE`."""
    return click.option(
        "--own-words",
        "own_words_path",
        type=click.Path(dir_okay=False, path_type=Path),
        metavar="FILE",
        help=f"Your own words (default: {OWN_WORDS_FILE} in your settings folder, or "
        f"${OWN_WORDS_ENVIRONMENT}).",
    )(command)


def on_option(command: F) -> F:
    """`--on DATE`: the day taken for today."""
    return click.option(
        "--on",
        "today",
        type=Day(),
        callback=_day,
        metavar="DATE",
        help="As if today were this day (as 2026-11-25); later visits do not count.",
    )(command)


def _day(ctx: click.Context, parameter: click.Parameter, value: datetime | None) -> date:
    return date.today() if value is None else value.date()


def json_option(command: F) -> F:
    """`--json`."""
    return click.option("--json", "as_json", is_flag=True, help="Print JSON, nothing else.")(
        command
    )


def engine_options(command: F) -> F:
    """`--engine`, `--model`, `--neural-model`."""
    command = click.option(
        "--neural-model",
        type=click.Path(file_okay=False, path_type=Path),
        metavar="FOLDER",
        help="A Whisper model folder in CTranslate2 form for the neural listener.",
    )(command)
    command = click.option(
        "--model",
        "vosk_model",
        type=click.Path(file_okay=False, path_type=Path),
        metavar="FOLDER",
        help="A Vosk model's folder (default: $HANDSFREE_VOSK_MODEL, then the one that "
        "'handsfree model' fetched).",
    )(command)
    return click.option(
        "--engine",
        "engines",
        multiple=True,
        metavar="NAME",
        help="Listen with this one: pocketsphinx, neural, vosk or text (typed words, one "
        "utterance a line). May be given several times. Default: all that are installed.",
    )(command)


def again_option(command: F) -> F:
    """`--again`."""
    return click.option(
        "--again",
        is_flag=True,
        help="Hear a recording anew that the log has already; it becomes another visit.",
    )(command)


def attention_options(command: F) -> F:
    """`--attention`, `--attention-for`."""
    command = click.option(
        "--attention-for",
        "attention_s",
        type=Number(min=1),
        metavar="SECONDS",
        help="With --attention: stay awake so long after each note or command (default: "
        f"{AWAKE_S:.0f}).",
    )(command)
    return click.option(
        "--attention",
        metavar="WORD",
        help="For noisy places: sleep, and keep nothing, until this word (or two) of your "
        "choosing is said, alone or before a note.",
    )(command)


def awake_s(attention: str | None, attention_s: float | None) -> float | None:
    """How long to stay awake, None where it never sleeps. Raises UsageError."""
    if attention is None and attention_s is not None:
        raise click.UsageError("--attention-for needs --attention WORD")
    return None if attention is None else AWAKE_S if attention_s is None else attention_s


def asleep_until(attention: str | None, seconds: float | None) -> list[str]:
    """The line that says why not all is taken; none where it never sleeps."""
    if attention is None or seconds is None:
        return []
    word = " ".join(attention.lower().split())
    return [f"asleep until '{word}' is said; awake for {seconds:g} s after each note or command"]
