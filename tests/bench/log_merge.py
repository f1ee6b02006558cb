"""How long it takes to join two logs that both grew, by their size. Prints figures.

    python tests/bench/log_merge.py [--entries 10000 100000 1000000] [--folder FOLDER]

Two copies of a log as log_size.py makes it (logs of that folder are used if they are there);
each machine then adds visits of its own, and both judge the same notes: confirmed on one,
struck on the other. What was there must be there afterwards, all of it, once; the differing
notes must be asked about; joining again must change nothing. If not, it ends with 1.
"""

import argparse
import os
import random
import shutil
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from log_size import LAST_DAY, Talk, add_visit, make_log

from handsfree.grammar.grammar import load
from handsfree.joining import join
from handsfree.log import Log

VISITS = 40
"""New visits on each machine."""
JUDGED = 50
"""Notes that are judged on both machines, and differently."""


def grow(path: Path, talk: Talk, seed: int) -> None:
    """A season on one machine: new visits, judgements of old notes."""
    rng = random.Random(seed)
    begun = datetime(LAST_DAY.year, LAST_DAY.month, LAST_DAY.day, 8, tzinfo=UTC)
    with Log.open(path) as log:
        horses = [horse.id for horse in log.horses()]
        for number in range(VISITS):
            with log._db.conn as conn:
                add_visit(conn, rng, talk, rng.choice(horses), begun + timedelta(days=number))
        found = log._db.execute(
            "SELECT id FROM entries_now WHERE status = 'heard' AND created_at < ? LIMIT ?",
            [begun.isoformat(timespec="milliseconds"), JUDGED],
        )
        ids = [row[0] for row in found]
        for each in ids:
            (log.confirm if seed % 2 else log.strike)([each], "review")


def count(path: Path) -> int:
    """Entries of a log."""
    with Log.open(path) as log:
        return int(log._db.execute("SELECT count(*) FROM entries").fetchone()[0])


def measure(source: Path, folder: Path, talk: Talk) -> tuple[dict[str, float], list[str]]:
    """Seconds of each step by name, and what is wrong with the outcome."""
    ours, theirs = folder / "ours.db", folder / "theirs.db"
    for seed, path in enumerate((ours, theirs), 101):  # other ids than make_log draws
        shutil.copy(source, path)
        grow(path, talk, seed)
    before, wanted = count(source), count(ours) + count(theirs)
    took: dict[str, float] = {}
    with Log.open(ours) as log:
        for name, look in (("look", True), ("join", False), ("join again", False)):
            began = time.perf_counter()
            done = join(log, theirs, look)
            took[f"{name}, s"] = time.perf_counter() - began
            if name == "join":
                came, asked = done.new["entries"], len(done.disputed)
    wrong = [] if done.nothing else ["joined again, something came"]
    if count(ours) != wanted - before:
        wrong.append(f"{count(ours)} entries instead of {wanted - before}")
    if not asked:
        wrong.append("nothing was asked about")
    return took | {"entries that came": came, "notes asked about": asked}, wrong


def main() -> int:
    """Make the logs, join and print."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--entries", type=int, nargs="+", default=[10_000, 100_000, 1_000_000])
    options.add_argument("--folder", type=Path, help="Take the logs from here, and keep them.")
    chosen = options.parse_args()
    talk = Talk(load())
    table: dict[str, list[float]] = {}
    wrong: list[str] = []
    with tempfile.TemporaryDirectory(prefix="handsfree-bench-") as temporary:
        kept = chosen.folder or Path(temporary)
        kept.mkdir(parents=True, exist_ok=True)
        for entries in chosen.entries:
            path = kept / f"log-{entries}.db"
            if not path.exists():
                make_log(path, entries, talk)
            with tempfile.TemporaryDirectory(dir=kept) as grown:
                found, bad = measure(path, Path(grown), talk)
            wrong += [f"{entries:,} entries: {each}" for each in bad]
            for name, figure in found.items():
                table.setdefault(name, []).append(figure)
    print(f"{'':28}" + "".join(f"{n:>14,}" for n in chosen.entries))
    for name, row in table.items():
        print(f"{name:28}" + "".join(f"{figure:14.1f}" for figure in row))
    if hasattr(os, "getloadavg"):
        print(f"load of the machine at the end: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    for each in wrong:
        print(f"WRONG: {each}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
