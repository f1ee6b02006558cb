"""Commands that only read: they make nothing, and a write-protected log will do for them."""

import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from handsfree.cli import run
from handsfree.errors import ExitCode
from handsfree.log import Log, UtteranceRow
from handsfree.years import tell

HORSE = "juniper"
READING = [
    ["visits"],
    ["show"],
    ["find", "crack"],
    ["find", "zymotic"],
    ["horses"],
    ["words", "--learnt"],
    ["brief", HORSE],
    ["due"],
    ["change", HORSE],
    ["balance", HORSE],
    ["marks", HORSE],
    ["nails", HORSE],
    ["wear", HORSE],
    ["weight", HORSE],
    ["export", "--json"],
    ["bill", HORSE],
    ["keep", "erased"],
    ["keep", "thin-sound", "--older-than", "3"],
    ["review", "--plain"],
]
WRITING_ELSEWHERE = [
    ["sheet", HORSE, "--to", "{new}.html"],
    ["calendar", "--to", "{new}.ics"],
    ["keep", "archive", HORSE, "--to", "{new}.zip"],
]
NOT_MADE = [
    ["keep", "backup"],
    ["keep", "check"],
    ["practice", "push", "postgresql://localhost/none"],
    ["relisten"],
    ["merge", "{log}", "--look"],
]


@pytest.mark.parametrize("command", [*READING, *WRITING_ELSEWHERE, *NOT_MADE], ids=" ".join)
def test_a_log_that_is_not_there_is_not_made(
    command: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = tmp_path / "no" / "such" / "log.db"
    words = [each.format(new=tmp_path / "new", log=tmp_path / "other.db") for each in command]
    assert run([*words, "--log", str(log)]) == ExitCode.LOG
    told = capsys.readouterr()
    assert f"{log}" in told.out + told.err
    if command not in NOT_MADE:
        assert told.err == (f"handsfree: there is no log at {log}; 'handsfree listen' begins one\n")
    assert list(tmp_path.iterdir()) == []


ALL = """
import contextlib, io, json, os, sys
from handsfree.cli import main

def told(commands):
    for command in commands:
        out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8") for _ in "oe")
        sys.stdin = io.StringIO("x\\n")
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = main.run(command)
        for stream in (out, err):
            stream.flush()
        yield code, *(each.buffer.getvalue().decode() for each in (out, err))

first, then = json.loads(sys.argv[1])
list(told(first))  # loads all there is: it may lie where an ordinary user cannot look
# The superuser may write anywhere, so this runs as somebody else.
if os.geteuid() == 0:
    os.setgroups([]); os.setgid(65534); os.setuid(65534)
json.dump(list(told(then)), sys.stdout)
"""


@pytest.mark.skipif(os.name != "posix", reason="file modes are of POSIX systems")
def test_a_write_protected_log_can_be_read(tmp_path: Path) -> None:
    # An ordinary user does not get into pytest's own folders.
    with tempfile.TemporaryDirectory(prefix="handsfree-test-") as named:
        folder, own = Path(named), Path(named) / "own"
        path = folder / "log.db"
        with Log.open(path) as log:
            tell(log)
            visit = log.start_visit("typed", log.add_horse("Bess").id)
            log.append(visit.id, UtteranceRow(heard="x", status="unclear"))
        own.mkdir()
        own.chmod(0o777)
        shutil.copy(path, tmp_path)
        path.chmod(0o444)
        folder.chmod(0o555)
        first, commands = (
            [
                [*(each.format(new=new) for each in words), "--log", str(log)]
                for words in [*READING, *WRITING_ELSEWHERE, ["keep", "check"]]
            ]
            for log, new in ((tmp_path / "log.db", tmp_path / "new"), (path, own / "new"))
        )
        done = subprocess.run(
            [sys.executable, "-c", ALL, json.dumps([first, commands])],
            capture_output=True,
            text=True,
            env={**os.environ, "HOME": str(own), "XDG_CONFIG_HOME": str(own), "TZ": "UTC"},
        )
        assert done.returncode == 0, done.stderr
        for command, (code, out, err) in zip(commands, json.loads(done.stdout), strict=True):
            assert code == ExitCode.OK, f"{command}: {out} {err}"
            if command[0] == "review":
                # It can be looked at; a verb says why it does nothing.
                assert f"log {path}: cannot be written; you can look, but nothing is kept" in err
                assert "cannot be written; check the permissions" in out
        assert {each.suffix for each in own.iterdir()} >= {".html", ".ics", ".zip"}
        assert sorted(folder.iterdir()) == [path, own]
        folder.chmod(0o700)
