"""What is free is given back to the system, and only when nobody waits."""

import subprocess
import sys
from typing import Any

import numpy as np
import pytest

from handsfree.engines.base import SAMPLE_RATE
from handsfree.listening import loop, memory

SCRIPT = """
import os
from pathlib import Path
from handsfree.listening.memory import give_back
def resident():
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")
before = resident()
parts = [bytearray(60_000) for _ in range(3000)]
kept = parts[::100]
del parts
between = resident()
give_back()
print(between - before, between - resident())
"""


@pytest.mark.skipif(memory._trim() is None, reason="the C library has no malloc_trim")
def test_pages_between_what_is_kept_go_back() -> None:
    """180 MB in pieces, of which every hundredth stays: most of what is still held goes back."""
    done = subprocess.run([sys.executable, "-c", SCRIPT], capture_output=True, text=True)
    held, given = map(int, done.stdout.split())
    assert held > 50e6
    assert given > 0.9 * held


def test_it_is_done_after_something_was_heard_and_seldom(
    live: Any, speak: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    given: list[float] = []
    quiet = 1e-4 * np.random.default_rng(2).standard_normal(20 * SAMPLE_RATE).astype(np.float32)
    session = live.session([quiet, quiet, speak("left hind", "foot down"), quiet, quiet, quiet])
    monkeypatch.setattr(loop, "give_back", lambda: given.append(session.now_s))
    session.run()
    assert live.written() == ["left hind", "foot down"]
    first_s, last_s = given
    heard_s = live.seen.lines[0].heard.end_s
    assert heard_s < first_s < heard_s + 8
    assert loop.GIVE_BACK_S <= last_s - first_s < loop.GIVE_BACK_S + 2
