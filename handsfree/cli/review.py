"""`handsfree review`: what was heard is confirmed or put right, at the tailgate.

Neither a recognizer nor a sound or screen library is loaded before it is needed.
"""

import os
import sys
from datetime import date
from pathlib import Path

import click

from handsfree.cli.main import forgiving
from handsfree.cli.options import log_option, own_words_option
from handsfree.errors import ExitCode, LogError
from handsfree.log import Log, Visit
from handsfree.log.files import writable
from handsfree.review.plain_text import clean


@click.command()
@click.argument("visit", required=False)
@click.option("--horse", metavar="NAME", help="The latest visit of this horse.")
@click.option(
    "--plain",
    is_flag=True,
    help="Line by line, for screen readers; so too without a terminal or with TERM=dumb.",
)
@click.option("--speaker", metavar="NAME", help="Headset or loudspeaker: number or part of name.")
@own_words_option
@log_option
def review(
    visit: str | None,
    horse: str | None,
    plain: bool,
    speaker: str | None,
    own_words_path: Path | None,
    log_path: Path | None,
) -> int:
    """Confirm or correct what was heard in a VISIT, with one key for each thing to do.

    VISIT is its id or the beginning of it (default: today's latest, else the latest at all).
    Everything is kept at once and can be taken back; what was first heard is never lost.
    """
    if visit is not None and horse is not None:
        raise click.UsageError("give a VISIT or --horse, not both")
    with Log.open(log_path, read_only=True) as log:
        chosen, earlier = _chosen(log, visit, horse)
        path = log.path
    if not writable(path):
        click.echo(f"log {path}: cannot be written; you can look, but nothing is kept", err=True)
    if chosen is None:
        click.echo("nothing to review: the log holds no visits yet")
        return ExitCode.OK
    line_by_line = plain or not _on_a_screen()
    if earlier:
        # A terminal shows it again when the screen is left.
        line = f"no visit today; the latest is of {chosen.day}"
        click.echo(line, err=not line_by_line)
    if line_by_line:
        _line_by_line(path, chosen.id, speaker, own_words_path)
    else:
        _screen(path, chosen.id, speaker, own_words_path)
    return ExitCode.OK


def _chosen(log: Log, visit: str | None, horse: str | None) -> tuple[Visit | None, bool]:
    """The visit to look at, None in an empty log, and whether it is none of today by default."""
    if visit is not None:
        return log.visit(visit), False
    if horse is not None:
        if log.horse(horse) is None:
            raise LogError(f"there is no horse '{clean(horse)}' in the log")
        of_horse = log.visits(1, horse)
        if not of_horse:
            raise LogError(f"the log holds no visit to {clean(horse)} yet")
        return of_horse[0], False
    today = log.visits_on(date.today())
    if today:
        return today[-1], False
    latest = log.visits(1)
    return (latest[0], True) if latest else (None, False)


def _opened(path: Path) -> Log:
    """For writing where that is possible: a log that is write-protected can be looked at."""
    return Log.open(path, read_only=not writable(path))


def _on_a_screen() -> bool:
    streams = (sys.stdin, sys.stdout)
    return all(s is not None and s.isatty() for s in streams) and os.environ.get("TERM") != "dumb"


def _line_by_line(path: Path, visit_id: str, speaker: str | None, own_words: Path | None) -> None:
    from handsfree.cli.own_words import with_own_words
    from handsfree.grammar.grammar import load
    from handsfree.review.desk import Desk
    from handsfree.review.plain import Plain
    from handsfree.review.player import SoundPlayer

    forgiving(sys.stdin)
    player = SoundPlayer(speaker, wait=True)
    with _opened(path) as log:
        grammar = load(horse_names=log.horse_names(), lessons=log.lessons())
        grammar = with_own_words(grammar, own_words, _write)
        limbs = {form: w.id for w in grammar.table if w.slot == "limb" for form in w.forms}
        try:
            Plain(lambda it: Desk(log, grammar, it), visit_id, player, limbs, _read, _write).run()
        finally:
            player.close()


def _read() -> str | None:
    try:
        return sys.stdin.readline() or None
    except KeyboardInterrupt:
        return None


def _write(line: str) -> None:
    print(line, flush=True)


def _screen(path: Path, visit_id: str, speaker: str | None, own_words: Path | None) -> None:
    from handsfree.review.desk import Desk
    from handsfree.review.player import SoundPlayer
    from handsfree.screens.review import run_screen

    def desk() -> Desk:
        # A log belongs to the thread that opened it: the screen's own for the desk.
        from handsfree.cli.own_words import with_own_words
        from handsfree.grammar.grammar import load

        log = _opened(path)
        grammar = load(horse_names=log.horse_names(), lessons=log.lessons())
        return Desk(log, with_own_words(grammar, own_words, told.append), visit_id)

    told: list[str] = []
    player = SoundPlayer(speaker)
    try:
        run_screen(desk, player)
    finally:
        player.close()
        for line in told:
            click.echo(line, err=True)
