"""A recognizer in a process of its own, so that two of them really hear at the same time.

PocketSphinx holds Python's lock while it searches; in one process the neural listener
would wait for it.
"""

import os
import signal
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context, parent_process
from multiprocessing.connection import wait
from typing import TypeVar

from handsfree.engines.base import Clip, Hearing, Listener, ScoringListener
from handsfree.errors import EngineError

T = TypeVar("T")

_here: Listener | EngineError | None = None


def _end_with_the_parent() -> None:
    """Wait until the parent is gone, however it went, and end this process then."""
    parent = parent_process()
    assert parent is not None
    wait([parent.sentinel])
    os._exit(1)


def _start(make: Callable[..., Listener], arguments: tuple[object, ...]) -> None:
    global _here
    # Ctrl-C reaches every process of the terminal; the parent decides what it means.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_the_parent, daemon=True).start()
    try:
        _here = make(*arguments)
    except EngineError as error:
        _here = error


def _hear(clip: Clip | None) -> Hearing | None:
    if isinstance(_here, EngineError):
        raise EngineError(str(_here))
    assert _here is not None
    return _here.hear(clip) if clip is not None else None


def _score(clip: Clip, sentences: Sequence[str]) -> tuple[float, ...]:
    if isinstance(_here, ScoringListener):
        return _here.score(clip, sentences)
    raise EngineError("this recognizer cannot score sentences")


class Apart:
    """Wraps a listener made in another process by `make(*arguments)` (both picklable).

    It loads in the background. Raises EngineError from `hear` where it could not be made,
    or where the process has died.
    """

    def __init__(self, name: str, make: Callable[..., Listener], *arguments: object) -> None:
        self.name = name
        self._pool = ProcessPoolExecutor(
            1, mp_context=get_context("spawn"), initializer=_start, initargs=(make, arguments)
        )
        self._loading = self._pool.submit(_hear, None)

    def hear(self, clip: Clip) -> Hearing:
        """Recognise one clip in the other process and wait for it."""
        hearing = self._ask(_hear, clip)
        assert hearing is not None
        return hearing

    def score(self, clip: Clip, sentences: Sequence[str]) -> tuple[float, ...]:
        """Score sentences in the other process; it must be a listener that can."""
        return self._ask(_score, clip, sentences)

    def _ask(self, do: Callable[..., T], *arguments: object) -> T:
        try:
            self._loading.result()
            return self._pool.submit(do, *arguments).result()
        except BrokenProcessPool as error:
            raise EngineError(f"engine {self.name} died while it listened; run it again") from error

    def close(self) -> None:
        """End the process."""
        self._pool.shutdown(cancel_futures=True)
