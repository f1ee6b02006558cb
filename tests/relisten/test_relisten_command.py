"""`handsfree relisten` as it is run: real sounds, broken off, gone on with, shown, applied."""

import json
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from handsfree.log import Log
from handsfree.relisten.results import results_file

SCRIPT = """
import sys
from handsfree.cli import main
main.COMMANDS["relisten"] = "handsfree.cli.relisten"
if __name__ == "__main__":
    sys.exit(main.run())
"""


@pytest.fixture
def command(tmp_path: Path) -> list[str]:
    """The command line in a process of its own, with the test's log."""
    pytest.importorskip("pocketsphinx")
    (tmp_path / "run.py").write_text(SCRIPT)
    log = ["--log", str(tmp_path / "log.db"), "--engine", "pocketsphinx"]
    return [sys.executable, str(tmp_path / "run.py"), "relisten", *log]


def run(command: list[str], *arguments: str) -> subprocess.CompletedProcess[str]:
    env = {k: v for k, v in os.environ.items() if not k.startswith("HANDSFREE")}
    return subprocess.run(
        [*command, *arguments], capture_output=True, text=True, timeout=300, env=env
    )


def write(log: Log, material: Any) -> str:
    """Five real sounds: rightly heard, not understood, misheard weakly, misheard and confirmed."""
    spoken = [(said, flac) for said, flac in material.spoken(12) if len(said.split()) > 1][:6]
    lines = [material.line(said, 0.5, "heard weakly", flac=flac) for said, flac in spoken]
    lines[2] = replace(lines[2], heard="mumble", read=False, confidence=0.1)
    lines[3] = replace(lines[3], heard="severe thrush in the frog", confidence=0.05)
    lines[4] = replace(lines[4], heard="severe thrush in the frog", confidence=0.05)
    visit_id: str = material.write(log, lines, "Duke")
    entries = log.entries(visit_id)
    last = log.utterances(visit_id)[4].id
    log.confirm([e.id for e in entries if e.utterance_id == last], "review")
    return visit_id


def test_it_shows_then_goes_on_then_applies(tmp_path: Path, material: Any, command: list[str]):
    with Log.open(tmp_path / "log.db") as log:
        visit_id = write(log, material)
        before = log.entries(visit_id)
    shown = run(command, "--processes", "2")
    assert shown.returncode == 0, shown.stderr
    assert "listening with pocketsphinx in 2 processes" in shown.stderr
    assert "nothing is changed" in shown.stdout
    assert max(map(len, shown.stdout.splitlines())) <= 80
    with Log.open(tmp_path / "log.db") as log:
        assert log.entries(visit_id) == before
    again = run(command, "--json")
    assert again.stderr == ""  # all is heard already
    told = json.loads(again.stdout)
    assert sum(count["all"] for count in told["counts"].values()) == 6
    assert told["applied"] is None
    assert told["confirmed"] == 1
    goes_in = [each for each in told["not_same"] if each["applies"]]
    assert goes_in
    stays = [each for each in told["not_same"] if each["stays"] == "you have dealt with it"]
    assert [each["heard_before"] for each in stays] == ["severe thrush in the frog"]
    applied = json.loads(run(command, "--json", "--apply").stdout)
    assert applied["applied"] == {"changed": len(goes_in), "meanwhile": 0}
    with Log.open(tmp_path / "log.db") as log:
        new = [e for e in log.entries(visit_id, in_force=True) if e.status_by == "relisten"]
        assert {e.utterance_id for e in new} == {each["utterance_id"] for each in goes_in}
        assert all(e.doubt for e in new)
        assert {e.id for e in before} <= {e.id for e in log.entries(visit_id)}
    assert json.loads(run(command, "--json", "--apply").stdout)["applied"]["changed"] == 0


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks for processes in /proc")
def test_killed_in_the_middle_it_loses_nothing_and_leaves_nobody_behind(
    tmp_path: Path, material: Any, command: list[str]
):
    with Log.open(tmp_path / "log.db") as log:
        write(log, material)
    results = results_file(tmp_path / "log.db")
    running = subprocess.Popen(
        [*command, "--processes", "2"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    while not (results.exists() and results.read_bytes().count(b"\n")):
        assert running.poll() is None, "ended before it was killed"
        time.sleep(0.02)
    children = _children(running.pid)
    running.send_signal(signal.SIGKILL)
    running.wait()
    kept = results.read_bytes().count(b"\n")
    gone_on = run(command, "--processes", "1")
    if kept < 6:
        assert f"{kept} are heard already" in gone_on.stderr
    assert results.read_bytes().count(b"\n") == 6
    deadline = time.monotonic() + 20
    while any(_alive(pid) for pid in children):
        assert time.monotonic() < deadline, "a process was left behind"
        time.sleep(0.1)


def _children(pid: int) -> list[int]:
    path = Path(f"/proc/{pid}/task/{pid}/children")
    return [int(each) for each in path.read_text().split()] if path.exists() else []


def _alive(pid: int) -> bool:
    try:
        return " Z " not in Path(f"/proc/{pid}/stat").read_text()
    except OSError:
        return False


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--horse", "Dukke"), "did you mean Duke?"),
        (("--scheduler", "tcp://127.0.0.1:1", "--processes", "2"), "not both"),
        (("--engine", "text"), "'text' is none"),
        (("--engine", "nobody"), "no engine 'nobody'"),
        (("--since", "yesterday"), "yesterday"),
    ],
)
def test_what_is_asked_wrongly_is_one_line(
    tmp_path: Path, command: list[str], arguments: tuple[str, ...], says: str
):
    with Log.open(tmp_path / "log.db") as log:
        log.add_horse("Duke")
    done = run(command, *arguments)
    assert done.returncode != 0
    assert says in done.stderr
    assert done.stderr.count("\n") == 1


def test_a_log_without_sounds_says_so(tmp_path: Path, material: Any, command: list[str]):
    with Log.open(tmp_path / "log.db") as log:
        material.write(log, [material.line("trimmed", flac=None)])
    done = run(command, "--doubtful")
    assert (done.returncode, done.stderr) == (0, "")
    assert "no sound of such utterances is kept" in done.stdout
