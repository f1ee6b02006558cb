"""The reading side: what runs left behind that ended before all was dealt with."""

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from filelock import BaseFileLock

from handsfree.engines.base import SAMPLE_RATE, Sound
from handsfree.errors import LogError
from handsfree.spool import layout
from handsfree.spool.layout import SAMPLE_BYTES, Segment

BLOCK_SAMPLES = SAMPLE_RATE
"""How much sound is in memory at a time: 1 s."""


@dataclass(frozen=True)
class Leftover:
    """One unbroken stretch of sound that nobody has dealt with.

    A run has more than one where sound between was lost. `start_s` and `seconds` are on the
    clock of the run (s), `about` is its last description, empty where it cannot be read,
    `path` its folder. The run stays claimed, so that no other process recovers it too, until
    its last stretch has been removed or is forgotten by this process.
    """

    about: dict[str, Any]
    start_s: float
    seconds: float
    path: Path
    _start: int = field(repr=False)
    _segments: tuple[Segment, ...] = field(repr=False)
    _lock: BaseFileLock = field(repr=False, compare=False)

    def blocks(self) -> Iterator[Sound]:
        """The sound from `start_s` on, shape (n,), at most 1 s at a time.

        What cannot be read of it (a damaged disk) is given as silence of the same length.
        """
        at = self._start
        for each in self._segments:
            while at < each.end:
                count = min(BLOCK_SAMPLES, each.end - at)
                yield _read(each, at, count)
                at += count

    def done_before(self, at_s: float) -> None:
        """All sound before this time (s, on the clock of the run) has been dealt with.

        A recovery that is itself cut short goes on from here. Go through the stretches of a
        run in order: this counts for the earlier ones too. Raises LogError where it cannot be
        kept.
        """
        sample = round(at_s * SAMPLE_RATE)
        try:
            if sample > layout.read_position(self.path):
                layout.write_position(self.path, sample)
                layout.to_disk(self.path / layout.POSITION)
        except OSError as error:
            raise self._refused(error) from error

    def remove(self) -> None:
        """Delete the stretch, and the run's folder with the last one.

        Raises LogError where it cannot, for then the sound would be recovered again.
        """
        for each in self._segments:
            try:
                each.path.unlink(missing_ok=True)
            except OSError as error:
                raise self._refused(error) from error
        if not _stretches(self.path):
            layout.remove_run(self.path)
            layout.let_go(self._lock, layout.lock_path(self.path))

    def _refused(self, error: OSError) -> LogError:
        return LogError(
            f"sound kept in {self.path}: {error.strerror or error}; "
            "check the permissions of that folder"
        )


def _read(segment: Segment, at: int, count: int) -> Sound:
    sound = np.zeros(count, np.float32)
    with suppress(OSError), segment.path.open("rb") as file:
        file.seek((at - segment.start) * SAMPLE_BYTES)
        part = layout.to_sound(file.read(count * SAMPLE_BYTES))
        sound[: len(part)] = part
    return sound


def _stretches(run: Path) -> list[list[Segment]]:
    """Undealt segments of a run, apart where sound is missing between them."""
    found: list[list[Segment]] = []
    at = layout.read_position(run)
    for each in layout.segments(run):
        if not found and each.end <= at:
            continue  # dealt with
        if not found or each.start > at:
            found.append([])
        found[-1].append(each)
        at = max(at, each.end)
    return found


def _of_run(run: Path, lock: BaseFileLock) -> list[Leftover]:
    about, position = layout.read_about(run), layout.read_position(run)
    found = []
    for stretch in _stretches(run):
        start, end = max(position, stretch[0].start), max(each.end for each in stretch)
        seconds = (end - start) / SAMPLE_RATE
        found.append(
            Leftover(about, start / SAMPLE_RATE, seconds, run, start, tuple(stretch), lock)
        )
    if not found:  # all of it was dealt with
        layout.remove_run(run)
        layout.let_go(lock, layout.lock_path(run))
    return found


def leftovers(folder: Path) -> list[Leftover]:
    """What runs of processes that no longer live left in `folder`, oldest first.

    Runs that go on, or that somebody recovers, are not touched; what is no run is passed
    over. Folders without anything left to deal with are removed. Never raises.
    """
    found: list[Leftover] = []
    try:
        names = sorted(folder.expanduser().absolute().iterdir())
    except OSError:
        return found
    for path in names:
        with suppress(OSError):  # where it can be neither locked nor read it stays for later
            if layout.is_run(path):
                lock = layout.claim(layout.lock_path(path))
                if lock is not None:
                    found += _of_run(path, lock)
            elif layout.is_lock_alone(path):
                lock = layout.claim(path)
                if lock is not None:
                    layout.let_go(lock, path)
    return found
