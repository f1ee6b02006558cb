import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest


@dataclass(frozen=True)
class Done:
    code: int
    out: str
    err: str

    @property
    def objects(self) -> list[dict[str, Any]]:
        return [json.loads(line) for line in self.out.splitlines()]


Run = Callable[..., Done]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """Run the real command in a process of its own, with a log of its own."""

    def call(*arguments: str | Path, stdin: str | bytes = "", **environment: str) -> Done:
        env = {k: v for k, v in os.environ.items() if not k.startswith("HANDSFREE")}
        env |= {"HANDSFREE_LOG": str(tmp_path / "log.db"), "COLUMNS": "100", **environment}
        done = subprocess.run(
            [sys.executable, "-m", "handsfree", *map(str, arguments)],
            input=stdin.encode() if isinstance(stdin, str) else stdin,
            capture_output=True,
            env=env,
            timeout=300,
        )
        return Done(done.returncode, done.stdout.decode(), done.stderr.decode())

    return call
