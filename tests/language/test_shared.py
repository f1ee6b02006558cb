"""The natural speech that is kept beside the checkout, measured by its own script where it is.

$HANDSFREE_NATURAL names the folder; without it the folder shared/natural beside the checkout is
taken. It is no part of the project.
"""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

BESIDE = Path(__file__).parents[3] / "shared" / "natural"
FOLDER = Path(os.environ.get("HANDSFREE_NATURAL") or BESIDE)
if not os.environ.get("HANDSFREE_NATURAL") and not BESIDE.is_dir():
    # A worktree lies one folder deeper.
    FOLDER = Path(__file__).parents[4] / "shared" / "natural"

pytestmark = pytest.mark.skipif(
    not (FOLDER / "score.py").is_file(),
    reason="neither $HANDSFREE_NATURAL nor shared/natural beside the checkout holds the material",
)

LEAST_RIGHT, MOST_WRONG = 92.0, 2.5
"""Percent of the utterances."""
LEAST_IN_VISITS = 97.0
"""Percent of the entries that must stand at the end of whole visits."""


@pytest.fixture(scope="module")
def command(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The command `handsfree` of this checkout, as the script calls it."""
    if os.name != "posix":
        pytest.skip("the script calls a command by its name")
    path: Path = tmp_path_factory.mktemp("command") / "handsfree"
    path.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m handsfree "$@"\n', encoding="utf-8")
    path.chmod(0o755)
    return path


def measured(command: Path, *arguments: str) -> str:
    env = {k: v for k, v in os.environ.items() if not k.startswith("HANDSFREE")}
    script = [sys.executable, FOLDER / "score.py", command]
    done = subprocess.run(
        [*script, *arguments], capture_output=True, text=True, env=env, timeout=600
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_what_farriers_say_is_read_rightly_or_doubtfully(command: Path) -> None:
    out = measured(command, str(FOLDER / "said.jsonl"))
    found = re.search(
        r"right \d+/\d+ = ([\d.]+)%; sure but wrong ([\d.]+)%; alarms (\d+)/(\d+); "
        r"talk noted (\d+)/\d+ \(exit (\d+)\)",
        out,
    )
    assert found is not None, out
    right, wrong = float(found[1]), float(found[2])
    told, alarms, noted, code = (int(found[n]) for n in (3, 4, 5, 6))
    assert (code, noted) == (0, 0), out
    assert right >= LEAST_RIGHT, out
    assert wrong <= MOST_WRONG, out
    assert told == alarms, out


def test_whole_visits_end_with_the_entries_that_must_stand(command: Path) -> None:
    out = measured(command, "--visits", str(FOLDER / "visits.jsonl"))
    found = re.search(r"whole visits: \d+/\d+ = ([\d.]+)% of the final entries", out)
    assert found is not None, out
    assert float(found[1]) >= LEAST_IN_VISITS, out
