"""`handsfree relisten`: old sound heard by the recognizers as they are now."""

import json
import os
import time as clock_time
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from textwrap import wrap
from typing import Any

import click
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from handsfree import histories
from handsfree.cli.as_json import plain
from handsfree.cli.options import (
    Day,
    engine_options,
    json_option,
    log_option,
    own_words_option,
)
from handsfree.cli.own_words import usable
from handsfree.cli.screen import console, safe
from handsfree.engines.choose import TEXT, ModelFolders
from handsfree.errors import ExitCode
from handsfree.grammar.grammar import load
from handsfree.grammar.wording import Wording
from handsfree.log import Log
from handsfree.relisten import hearing, job, spread
from handsfree.relisten.compare import Difference, Kind, Sure
from handsfree.relisten.results import Results, results_file
from handsfree.relisten.tasks import Again, Setup, Task
from handsfree.review.sayings import Sayings

SAYS_EVERY_S = 10.0
"""How often a line of progress is printed where there is no terminal. No source."""

ID_SHOWN = 8

_NAMES = {
    Kind.SAME: "the same",
    Kind.NEW: "new (was unclear)",
    Kind.DIFFERENT: "different",
    Kind.LOST: "lost (now unclear)",
    Kind.FAILED: "could not be heard",
}


@click.command()
@click.option("--horse", metavar="NAME", help="Only the visits to this horse.")
@click.option(
    "--since",
    type=Day(),
    metavar="DATE",
    help="Only visits of this day (as 2026-11-25) and later.",
)
@click.option("--doubtful", is_flag=True, help="Only what is unclear, or doubtful and unconfirmed.")
@click.option("--apply", "apply_", is_flag=True, help="Put in what is new or surer.")
@click.option(
    "--processes",
    type=click.IntRange(min=1, max=256),
    metavar="N",
    help="Listen in so many processes (default: one for each core).",
)
@click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="Listen on the workers of the Dask scheduler there (as tls://10.0.0.5:8786; without "
    "TLS only on this machine); they get the sounds, so let it be one you trust.",
)
@click.option(
    "--attention",
    metavar="WORD",
    help="The attention word of those days: it may stand before any note.",
)
@json_option
@engine_options
@own_words_option
@log_option
def relisten(
    horse: str | None,
    since: datetime | None,
    doubtful: bool,
    apply_: bool,
    processes: int | None,
    scheduler: str | None,
    attention: str | None,
    as_json: bool,
    engines: tuple[str, ...],
    vosk_model: Path | None,
    neural_model: Path | None,
    own_words_path: Path | None,
    log_path: Path | None,
) -> int:
    """Hear stored sounds again and show what that would change; nothing changes by itself.

    With --apply what was unclear and is understood now, and what is heard otherwise and more
    surely, goes in as a correction: doubtful until you confirm it in the review, and never over
    what you have confirmed, corrected or struck. What was heard is kept beside the log as it
    comes, so that the next run goes on where this one was broken off.
    """
    if scheduler is not None and processes is not None:
        raise click.UsageError("give --processes or --scheduler, not both")
    if TEXT in engines:
        raise click.UsageError("sounds are heard again by recognizers; 'text' is none")
    err = console(to_stderr=True)
    with Log.open(log_path, read_only=not apply_) as log:
        about = None if horse is None else histories.named(log, horse)
        begins = None if since is None else since.astimezone(UTC).isoformat(timespec="milliseconds")
        chosen = log.stored_sounds(None if about is None else about.id, begins, doubtful)
        folders = ModelFolders(vosk_model, neural_model)
        names, lessons = tuple(log.horse_names()), tuple(log.lessons())
        own_words = usable(
            load(horse_names=names), own_words_path, lambda line: err.print(line, soft_wrap=True)
        )
        setup = hearing.setup(engines, folders, names, lessons, attention, own_words)
        known = [utterance_id for _, utterance_id in log.stored_sounds()]
        grammar = hearing.grammar_of(setup)
        with Results(results_file(log.path), setup.mark, known) as results:
            unheard = sum(1 for _, utterance_id in chosen if utterance_id not in results)
            if unheard:
                count = min(processes or os.cpu_count() or 1, unheard)
                way = _way(setup, count, scheduler, err)
                where = f"at {safe(scheduler)}" if scheduler else f"in {_many(count, 'process')}"
                done = len(chosen) - unheard
                gone_on = f"; {done} are heard already" if done else ""
                names_shown = " and ".join(setup.engines)
                err.print(f"listening with {names_shown} {where}{gone_on}", soft_wrap=True)
                with _Progress(err, unheard) as heard:
                    job.hear(log, chosen, results, way, heard)
            report = job.report(job.differences(log, chosen, results, grammar))
        applied = job.apply(log, grammar, report.applies) if apply_ else None
        if as_json:
            click.echo(json.dumps(_as_json(log, setup, report, applied)))
        else:
            _Shown(log, Sayings(grammar, Wording(grammar))).report(report, applied, len(chosen))
    return ExitCode.OK


def _many(count: int, thing: str) -> str:
    return f"{count} {thing}{'' if count == 1 else 'es' if thing.endswith('s') else 's'}"


def _way(setup: Setup, processes: int, scheduler: str | None, err: Console) -> job.Spread:
    def warn(line: str) -> None:
        err.print(safe(line), soft_wrap=True)

    def way(tasks: Iterable[Task]) -> Iterator[Again]:
        if scheduler is not None:
            from handsfree.relisten.cluster import over_cluster

            return over_cluster(setup, tasks, scheduler, warn)
        if processes == 1:
            return spread.here(setup, tasks)
        return spread.over_processes(setup, tasks, processes, warn)

    return way


class _Progress:
    """A bar with the time left on a terminal, else a line from time to time."""

    def __init__(self, err: Console, total: int) -> None:
        self._err, self._total = err, total
        self._done, self._began = 0, clock_time.monotonic()
        self._said = self._began
        self._bar = Progress(
            TextColumn("heard"),
            BarColumn(),
            MofNCompleteColumn(),
            TimeRemainingColumn(),
            console=err,
            transient=True,
            disable=not err.is_terminal,
        )
        self._task = self._bar.add_task("heard", total=total)

    def __enter__(self) -> Callable[[Again], None]:
        self._bar.start()
        return self._one

    def __exit__(self, *error: object) -> None:
        self._bar.stop()

    def _one(self, again: Again) -> None:
        self._done += 1
        self._bar.update(self._task, completed=self._done)
        now = clock_time.monotonic()
        if not self._err.is_terminal and now - self._said >= SAYS_EVERY_S:
            self._said = now
            left = (now - self._began) / self._done * (self._total - self._done)
            self._err.print(f"{self._done} of {self._total} heard, about {_time(left)} left")


def _time(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"


def _sure(sure: Sure) -> str:
    return "typed" if sure.confidence is None else f"{sure.confidence:.2f}"


class _Shown:
    """The report as text."""

    def __init__(self, log: Log, sayings: Sayings) -> None:
        self._log, self._sayings, self._out = log, sayings, console()

    def report(self, report: job.Report, applied: job.Applied | None, sounds: int) -> None:
        if not sounds:
            self._out.print("no sound of such utterances is kept; nothing to hear")
            return
        table = Table("heard again", "sounds", "sure before", "sure now")
        for kind, count in report.counts.items():
            if count.all:
                row = (count.all, count.sure_before, count.sure_now)
                table.add_row(_NAMES[kind], *map(str, row))
        self._out.print(table)
        if report.confirmed:
            self._out.print(
                f"of {_many(report.confirmed, 'note')} you have confirmed or corrected, "
                f"{report.as_confirmed} are heard just so now"
            )
        visit = ""
        for each in report.not_same:
            if each.utterance.visit_id != visit:
                visit = each.utterance.visit_id
                about = self._log.visit(visit)
                name = safe(about.whose)
                self._out.print(f"\n{name}, {about.day}, visit {visit[:ID_SHOWN]}")
            self._one(each)
        self._end(report, applied)

    def _one(self, each: Difference) -> None:
        lines = [f"now {_sure(each.now)}: {self._meant(each.new, each)}"]
        was = self._meant(each.old, None) or safe(each.utterance.heard)
        status = "" if each.old else f"{each.utterance.status}: "
        lines.append(f"was {_sure(each.before)}: {status}{was}")
        if each.kind is Kind.FAILED:
            lines[0] = f"could not be heard: {safe(each.again.failed or '')}"
        if each.stays and each.kind is not Kind.FAILED:
            lines.append(f"stays as it is: {each.stays}")
        if each.limb_after:
            first = each.utterance.limb or "none or several"
            lines.append(f"the foot after it would be {each.limb_after}, the log has {first}:")
            lines.append("look at what follows")
        begin = f"  {each.kind.value:<10}"
        for line in lines:
            width, indent = self._out.width, " " * (len(begin) + 2)
            for part in wrap(line, width, initial_indent=begin, subsequent_indent=indent):
                self._out.print(part, soft_wrap=True)
            begin = " " * len(begin)

    def _meant(self, entries: Iterable[Any], each: Difference | None) -> str:
        said = safe(self._sayings.in_words(entries))
        if said or each is None:
            return said
        outcome = each.outcome
        if outcome is None:
            return "noise"
        if outcome.status == "command":
            return f"[{(outcome.command or outcome.limb or 'limb').replace('_', ' ')}]"
        return f"unclear: {safe(each.again.heard)}"

    def _end(self, report: job.Report, applied: job.Applied | None) -> None:
        count = len(report.applies)
        if applied is not None:
            again = f"; {applied.meanwhile} changed meanwhile, left alone" * bool(applied.meanwhile)
            self._out.print(
                f"\nput in: {applied.changed}, to be confirmed in 'handsfree review'{again}"
            )
        elif count:
            self._out.print(
                f"\nnothing is changed; --apply puts in {count} of these, for the review to confirm"
            )
        else:
            self._out.print("\nnothing is changed, and nothing would be")


def _as_json(
    log: Log, setup: Setup, report: job.Report, applied: job.Applied | None
) -> dict[str, Any]:
    visits = {each.utterance.visit_id for each in report.not_same}
    about = {visit_id: log.visit(visit_id) for visit_id in visits}
    return {
        "engines": list(setup.engines),
        "counts": {kind.value: plain(count) for kind, count in report.counts.items()},
        "confirmed": report.confirmed,
        "heard_as_confirmed": report.as_confirmed,
        "not_same": [
            {
                "utterance_id": each.utterance.id,
                "visit_id": each.utterance.visit_id,
                "horse": about[each.utterance.visit_id].horse,
                "kind": each.kind.value,
                "status": each.utterance.status,
                "heard_before": each.utterance.heard,
                "before": plain(each.before),
                "old": plain(each.old),
                "heard_now": each.again.heard,
                "now": plain(each.now),
                "new": plain(each.new),
                "surer_by": round(each.surer_by, 4),
                "applies": each.applies,
                "stays": each.stays,
                "limb_after": each.limb_after,
                "failed": each.again.failed,
            }
            for each in report.not_same
        ],
        "applied": plain(applied),
    }
