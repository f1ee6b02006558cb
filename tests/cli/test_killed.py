"""kill -9 in the middle of a long run loses nothing that was printed."""

import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no SIGKILL on this system")
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_nothing_that_was_printed_is_lost(tmp_path: Path, seed: int):
    log = tmp_path / "log.db"
    words = tmp_path / "said.txt"
    words.write_text("left hind pulled seven nails\n" * 100)
    process = subprocess.Popen(
        [sys.executable, "-m", "handsfree", "transcribe", "--engine", "text", "--json", words],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "HANDSFREE_LOG": str(log)},
    )
    assert process.stdout is not None
    printed = []
    wanted = random.Random(seed).randint(5, 60)
    for line in process.stdout:
        printed.append(json.loads(line))
        if len(printed) == wanted:
            time.sleep(random.Random(seed).random() * 0.002)
            process.kill()
            break
    # What was already in the pipe had been printed too; a torn last line had not.
    for line in process.stdout:
        if line.endswith("\n"):
            printed.append(json.loads(line))
    process.wait()
    with sqlite3.connect(log) as other:
        kept = {row[0] for row in other.execute("SELECT utterance_id FROM entries")}
        assert other.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert len(printed) >= wanted
    assert {line["utterance_id"] for line in printed} <= kept
