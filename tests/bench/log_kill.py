"""kill -9 in the middle of writing: is what was answered in the log, and is the log whole?

    python tests/bench/log_kill.py [--kills 200] [--seed 1]

A child writes utterances with sound, entries, strikes, corrections and notices, and prints each
one's id and the checksum of its words and sound once the log has answered. It is killed at a
random moment, every tenth time while it makes a new log; then the log is looked through, and every
answer is looked for in it. The next child goes on in the same log.
"""

import argparse
import hashlib
import random
import signal
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from handsfree.keeping.checking import look_through
from handsfree.keeping.copying import connect
from handsfree.log import Log

CHILD = """
import hashlib, os, sys
import handsfree.log
from handsfree.log import Log, NoticeRow, UtteranceRow

path, seed = sys.argv[1], int(sys.argv[2])
print("ready", flush=True)
with Log.open(path) as log:
    horse = log.add_horse("Bess")
    visit = log.start_visit("microphone", horse.id).id
    print("open", flush=True)
    last, number = (), 0
    while True:
        number += 1
        sound = b"fLaC" + os.urandom(20000 + 1000 * (seed % 40))
        row = UtteranceRow(heard=f"bruise {seed} {number}", status="recorded", limb="LH")
        entry = {"kind": "finding", "limb": "LH", "term": "bruise", "zone": "heel"}
        notice = NoticeRow(kind="caution", code="x", text="mind", entry=0)
        done = log.append(
            visit, row, [entry] * (1 + number % 3), sound,
            strikes=last if number % 4 == 0 else (),
            replaces=last if number % 4 == 2 else (),
            notices=[notice] if number % 5 == 0 else (),
        )
        last = done.entry_ids
        print(done.utterance_id, hashlib.sha256(row.heard.encode() + sound).hexdigest(), flush=True)
        if number % 7 == 0:
            log.correct(done.utterance_id, [entry], "review", last, taught=("brews", "bruise"))
"""


@dataclass(frozen=True)
class Outcome:
    """What the kills did. `wrong` holds a line for each thing lost or broken."""

    kills: int
    answered: int
    unanswered: int
    new_logs: int
    wrong: tuple[str, ...]
    size: int


def run(folder: Path, kills: int, seed: int = 1) -> Outcome:
    """Kill a writing child so many times, at moments drawn by `seed`."""
    chance = random.Random(seed)
    wrong: list[str] = []
    all_answered: dict[str, str] = {}
    size = unanswered = new_logs = 0
    log = folder / "log.db"
    for number in range(kills):
        fresh = number % 10 == 9
        path = folder / f"new-{number}.db" if fresh else log
        answered = _killed(path, number, chance, fresh)
        known = {} if fresh else all_answered
        known |= answered
        new_logs += fresh
        if fresh:
            # Killed while it was made, perhaps before its first table: whoever opens it next
            # finishes it, and nothing had been answered before it was whole.
            Log.open(path).close()
        wrong += [f"kill {number + 1}: {each}" for each in look_through(path)]
        kept = _kept(path) if known else {}
        wrong += [
            f"kill {number + 1}: answered and lost: {each}"
            for each, digest in known.items()
            if kept.get(each) != digest
        ]
        more = sum(each not in known for each in kept)
        # One may have been written and not yet answered; a second one nobody has said.
        wrong += [f"kill {number + 1}: {more} kept that nobody said"] if more > 1 else []
        unanswered += more
        all_answered |= {} if fresh else {each: kept[each] for each in kept}
    size = sum(each.stat().st_size for each in folder.glob("*.db"))
    total = len(all_answered)
    return Outcome(kills, total, unanswered, new_logs, tuple(wrong), size)


def _killed(path: Path, seed: int, chance: random.Random, fresh: bool) -> dict[str, str]:
    """Start a child, kill it at a random moment; what it had answered: id → checksum."""
    child = subprocess.Popen(
        [sys.executable, "-c", CHILD, str(path), str(seed)], stdout=subprocess.PIPE, text=True
    )
    assert child.stdout is not None
    first = "ready" if fresh else "open"
    for line in child.stdout:
        if line.strip() == first:
            break
    time.sleep(chance.uniform(0, 0.08 if fresh else 0.25))
    child.send_signal(signal.SIGKILL)
    rest = child.stdout.read()
    child.wait()
    whole = [line.split() for line in rest.splitlines(keepends=True) if line.endswith("\n")]
    return {parts[0]: parts[1] for parts in whole if len(parts) == 2}


def _kept(path: Path) -> dict[str, str]:
    with closing(connect(path)) as conn:
        rows = conn.execute(
            "SELECT u.id, u.heard, s.flac FROM utterances AS u JOIN sounds AS s "
            "ON s.utterance_id = u.id"
        )
        return {row[0]: hashlib.sha256(row[1].encode() + row[2]).hexdigest() for row in rows}


def main() -> int:
    """Run it and print what came of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    began = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="handsfree-kill-") as folder:
        done = run(Path(folder), given.kills, given.seed)
    print(f"kills                        {done.kills} (seed {given.seed})")
    print(f"  while a new log was made   {done.new_logs}")
    print(f"utterances kept              {done.answered}")
    print(f"  written, not yet answered  {done.unanswered}")
    print(f"lost, broken or false        {len(done.wrong)}")
    print(f"log                          {done.size / 1e6:.1f} MB")
    print(f"seconds                      {time.monotonic() - began:.0f}")
    for each in done.wrong:
        print(f"  {each}")
    return 1 if done.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
