"""The writing side: one listening run."""

import errno
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Self

from handsfree.engines.base import SAMPLE_RATE, Sound
from handsfree.spool import layout
from handsfree.spool.backlog import Backlog
from handsfree.spool.folder import RunFolder

SYNC_S = 2.0
"""How long a power cut may reach back, in seconds. No source."""
MEMORY_S = 600.0
"""How much sound memory holds while the disk takes none, in seconds (32 kB each). No source."""
RETRY_S = 1.0
"""How much sound comes in before a disk that took none is tried again, in seconds. No source."""

_FULL = {errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)}
_REASONS = {
    errno.EFBIG: "a file there may not grow so large",
    errno.EROFS: "it cannot be written; check its permissions",
    errno.EACCES: "it cannot be written; check its permissions",
    errno.EPERM: "it cannot be written; check its permissions",
    errno.ENOTDIR: "it is no folder; move that file away",
    errno.EEXIST: "it is no folder; move that file away",
    errno.EIO: "the disk reports an error",
}


class Spool:
    """Keeps sound until it has been dealt with; safe to use from several threads.

    What `write` took survives the end of the process in whatever way, and a power cut but
    for the last 2 s, unless `trouble` says that the disk does not take it. No method raises
    for what is wrong with the disk.
    """

    def __init__(self, folder: Path, about: Mapping[str, Any]) -> None:
        self.folder = folder
        """Where the sound is kept."""
        self._folder = RunFolder(folder)
        self._backlog = Backlog(round(MEMORY_S * SAMPLE_RATE))
        self._about: Mapping[str, Any] = dict(about)
        self._about_kept = False
        self._done = self._done_kept = 0
        self._next_try = 0
        self._lost = 0
        self._trouble: str | None = None
        self._sync_trouble: str | None = None
        self._told: str | None = None
        self._good_news = ""
        self._closed = False
        self._mutex = threading.RLock()
        self._stop = threading.Event()
        self._syncing = threading.Thread(target=self._sync_on, name="spool", daemon=True)
        with self._mutex:
            self._flush()
        self._syncing.start()

    @classmethod
    def create(cls, folder: Path, about: Mapping[str, Any]) -> Self:
        """Begin a run in a new folder under `folder` (made if missing).

        `about` is any JSON object; what JSON cannot hold in it is kept as text.
        """
        return cls(folder.expanduser().absolute(), about)

    def write(self, sound: Sound) -> None:
        """Append a block of sound, shape (n,) at 16 kHz. After `close` it does nothing."""
        data = layout.to_bytes(sound)
        with self._mutex:
            if self._closed:
                return
            self._lost += self._backlog.add(data)
            if self._trouble is None or self._backlog.end >= self._next_try:
                self._flush()

    def done_before(self, at_s: float) -> None:
        """All sound before this time (s from the beginning of the run) has been dealt with."""
        with self._mutex:
            sample = min(round(at_s * SAMPLE_RATE), self._backlog.end)
            if self._closed or sample <= self._done:
                return
            self._done = sample
            self._backlog.drop(max(0, sample - self._backlog.start))
            self._flush()

    def note(self, about: Mapping[str, Any]) -> None:
        """Replace the description of the run, whole."""
        with self._mutex:
            if not self._closed:
                self._about, self._about_kept = dict(about), False
                self._flush()

    @property
    def healthy(self) -> bool:
        """Whether the disk takes the sound now."""
        with self._mutex:
            return self._trouble is None and self._sync_trouble is None

    def trouble(self) -> str | None:
        """One line when the disk stopped or began to take sound since the last call, or None."""
        with self._mutex:
            now = self._trouble or self._sync_trouble
            if now is not None and self._lost:
                now += "; the memory for it is full too: the oldest sound is being lost"
            if now is None and self._lost:
                lost_s, self._lost, self._told = self._lost / SAMPLE_RATE, 0, None
                return f"{self._good_news}, but {lost_s:.0f} s of sound were lost before"
            if now == self._told:
                return None
            self._told = now
            return now or self._good_news

    def close(self, clean: bool = True) -> None:
        """End the run. `clean`: all was dealt with, and nothing of it is kept.

        Otherwise what is left stays on the disk for `leftovers`. Closing twice does no harm.
        """
        self._stop.set()
        if self._syncing is not threading.current_thread():
            self._syncing.join()
        with self._mutex:
            if self._closed:
                return
            self._closed = True
            if clean:
                self._folder.remove()
                return
            self._flush()
            self._folder.end_segment()
        self._sync()
        self._folder.abandon()

    def _flush(self) -> None:
        """Put on the disk whatever it lacks; remember why where it does not take it."""
        had_sound = len(self._backlog) > 0
        try:
            self._keep()
        except OSError as error:
            self._folder.end_segment()
            self._next_try = self._backlog.end + round(RETRY_S * SAMPLE_RATE)
            self._trouble = self._line(error)
        else:
            if had_sound and self._trouble is not None:
                full = self._trouble.startswith("the disk is full")
                again = "the disk has room again" if full else "sound can be kept on the disk again"
                self._good_news, self._trouble = f"{again}: what memory held is on it now", None

    def _keep(self) -> None:
        _, new = self._folder.ready()
        if new:
            self._about_kept, self._done_kept = False, 0
        # First what makes room.
        if self._done > self._done_kept:
            self._folder.drop_before(self._done)
            self._done_kept = self._done
        # The description last: it must not keep the sound from the disk.
        while block := self._backlog.first():
            self._backlog.drop(self._folder.append(self._backlog.start, block))
        if not self._about_kept:
            self._folder.describe(self._about)
            self._about_kept = True

    def _line(self, error: OSError) -> str:
        kept = f"the last {MEMORY_S / 60:g} minutes of sound are kept in memory only"
        if error.errno in _FULL:
            return f"the disk is full: {kept} ({self.folder})"
        reason = _REASONS.get(error.errno or 0, error.strerror or str(error))
        return f"sound cannot be kept in {self.folder}: {reason}; {kept}"

    def _sync_on(self) -> None:
        while not self._stop.wait(SYNC_S):
            with self._mutex:
                if self._trouble is not None and not self._closed:
                    self._flush()  # also when no sound comes in any more
            self._sync()

    def _sync(self) -> None:
        """Wait for the disk, without holding up the one who writes."""
        with self._mutex:
            paths = set(self._folder.unsynced)
            self._folder.unsynced.clear()
        failed: dict[Path, OSError] = {}
        for path in sorted(paths):
            try:
                layout.to_disk(path)
            except OSError as error:
                failed[path] = error
        with self._mutex:
            self._folder.unsynced |= set(failed)
            if not failed:
                self._folder.forget_older_descriptions(paths)
                if self._sync_trouble is not None:
                    self._good_news = "the disk confirms again that it keeps the sound"
                    self._sync_trouble = None
            else:
                reason = next(each.strerror or str(each) for each in failed.values())
                self._sync_trouble = (
                    f"{self.folder}: the disk does not confirm that it keeps the sound "
                    f"({reason}); a power cut might lose it"
                )
