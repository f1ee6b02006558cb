"""`handsfree sheet`: a visit as a page for the owner or for the vet."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import click

from handsfree import histories
from handsfree.cli.options import log_option, on_option
from handsfree.cli.screen import console, safe
from handsfree.errors import ExitCode, HandsfreeError
from handsfree.grammar.grammar import Grammar, load
from handsfree.log import Log
from handsfree.records.checking import BY_THIS_VERSION
from handsfree.sheets import files
from handsfree.sheets.content import Audience, CautionPart, Sheet
from handsfree.sheets.content import sheet as as_sheet
from handsfree.sheets.listeners import listeners
from handsfree.sheets.page import page
from handsfree.sums.history import History, HorseFacts
from handsfree.sums.sources import CantSay

NO_NAME = "horse not named"


@dataclass(frozen=True)
class Wanted:
    """What kind of sheet is asked for. `unit` of lengths; None: the one last said."""

    audience: Audience
    today: date
    with_doubtful: bool = False
    with_remarks: bool = False
    unit: str | None = None
    pdf: bool = False
    paper: str = "a4"

    @property
    def ending(self) -> str:
        """How a file's name ends: those for the vet say so."""
        who = "-vet" if self.audience is Audience.VET else ""
        return f"{who}{'.pdf' if self.pdf else '.html'}"


@click.command()
@click.argument("target", required=False, metavar="[HORSE|VISIT]")
@click.option(
    "--for",
    "audience",
    type=click.Choice([each.value for each in Audience]),
    default=Audience.OWNER.value,
    show_default=True,
    help="In whose words.",
)
@click.option("--pdf", is_flag=True, help="As a PDF (default: a page in HTML).")
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    default="a4",
    show_default=True,
    help="Of a PDF; a page in HTML prints on either.",
)
@click.option(
    "--to",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write this file (default: named after horse and day, in this folder).",
)
@click.option("--with-doubtful", is_flag=True, help="Also what nobody confirmed; marked so.")
@click.option("--with-remarks", is_flag=True, help="Also the remarks, which may be private.")
@click.option(
    "--unit", type=click.Choice(["mm", "cm", "in"]), help="Of lengths (default: as said)."
)
@click.option("--all-horses", is_flag=True, help="Of every horse the latest visit; with --into.")
@click.option(
    "--into",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="FOLDER",
    help="Where the sheets of all horses go.",
)
@on_option
@click.option("--force", is_flag=True, help="Replace files that are there.")
@log_option
def sheet(
    target: str | None,
    audience: str,
    pdf: bool,
    paper: str,
    to: Path | None,
    with_doubtful: bool,
    with_remarks: bool,
    unit: str | None,
    all_horses: bool,
    into: Path | None,
    today: date,
    force: bool,
    log_path: Path | None,
) -> int:
    """Make a sheet of the latest visit to a HORSE, or of a VISIT, for the owner or the vet.

    Only what is confirmed is on it ('handsfree review' confirms). One file that needs nothing
    else: no network, no script. With --all-horses a horse whose sheet fails is named, the
    others are done, and the exit code is 1.
    """
    wanted = Wanted(Audience(audience), today, with_doubtful, with_remarks, unit, pdf, paper)
    if all_horses != (into is not None):
        raise click.UsageError("--all-horses and --into FOLDER go together")
    if all_horses and (target is not None or to is not None):
        raise click.UsageError("--all-horses takes no horse and no --to")
    if not all_horses and target is None:
        raise click.UsageError("name a horse or a visit, or say --all-horses")
    grammar = load()
    with Log.open(log_path, read_only=True) as log:
        if into is not None:
            return _all(log, into, wanted, grammar, force)
        history, day, ids = _one(log, target or "", today)
        heard_by = _heard_by(log, ids, wanted)
    made = _made(history, day, wanted, grammar, heard_by)
    path = to or Path(files.file_name(made.name, day, wanted.ending))
    files.write_new(path, _data(made, wanted), force)
    for line in _told(made, _unreadable(history, day)):
        console(to_stderr=True).print(safe(line), soft_wrap=True)
    console().print(safe(str(path)), soft_wrap=True)
    return ExitCode.OK


def _one(log: Log, target: str, today: date) -> tuple[History, date, list[str]]:
    """The history, the day of the latest visit or of the one with this id, and its visits' ids."""
    if log.horse(target) is None and re.fullmatch("[0-9a-fA-F]{4,32}", target.strip()):
        visit = log.visit(target)
        day = visit.day
        horse = log.horse(visit.horse) if visit.horse else None
        if horse is not None:
            return histories.history(log, horse), day, _visits(log, horse.id, day)
        alone = histories.of_visit(log, visit)
        return History(HorseFacts(NO_NAME), (alone,)), day, [visit.id]
    horse = histories.named(log, target)
    history = histories.history(log, horse)
    last = history.until(today).last
    if last is None:
        raise HandsfreeError(
            f"{safe(history.horse.name)} has no visit in the log by {today.isoformat()}"
        )
    return history, last.on, _visits(log, horse.id, last.on)


def _visits(log: Log, horse_id: str, day: date) -> list[str]:
    """The ids of the visits to a horse on a day."""
    return [visit.id for visit in log.visits_of(horse_id) if visit.day == day]


def _heard_by(log: Log, visit_ids: list[str], wanted: Wanted) -> dict[str, str]:
    """Who heard each note; an owner is not told."""
    return listeners(log, visit_ids) if wanted.audience is Audience.VET else {}


def _made(
    history: History, day: date, wanted: Wanted, grammar: Grammar, heard_by: dict[str, str]
) -> Sheet:
    """The sheet; HandsfreeError where there is nothing on it."""
    made = as_sheet(
        history,
        day,
        wanted.audience,
        grammar,
        wanted.today,
        include_doubtful=wanted.with_doubtful,
        unit=wanted.unit,
        with_remarks=wanted.with_remarks,
        listeners=heard_by,
    )
    name = safe(history.horse.name)
    if isinstance(made, CantSay):
        raise HandsfreeError(f"{name}: {made}")
    if made.empty:
        lost = _unreadable(history, day)
        why = f"{lost} noted that {BY_THIS_VERSION}" if lost else "nothing was noted"
        if made.left_out:
            told = "".join(f"; caution: {_caution(each)}" for each in made.cautions)
            why = (
                f"nothing is confirmed yet{told}; confirm it with 'handsfree review', or say "
                "--with-doubtful"
            )
        raise HandsfreeError(f"{name}, visit of {day.isoformat()}: {why}")
    return made


def _data(made: Sheet, wanted: Wanted) -> bytes:
    if not wanted.pdf:
        return files.utf8(page(made))
    from handsfree.sheets.pdf import write_pdf

    return write_pdf(made, wanted.paper)


def _unreadable(history: History, day: date) -> int:
    """Notes of the day that this version cannot read."""
    return sum(visit.unreadable for visit in history.visits if visit.on == day)


def _told(made: Sheet, unreadable: int) -> Iterator[str]:
    """What whoever makes the sheet should know before it is sent."""
    if unreadable:
        yield f"left out, notes that {BY_THIS_VERSION}: {unreadable}"
    for caution in made.cautions:
        yield f"on the sheet, as a caution: {_caution(caution)}"
    if made.left_out:
        yield (
            f"left out, not confirmed: {made.left_out} ('handsfree review' confirms, "
            "--with-doubtful shows them marked)"
        )
    if made.remarks_left_out:
        yield f"left out, remarks: {made.remarks_left_out} (--with-remarks shows them)"


def _caution(caution: CautionPart) -> str:
    where = f"{caution.where}: " if caution.where else ""
    unsure = "" if caution.confirmed else " (not confirmed yet)"
    return f"{caution.orders} {where}{caution.noted}{unsure}"


def _all(log: Log, folder: Path, wanted: Wanted, grammar: Grammar, force: bool) -> int:
    """The latest visit of every horse, one file each; names that clash are numbered."""
    from rich.progress import track

    if not folder.is_dir():
        raise HandsfreeError(f"{safe(str(folder))}: there is no such folder; make it first")
    out = console(to_stderr=True)
    taken: set[str] = set()
    failed: list[str] = []
    unseen = partly = done = 0
    for horse in track(log.horses(), "sheets", console=out, transient=True):
        try:
            history = histories.history(log, horse)
            last = history.until(wanted.today).last
            if last is None:
                unseen += 1
                continue
            heard_by = _heard_by(log, _visits(log, horse.id, last.on), wanted)
            made = _made(history, last.on, wanted, grammar, heard_by)
            name = files.file_name(made.name, last.on, wanted.ending, taken)
            taken.add(name)
            files.write_new(folder / name, _data(made, wanted), force)
        except HandsfreeError as error:
            failed.append(str(error))
            continue
        except Exception as error:  # one horse must not keep the others from their sheets
            failed.append(f"{horse.name}: {type(error).__name__}: {error}")
            continue
        done += 1
        partly += bool(made.left_out)
        for caution in made.cautions:
            if not caution.confirmed:
                out.print(safe(f"{name}: {_caution(caution)}"), soft_wrap=True)
    for line in failed:
        out.print(safe(line), soft_wrap=True)
    told = f"{done} sheet{'s' * (done != 1)} written into {safe(str(folder))}"
    if partly:
        told += f"; {partly} lack what is not confirmed"
    if unseen:
        told += f"; {unseen} horse{'s' * (unseen != 1)} without a visit"
    console().print(told + (f"; {len(failed)} failed" if failed else ""), soft_wrap=True)
    return ExitCode.USAGE if failed else ExitCode.OK
