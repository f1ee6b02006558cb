"""`handsfree review` as a process: which visit, which face, errors, and a log in use."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from handsfree.log import Log, UtteranceRow
from handsfree.records.entries import Finding, to_json


@dataclass(frozen=True)
class Ended:
    code: int
    out: str
    err: str


Run = Callable[..., Ended]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    def call(*arguments: object, stdin: str | bytes = "", **environment: str) -> Ended:
        done = subprocess.run(
            [sys.executable, "-m", "handsfree", *map(str, arguments)],
            input=stdin.encode() if isinstance(stdin, str) else stdin,
            capture_output=True,
            env=env(tmp_path, **environment),
            timeout=400,
        )
        return Ended(done.returncode, done.stdout.decode(), done.stderr.decode())

    return call


def env(folder: Path, **more: str) -> dict[str, str]:
    usual = {k: v for k, v in os.environ.items() if not k.startswith("HANDSFREE")}
    return usual | {"HANDSFREE_LOG": str(folder / "log.db"), "COLUMNS": "80"} | more


@pytest.fixture
def log(tmp_path: Path) -> Any:
    with Log.open(tmp_path / "log.db") as opened:
        yield opened


def note(log: Log, visit_id: str, term: str, limb: str = "LH") -> str:
    row = UtteranceRow(heard=f"{term} in the frog", status="recorded", confidence=0.6, limb=limb)
    entry = to_json(Finding(limb=limb, zone="frog", term=term))
    return log.append(visit_id, row, [entry]).entry_ids[0]


def test_an_empty_log_is_one_line(run: Run, log: Log) -> None:
    done = run("review")
    assert (done.code, done.err) == (0, "")
    assert done.out == "nothing to review: the log holds no visits yet\n"


def test_without_a_visit_today_the_latest_is_taken_and_that_is_said(run: Run, log: Log) -> None:
    for day in ("2026-03-01", "2026-03-02"):
        note(log, log.start_visit("typed", started_at=f"{day}T12:00:00.000+00:00").id, "thrush")
    done = run("review")
    first, second, *_ = done.out.splitlines()
    assert first == "no visit today; the latest is of 2026-03-02"
    assert second == "Review of a horse not named, 2026-03-02."
    assert (done.code, done.err) == (0, "")


def test_todays_latest_visit_is_taken_without_a_word(run: Run, log: Log) -> None:
    log.start_visit("typed", log.add_horse("Duke").id)
    note(log, log.start_visit("typed", log.add_horse("Bella").id).id, "thrush")
    assert run("review").out.startswith("Review of Bella")
    assert run("review", "--horse", "duke").out.startswith("Review of Duke")


def test_a_visit_is_named_by_the_beginning_of_its_id(run: Run, log: Log) -> None:
    visit = log.start_visit("typed", log.add_horse("Duke").id)
    log.start_visit("typed", log.add_horse("Bella").id)
    assert run("review", visit.id[:10]).out.startswith("Review of Duke")


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["--horse", "Nobody"], 5, "no horse 'Nobody'"),
        (["--horse", "Bella"], 5, "no visit to Bella"),
        (["ffff"], 5, "no visit ffff"),
        (["ffff", "--horse", "Bella"], 1, "not both"),
        (["--log", "/"], 1, "is a directory"),
    ],
)
def test_each_mistake_is_one_line(
    run: Run, log: Log, arguments: list[str], code: int, said: str
) -> None:
    log.add_horse("Bella")
    done = run("review", *arguments)
    assert (done.code, done.out) == (code, "")
    assert said in done.err
    assert len(done.err.splitlines()) == 1


def test_what_is_typed_is_in_the_log(run: Run, log: Log) -> None:
    visit = log.start_visit("typed").id
    kept, struck = note(log, visit, "thrush"), note(log, visit, "bruise")
    done = run("review", stdin="accept\nstrike\n")
    assert done.code == 0
    assert [e.id for e in log.entries(visit, in_force=True)] == [kept]
    assert [m.status for m in log.history(kept)] == ["heard", "confirmed"]
    assert [m.by for m in log.history(struck)][-1] == "review"
    assert done.out.endswith("All is done.\n")


def test_odd_bytes_and_a_terminal_without_signs_end_nothing(run: Run, log: Log) -> None:
    visit = log.start_visit("typed", log.add_horse("Žofka ♞").id).id
    note(log, visit, "thrush")
    done = run(
        *("review", "--plain"),
        stdin=b"\xff\xfe\x00bad\nadd hoof angle fifty degrees\n\x1b[A\n",
        PYTHONIOENCODING="ascii",
        PYTHONUTF8="0",
    )
    assert done.code == 0
    assert "Added: " in done.out
    assert "Traceback" not in done.err
    assert "\x1b" not in done.out


def test_a_reader_that_goes_away_ends_it_quietly(tmp_path: Path, log: Log) -> None:
    note(log, log.start_visit("typed").id, "thrush")
    process = subprocess.Popen(
        [sys.executable, "-m", "handsfree", "review"],
        **{name: subprocess.PIPE for name in ("stdin", "stdout", "stderr")},
        env=env(tmp_path),
    )
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdout.readline()
    process.stdout.close()
    _, errors = process.communicate(b"list\n" * 20, timeout=240)
    assert b"Traceback" not in errors


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_ctrl_c_leaves(tmp_path: Path, log: Log) -> None:
    note(log, log.start_visit("typed").id, "thrush")
    process = subprocess.Popen(
        [sys.executable, "-m", "handsfree", "review"],
        **{name: subprocess.PIPE for name in ("stdin", "stdout", "stderr")},
        env=env(tmp_path),
        text=True,
    )
    assert process.stdout is not None
    while not process.stdout.readline().endswith("?\n"):
        pass
    time.sleep(0.2)  # until it waits for a line
    process.send_signal(signal.SIGINT)
    out, errors = process.communicate(timeout=120)
    assert (process.returncode, errors) == (0, "")
    assert out.startswith("Left; everything is kept.")


@pytest.mark.skipif(os.name == "nt", reason="pseudo-terminals of POSIX")
@pytest.mark.parametrize(("term", "options"), [("dumb", []), ("xterm", ["--plain"])])
def test_a_dumb_terminal_and_plain_get_lines_only(
    tmp_path: Path, log: Log, term: str, options: Sequence[str]
) -> None:
    note(log, log.start_visit("typed").id, "thrush")
    out = in_terminal(tmp_path, [*options], term, b"leave\n", until=b"Left; ")
    assert b"1 of 1." in out
    assert b"\x1b" not in out


@pytest.mark.skipif(os.name == "nt", reason="pseudo-terminals of POSIX")
def test_a_terminal_gets_the_screen(tmp_path: Path, log: Log) -> None:
    pytest.importorskip("textual")
    note(log, log.start_visit("typed").id, "thrush")
    out = in_terminal(tmp_path, [], "xterm-256color", b"q", until=b"\x1b[?1049l", ready=b"frog")
    assert b"\x1b[?1049h" in out
    assert b"Review of" not in out


def in_terminal(
    folder: Path,
    options: Sequence[str],
    term: str,
    typed: bytes,
    until: bytes,
    ready: bytes = b"?\r\n",
) -> bytes:
    """What the command prints in a terminal of 80x24; `typed` once `ready` was printed."""
    import fcntl
    import pty
    import select
    import struct
    import termios

    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    process = subprocess.Popen(
        [sys.executable, "-m", "handsfree", "review", *options],
        **{name: theirs for name in ("stdin", "stdout", "stderr")},
        env=env(folder, TERM=term),
        start_new_session=True,
    )
    os.close(theirs)
    out, sent, deadline = b"", False, time.monotonic() + 60
    while until not in out and time.monotonic() < deadline:
        if select.select([ours], [], [], 0.2)[0]:
            try:
                out += os.read(ours, 65536)
            except OSError:  # Linux: the other end is closed
                break
        if not sent and ready in out:
            os.write(ours, typed)
            sent = True
    assert until in out, out[-2000:]
    assert process.wait(timeout=120) == 0
    os.close(ours)
    return out


WRITER = """
import pathlib, sys, time
from handsfree.log import Log, UtteranceRow
path, visit, stop = sys.argv[1], sys.argv[2], pathlib.Path(sys.argv[3])
entry = {"kind": "finding", "limb": "LH", "zone": "frog", "term": "thrush"}
number = 0
with Log.open(path, busy_s=10) as log:
    while not stop.exists():
        row = UtteranceRow(heard=f"thrush in the frog {number}", status="recorded", limb="LH")
        log.append(visit, row, [entry])
        number += 1
        time.sleep(0.02)
        if number == 1:
            print("begun", flush=True)
print(number)
"""


def test_a_session_that_goes_on_recording_loses_nothing_and_locks_nobody_out(
    tmp_path: Path, log: Log
) -> None:
    """One process appends much faster than anyone speaks; another accepts, strikes, undoes."""
    verbs = 60
    visit = log.start_visit("typed", started_at=datetime.now(UTC).isoformat()).id
    for _ in range(verbs):
        note(log, visit, "bruise", "RF")
    stop = tmp_path / "stop"
    recording = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(log.path), visit, str(stop)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert recording.stdout is not None
        assert recording.stdout.readline() == "begun\n"
        script = "".join(("accept\n", "strike\n", "undo\n")[n % 3] for n in range(verbs))
        review = subprocess.run(
            [sys.executable, "-m", "handsfree", "review", "--log", log.path],
            input=script + "add left fore heel bruise\n",
            capture_output=True,
            text=True,
            timeout=400,
        )
    finally:
        stop.touch()
        written, errors = recording.communicate(timeout=240)
    assert (recording.returncode, errors) == (0, "")
    assert (review.returncode, review.stderr) == (0, "")
    assert "lock" not in review.stdout.lower()
    assert "in use" not in review.stdout
    assert "more heard meanwhile" in review.stdout
    assert "Added: LF heel bruise." in review.stdout
    # All that was recorded is there, once, and all that was judged is judged.
    heard = [u.heard for u in log.utterances(visit) if u.heard[-1].isdecimal()]
    assert heard == [f"thrush in the frog {n}" for n in range(int(written))]
    judged = sum(review.stdout.count(f"\n{word}") for word in ("Confirmed:", "Struck:", "Undone:"))
    assert judged == verbs
    by_review = {
        m.change for e in log.entries(visit) for m in log.history(e.id) if m.by == "review"
    }
    assert len(by_review) == verbs + 1
    assert log.check() == []
