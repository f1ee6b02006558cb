"""`handsfree keep`: backup, restore, check, archives, thinning of sound, erasing."""

import tempfile
from datetime import date, datetime
from pathlib import Path

import click

from handsfree import histories
from handsfree.cli.keep_less import erase, erased, thin_sound
from handsfree.cli.keep_parts import (
    count_text,
    log_file,
    print_json,
    progress,
    rows_text,
    say,
    size_text,
)
from handsfree.cli.options import Number, json_option, log_option
from handsfree.errors import ExitCode
from handsfree.keeping import checking, copying, restoring
from handsfree.log import Log

FILE = click.Path(path_type=Path)


@click.group()
def keep() -> None:
    """Keep the log safe: copy it, check it, hand it on, and take things out of it."""


@keep.command()
@click.argument("file", required=False, type=FILE)
@click.option("--force", is_flag=True, help="Replace the file if it is there.")
@json_option
@log_option
def backup(file: Path | None, force: bool, as_json: bool, log_path: Path | None) -> None:
    """Copy the log to FILE (default: beside it, with the day in its name) and verify the copy.

    It may be in use meanwhile. FILE may be a folder.
    """
    log = log_file(log_path)
    name = f"{log.stem}-{date.today().isoformat()}.db"
    target = log.with_name(name) if file is None else file / name if file.is_dir() else file
    with progress("copying") as tell:
        done = copying.back_up(log, target, force, lambda left, of: tell(of - left, of))
    if as_json:
        return print_json({**vars(done), "path": str(done.path)})
    told = {table: done.rows.get(table, 0) for table in ("visits", "utterances", "sounds")}
    say(f"{done.path}: {size_text(done.bytes)}, {rows_text(told) or 'empty'}; verified")


@keep.command()
@click.argument("file", type=FILE)
@click.option(
    "--lose-newer", is_flag=True, help="Do it although the log holds what the backup does not."
)
@json_option
@log_option
def restore(file: Path, lose_newer: bool, as_json: bool, log_path: Path | None) -> None:
    """Put a backup FILE in the place of the log.

    Refuses where the log holds anything the backup does not, and says what. The log that was
    there is always kept beside it under another name.
    """
    log = log_file(log_path)
    kept = restoring.restore(file, log, datetime.now(), lose_newer)
    if as_json:
        return print_json({"log": str(log), "kept": str(kept) if kept else None})
    say(f"{log} is now as in {file}")
    if kept is not None:
        say(f"the log that was there is kept as {kept}")


@keep.command()
@click.option("--sound", is_flag=True, help="Also decode every sound; takes a while.")
@json_option
@log_option
def check(sound: bool, as_json: bool, log_path: Path | None) -> int:
    """Look the whole log through and name what is wrong and what to do (exit code 5 then)."""
    with progress("decoding sound", quiet=not sound) as tell:
        found = checking.look_through(log_file(log_path), sound, tell)
    if as_json:
        print_json(found)
    else:
        for each in found:
            say(str(each))
        if not found:
            say(f"{log_file(log_path)}: nothing is wrong")
    return ExitCode.LOG if found else ExitCode.OK


@keep.command()
@click.argument("horse", required=False)
@click.option(
    "--to",
    "target",
    type=FILE,
    metavar="FILE",
    help="What to write: FILE.zip, FILE.tar, FILE.tar.gz or a new folder (default: a .zip here).",
)
@click.option("--wav", is_flag=True, help="Sound as WAV instead of FLAC (about twice the size).")
@click.option("--force", is_flag=True, help="Replace the file if it is there.")
@json_option
@log_option
def archive(
    horse: str | None,
    target: Path | None,
    wav: bool,
    force: bool,
    as_json: bool,
    log_path: Path | None,
) -> None:
    """Write everything of one HORSE, or of all, so that it can be read without this program.

    A bag (RFC 8493) with sound, JSON and pages for a browser; 'handsfree keep take-in' takes
    it into another log.
    """
    from handsfree.keeping import archive as archives
    from handsfree.sheets.files import file_name

    at = datetime.now().astimezone()
    with Log.open(log_path, read_only=True) as log:
        found = histories.named(log, horse) if horse is not None else None
        name = found.name if found else "all-horses"
        target = target or Path(file_name(name, at.date(), ".zip"))
        with progress("writing visits") as tell:
            done = archives.write(log, target, at, found, wav=wav, force=force, progress=tell)
    if as_json:
        return print_json({**vars(done), "path": str(done.path)})
    say(
        f"{done.path}: {count_text(done.horses, 'horse')}, {count_text(done.visits, 'visit')}, "
        f"{count_text(done.utterances, 'utterance')}, {count_text(done.sounds, 'sound')}, "
        f"{count_text(done.files, 'file')} of {size_text(done.bytes)}"
    )


@keep.command("take-in")
@click.argument("file", type=FILE)
@click.option("--as", "rename", metavar="NAME", help="Call the horse of the archive so.")
@click.option("--same-horse", is_flag=True, help="A horse called alike in both is the same horse.")
@click.option("--even-erased", is_flag=True, help="Also a horse that was erased from this log.")
@click.option(
    "--most-gb",
    type=Number(min=0.001),
    default=20,
    show_default=True,
    help="Refuse an archive that unpacks to more.",
)
@json_option
@log_option
def take_in(
    file: Path,
    rename: str | None,
    same_horse: bool,
    even_erased: bool,
    most_gb: float,
    as_json: bool,
    log_path: Path | None,
) -> None:
    """Take the archive FILE into the log: what it has and the log has not, all of it or nothing.

    What is in both is passed over; what was judged differently in both is asked about in
    'handsfree review'. It is joined as 'handsfree merge' joins the log of another machine.
    """
    from handsfree.cli.merge import differences
    from handsfree.keeping import taking_in, unpacking

    choices = taking_in.Choices(same_horse, rename, even_erased)
    limits = unpacking.Limits(bytes=int(most_gb * 1e9))
    with (
        Log.open(log_path) as log,
        tempfile.TemporaryDirectory(prefix=".handsfree-", dir=log.path.parent) as room,
    ):
        bag = unpacking.open_bag(file, Path(room), limits)
        with progress("taking in") as tell:
            done = taking_in.take_in(log, bag, choices, tell)
    if as_json:
        return print_json(done)
    new = rows_text(done.added)
    say(f"new: {new}" if new else "new: nothing, all of it was here already")
    if new and done.known:
        say(f"here already: {count_text(sum(done.known.values()), 'row')}")
    if done.cut_off:
        say(f"{count_text(done.cut_off, 'reference')} to what is in neither was left empty")
    if done.thinned:
        say(f"not taken: {count_text(done.thinned, 'sound')} that 'keep thin-sound' let go here")
    for each in done.conflicts:
        say(f"not taken: {each}")
    for line in differences(done.joined) if done.joined else ():
        say(line)


for _command in (thin_sound, erase, erased):
    keep.add_command(_command)
