"""`handsfree listen` as a process: replay, errors in one line, and how signals end it."""

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
import soundfile

from handsfree.audio.sources import open_sound
from handsfree.log import Log


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three phrases in a made voice, with a pause after each."""
    import numpy as np

    if shutil.which("flite") is None:
        pytest.skip("flite is not installed")
    folder = tmp_path_factory.mktemp("recording")
    parts = [np.zeros(8000, np.float32)]
    for number, phrase in enumerate(("left hind", "thrush in the frog", "toe length four inches")):
        path = folder / f"{number}.wav"
        subprocess.run(["flite", "-voice", "slt", "-t", phrase, "-o", path], check=True)
        parts += [*open_sound(path), np.zeros(24_000, np.float32)]
    whole = folder / "visit.flac"
    soundfile.write(whole, np.concatenate(parts), 16_000)
    return whole


def test_a_recording_goes_through_the_live_loop(run: Any, recording: Path, tmp_path: Path) -> None:
    answers = tmp_path / "answers.wav"
    done = run(
        *("listen", "--from", recording, "--speed", 0, "--engine", "pocketsphinx"),
        *("--answers", answers, "--tones-only"),
    )
    assert done.code == 0
    assert "frog thrush" in done.out
    assert "tone: finding" in done.out
    assert soundfile.info(answers).duration > 3
    shown = run("show")
    assert "toe length 4 in" in shown.out


def test_json_is_alone_on_standard_output(run: Any, recording: Path) -> None:
    done = run("listen", "--from", recording, "--speed", 0, "--engine", "pocketsphinx", "--json")
    assert done.objects[0]["heard"] == "left hind"
    assert all(each["utterance_id"] for each in done.objects)


def heard_in_the_log(path: Path) -> list[list[str]]:
    """What was heard, by visit."""
    with Log.open(path) as log:
        return [[u.heard for u in log.utterances(visit.id)] for visit in log.visits()]


FAST = ("--speed", 0, "--engine", "pocketsphinx", "--tones-only")
SAID = ["left hind", "thrush in the frog", "toe length four inches"]


def test_a_recording_is_heard_once(run: Any, recording: Path, tmp_path: Path) -> None:
    first = run("listen", "--from", recording, *FAST, "--json")
    again = run("listen", "--from", recording, *FAST, "--json")
    assert (first.code, again.code) == (0, 0)
    assert again.objects == first.objects
    assert "visit.flac: was taken before, visit " in again.err
    assert "--again hears it anew" in again.err
    assert "was taken before" in run("transcribe", "--engine", "pocketsphinx", recording).err
    assert heard_in_the_log(tmp_path / "log.db") == [SAID]
    run("listen", "--from", recording, *FAST, "--again")
    assert heard_in_the_log(tmp_path / "log.db") == [SAID, SAID]


def test_two_recordings_are_heard_as_one_and_known_each(
    run: Any, recording: Path, tmp_path: Path
) -> None:
    sound, rate = soundfile.read(recording)
    soundfile.write(tmp_path / "b.wav", sound[: len(sound) // 2], rate)
    both = ("--from", recording, "--from", tmp_path / "b.wav")
    assert run("listen", *both, *FAST).code == 0
    (visit,) = heard_in_the_log(tmp_path / "log.db")
    assert visit[:4] == [*SAID, "left hind"]
    for named in (both, both[2:]):
        assert "b.wav: was taken before" in run("listen", *named, *FAST).err
    assert heard_in_the_log(tmp_path / "log.db") == [visit]


def test_a_log_that_stays_locked_is_an_error_and_the_sound_is_kept(
    run: Any, recording: Path, tmp_path: Path
) -> None:
    path = tmp_path / "log.db"
    with Log.open(path), closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        done = run("listen", "--from", recording, *FAST)
    assert done.code == 5
    assert "3 notes could not be written to the log" in done.err
    assert f"the sound is kept in {path}.spool and is heard again" in done.err
    assert heard_in_the_log(path) == []
    assert list((tmp_path / "log.db.spool").glob("*/*.pcm"))
    again = run("listen", "--from", recording, *FAST)
    assert again.code == 0
    assert heard_in_the_log(path) == [SAID]
    assert not any((tmp_path / "log.db.spool").iterdir())


def test_killed_and_run_again_a_recording_is_one_visit(recording: Path, tmp_path: Path) -> None:
    environment = {k: v for k, v in os.environ.items() if not k.startswith("HANDSFREE")}
    environment["HANDSFREE_LOG"] = str(tmp_path / "log.db")
    command = [sys.executable, "-m", "handsfree", "listen", "--from", recording, "--json"]
    command += ["--engine", "pocketsphinx", "--tones-only", "--speed", "4"]
    for words in SAID[:2]:
        process = subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True)
        assert process.stdout is not None
        assert f'"heard": "{words}"' in process.stdout.readline()
        process.kill()
        process.communicate()
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
    assert "visit.flac: was begun before; gone on with" in done.stderr
    assert heard_in_the_log(tmp_path / "log.db") == [SAID]
    with Log.open(tmp_path / "log.db") as log:
        starts = [u.start_s for u in log.utterances(log.visits()[0].id)]
    whole = soundfile.info(recording).duration
    assert sorted(starts) == starts
    assert whole / 2 < starts[-1] < whole


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["--speed", "4"], 1, "--from"),
        (["--engine", "text"], 1, "transcribe"),
        (["--from", "nowhere.wav"], 2, "no such file"),
        (["--from", "nowhere.wav", "--sheet", "nowhere.toml"], 3, "nowhere.toml"),
        (["--horse", "Nobody"], 1, "no horse 'Nobody'"),
    ],
)
def test_each_mistake_is_one_line(run: Any, arguments: list[str], code: int, said: str) -> None:
    done = run("listen", *arguments)
    assert (done.code, done.out) == (code, "")
    assert said in done.err
    assert len(done.err.splitlines()) == 1


def test_no_such_microphone_is_one_line(run: Any) -> None:
    """Where there is no microphone or PortAudio at all, that is the line."""
    done = run("listen", "--device", "no such thing", PULSE_SERVER="unix:/nowhere")
    assert (done.code, done.out) == (4, "")
    assert len(done.err.splitlines()) == 1


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
@pytest.mark.parametrize(("number", "code"), [(signal.SIGTERM, 143), (signal.SIGINT, 0)])
def test_a_signal_ends_it_in_order(recording: Path, tmp_path: Path, number: int, code: int) -> None:
    environment = {k: v for k, v in os.environ.items() if not k.startswith("HANDSFREE")}
    process = subprocess.Popen(
        [
            *(sys.executable, "-m", "handsfree", "listen", "--from", recording, "--json"),
            *("--engine", "pocketsphinx", "--answers", str(tmp_path / "a.wav")),
        ],
        env=environment | {"HANDSFREE_LOG": str(tmp_path / "log.db")},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    first = process.stdout.readline()
    assert '"left hind"' in first
    time.sleep(0.3)
    process.send_signal(number)
    _, errors = process.communicate(timeout=60)
    assert process.returncode == code
    assert "Traceback" not in errors
