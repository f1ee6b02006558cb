"""Tasks over the processes of this machine; one that dies costs time, not results."""

import multiprocessing
import os
import signal
import threading
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.connection import wait as wait_for

from handsfree.relisten import hearing
from handsfree.relisten.tasks import Again, Setup, Task

DEATHS = 3
"""So often may a process die over one sound until the sound is given up. No source."""

AHEAD = 2
"""Tasks handed out for each process, so that none waits and few sounds are in memory."""

Warn = Callable[[str], None]


def here(setup: Setup, tasks: Iterable[Task]) -> Iterator[Again]:
    """One after the other in this process."""
    for task in tasks:
        yield hearing.hear_task(setup, task)


def over_processes(
    setup: Setup, tasks: Iterable[Task], processes: int, warn: Warn = lambda line: None
) -> Iterator[Again]:
    """In so many processes, as they come, each task once.

    A process that dies is replaced and what it had in hand is done again; a sound over which
    DEATHS of them died is given up as failed. Raises EngineError where the recognizers cannot
    be made.
    """
    waiting = iter(tasks)
    again: deque[Task] = deque()
    deaths: Counter[str] = Counter()
    hand: dict[Future[Again], Task] = {}
    pool = _pool(processes)
    try:
        while True:
            # After a death what was in hand goes one at a time: so the sound that kills is
            # told from those that were only near it.
            room = 1 if again else AHEAD * processes
            lost: list[Task] = []
            while len(hand) < room and not lost:
                task = again.popleft() if again else next(waiting, None)
                if task is None:
                    break
                try:
                    hand[pool.submit(hearing.hear_task, setup, task)] = task
                except BrokenProcessPool:
                    lost.append(task)
            if not hand and not lost:
                return
            for future in wait(hand, return_when=FIRST_COMPLETED).done if hand else ():
                task = hand.pop(future)
                try:
                    yield future.result()
                except BrokenProcessPool:
                    lost.append(task)
            if not lost:
                continue
            lost += hand.values()
            hand.clear()
            warn("a process died while it listened; what it had in hand is heard again")
            if len(lost) == 1:
                deaths[lost[0].utterance_id] += 1
                if deaths[lost[0].utterance_id] >= DEATHS:
                    why = f"{DEATHS} processes died over this sound"
                    yield Again(lost.pop().utterance_id, failed=why)
            again.extend(lost)
            pool.shutdown(wait=False, cancel_futures=True)
            pool = _pool(processes)
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _pool(processes: int) -> ProcessPoolExecutor:
    # spawn: a process with threads, as this one has, is not safely forked.
    return ProcessPoolExecutor(
        processes,
        mp_context=multiprocessing.get_context("spawn"),
        initializer=_begin,
    )


def _begin() -> None:
    # Ctrl-C reaches every process of the terminal; the parent decides what it means.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_the_parent, daemon=True).start()


def _end_with_the_parent() -> None:
    parent = multiprocessing.parent_process()
    assert parent is not None
    wait_for([parent.sentinel])
    os._exit(1)
