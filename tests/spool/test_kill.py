"""kill -9 at any moment loses no sound that `write` took and nobody has dealt with."""

import inspect
import os
import random
import signal
import struct
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from handsfree.engines.base import Sound
from handsfree.spool import Leftover, leftovers

ROOT = Path(__file__).parents[2]
MOMENTS = 40

Speech = Callable[[int, int], Sound]

# One process forks a writer for each moment, so that none has to load numpy anew.
WRITER = """
import os, random, struct, sys
from pathlib import Path
from handsfree.spool import Spool
import numpy as np
SPEECH
def work(folder, answers, seed):
    chance = random.Random(seed)
    say = os.open(answers, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    def tell(kind, number):
        os.write(say, struct.pack("<cq", kind, number))
    spool = Spool.create(Path(folder), {"note": 0})
    at = done = notes = 0
    while True:
        count = chance.randrange(1, 9000)
        spool.write(speech(at, count))
        at += count
        tell(b"w", at)
        if chance.random() < 0.2:
            done = chance.randrange(done, at)
            tell(b"b", done)
            spool.done_before(done / 16000)
            tell(b"d", done)
        if chance.random() < 0.1:
            notes += 1
            spool.note({"note": notes})
            tell(b"n", notes)

for line in sys.stdin:
    folder, answers, seed = line.split()
    pid = os.fork()
    if not pid:
        work(folder, answers, int(seed))
    print(pid, flush=True)
    os.waitpid(pid, 0)
    print("dead", flush=True)
"""


@pytest.fixture(scope="module")
def writers(speech: Speech) -> Iterator["subprocess.Popen[str]"]:
    if not hasattr(os, "fork"):
        pytest.skip("needs fork and SIGKILL")
    script = WRITER.replace("SPEECH", inspect.getsource(speech).replace("-> Sound", ""))
    process = subprocess.Popen(
        [sys.executable, "-c", script],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    yield process
    process.kill()
    process.communicate()


@pytest.mark.parametrize("seed", range(MOMENTS))
def test_all_that_was_written_is_found(
    writers: "subprocess.Popen[str]",
    tmp_path: Path,
    speech: Speech,
    all_of: Callable[[Leftover], Sound],
    seed: int,
) -> None:
    assert writers.stdin is not None
    assert writers.stdout is not None
    folder, answers = tmp_path / "spool", tmp_path / "answers"
    writers.stdin.write(f"{folder} {answers} {seed}\n")
    writers.stdin.flush()
    pid = int(writers.stdout.readline())
    chance = random.Random(seed)
    wanted = struct.calcsize("<cq") * chance.randrange(1, 500)
    try:
        deadline = time.monotonic() + 60
        while not answers.exists() or answers.stat().st_size < wanted:
            assert time.monotonic() < deadline
            time.sleep(0.0005)
        time.sleep(chance.random() * 0.001)
        while_it_lives = leftovers(folder)
    finally:
        os.kill(pid, signal.SIGKILL)
    assert while_it_lives == []
    assert writers.stdout.readline() == "dead\n"

    last = dict.fromkeys((b"w", b"b", b"d", b"n"), 0)
    last |= dict(struct.iter_unpack("<cq", answers.read_bytes()))
    (left,) = leftovers(folder)
    start = round(left.start_s * 16000)
    # One call may have been under way that was not answered any more.
    assert start in (last[b"d"], last[b"b"])
    found = all_of(left)
    assert round(left.seconds * 16000) == len(found) >= last[b"w"] - start
    assert np.array_equal(found, speech(start, len(found)))
    assert left.about["note"] in (last[b"n"], last[b"n"] + 1)
    left.remove()
    assert list(folder.iterdir()) == []
