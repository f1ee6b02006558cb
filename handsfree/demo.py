"""The demo recordings and the hand-written list of what they say (demo_audio/)."""

import json
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, TypeVar

from handsfree.recording import Line
from handsfree.records.entries import to_json


class Timed(Protocol):
    """A stretch of a recording, in seconds."""

    @property
    def start_s(self) -> float:
        """When it begins."""
        ...

    @property
    def end_s(self) -> float:
        """When it ends."""
        ...


Stretch = TypeVar("Stretch", bound=Timed)


def folder() -> Path:
    """Where the recordings are: inside the installed package, or beside it in a checkout."""
    here = Path(__file__).resolve().parent
    inside = here / "data" / "demo_audio"
    return inside if inside.is_dir() else here.parent / "demo_audio"


@dataclass(frozen=True)
class Expected:
    """One stretch of a demo recording and what it must become.

    Times in seconds. `talk` must become no record; `said` is empty for noise alone.
    """

    file: str
    start_s: float
    end_s: float
    said: str
    talk: bool
    noise: str
    snr_db: float
    status: str
    command: str | None
    limb: str | None
    entries: list[dict[str, Any]]


@dataclass(frozen=True)
class Compared:
    """What was expected beside the line that came of it (None: no line)."""

    expected: Expected
    line: Line | None

    @property
    def right(self) -> bool:
        """Whether all keys of all entries are as expected; for talk: whether no record came."""
        if self.expected.talk:
            return self.line is None or self.line.outcome.status == "unclear"
        if self.line is None:
            return False
        outcome = self.line.outcome
        return (
            outcome.status == self.expected.status
            and outcome.command == self.expected.command
            and outcome.limb == self.expected.limb
            and [plain(to_json(e)) for e in outcome.entries] == self.expected.entries
        )

    @property
    def has_entries(self) -> bool:
        """Whether entries are expected (commands and talk have none)."""
        return bool(self.expected.entries)


def horses(place: Path) -> list[tuple[str, str]]:
    """The demo's horses: (name, heavy or riding)."""
    data = tomllib.loads((place / "phrases.toml").read_text(encoding="utf-8"))
    return [(horse["name"], horse["build"]) for horse in data["horse"]]


def manifest(place: Path) -> list[Expected]:
    """Every utterance of the recordings, in order; stretches of noise alone are left out."""
    rows = []
    for text in (place / "manifest.jsonl").read_text(encoding="utf-8").splitlines():
        row = json.loads(text)
        must = row["expected"]
        if row["said"]:
            rows.append(
                Expected(
                    row["file"],
                    row["start_s"],
                    row["end_s"],
                    row["said"],
                    row["talk"],
                    row["noise"],
                    row["snr_db"],
                    must["status"],
                    must.get("command"),
                    must.get("limb"),
                    must.get("entries", []),
                )
            )
    return rows


def compare(expected: Iterable[Expected], lines: Iterable[Line]) -> list[Compared]:
    """Put each line of one recording beside what was said at that time."""
    return [Compared(row, line) for row, line in beside(expected, lines)]


def beside(rows: Iterable[Stretch], lines: Iterable[Line]) -> list[tuple[Stretch, Line | None]]:
    """Each stretch of a recording with the line that overlaps it most, None where none does."""
    free = list(lines)
    result: list[tuple[Stretch, Line | None]] = []
    for row in rows:
        overlaps = [(_overlap(row, line), line) for line in free]
        best = max(overlaps, key=lambda pair: pair[0], default=(0.0, None))
        line = best[1] if best[0] > 0 else None
        if line is not None:
            free.remove(line)
        result.append((row, line))
    return result


def plain(entry: dict[str, Any]) -> dict[str, Any]:
    """As JSON has it, so that tuples and integral floats compare equal."""
    back: dict[str, Any] = json.loads(json.dumps(entry))
    return back


def _overlap(row: Timed, line: Line) -> float:
    return min(row.end_s, line.heard.end_s) - max(row.start_s, line.heard.start_s)
