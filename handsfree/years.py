"""Two invented years of visits (demo_audio/years.toml), told to a log as they would have been."""

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from pathlib import Path

from handsfree import demo
from handsfree.dialogue.dialogue import Dialogue
from handsfree.dialogue.session import Session
from handsfree.dialogue.turn import Turn
from handsfree.errors import LogError
from handsfree.grammar.grammar import Grammar, Reading, load
from handsfree.grammar.words import plain_words
from handsfree.log import Log, UtteranceRow, Visit
from handsfree.recording import Heard, Recorder
from handsfree.records.entries import to_json
from handsfree.review.overview import in_force, square_nails

FILE = "years.toml"
SPOKEN = ("said", "put_into_last")
BEGINS = time(9)
"""When each visit begins, by the clock of this place."""


@dataclass(frozen=True)
class ToldHorse:
    """A horse of the file, as `Log.add_horse` takes it."""

    name: str
    kind: str | None
    breed: str | None
    born: str | None


@dataclass(frozen=True)
class ToldVisit:
    """A visit of the file; `put_into_last` is what goes into the horse's visit before it."""

    horse: str
    on: date
    said: tuple[str, ...]
    put_into_last: tuple[str, ...] = ()


@dataclass(frozen=True)
class Years:
    """All that the file tells, the visits in order of time."""

    horses: tuple[ToldHorse, ...]
    visits: tuple[ToldVisit, ...]


def read(path: Path | None = None) -> Years:
    """The file of `path` (default: the demo's). Raises ValueError for one that is no such file."""
    text = (path or demo.folder() / FILE).read_text(encoding="utf-8")
    data = tomllib.loads(text)
    try:
        horses = {
            h["name"]: ToldHorse(h["name"], h.get("kind"), h.get("breed"), h.get("born"))
            for h in data["horse"]
        }
        visits = [
            ToldVisit(horses[v["horse"]].name, v["on"], *(_spoken(v.get(k, ())) for k in SPOKEN))
            for v in data["visit"]
        ]
    except KeyError as missing:
        raise ValueError(f"{(path or Path(FILE)).name}: lacks {missing}") from None
    years = Years(tuple(horses.values()), tuple(sorted(visits, key=lambda visit: visit.on)))
    for name in horses:
        first = next((visit for visit in years.visits if visit.horse == name), None)
        if first is not None and first.put_into_last:
            raise ValueError(f"{first.on}: {name} has no visit before it to put anything into")
    return years


def _spoken(texts: Iterable[str]) -> tuple[str, ...]:
    """Utterances as the log has them: words without punctuation."""
    return tuple(" ".join(plain_words(text)) for text in texts)


def tell(log: Log, grammar: Grammar | None = None, path: Path | None = None) -> int:
    """Write the visits of the file into the log and return how many utterances that were.

    What is said goes through the parser and the dialogue, so that nails are known from visit
    to visit and cautions are kept, as in life; what is said and when does not hang on the clock
    (only when a row was written does, as in every log). Raises ValueError naming the line that
    is not understood, before anything is written, and LogError where the log has visits to one
    of these horses already.
    """
    file = path or demo.folder() / FILE
    years = read(file)
    grammar = grammar or load(horse_names=[horse.name for horse in years.horses])
    readings = _understood(years, grammar, file)
    _not_there_yet(log, years)
    ids = {
        horse.name: log.add_horse(horse.name, horse.kind, horse.breed, horse.born).id
        for horse in years.horses
    }
    last: dict[str, Visit] = {}
    for told in years.visits:
        began = datetime.combine(told.on, BEGINS).astimezone(UTC).isoformat(timespec="milliseconds")
        for text in told.put_into_last:
            _put_into(log, last[told.horse], text, readings[text], grammar)
        visit = log.start_visit("typed", ids[told.horse], started_at=began)
        recorder = _AtThatTime(log, grammar, visit)
        for text in told.said:
            recorder.take(Heard(text, readings[text], 1.0, 0.0, 0.0, ("text",)))
        # He looked it over at the tailgate: sheets hold nothing that nobody has confirmed.
        log.confirm([entry.id for entry in log.entries(visit.id, in_force=True)], "review")
        last[told.horse] = visit
    return sum(len(visit.said) + len(visit.put_into_last) for visit in years.visits)


class _AtThatTime(Recorder):
    """A recorder of a visit that was: each utterance is as old as its visit."""

    def __init__(self, log: Log, grammar: Grammar, visit: Visit) -> None:
        super().__init__(visit.source, log, Dialogue(grammar, Session()))
        self._began = visit.started_at
        self.go_on(visit)

    def _keep(self, heard: Heard, turn: Turn, at: str) -> str:
        return super()._keep(heard, turn, self._began)


def _put_into(log: Log, visit: Visit, text: str, reading: Reading, grammar: Grammar) -> None:
    """Add to a visit what was found out after it, confirmed, as the review does."""
    assert reading.meaning is not None
    outcome = Session().take(reading)
    assert outcome is not None
    row = UtteranceRow(heard=text, status=outcome.status, recorded_at=visit.started_at)
    bodies = [to_json(entry) for entry in outcome.entries]
    log.append(visit.id, row, bodies, by="review", confirmed=True)
    square_nails(log, visit, in_force(log, visit.id), grammar)


def _understood(years: Years, grammar: Grammar, file: Path) -> dict[str, Reading]:
    """Utterance → what it means. Each must be a sentence of the grammar as it stands."""
    readings: dict[str, Reading] = {}
    for text in _all_said(years):
        if text not in readings:
            readings[text] = reading = grammar.read(text.split())
            if reading.meaning is None or reading.bend > 0:
                near = f"; nearest: '{' '.join(reading.words)}'" if reading.words else ""
                where = f"{file.name}:{_line_of(text, file)}"
                raise ValueError(f"{where}: not understood: '{text}'{near}")
    return readings


def _all_said(years: Years) -> Iterable[str]:
    for visit in years.visits:
        yield from visit.put_into_last
        yield from visit.said


def _line_of(text: str, file: Path) -> int:
    """The first line of the file that has an utterance."""
    lines = enumerate(file.read_text(encoding="utf-8").splitlines(), 1)
    return next((number for number, line in lines if text in " ".join(plain_words(line))), 0)


def _not_there_yet(log: Log, years: Years) -> None:
    for told in years.horses:
        horse = log.horse(told.name)
        if horse is not None and log.visits_of(horse.id):
            raise LogError(
                f"the log has visits to {horse.name} already; invented ones are not mixed with them"
            )
