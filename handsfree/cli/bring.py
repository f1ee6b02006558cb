"""`handsfree bring`: recordings of a pocket recorder or a telephone into the log."""

import json
from collections.abc import Callable
from contextlib import ExitStack
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

import click
from rich.console import Console

from handsfree.bringing.files import found
from handsfree.bringing.take import Taken, Taker, Waiting, alone, waiting
from handsfree.cli.options import (
    asleep_until,
    attention_options,
    awake_s,
    engine_options,
    json_option,
    log_option,
    own_words_option,
)
from handsfree.cli.own_words import with_own_words
from handsfree.cli.screen import clock, console, safe
from handsfree.cli.transcribe import horse_named, progress_bar
from handsfree.cli.voice_option import voice_option
from handsfree.engines.choose import TEXT, ModelFolders, in_words, listeners
from handsfree.engines.together import Together
from handsfree.errors import ExitCode, UnreadableSound
from handsfree.grammar.grammar import Grammar, load
from handsfree.log import Log, local_day
from handsfree.voice.use import confidence_for, speaker_named

_ID_SHOWN = 8


@click.command()
@click.argument(
    "named", nargs=-1, required=True, metavar="FOLDER|FILE...", type=click.Path(path_type=Path)
)
@click.option("--horse", metavar="NAME", help="The horse they are about (one of the log's).")
@click.option("--look", is_flag=True, help="Only say what would be taken; change nothing.")
@attention_options
@voice_option
@json_option
@engine_options
@own_words_option
@log_option
def bring(
    named: tuple[Path, ...],
    horse: str | None,
    look: bool,
    attention: str | None,
    attention_s: float | None,
    voice_name: str | None,
    as_json: bool,
    engines: tuple[str, ...],
    vosk_model: Path | None,
    neural_model: Path | None,
    own_words_path: Path | None,
    log_path: Path | None,
) -> int:
    """Bring in recordings of a pocket recorder or a telephone (WAV, FLAC, MP3, M4A and the like).

    Folders are searched with the folders in them. Each recording becomes a visit at the time
    it was made: by the recorder's own header, else by a date in the file's name (as
    2026-05-14_09-30), else by when the file was last changed; which it was is said. The horse
    is the one named within ("horse Bramble"), or --horse. A recording that the log has
    already is passed over, whatever it is called; one that was broken off is gone on with.
    """
    if TEXT in engines:
        raise click.UsageError("bring takes recordings; typed words go to 'handsfree transcribe'")
    stays_s = awake_s(attention, attention_s)
    with ExitStack() as stack:
        log = stack.enter_context(Log.open(log_path))
        about = horse_named(log, horse)
        told = _Told(console(), console(to_stderr=True), as_json)
        todo = told.sorted(log, named)
        if look:
            for one in todo:
                told.would(one)
        elif todo:
            stack.enter_context(alone(log))
            grammar = load(horse_names=log.horse_names(), lessons=log.lessons())
            grammar = with_own_words(
                grammar, own_words_path, lambda line: told.err.print(line, soft_wrap=True)
            ).with_attention(attention)
            folders = ModelFolders(vosk_model, neural_model)
            ears = _ears(grammar, engines, folders, voice_name, told, stack)
            for line in asleep_until(attention, stays_s):
                told.err.print(line)
            taker = Taker(log, ears, grammar, about, stays_s)
            _take(log, taker, todo, told)
        told.end(look)
    return told.code


def _ears(
    grammar: Grammar,
    engines: tuple[str, ...],
    folders: ModelFolders,
    voice_name: str | None,
    told: "_Told",
    stack: ExitStack,
) -> Together:
    whose = speaker_named(voice_name, lambda line: told.err.print(safe(line), soft_wrap=True))
    chosen, absent = listeners(grammar, engines, folders, False, whose.warp)
    ears = Together(chosen, grammar, confidence=confidence_for(whose))
    stack.callback(ears.close)
    told.err.print(in_words(chosen, absent))
    return ears


def _take(log: Log, taker: Taker, todo: list[Waiting], told: "_Told") -> None:
    total = sum(one.seconds for one in todo)
    before = 0.0
    with progress_bar(told.err, f"{len(todo)} recordings", not told.as_json) as report:
        for one in todo:
            step = partial(_report, report, before, total)
            try:
                # Two files may hold the same sound: then the second was taken just now.
                again = waiting(log, one.path, datetime.now().astimezone())
                if again.done:
                    told.known(again)
                else:
                    told.taken(taker.take(again, step))
            except UnreadableSound as error:
                told.bad(str(error))
            before += one.seconds
            report(before, total)


def _report(
    report: Callable[[float, float | None], None], before: float, total: float, done: float
) -> None:
    report(before + done, total)


class _Told:
    """Says what became of each file, and counts."""

    def __init__(self, out: Console, err: Console, as_json: bool) -> None:
        self.out, self.err, self.as_json = out, err, as_json
        self.code = ExitCode.OK
        self._count = {"taken": 0, "known": 0, "damaged": 0, "bad": 0}

    def sorted(self, log: Log, named: tuple[Path, ...]) -> list[Waiting]:
        """Recordings to be taken, oldest first; the others are told of at once."""
        todo: list[Waiting] = []
        latest = datetime.now().astimezone()
        for each in found(named):
            if each.why_not is not None:
                self.bad(f"{each.path}: {each.why_not}")
                continue
            try:
                one = waiting(log, each.path, latest)
            except UnreadableSound as error:
                self.bad(str(error))
                continue
            if one.done:
                self.known(one)
            else:
                todo.append(one)
        return sorted(todo, key=lambda one: (one.made.at, one.path))

    def bad(self, line: str) -> None:
        """A file that cannot be taken."""
        self._count["bad"] += 1
        self.code = ExitCode.UNREADABLE
        self.err.print(f"handsfree: {safe(line)}", soft_wrap=True)

    def known(self, one: Waiting) -> None:
        """A recording that was taken before."""
        assert one.known is not None
        self._count["known"] += 1
        visits = " ".join(each[:_ID_SHOWN] for each in one.known.visits)
        name = "" if one.known.name == one.path.name else f" as {one.known.name}"
        became = f"visit {visits}" if visits else "no words in it"
        self._print(
            one,
            {"state": "known", "visits": list(one.known.visits)},
            [f"taken before{name}, {local_day(one.known.taken_at)}: {became}"],
        )

    def would(self, one: Waiting) -> None:
        """A recording that waits to be taken."""
        self._count["taken"] += 1
        more = "begun before, to be gone on with" if one.known else "to be taken"
        self._print(one, {"state": "waiting"}, [f"{clock(one.seconds)} min, {more}"])

    def taken(self, done: Taken) -> None:
        """A recording that was taken now."""
        self._count["taken"] += done.warning is None
        visits = " ".join(each[:_ID_SHOWN] for each in done.visits)
        lines = [
            f"{', '.join(done.horses) or 'horse not named'}: {done.entries} entries of "
            f"{done.utterances} utterances, {done.unclear} unclear; visit {visits}"
            if done.visits
            else "no words in it"
        ]
        lines += ["had been begun before; gone on with"] if done.went_on else []
        about: dict[str, Any] = {
            "state": "damaged" if done.warning else "taken",
            "visits": list(done.visits),
            "horses": list(done.horses),
            "utterances": done.utterances,
            "entries": done.entries,
            "unclear": done.unclear,
            "went_on": done.went_on,
            "warning": done.warning,
        }
        self._print(done.waiting, about, lines)
        if done.warning:
            self._count["damaged"] += 1
            self.code = ExitCode.UNREADABLE
            self.err.print(
                f"handsfree: {safe(done.warning)}; what could be heard is kept, but it does not "
                "count as taken: bring a better copy if there is one",
                soft_wrap=True,
            )

    def _print(self, one: Waiting, about: dict[str, Any], lines: list[str]) -> None:
        if self.as_json:
            made = {"at": one.made.at.isoformat(timespec="seconds"), "by": one.made.by}
            row = {"file": str(one.path), "seconds": round(one.seconds, 2), "made": made}
            click.echo(json.dumps(row | {"sha256": one.digest} | about))
            return
        self.out.print(safe(one.path.name), style="bold", soft_wrap=True)
        when = one.made.at.strftime("%Y-%m-%d %H:%M")
        for line in (f"{when}, from {one.made.by}", *lines):
            self.out.print(f"  {safe(line)}", soft_wrap=True)

    def end(self, look: bool) -> None:
        """How many of what."""
        if not self.as_json:
            taken = "would be taken" if look else "taken"
            damaged = f"{self._count['damaged']} damaged, " if self._count["damaged"] else ""
            self.out.print(
                f"{self._count['taken']} {taken}, {self._count['known']} known before, {damaged}"
                f"{self._count['bad']} that cannot be"
            )
