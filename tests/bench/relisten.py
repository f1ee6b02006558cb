"""How fast old sound is heard again. Prints figures; nothing is asserted.

    python tests/bench/relisten.py --clips 40
    python tests/bench/relisten.py --cluster        (the same on a local Dask cluster)

Utterances of the demo recordings a minute: in one process, in two, and in two of which one is
killed after a quarter of them. Loading the recognizers is in the figures, and said besides as
the time to the first result. All of it is worth what the machine had to spare, so its load is
printed too, and the processor time an utterance took (on a cluster the workers' is not known).
"""

import argparse
import multiprocessing
import os
import signal
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack
from typing import Any

import soundfile

from handsfree import demo
from handsfree.audio.speech import to_flac
from handsfree.engines.choose import ModelFolders
from handsfree.relisten import hearing
from handsfree.relisten.spread import here, over_processes
from handsfree.relisten.tasks import Again, Setup, Task

Way = Callable[[Setup, Iterable[Task]], Iterator[Again]]


def clips(count: int) -> list[Task]:
    """Stretches of the demo recordings as `transcribe` would have stored them, talk too."""
    place, found = demo.folder(), list[Task]()
    for row in demo.manifest(place):
        sound, rate = soundfile.read(place / row.file, dtype="float32")
        part = sound[max(0, round((row.start_s - 0.35) * rate)) : round((row.end_s + 0.25) * rate)]
        found.append(Task(f"clip {len(found)}", to_flac(part)))
        if len(found) == count:
            break
    return found


def cpu_s() -> float:
    """Processor time so far of this process and of its children that have ended, in seconds."""
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


def measure(name: str, setup: Setup, tasks: list[Task], way: Way, kill: Any = None) -> None:
    """Hear all clips one way and print how fast that was, and whether each came once."""
    began, first, seen, workers = time.monotonic(), 0.0, [], set()
    busy = cpu_s()
    for number, again in enumerate(way(setup, tasks), 1):
        first = first or time.monotonic() - began
        seen.append(again.utterance_id)
        workers.add(again.worker)
        if kill is not None and number == len(tasks) // 4:
            kill()
    took = time.monotonic() - began
    lost, twice = len(tasks) - len(set(seen)), len(seen) - len(set(seen))
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    print(
        f"{name:<34} {60 * len(seen) / took:6.1f} a minute, first after {first:5.1f} s; "
        f"{len(workers)} workers, {lost} lost, {twice} twice; "
        f"{(cpu_s() - busy) / len(seen):.1f} CPU s each; load {load:.1f}",
        flush=True,
    )


def kill_a_process() -> None:
    """End one process of the pool, as a machine out of memory would."""
    victim = multiprocessing.active_children()[0]
    assert victim.pid is not None
    os.kill(victim.pid, signal.SIGKILL)


def main() -> None:
    """Print all figures."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--clips", type=int, default=40)
    options.add_argument("--engine", action="append", default=[])
    options.add_argument("--cluster", action="store_true")
    asked = options.parse_args()
    setup = hearing.setup(tuple(asked.engine), ModelFolders())
    tasks = clips(asked.clips)
    size = sum(len(task.flac) for task in tasks) / len(tasks) / 1000
    print(f"{len(tasks)} clips, {size:.0f} kB each; {' and '.join(setup.engines)}; ", end="")
    print(f"{os.cpu_count()} cores")
    two: Way = lambda setup, tasks: over_processes(setup, tasks, 2)  # noqa: E731
    with ExitStack() as stack:
        kill: Callable[[], None] = kill_a_process
        if asked.cluster:
            from distributed import LocalCluster

            from handsfree.relisten.cluster import over_cluster

            cluster = stack.enter_context(
                LocalCluster(  # type: ignore[no-untyped-call]
                    n_workers=2, threads_per_worker=1, dashboard_address=":0"
                )
            )
            two = lambda setup, tasks: over_cluster(  # noqa: E731
                setup, tasks, cluster.scheduler_address
            )
            kill = lambda: os.kill(  # noqa: E731
                next(iter(cluster.workers.values())).pid, signal.SIGKILL
            )
        else:
            measure("one process", setup, tasks, here)
        where = "workers of a cluster" if asked.cluster else "processes"
        measure(f"two {where}", setup, tasks, two)
        measure(f"two {where}, one killed", setup, tasks, two, kill)


if __name__ == "__main__":
    main()
