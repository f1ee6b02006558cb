"""`handsfree demo`: the recordings that come with handsfree, through the real recognizers."""

import tempfile
import time
from pathlib import Path

import click
from rich.console import Console

from handsfree import demo as recordings
from handsfree import years as two_years
from handsfree.cli.by_ear import play_by_ear
from handsfree.cli.options import engine_options
from handsfree.cli.screen import by_limb, console, safe
from handsfree.cli.transcribe import line_text, progress_bar, sure, take_back
from handsfree.dialogue.dialogue import Dialogue
from handsfree.engines.choose import ModelFolders, in_words, listeners
from handsfree.engines.together import Together
from handsfree.errors import ExitCode
from handsfree.grammar.grammar import Grammar, load
from handsfree.grammar.wording import Wording
from handsfree.log import Log
from handsfree.recording import Line, Recorder
from handsfree.transcribe import sound_lines


@click.command()
@click.option(
    "--by-ear",
    "by_ear",
    is_flag=True,
    help="Another visit, through the loop of 'listen': with what is answered by tone and words.",
)
@click.option(
    "--years",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="No listening: write two invented years of both horses into a new log, to try the sums.",
)
@engine_options
def demo(
    by_ear: bool,
    years: Path | None,
    engines: tuple[str, ...],
    vosk_model: Path | None,
    neural_model: Path | None,
) -> int:
    """Hear an invented visit to two horses and show what it becomes.

    The log is a temporary one and is gone afterwards (but for --years, which keeps its FILE).
    """
    out, err = console(), console(to_stderr=True)
    if years is not None:
        _tell_years(years, out)
        return ExitCode.OK
    place = recordings.folder()
    started = time.monotonic()
    with (
        tempfile.TemporaryDirectory(prefix="handsfree-demo-") as temporary,
        Log.open(Path(temporary) / "log.db") as log,
    ):
        for name, kind in recordings.horses(place):
            log.add_horse(name, kind)
        grammar = load(horse_names=log.horse_names())
        chosen, absent = listeners(
            grammar, engines, ModelFolders(vosk_model, neural_model), live=by_ear
        )
        err.print(in_words(chosen, absent))
        ears = Together(chosen, grammar, live=by_ear)
        try:
            if by_ear:
                play_by_ear(place, ears, grammar, log, out, err)
            else:
                compared = _play(place, ears, grammar, log, out, err)
                _report(compared, out, time.monotonic() - started)
        finally:
            ears.close()
    return ExitCode.OK


def _tell_years(file: Path, out: Console) -> None:
    with Log.open(file) as log:
        said = two_years.tell(log)
        horses = log.horse_names()
        visits = len(log.visits())
    names = " and ".join(safe(name) for name in horses)
    out.print(f"{names}: {visits} invented visits, {said} utterances in {safe(str(file))}")
    out.print("Now for instance, as if it were 25 November 2026:")
    for words in (f"brief {horses[-1]}", "due", f"change {horses[0]}", f"marks {horses[-1]}"):
        out.print(f"  handsfree {words} --on 2026-11-25 --log {safe(str(file))}", soft_wrap=True)


def _play(
    place: Path, ears: Together, grammar: Grammar, log: Log, out: Console, err: Console
) -> list[recordings.Compared]:
    wording = Wording(grammar)
    compared: list[recordings.Compared] = []
    expected = recordings.manifest(place)
    for file in dict.fromkeys(row.file for row in expected):
        out.print(f"\n{file}", style="bold")
        lines: list[Line] = []
        in_force: list[Line] = []
        with progress_bar(err, file) as report:
            for line in sound_lines(
                str(place / file), ears, Recorder(file, log, Dialogue(grammar)), report
            ):
                out.print(line_text(line, wording), soft_wrap=True)
                lines.append(line)
                take_back(in_force, line)
        entries = [
            (entry, "" if sure(line) else "doubtful")
            for line in in_force
            for entry in line.outcome.entries
        ]
        if entries:
            out.print(by_limb(entries, grammar, wording))
        compared += recordings.compare([row for row in expected if row.file == file], lines)
    return compared


def _became(line: Line | None) -> str:
    if line is None:
        return "nothing was heard"
    if line.outcome.status == "unclear":
        return f"kept as unclear: '{safe(line.heard.text)}'"
    return f"heard '{safe(line.heard.text)}'" + ("" if sure(line) else ", marked doubtful")


def _report(compared: list[recordings.Compared], out: Console, seconds: float) -> None:
    notes = [c for c in compared if c.has_entries]
    right = [c for c in notes if c.right]
    talk = [c for c in compared if c.expected.talk]
    taken = [c for c in talk if not c.right]
    doubtful = [c for c in compared if c.line and c.line.outcome.entries and not sure(c.line)]
    out.print(
        f"\n{len(right)} of {len(notes)} notes right in every detail (by the hand-written list "
        f"beside the recordings), {len(taken)} of {len(talk)} stretches of other talk taken for "
        f"a note, {len(doubtful)} notes marked doubtful; {seconds:.0f} s.",
        soft_wrap=True,
    )
    for c in compared:
        if not c.right:
            out.print(f"  not right: said '{c.expected.said}', {_became(c.line)}")
    if doubtful:
        out.print("\nLook these over at the tailgate, not under the horse:")
        for c in doubtful:
            assert c.line is not None
            others = " or ".join(f"'{safe(a.text)}'" for a in c.line.heard.alternatives[:2])
            out.print(f"  '{safe(c.line.heard.text)}'" + (f", perhaps {others}" if others else ""))
    out.print(
        "\nNext: transcribe a recording of your own with 'handsfree transcribe FILE', see what may "
        "be said with 'handsfree words' and 'handsfree words --sentences'.",
        soft_wrap=True,
    )
    out.print("'handsfree demo --by-ear' plays a visit with what is answered by tone and words.")
