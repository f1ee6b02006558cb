"""Writes to the log that could not be made yet: kept in order and tried again."""

import math
import sqlite3
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Any, TypeVar

from handsfree.errors import LogError

RETRY_S = 2.0
"""How long after a write was refused it is tried again, in seconds. No source."""
WARN_AT = (10, 100, 1000, 10_000)
"""At how many waiting writes it is said again how many there are. No source."""

T = TypeVar("T")


@dataclass(frozen=True)
class _Job:
    run: Callable[[], Any]
    future: "Future[Any]"


def may_pass(error: LogError) -> bool:
    """Whether the same write may succeed later: the file is locked, full, not permitted, …

    False for what the log refuses whenever it is asked (an unknown visit, an entry without a
    kind); keeping such a write at the head of the queue would hold up all others for ever.
    """
    cause = error.__cause__
    if isinstance(cause, OSError):
        return True
    never = (sqlite3.IntegrityError, sqlite3.ProgrammingError, sqlite3.DataError)
    return isinstance(cause, sqlite3.DatabaseError) and not isinstance(cause, never)


class Waiting:
    """A queue of writes to the log. Use it in the one thread that has the log.

    A job must be one transaction, so that one that failed has not half happened and may be
    run again: begin a visit in one job and append to it in the next. It is run later than it
    was put, so times of day belong into it as values, and what an earlier job gives (ids) is
    read from that one's future when the job runs. Open the log with a short `busy_s`: every
    try waits that long for a lock.
    """

    def __init__(self) -> None:
        self._jobs: deque[_Job] = deque()
        self._written = 0
        self._next_try_s = -math.inf
        self._refusal: str | None = None
        self._lines: deque[str] = deque()

    def __len__(self) -> int:
        """How many writes wait; while it is not 0, some of what was said is not in the log."""
        return len(self._jobs)

    def put(self, job: Callable[[], T]) -> "Future[T]":
        """Run the job at once, or queue it behind those that wait.

        The future is done once the write is in the log. Until then the job waits for `retry`.
        Raises what the job raises for any other reason than a log that cannot be written for
        now (see `may_pass`); then the job is not kept.
        """
        future: Future[T] = Future()
        self._jobs.append(_Job(job, future))
        if len(self._jobs) == 1:
            if self._run_first():
                future.result()
            else:
                self._next_try_s = -math.inf
        elif len(self._jobs) in WARN_AT:
            self._lines.append(f"{len(self._jobs)} notes wait to be written to the log")
        return future

    def retry(self, now_s: float) -> int:
        """Try again, in order, until one is refused; returns how many are in the log now.

        `now_s` is any clock that does not go back, in seconds; within 2 s of the last try
        nothing is done. `math.inf` tries at once (at the end of the program). A write that
        the log refuses for good is told by `trouble`, its future has the LogError, and those
        behind it go on. Other exceptions of a job are in its future and are raised.
        """
        if not self._jobs or now_s < self._next_try_s:
            return 0
        self._next_try_s = now_s + RETRY_S if now_s < math.inf else -math.inf
        before = self._written
        while self._jobs:
            future = self._jobs[0].future
            if not self._run_first():
                return self._written - before
            error = future.exception()
            if isinstance(error, LogError):
                self._lines.append(f"a note that waited could not be written: {error}")
            elif error is not None:
                raise error
            else:
                self._written += 1
        written, self._written, self._refusal = self._written, 0, None
        if written:
            which = "1 note that waited is" if written == 1 else f"{written} notes that waited are"
            self._lines.append(f"{which} in the log now")
        return written - before

    def trouble(self) -> str | None:
        """The next line to tell, each once: what is wrong with the log, and when it is over."""
        return self._lines.popleft() if self._lines else None

    def _run_first(self) -> bool:
        """Run the job at the head; False where it stays there."""
        job = self._jobs[0]
        try:
            job.future.set_result(job.run())
        except LogError as error:
            if may_pass(error):
                self._tell(error)
                return False
            job.future.set_exception(error)
        except Exception as error:
            job.future.set_exception(error)
        self._jobs.popleft()
        return True

    def _tell(self, error: LogError) -> None:
        if self._refusal != str(error):
            self._refusal = str(error)
            self._lines.append(f"{error}. What was said waits and is written when that is over")
