"""Tasks over the machines of a Dask cluster (the extra `cluster`).

The scheduler gives what a dead worker had in hand, or had done and not delivered, to another
one. Whoever runs the scheduler and its workers can hear the sounds that are sent there.
"""

import asyncio
import time
from collections.abc import Iterable, Iterator
from typing import Any
from urllib.parse import urlsplit

from handsfree.errors import EngineError, HandsfreeError
from handsfree.hosts import is_this_machine
from handsfree.log.rows import new_id
from handsfree.relisten import hearing
from handsfree.relisten.spread import AHEAD, Warn
from handsfree.relisten.tasks import Again, Setup, Task

ANSWERS_WITHIN_S = 15.0
"""How long the scheduler and the first worker may take to answer, in seconds. No source."""

LOOK_S = 1.0
"""How often the workers are counted while nothing comes, in seconds."""

GO_ON = "run it again to go on from here"
MISSING = "a cluster needs the package distributed: pip install 'handsfree[cluster]'"


class ClusterError(HandsfreeError):
    """The cluster cannot be used; the line says why."""


def over_cluster(
    setup: Setup,
    tasks: Iterable[Task],
    address: str,
    warn: Warn = lambda line: None,
    within_s: float = ANSWERS_WITHIN_S,
) -> Iterator[Again]:
    """On the workers of the scheduler at `address`, as results come, each task once.

    A sound over which more workers died than the scheduler allows (three, unless it is told
    otherwise) is given up as failed. Raises ClusterError where the package, the scheduler or every
    worker is missing, or where the way to one leads to another machine and is not encrypted, and
    EngineError where a worker cannot hear or is of another version.
    """
    _check_way(address, address)
    try:
        import distributed
    except ImportError:
        raise ClusterError(MISSING) from None
    client = _client(distributed, address, within_s)
    try:
        yield from _spread(distributed, client, setup, tasks, address, warn, within_s)
    finally:
        client.close(timeout=within_s)


def _check_way(address: str, scheduler: str) -> None:
    """Refuse a way on which others could hear the sounds; with tls Dask asks for certificates."""
    scheme, _, rest = address.rpartition("://")
    if scheme not in ("tls", "inproc") and not is_this_machine(_host(rest)):
        whose = "is" if address == scheduler else f"has a worker at {address},"
        raise ClusterError(
            f"scheduler {scheduler}: {whose} another machine, to which the sounds would go "
            "unencrypted; set Dask up with TLS and name its address as tls://…"
        )


def _host(place: str) -> str:
    try:
        return urlsplit(f"//{place}").hostname or ""
    except ValueError:  # half an IPv6 address
        return place


def _client(distributed: Any, address: str, within_s: float) -> Any:
    try:
        return distributed.Client(
            address, timeout=within_s, set_as_default=False, name="handsfree-relisten"
        )
    except (OSError, ValueError, TypeError, TimeoutError) as error:  # TypeError: no certificates
        reason = str(error).strip().splitlines() or [type(error).__name__]
        raise ClusterError(f"scheduler {address}: cannot be reached: {reason[0]}") from None


def _spread(
    distributed: Any,
    client: Any,
    setup: Setup,
    tasks: Iterable[Task],
    address: str,
    warn: Warn,
    within_s: float,
) -> Iterator[Again]:
    try:
        client.wait_for_workers(1, timeout=within_s)
    except TimeoutError:
        why = f"scheduler {address}: has no workers; start one with 'dask worker {address}'"
        raise ClusterError(why) from None
    waiting, run = iter(tasks), new_id()
    hand: dict[Any, Task] = {}
    known: set[str] = set()
    alone_since: float | None = None
    while True:
        now = _workers(client, address)
        if known - now:
            warn("a worker is gone; what it had in hand is heard by another")
        known = now
        alone_since = None if now else alone_since or time.monotonic()
        if alone_since is not None and time.monotonic() - alone_since > within_s:
            raise ClusterError(f"scheduler {address}: its workers are gone; {GO_ON}")
        while len(hand) < AHEAD * max(1, len(now)):
            task = next(waiting, None)
            if task is None:
                break
            # A key of our own: one made from the arguments would take time to hash.
            key = f"hear-{run}-{task.utterance_id}"
            hand[client.submit(hearing.hear_task, setup, task, key=key, pure=False)] = task
        if not hand:
            return
        try:
            with client.as_current():
                done = distributed.wait(list(hand), LOOK_S, return_when="FIRST_COMPLETED").done
        except TimeoutError:
            continue
        except (asyncio.CancelledError, distributed.CancelledError):
            raise ClusterError(f"scheduler {address}: is gone; {GO_ON}") from None
        for future in done:
            yield _result(distributed, future, hand.pop(future), address)


def _workers(client: Any, address: str) -> set[str]:
    try:
        found = set(client.nthreads())
    except (OSError, RuntimeError, TimeoutError):
        raise ClusterError(f"scheduler {address}: is gone; {GO_ON}") from None
    for each in found:
        _check_way(each, address)
    return found


def _result(distributed: Any, future: Any, task: Task, address: str) -> Again:
    try:
        again: Again = future.result()
    except distributed.KilledWorker:
        return Again(task.utterance_id, failed="the workers that listened to it died over it")
    except EngineError:
        raise
    except (asyncio.CancelledError, distributed.CancelledError):
        raise ClusterError(f"scheduler {address}: is gone; {GO_ON}") from None
    except Exception as error:  # what a worker without handsfree raises is any error at all
        why = str(error).strip().splitlines() or [""]
        raise ClusterError(
            f"scheduler {address}: its workers cannot hear: {type(error).__name__}: {why[0]}"
        ) from None
    return again
