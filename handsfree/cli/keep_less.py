"""`handsfree keep thin-sound`, `erase` and `erased`: what takes things out of the log."""

from datetime import date
from pathlib import Path

import click

from handsfree import histories
from handsfree.cli.as_json import plain
from handsfree.cli.keep_parts import count_text, print_json, rows_text, say, size_text, who
from handsfree.cli.options import json_option, log_option, on_option
from handsfree.cli.practice import checked_url
from handsfree.cli.screen import console, safe
from handsfree.errors import LogError
from handsfree.keeping import erasing, thinning
from handsfree.keeping.beyond import copies
from handsfree.log import Log, local_time
from handsfree.log.store import name_key
from handsfree.practice.store import deletion
from handsfree.practice.store import erase as erase_there


@click.command("thin-sound")
@click.option(
    "--older-than",
    "months",
    type=click.IntRange(0, thinning.MOST_MONTHS),
    required=True,
    metavar="MONTHS",
    help="Sound of visits longer ago than this.",
)
@click.option("--doubtful", is_flag=True, help="Also of what is still doubtful.")
@click.option("--unclear", is_flag=True, help="Also of what was unclear and not passed over.")
@click.option("--remarks", is_flag=True, help="Also of remarks without words: nothing is left.")
@click.option("--yes", is_flag=True, help="Do it; without this it is only shown.")
@on_option
@json_option
@log_option
def thin_sound(
    months: int,
    doubtful: bool,
    unclear: bool,
    remarks: bool,
    yes: bool,
    today: date,
    as_json: bool,
    log_path: Path | None,
) -> None:
    """Delete old sound by a rule; the words, entries and their history stay.

    Keeps the sound of what is doubtful, unclear or a remark without words. Shows what it
    would free; --yes does it. That it was done stays in the log.
    """
    rule = thinning.Rule(
        thinning.months_before(today, months), not doubtful, not unclear, not remarks
    )
    with Log.open(log_path, read_only=not yes) as log:
        found = thinning.look(log, rule)
        before = log.path.stat().st_size
        thinned = thinning.thin(log, found, who()) if yes else 0
        trouble = log.give_back_space() if thinned else None
        freed = before - log.path.stat().st_size
    if as_json:
        return print_json(
            {
                "rule": str(rule),
                "sounds": len(found.utterances),
                "bytes": found.bytes,
                "kept": found.kept,
                "kept_bytes": found.kept_bytes,
                "done": yes,
                "freed_bytes": freed if thinned else 0,
                "space_not_given_back": trouble,
            }
        )
    say(str(rule))
    would = "went" if yes else "would go"
    say(f"{count_text(len(found.utterances), 'sound')} of {size_text(found.bytes)} {would}")
    for why, number in found.kept.items():
        if number:
            say(f"kept, {why}: {number:,}")
    if not yes:
        say("nothing is changed; --yes does it")
    elif trouble is not None:
        say(f"the room stays in the file for new sound, for {trouble}")
    elif thinned:
        say(f"the file is {size_text(freed)} smaller")


@click.command()
@click.argument("horse")
@click.option("--yes", is_flag=True, help="Do not ask for the name again.")
@click.option(
    "--practice",
    metavar="URL",
    callback=checked_url,
    help="Also from the practice's server there (see 'handsfree practice push').",
)
@json_option
@log_option
def erase(
    horse: str, yes: bool, practice: str | None, as_json: bool, log_path: Path | None
) -> None:
    """Erase everything of one HORSE for good, as its owner may ask.

    Names, words, sound, entries and their history. A record stays that it was done, when and
    by whom, without the name. Cannot be undone. Copies of it that lie beside the log or here
    are named, not touched.
    """
    with Log.open(log_path) as log:
        found = erasing.look(log, histories.named(log, horse))
        if not yes:
            for table, number in found.rows.items():
                console(to_stderr=True).print(f"{number:>8,}  {table.replace('_', ' ')}")
            said = click.prompt(
                f"This erases all of {safe(found.horse.name)} for good. Its name again", err=True
            )
            if name_key(said) != name_key(found.horse.name):
                raise LogError("that is another name; nothing was erased")
        # Before the ids are gone: where the server cannot be reached nothing is erased.
        there = deletion(found.ids, found.visits, found.utterances)
        deleted = None if practice is None else erase_there(practice, there)
        done = erasing.erase(log, found, who())
        left = copies(log.path, [Path.cwd()], found.horse.name, found.ids)
    by_hand = deletion(found.ids, utterances=found.utterances) if deleted is None else []
    if as_json:
        return print_json(
            {
                **plain(done),
                "mentions_left": found.mentions,
                "copies_left": [{"path": str(each.path), "what": each.what} for each in left],
                "deleted_there": deleted,
                "sql_for_there": by_hand,
            }
        )
    say(f"erased: {rows_text(done.counts)}")
    if deleted is not None:
        say(f"deleted on the practice's server: {count_text(deleted, 'row')}")
    if found.mentions:
        where = count_text(found.mentions, "utterance")
        say(f"its name still stands in {where} about other horses; 'handsfree find' shows them")
    for each in found.unheard:
        say(f"not in the log yet, and perhaps of it: {each}")
    for copy in left:
        say(f"still holds it, delete or replace it: {copy.path} ({copy.what})")
    say("backups and archives elsewhere that were made before still hold it too")
    if by_hand:
        say("if it was sent to a practice's server, this deletes it there:")
        for line in by_hand:
            say(f"  {line}")


@click.command()
@json_option
@log_option
def erased(as_json: bool, log_path: Path | None) -> None:
    """List what was erased: when, by whom and how much, never of whom."""
    with Log.open(log_path, read_only=True) as log:
        found = [each for each in log.erasures() if each.counts]
    if as_json:
        return print_json(found)
    for each in found:
        say(f"{local_time(each.at):%Y-%m-%d %H:%M} by {each.by}: {rows_text(each.counts)}")
    if not found:
        say("nothing was erased")
