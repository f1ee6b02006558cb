"""kill -9 while the log is written (the small form of tests/bench/log_kill.py)."""

import importlib.util
import signal
import sys
from pathlib import Path

import pytest

BENCH = Path(__file__).parents[1] / "bench" / "log_kill.py"


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no SIGKILL on this system")
def test_nothing_that_was_answered_is_lost(tmp_path: Path) -> None:
    spec = importlib.util.spec_from_file_location("log_kill", BENCH)
    assert spec is not None
    assert spec.loader is not None
    bench = importlib.util.module_from_spec(spec)
    sys.modules["log_kill"] = bench
    spec.loader.exec_module(bench)
    done = bench.run(tmp_path, 10, seed=7)
    assert done.wrong == ()
    assert done.kills == 10
    assert done.new_logs == 1
    assert done.answered > 10
