import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from handsfree.log import Log

ROOT = Path(__file__).parents[2]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "log.db"


@pytest.fixture
def log(path: Path) -> Iterator[Log]:
    with Log.open(path) as opened:
        yield opened


@pytest.fixture
def start() -> Iterator[Callable[..., "subprocess.Popen[str]"]]:
    """Start a Python program with arguments; whatever still runs at the end is stopped."""
    started: list[subprocess.Popen[str]] = []

    def run(script: str, *args: object, ordinary_user: bool = False) -> "subprocess.Popen[str]":
        # The superuser may write anywhere, so tests of permissions run as someone else.
        if ordinary_user and os.geteuid() == 0:
            script = f"import os; os.setgroups([]); os.setgid(65534); os.setuid(65534)\n{script}"
        program = [sys.executable, "-c", f"import handsfree.log\n{script}", *map(str, args)]
        process = subprocess.Popen(
            program, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        started.append(process)
        return process

    yield run
    for process in started:
        process.kill()
        process.communicate()
