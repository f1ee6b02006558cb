"""`handsfree listen` as a process: replay, errors in one line, and how signals end it."""

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
import soundfile

from handsfree.audio.sources import open_sound


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
