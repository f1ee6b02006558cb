"""Recordings of every kind through the real recognizers and the real command."""

import json
import os
import shutil
import subprocess
import sys
import threading
import wave
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr

FLITE = shutil.which("flite")
SAID = "left hind outside heel bruise"


@pytest.fixture(scope="module")
def spoken(tmp_path_factory: pytest.TempPathFactory) -> tuple[np.ndarray, int]:
    """One sentence in a voice that the demo does not have, with quiet before and after."""
    if FLITE is None:
        pytest.skip("needs the voice of Debian's flite")
    path = tmp_path_factory.mktemp("voice") / "said.wav"
    subprocess.run([FLITE, "-voice", "slt", "-t", SAID, "-o", path], check=True)
    sound, rate = soundfile.read(path, dtype="float32")
    quiet = np.random.default_rng(1).normal(0, 1e-3, rate).astype(np.float32)
    return np.concatenate([quiet, sound, quiet]), rate


def check_the_line(done, name: str) -> None:
    assert done.code == 0, done.err
    (line,) = done.objects
    assert line["file"].endswith(name)
    assert (line["heard"], line["status"], line["limb"]) == (SAID, "recorded", "LH")
    assert line["entries"][0] | {"kind": "finding", "zone": "heel"} == line["entries"][0]
    assert 0.3 < line["start_s"] < 1.2
    assert line["start_s"] + 1 < line["end_s"] < 5
    assert line["confidence"] >= 0.9
    assert line["engines"] == ["pocketsphinx", "neural"]


@pytest.mark.parametrize(
    ("name", "rate", "channels"),
    [("mono.wav", 8000, 1), ("stereo.wav", 44100, 2), ("high.flac", 48000, 1)],
)
def test_any_rate_and_channels(run, tmp_path, spoken, name: str, rate: int, channels: int):
    sound = soxr.resample(spoken[0], spoken[1], rate)
    soundfile.write(tmp_path / name, np.stack([sound] * channels, axis=1), rate)
    check_the_line(run("transcribe", "--json", tmp_path / name), name)


def test_standard_input_keeps_sound_and_entry_in_the_log(run, tmp_path, spoken):
    soundfile.write(tmp_path / "x.wav", *spoken, subtype="PCM_16")
    done = run("transcribe", "--json", "-", stdin=(tmp_path / "x.wav").read_bytes())
    check_the_line(done, "-")
    from handsfree.audio.speech import from_flac
    from handsfree.log import Log

    with Log.open(tmp_path / "log.db") as log:
        sound = log.sound(done.objects[0]["utterance_id"])
    assert sound is not None
    line = done.objects[0]
    assert len(from_flac(sound)) == pytest.approx(
        16000 * (line["end_s"] - line["start_s"]), abs=400
    )


def test_a_pipe_that_stays_open_is_printed_as_it_is_said(tmp_path, spoken):
    import io

    file = io.BytesIO()
    soundfile.write(file, np.concatenate([spoken[0]] * 2), spoken[1], "PCM_16", format="WAV")
    data = bytearray(file.getvalue())
    data[4:8] = data[40:44] = b"\xff" * 4
    process = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "handsfree",
            "transcribe",
            "--json",
            "--engine",
            "pocketsphinx",
            "-",
        ],
        env=os.environ | {"HANDSFREE_LOG": str(tmp_path / "log.db")},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    late = threading.Timer(60, process.kill)
    late.start()
    process.stdin.write(data)
    process.stdin.flush()
    assert json.loads(process.stdout.readline())["heard"] == SAID
    out, _ = process.communicate()
    late.cancel()
    assert json.loads(out)["heard"] == SAID


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="a device of Unix")
def test_what_never_ends_and_is_no_sound_is_one_line(run):
    done = run("transcribe", "--json", "--engine", "pocketsphinx", "/dev/zero")
    assert (done.code, done.out) == (2, "")
    assert "/dev/zero: is not a WAV, FLAC, MP3 or M4A recording" in done.err


def test_truncated_recording_gives_what_is_there(run, tmp_path, spoken):
    sound = np.concatenate([spoken[0], spoken[0]])
    soundfile.write(tmp_path / "cut.wav", sound, spoken[1], subtype="PCM_16")
    whole = (tmp_path / "cut.wav").read_bytes()
    (tmp_path / "cut.wav").write_bytes(whole[: len(whole) // 2 + 44])
    check_the_line(run("transcribe", "--json", tmp_path / "cut.wav"), "cut.wav")


@pytest.mark.parametrize("noise", [0.0, 0.001, 0.05])
def test_silence_and_noise_print_nothing(run, tmp_path, noise: float):
    sound = np.random.default_rng(3).normal(0, noise, 16000 * 6).astype(np.float32)
    soundfile.write(tmp_path / "noise.wav", sound, 16000)
    done = run("transcribe", "--json", tmp_path / "noise.wav")
    assert (done.code, done.out) == (0, "")


def test_recording_without_a_single_sample(run, tmp_path):
    with wave.open(str(tmp_path / "none.wav"), "wb") as file:
        file.setparams((1, 2, 16000, 0, "NONE", ""))
    done = run("transcribe", "--json", tmp_path / "none.wav")
    assert (done.code, done.out) == (0, "")


@pytest.mark.parametrize("kind", ["empty", "text", "missing", "folder"])
def test_what_cannot_be_read_is_named_and_the_rest_is_done(run, tmp_path: Path, kind: str):
    bad = tmp_path / f"{kind}.wav"
    if kind == "empty":
        bad.touch()
    elif kind == "text":
        bad.write_text("this is no sound\n" * 50)
    elif kind == "folder":
        bad.mkdir()
    quiet = tmp_path / "quiet.wav"
    soundfile.write(quiet, np.zeros(16000, np.float32), 16000)
    done = run("transcribe", "--json", "--engine", "pocketsphinx", bad, quiet)
    assert (done.code, done.out) == (2, "")
    named = [line for line in done.err.splitlines() if bad.name in line]
    assert len(named) == 1
    assert "Traceback" not in done.err
