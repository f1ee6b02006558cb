"""The folder of a listening run as its writer sees it; every method may raise OSError."""

from collections.abc import Mapping
from contextlib import suppress
from errno import EAGAIN
from io import FileIO
from pathlib import Path
from typing import Any

from filelock import BaseFileLock

from handsfree.engines.base import SAMPLE_RATE
from handsfree.spool import layout
from handsfree.spool.layout import SAMPLE_BYTES, Segment

SEGMENT_S = 10.0
"""How long a file of sound is, in seconds: it is the most that is kept for nothing after all
in it has been dealt with, and 360 files an hour are few. No source."""


class RunFolder:
    """Makes the folder when it is first needed, and again under a new name if it vanishes."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._run: Path | None = None
        self._lock: BaseFileLock | None = None
        self._file: FileIO | None = None
        self._open = Segment(0, 0, folder)
        self._ended: list[Segment] = []
        self._abouts = 0
        self._about: Path | None = None
        self.unsynced: set[Path] = set()
        """What the disk may not have yet."""

    def ready(self) -> tuple[Path, bool]:
        """The run's folder and whether it had to be made just now (so that it is empty)."""
        if self._run is not None and self._lock is not None:
            if self._run.is_dir():
                return self._run, False
            self.abandon()
        layout.make_folder(self._folder)
        # Locked before it is there, so nobody ever sees the folder without its owner. Only
        # one who tidies up at this very moment can come between; then another name is taken.
        for _ in range(3):
            run = layout.new_run(self._folder)
            lock = layout.claim(layout.lock_path(run))
            if lock is not None:
                break
        else:
            raise OSError(EAGAIN, "another process holds the lock", str(run))
        try:
            run.mkdir(mode=0o700)
        except BaseException:
            layout.let_go(lock, layout.lock_path(run))
            raise
        self._run, self._lock = run, lock
        self.unsynced |= {self._folder, run}
        return run, True

    def append(self, start: int, data: bytes) -> int:
        """Write PCM that begins with sample `start`; returns how many samples it took."""
        if self._file is not None and not self._open.start <= start <= self._open.end:
            self.end_segment()  # sound between was lost: a file has no holes
        if self._file is None:
            run, _ = self.ready()
            path = layout.segment_path(run, start)
            self._file = FileIO(path, "w", opener=layout.private)
            self._open = Segment(start, start, path)
            self.unsynced.add(run)
        # To the place it belongs, so that a write that was interrupted can be repeated.
        self._file.seek((start - self._open.start) * SAMPLE_BYTES)
        wrote = self._file.write(data) or 0
        if wrote < SAMPLE_BYTES:
            wrote += self._file.write(data[wrote:]) or 0  # now the system says what is wrong
        took = wrote // SAMPLE_BYTES
        if not took:
            raise OSError(EAGAIN, "it takes nothing", str(self._open.path))
        self._open = Segment(self._open.start, start + took, self._open.path)
        self.unsynced.add(self._open.path)
        if self._open.end - self._open.start >= SEGMENT_S * SAMPLE_RATE:
            self.end_segment()
        return took

    def end_segment(self) -> None:
        """Close the file being written; the next sound begins another. Never raises."""
        if self._file is None:
            return
        with suppress(OSError):
            self._file.close()
        self._file = None
        if self._open.end > self._open.start:
            self._ended.append(self._open)
        else:
            with suppress(OSError):
                self._open.path.unlink()

    def drop_before(self, sample: int) -> None:
        """Keep the position and delete the files wholly before it."""
        run, _ = self.ready()
        layout.write_position(run, sample)
        self.unsynced.add(run / layout.POSITION)
        kept = []
        for each in self._ended:
            if each.end > sample or not _unlinked(each.path):
                kept.append(each)
            else:
                self.unsynced.discard(each.path)
        self._ended = kept

    def describe(self, about: Mapping[str, Any]) -> None:
        """Replace the description."""
        run, _ = self.ready()
        self._abouts += 1
        self._about = layout.write_about(run, self._abouts, about)
        self.unsynced |= {self._about, run}

    def forget_older_descriptions(self, synced: set[Path]) -> None:
        """Once the newest is safe on the disk. Never raises."""
        if self._run is not None and self._about is not None and self._about in synced:
            for path in layout.older_abouts(self._run, self._about):
                _unlinked(path)

    def abandon(self) -> None:
        """Give the lock back and leave the folder as it is for whoever recovers it."""
        self.end_segment()
        if self._lock is not None:
            with suppress(OSError):
                self._lock.release()
        self._run = self._lock = self._about = None
        self._ended = []

    def remove(self) -> None:
        """Remove the folder with all that is in it, and the lock. Never raises."""
        self.end_segment()
        if self._run is not None and self._lock is not None:
            layout.remove_run(self._run)
            layout.let_go(self._lock, layout.lock_path(self._run))
        self.abandon()


def _unlinked(path: Path) -> bool:
    """Whether the file is gone; Windows keeps it while anything has it open."""
    try:
        path.unlink(missing_ok=True)
    except OSError:
        return False
    return True
