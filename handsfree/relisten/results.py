"""What was heard again, kept beside the log as it comes: a JSON object a line.

Each line is on the disk before the next sound is asked for, so that a kill loses at most the
ones that were being heard. Nothing in the log depends on this file; it may be deleted.
"""

import json
import os
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Self

from filelock import FileLock, Timeout

from handsfree.errors import LogError
from handsfree.relisten.tasks import Again, from_json, to_json


def results_file(log: Path) -> Path:
    """Where the results of hearing this log's sounds again are kept."""
    return log.with_name(f"{log.name}.relisten.jsonl")


@contextmanager
def _told(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise LogError(f"results {path}: {error.strerror or error}") from error


class Results:
    """The results of one setup; those of another are forgotten when it is opened.

    One process at a time. Raises LogError, one line, when another has it or the disk refuses.
    """

    def __init__(self, path: Path, mark: str, known: Collection[str]) -> None:
        """Open the file, keeping results of `mark` about the utterances in `known`."""
        self.path = path
        self._mark = mark
        self._lock = FileLock(f"{path}.lock", timeout=0)
        self._file: BinaryIO | None = None
        self._at: dict[str, int] = {}
        with _told(path):
            try:
                self._lock.acquire()
            except Timeout:
                busy = f"results {path}: another 'handsfree relisten' is at work"
                raise LogError(busy) from None
        try:
            with _told(path):
                self._file = self._rewritten(set(known))
        except BaseException:
            self._lock.release()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file and let another process have it."""
        if self._file is not None:
            self._file.close()
            self._file = None
        self._lock.release()

    def __contains__(self, utterance_id: str) -> bool:
        return utterance_id in self._at

    def get(self, utterance_id: str) -> Again | None:
        """What this utterance was heard as, None where it was not yet."""
        if utterance_id not in self._at:
            return None
        with _told(self.path), self.path.open("rb") as file:
            file.seek(self._at[utterance_id])
            return _parsed(file.readline(), self._mark)

    def add(self, again: Again) -> bool:
        """Keep one result; False where the utterance has one already, which stands."""
        if again.utterance_id in self._at:
            return False
        assert self._file is not None
        with _told(self.path):
            at = self._file.tell()
            self._file.write(self._line(again))
            self._file.flush()
            os.fsync(self._file.fileno())
        self._at[again.utterance_id] = at
        return True

    def _line(self, again: Again) -> bytes:
        row = {"with": self._mark, "again": to_json(again)}
        return json.dumps(row, ensure_ascii=True).encode("ascii") + b"\n"

    def _rewritten(self, known: set[str]) -> BinaryIO:
        """Put in place a file of just what is kept, readable by its owner alone, and open it.

        Left out is what a kill cut short, what is of another setup or of no utterance any
        more, and what could not be heard: that is tried again.
        """
        fresh = self.path.with_name(f"{self.path.name}.new")
        handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "wb") as file:
            for again in self._whole():
                id = again.utterance_id
                if again.failed is None and id in known and id not in self._at:
                    self._at[id] = file.tell()
                    file.write(self._line(again))
            file.flush()
            os.fsync(file.fileno())
        os.replace(fresh, self.path)
        opened = self.path.open("ab")
        opened.seek(0, os.SEEK_END)
        return opened

    def _whole(self) -> Iterator[Again]:
        if self.path.exists():
            with self.path.open("rb") as file:
                for line in file:
                    again = _parsed(line, self._mark)
                    if again is not None:
                        yield again


def _parsed(line: bytes, mark: str) -> Again | None:
    """The result in a line, None where it is no whole one of this setup."""
    try:
        row = json.loads(line)
        return from_json(row["again"]) if row["with"] == mark else None
    except (ValueError, KeyError, TypeError, RecursionError):
        return None
