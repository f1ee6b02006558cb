"""How soon `handsfree review` stands in front of you, and how quickly it answers.

    python tests/bench/reviewing.py [--entries 100000] [--runs 5]

Makes a log of that many entries in a temporary folder (visits of about forty, and today's),
starts the command in processes of its own, and prints seconds: to the first plain line, to
the first utterance shown plainly, to the first and the complete screen (in a pseudo-terminal
of 80x24), and what loading and each verb take.
"""

import argparse
import json
import os
import pty
import select
import statistics
import subprocess
import sys
import tempfile
import time
import uuid
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from handsfree.log import Log, UtteranceRow

PER_VISIT = 40
DOUBTFUL_EVERY = 8


def make_log(path: Path, entries: int) -> None:
    """Write straight into the tables: a transaction for each would take an hour."""
    with Log.open(path) as log:
        horses = [log.add_horse(f"Horse {n}", "heavy").id for n in range(50)]
        db = log._db
        day = datetime.now(UTC)
        visits = -(-entries // PER_VISIT)
        db.execute("BEGIN")
        for number in range(visits):
            began = day - timedelta(hours=6 * (visits - 1 - number))
            visit = uuid.uuid4().hex
            db.execute(
                "INSERT INTO visits (id, horse_id, started_at, source) VALUES (?,?,?,?)",
                [visit, horses[number % 50], began.isoformat(), "microphone"],
            )
            for seq in range(1, PER_VISIT + 1):
                _note(db, visit, seq, began + timedelta(seconds=20 * seq))
        db.commit()
        unclear = UtteranceRow(heard="outside hill brews", status="unclear", confidence=0.1)
        log.append(visit, unclear)


def _note(db: object, visit: str, seq: int, at: datetime) -> None:
    execute: Callable[..., object] = db.execute  # type: ignore[attr-defined]
    utterance, entry, change = (uuid.uuid4().hex for _ in range(3))
    doubtful = seq % DOUBTFUL_EVERY == 0
    limb = ("LF", "RF", "LH", "RH")[seq * 4 // (PER_VISIT + 1)]
    others = [{"engine": "neural", "text": "inside heel bruise", "score": -1.0}]
    execute(
        "INSERT INTO utterances VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)",
        [
            *(utterance, visit, seq, 20.0 * seq, 20.0 * seq + 2, at.isoformat()),
            *("outside heel bruise", "recorded", 0.6 if doubtful else 0.97, None, limb),
            *(json.dumps(["neural"]), json.dumps(others if doubtful else []), None),
            "pocketsphinx heard it differently" if doubtful else None,
        ],
    )
    body = {"kind": "finding", "limb": limb, "zone": "heel", "side": "lateral", "term": "bruise"}
    execute(
        "INSERT INTO entries VALUES (?,?,1,'finding',?,?,NULL,?,'heard')",
        [entry, utterance, limb, json.dumps(body), at.isoformat()],
    )
    execute(
        "INSERT INTO marks VALUES (?,1,'heard',?,'voice',NULL,?,?,NULL)",
        [entry, at.isoformat(), utterance, change],
    )


def plain(path: Path) -> dict[str, float]:
    """Seconds from the start of the process to lines of plain review."""
    started = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", "handsfree", "review", "--log", str(path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdout.readline()
    found = {"plain: first line": time.perf_counter() - started}
    while "1 of " not in process.stdout.readline():
        pass
    found["plain: first utterance"] = time.perf_counter() - started
    for name, verb, until in (
        ("plain: take a reading", "1", "Now"),
        ("plain: accept", "accept", "Confirmed"),
        ("plain: undo", "undo", "Undone"),
        ("plain: correct", "correct side inside", "Now"),
    ):
        asked = time.perf_counter()
        process.stdin.write(f"{verb}\n")
        process.stdin.flush()
        while not (line := process.stdout.readline()).startswith(until):
            if not line:
                raise RuntimeError(f"{verb} was not answered with {until}")
        found[name] = time.perf_counter() - asked
    process.stdin.close()
    process.wait()
    return found


def screen(path: Path) -> dict[str, float]:
    """Seconds from the start of the process to what the screen shows."""
    import fcntl
    import struct
    import termios

    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    started = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", "handsfree", "review", "--log", str(path)],
        **{name: theirs for name in ("stdin", "stdout", "stderr")},  # type: ignore[call-overload]
        env=os.environ | {"TERM": "xterm-256color"},
        start_new_session=True,
    )
    os.close(theirs)
    found: dict[str, float] = {}
    out = b""
    wanted = {"screen: frame": b"accept", "screen: first utterance": b"of 41"}
    while len(found) < len(wanted) and time.perf_counter() - started < 60:
        if select.select([ours], [], [], 0.5)[0]:
            out += os.read(ours, 65536)
        for name, text in wanted.items():
            if text in out:
                found.setdefault(name, time.perf_counter() - started)
    os.write(ours, b"q")
    while process.poll() is None:
        if select.select([ours], [], [], 0.1)[0]:
            try:
                os.read(ours, 65536)
            except OSError:
                break
    process.wait()
    os.close(ours)
    return found


STEPS = """
import sys, time
clock = time.perf_counter
def step(name, since):
    print(f"{name}\\t{clock() - since:.4f}")
    return clock()
t = clock()
import click, handsfree.cli.main; t = step("import click", t)
from handsfree.log import Log; t = step("import the log (sqlite-utils)", t)
from handsfree.review.desk import Desk; t = step("import the desk", t)
import handsfree.review.plain; t = step("import plain", t)
log = Log.open(sys.argv[1]); t = step("open the log", t)
import datetime
visit = log.visits_on(datetime.date.today())[-1]; t = step("find today's visit", t)
from handsfree.grammar.grammar import load
names, lessons = log.horse_names(), log.lessons()
grammar = load(horse_names=names, lessons=lessons); t = step("read the grammar", t)
desk = Desk(log, grammar, visit.id); t = step("make the desk", t)
desk.notices(); t = step("notices", t)
grammar.acceptor; t = step("compile the grammar (not for the first line)", t)
import textual.app; t = step("import textual (screen only)", t)
"""


def main() -> None:
    """Measure and print."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--entries", type=int, default=100_000)
    options.add_argument("--runs", type=int, default=5)
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory(prefix="handsfree-bench-") as folder:
        path = Path(folder) / "log.db"
        began = time.perf_counter()
        make_log(path, chosen.entries)
        size = path.stat().st_size / 1e6
        took = time.perf_counter() - began
        print(f"log of {chosen.entries} entries: {size:.0f} MB, made in {took:.0f} s")
        runs = [{**plain(path), **screen(path)} for _ in range(chosen.runs)]
        for name in runs[0]:
            took_all = sorted(run[name] for run in runs if name in run)
            print(f"{statistics.median(took_all):7.2f} s  (best {took_all[0]:.2f})  {name}")
        steps = [sys.executable, "-c", STEPS, str(path)]
        done = subprocess.run(steps, capture_output=True, text=True, check=True)
        print("\nof which:")
        for line in done.stdout.splitlines():
            name, _, seconds = line.partition("\t")
            print(f"{float(seconds):7.3f} s  {name}")


if __name__ == "__main__":
    main()
