"""`--voice NAME`, for the commands that listen."""

from collections.abc import Callable
from typing import TypeVar

import click

from handsfree.voice.kept import NOBODY, USUAL

F = TypeVar("F", bound=Callable[..., object])


def voice_option(command: F) -> F:
    """`--voice`."""
    return click.option(
        "--voice",
        "voice_name",
        metavar="NAME",
        help="Listen for this voice, as 'handsfree voice' fitted it (default: "
        f"'{USUAL}' where that was fitted; {NOBODY}: for anyone).",
    )(command)
