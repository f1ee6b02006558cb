"""What the commands of `handsfree keep` share."""

import getpass
import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import click

from handsfree.cli.as_json import plain
from handsfree.cli.screen import console, safe
from handsfree.log import default_path


def log_file(log_path: Path | None) -> Path:
    """The log that is meant."""
    return (log_path or default_path()).expanduser()


def print_json(value: object) -> None:
    """A result as one line of JSON."""
    click.echo(json.dumps(plain(value)))


def say(text: str) -> None:
    """A line on the terminal, which nothing in it can steer."""
    console().print(safe(text), soft_wrap=True)


def size_text(size: float) -> str:
    """Bytes as they are read: "1.4 MB"."""
    for unit in ("bytes", "kB", "MB"):
        if size < 1000:
            return f"{size:.0f} {unit}" if unit == "bytes" else f"{size:.1f} {unit}"
        size = size / 1000
    return f"{size:.1f} GB"


def count_text(number: int, what: str) -> str:
    """A number and what is counted: "1 visit", "2,000 visits"."""
    return f"{number:,} {what}{'' if number == 1 else 's'}"


@contextmanager
def progress(what: str, quiet: bool = False) -> Iterator[Callable[[int, int], None]]:
    """A bar on the error output while it takes long; gets (done, of how many)."""
    from rich.progress import Progress

    with Progress(console=console(to_stderr=True), transient=True, disable=quiet) as bar:
        task = bar.add_task(what, total=None)
        yield lambda done, of: bar.update(task, completed=done, total=of)


_ONE = {"entries": "entry"}


def rows_text(rows: Mapping[str, int]) -> str:
    """Rows by table: "1 horse, 2 visits"."""
    return ", ".join(
        f"{n:,} {(_ONE.get(t, t.removesuffix('s')) if n == 1 else t).replace('_', ' ')}"
        for t, n in rows.items()
        if n
    )


def who() -> str:
    """The user of this computer, as records name him."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return "unknown"
