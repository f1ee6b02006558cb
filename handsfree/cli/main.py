"""The command `handsfree`: its subcommands, and how errors end it."""

import os
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import TextIO

import click

from handsfree import __version__
from handsfree.errors import ExitCode, HandsfreeError

COMMANDS = {
    "listen": "handsfree.cli.listen",
    "mic": "handsfree.cli.mic",
    "voice": "handsfree.cli.voice",
    "tones": "handsfree.cli.tones",
    "transcribe": "handsfree.cli.transcribe",
    "demo": "handsfree.cli.demo",
    "review": "handsfree.cli.review",
    "horses": "handsfree.cli.horses",
    "visits": "handsfree.cli.visits",
    "show": "handsfree.cli.visits",
    "brief": "handsfree.cli.brief",
    "due": "handsfree.cli.due",
    "change": "handsfree.cli.change",
    "balance": "handsfree.cli.balance",
    "marks": "handsfree.cli.marks",
    "nails": "handsfree.cli.nails",
    "wear": "handsfree.cli.wear",
    "weight": "handsfree.cli.weight",
    "sheet": "handsfree.cli.sheet",
    "calendar": "handsfree.cli.calendar",
    "export": "handsfree.cli.export",
    "bill": "handsfree.cli.bill",
    "find": "handsfree.cli.find",
    "bring": "handsfree.cli.bring",
    "merge": "handsfree.cli.merge",
    "keep": "handsfree.cli.keep",
    "relisten": "handsfree.cli.relisten",
    "practice": "handsfree.cli.practice",
    "words": "handsfree.cli.words",
    "model": "handsfree.cli.model",
}


class _LazyCommands(click.Group):
    """Loads a subcommand's module only when it is used: the quick ones stay quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        command = getattr(import_module(COMMANDS[name]), name)
        assert isinstance(command, click.Command)
        return command


@click.command(
    cls=_LazyCommands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Exit codes: 0 done; 1 the command was given wrongly; 2 a file could not be read (the "
    "others were still done); 3 a grammar file is wrong; 4 a recognizer or the microphone cannot "
    "be used; 5 the log is not there, or cannot be opened or written; 130 interrupted; 143 "
    "'listen' was ended by SIGTERM.",
)
@click.version_option(__version__, prog_name="handsfree")
@click.option("--debug", is_flag=True, help="Show the traceback of an error.")
@click.pass_context
def handsfree(ctx: click.Context, debug: bool) -> None:
    """Voice notes for a farrier: what he says under the horse becomes records by limb.

    Works offline. Nothing here diagnoses; where a horse may be hurt, call the vet.
    """
    ctx.obj = {"debug": debug}


def run(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return the process's exit code."""
    debug = "--debug" in (sys.argv[1:] if arguments is None else arguments)
    forgiving(sys.stdout)
    try:
        code = handsfree.main(arguments, prog_name="handsfree", standalone_mode=False)
        return code if isinstance(code, int) else ExitCode.OK
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.ctx.get_help() if error.ctx else str(error), err=True)
        return ExitCode.USAGE
    except click.ClickException as error:
        if debug:
            raise
        click.echo(f"handsfree: {_one_line(error.format_message())}", err=True)
        return ExitCode.USAGE
    except HandsfreeError as error:
        if debug:
            raise
        click.echo(f"handsfree: {_one_line(str(error))}", err=True)
        return error.exit_code
    except (KeyboardInterrupt, click.Abort):
        click.echo("handsfree: interrupted; what was printed is kept", err=True)
        return ExitCode.INTERRUPTED
    except BrokenPipeError:
        # The reader of our output has gone (head, less): nobody is left to tell.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return ExitCode.OK
    except Exception as error:
        if debug:
            raise
        name = type(error).__name__
        click.echo(f"handsfree: {name}: {_one_line(str(error))} (--debug shows more)", err=True)
        return ExitCode.USAGE


def forgiving(stream: TextIO | None) -> None:
    """A sign that the terminal or a pipe lacks, or bytes that are no text, end nothing.

    Windows gives pipes a code page that lacks most names of the world.
    """
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure is not None:
        reconfigure(errors="replace")


def _one_line(text: str) -> str:
    return " ".join(text.split())
