"""`handsfree practice push`: confirmed entries to the practice's shared store."""

import json
from pathlib import Path

import click
from click.core import ParameterSource

from handsfree.cli.as_json import plain
from handsfree.cli.options import json_option, log_option
from handsfree.cli.screen import console, safe
from handsfree.log import Log
from handsfree.practice.rows import rows
from handsfree.practice.store import PracticeError, passwords, place
from handsfree.practice.store import push as send

ENVIRONMENT = "HANDSFREE_PRACTICE"


@click.group()
def practice() -> None:
    """The practice's shared store: a PostgreSQL server, needed for nothing else."""


def checked_url(ctx: click.Context, parameter: click.Parameter, url: str | None) -> str | None:
    """The address, unless it shows a password to everybody on this machine."""
    source = ctx.get_parameter_source(parameter.name or "")
    if url and passwords(url) and source is ParameterSource.COMMANDLINE:
        raise PracticeError(
            f"practice {place(url)}: a password on the command line can be read by everybody on "
            f"this machine; put it into ~/.pgpass, or the address into ${ENVIRONMENT}"
        )
    return url


@practice.command()
@click.argument("url", required=False, envvar=ENVIRONMENT, callback=checked_url, metavar="[URL]")
@json_option
@log_option
def push(url: str | None, as_json: bool, log_path: Path | None) -> None:
    """Send confirmed entries to the server at URL (postgresql://…, or $HANDSFREE_PRACTICE).

    Sending twice changes nothing. What was sent and is struck or corrected since is marked so.
    Sounds and what nobody has confirmed stay here. To another machine it goes over TLS only, and
    the server's certificate is verified (its root: ~/.postgresql/root.crt, or
    ?sslrootcert=FILE in the URL). A password belongs into ~/.pgpass.
    """
    if not url:
        raise PracticeError(f"name the server: 'handsfree practice push URL', or ${ENVIRONMENT}")
    with Log.open(log_path, read_only=True) as log:
        sent = send(url, rows(log))
    if as_json:
        click.echo(json.dumps(plain(sent)))
        return
    there = sent.confirmed - sent.added - sent.again
    out = console()
    out.print(f"practice {safe(place(url))}", soft_wrap=True)
    out.print(f"{sent.confirmed} confirmed: {sent.added} new, {there} there already")
    if sent.withdrawn:
        out.print(f"{sent.withdrawn} sent before, marked as struck or corrected since")
    if sent.again:
        out.print(f"{sent.again} sent before, confirmed once more")
