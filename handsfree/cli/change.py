"""`handsfree change`: what changed on a horse over the visits, in words and pictures."""

import json
import textwrap
from collections.abc import Iterable, Iterator
from datetime import date
from pathlib import Path

import click

from handsfree import histories, plots
from handsfree.cli.as_json import plain
from handsfree.cli.options import json_option, log_option, on_option
from handsfree.cli.screen import console, safe, safe_lines
from handsfree.cli.sides import one_a_day, table
from handsfree.cli.wanted import Wanted, wanted
from handsfree.errors import HandsfreeError
from handsfree.grammar.grammar import Grammar, load
from handsfree.log import Log
from handsfree.records.checking import BY_THIS_VERSION
from handsfree.records.limbs import LIMBS
from handsfree.sheets.files import write_new
from handsfree.sums.change import (
    NO_CHANGE,
    FindingTrack,
    MeasureTrack,
    State,
    finding_tracks,
    headline,
    lines,
    measure_tracks,
    no_measure_line,
    no_measures,
    signed,
)
from handsfree.sums.helped import NOT_A_CAUSE, Comparison, interventions
from handsfree.sums.helped_lines import title
from handsfree.sums.history import History
from handsfree.sums.sources import CantSay
from handsfree.sums.wording import ForEye, Words, count

WIDTH = 80
SCREEN = 24
"""Lines of a screen; an overview of the whole horse is kept to it."""
NO_END = 10**6

Track = FindingTrack | MeasureTrack


@click.command()
@click.argument("horse")
@click.option("--limb", type=click.Choice(LIMBS, case_sensitive=False), help="Only this foot.")
@click.option(
    "--of", metavar="WORDS", help='Only this measure, finding or place, as "toe length", "thrush".'
)
@click.option("--plot", is_flag=True, help="Draw a measure in the terminal, foot by foot.")
@click.option(
    "--svg",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Draw it into an SVG file.",
)
@click.option("--force", is_flag=True, help="Write over a file that is there.")
@click.option(
    "--helped", is_flag=True, help="Before and after each change of shoe or work, side by side."
)
@on_option
@json_option
@log_option
def change(
    horse: str,
    limb: str | None,
    of: str | None,
    plot: bool,
    svg: Path | None,
    force: bool,
    helped: bool,
    today: date,
    as_json: bool,
    log_path: Path | None,
) -> None:
    """What changed on HORSE over the visits: worse and new first, then better, then measures.

    Only what was surely heard or confirmed counts. "Not mentioned" is not "gone": gone is what
    was said to be clear.
    """
    if plot and as_json:
        raise click.UsageError("--plot draws for the eye, --json does not; leave one of them out")
    if helped and (plot or svg):
        raise click.UsageError("--helped is a table; leave out --plot and --svg")
    with Log.open(log_path, read_only=True) as log:
        history = histories.history(log, histories.named(log, horse)).until(today)
    grammar = load()
    only = wanted(grammar, of) if of is not None else Wanted()
    if only.note:
        click.echo(safe(only.note), err=True)
    _Report(history, today, grammar, limb, only).show(plot, svg, force, helped, as_json)


class _Report:
    def __init__(
        self, history: History, today: date, grammar: Grammar, limb: str | None, only: Wanted
    ) -> None:
        self.history, self.today, self.limb, self.only = history, today, limb, only
        self.words: Words = ForEye(grammar)
        self.out = console()
        self.findings = [t for t in finding_tracks(history, limb) if only.finding(t)]
        self.measures = [t for t in measure_tracks(history, limb) if only.measure(t)]
        self.none = [m for m in no_measures(history, limb) if only.measure(m)]

    @property
    def horse(self) -> str:
        return safe(self.history.horse.name)

    def show(self, plot: bool, svg: Path | None, force: bool, helped: bool, as_json: bool) -> None:
        if svg is not None:
            write_new(svg, plots.svg(self._picture(), self.words), force)
            click.echo(f"written: {safe(str(svg))}", err=as_json)
        if as_json:
            click.echo(json.dumps(self._json(helped)))
        elif plot:
            drawn = plots.terminal(self._picture(), self.words, WIDTH, SCREEN - 1)
            click.echo(safe_lines(drawn))
        elif helped:
            self._sides()
        elif svg is None:
            self._tell()

    def _json(self, helped: bool) -> object:
        about = {"horse": self.history.horse.name, "on": self.today.isoformat()}
        if helped:
            return about | {
                "note": NOT_A_CAUSE,
                "comparisons": plain(self._comparisons()),
            }
        return (
            about
            | {"findings": plain(self.findings), "measures": plain(self.measures)}
            | {"no_measures": plain(self.none), "unreadable": self.history.unreadable}
        )

    def _picture(self) -> plots.Picture:
        if self.measures:
            # Without --of what was measured most often is drawn.
            points: dict[str, int] = {}
            for track in self.measures:
                points[track.quantity] = points.get(track.quantity, 0) + len(track.points)
            most = max(points, key=lambda quantity: points[quantity])
            others = [self.words.word("quantity", q) for q in points if q != most]
            if others:
                click.echo(f"also measured: {', '.join(others)} (--of draws one)", err=True)
            tracks = [track for track in self.measures if track.quantity == most]
            return plots.picture(self.history.horse.name, tracks)
        if self.findings:
            raise HandsfreeError(
                "a finding has no series of numbers to draw; --of takes a measure, as 'toe length'"
            )
        raise HandsfreeError(f"can't draw: {self._nothing().why}")

    def _nothing(self) -> CantSay:
        what = f"'{safe(self.only.shown)}'" if self.only.shown else "measure or finding"
        foot = f" on {self.limb}" if self.limb else ""
        return CantSay(f"no {what} of {self.horse}{foot} was noted up to {self.today}")

    def _say(self, text: str, indent: str = "") -> list[str]:
        return textwrap.wrap(
            safe(text), WIDTH, initial_indent=indent, subsequent_indent=f"{indent}  "
        )

    def _tell(self) -> None:
        tracks: list[Track] = [*self.findings, *self.measures]
        head = self._head()
        if not tracks:
            self._print([*head, *(self._left_out() or self._say(str(self._nothing())))])
        elif self.only != Wanted():
            told = [self._say(t, "  " * (at > 0)) for track in tracks for at, t in self._all(track)]
            self._print([*head, *(line for block in told for line in block), *self._left_out()])
        else:
            self._overview(head)

    def _head(self) -> list[str]:
        visits = self.history.visits
        head = f"{self.horse}, {self.today}: {count(self.words, len(visits), 'visit')}"
        if visits:
            head += f", {visits[0].on} to {visits[-1].on}" if len(visits) > 1 else ""
        doubtful = sum(len(visit.doubtful) for visit in visits)
        said = self._say(head)
        if doubtful:
            notes = count(self.words, doubtful, "doubtful note")
            said += self._say(f"{notes} not counted; 'handsfree review' confirms them")
        if self.history.unreadable:
            notes = count(self.words, self.history.unreadable, "note")
            said += self._say(f"{notes} {BY_THIS_VERSION}")
        return said

    def _left_out(self) -> list[str]:
        told = (no_measure_line(measured, self.words) for measured in self.none)
        return [row for line in told for row in self._say(line)]

    def _all(self, track: Track) -> Iterator[tuple[int, str]]:
        return enumerate(lines(track, self.today, self.words))

    def _overview(self, head: list[str]) -> None:
        """One line for each, the weightiest first, and no more than fits a screen."""
        groups: dict[str, list[Track]] = {
            "worse, or new": [t for t in self.findings if t.state in (State.WORSE, State.NEW)],
            "better, or gone": [t for t in self.findings if t.state in (State.BETTER, State.GONE)],
            "measures that changed": [t for t in self.measures if self._changed(t)],
            "the same, or not said": [
                *(t for t in self.findings if t.state in (State.SAME, State.UNKNOWN)),
                *(t for t in self.measures if not self._changed(t)),
            ],
        }
        for found in groups.values():
            found.sort(key=_weight)
        head = [*head, *self._left_out()]
        room = SCREEN - 3 - len(head) if self.limb is None else NO_END
        told, left = list(head), 0
        for heading, tracks in groups.items():
            block: list[str] = []
            for track in tracks:
                said = self._say(headline(track, self.today, self.words), "  ")
                if room - len(said) - (not block) < 0:
                    left += 1
                    continue
                room -= len(said) + (not block)
                block += said
            told += [f"{heading}:", *block] if block else []
        if left:
            told += self._say(
                f"and {left} more; --limb shows one foot, --of one thing with all days"
            )
        self._print(told)

    def _changed(self, track: MeasureTrack) -> bool:
        change = track.last_change
        return change is not None and signed(change.by, track.unit, self.words) != NO_CHANGE

    def _comparisons(self) -> list[Comparison]:
        return self.only.comparisons(interventions(self.history, self.limb))

    def _sides(self) -> None:
        found = self._comparisons()
        self._print(self._head())
        if not found:
            feet = self.limb or "the feet"
            self._print(self._say(f"no change of shoe or work was noted on {feet}"))
        for comparison in one_a_day(found):
            self._print(["", *self._say(title(comparison, self.words))])
            self.out.print(table(comparison, self.words), width=WIDTH)
            end = comparison.until
            self._print(self._say(f"up to the next change, {end}") if end else [])
        if found:
            self._print([NOT_A_CAUSE])

    def _print(self, told: Iterable[str]) -> None:
        for line in told:
            self.out.print(line, soft_wrap=True)


def _weight(track: Track) -> tuple[bool, bool]:
    """Worse goes before new, what was seen last before what was not mentioned since."""
    if isinstance(track, FindingTrack):
        return track.state is State.NEW, bool(track.since_last)
    return True, False
