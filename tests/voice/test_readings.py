"""Phrases asked for one after another, and recordings by number."""

import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr

from handsfree.audio.live import Scripted, Trouble
from handsfree.engines.base import SAMPLE_RATE, Clip, Sound
from handsfree.errors import UnreadableSound
from handsfree.voice.readings import TIMES, WAIT_S, Reader, clip_of, find_recordings

from .prepared import PHRASES

SOME = PHRASES[:3]


def quiet(seconds: float) -> Sound:
    count = round(seconds * SAMPLE_RATE)
    return np.random.default_rng(3).normal(0, 2e-4, count).astype(np.float32)


@pytest.fixture(scope="module")
def said(tmp_path_factory: pytest.TempPathFactory) -> list[Sound]:
    """The three phrases in a made voice."""
    flite = shutil.which("flite")
    if flite is None:
        pytest.skip("needs the voice of Debian's flite")
    path = tmp_path_factory.mktemp("voice") / "said.wav"
    sounds: list[Sound] = []
    for phrase in SOME:
        subprocess.run([flite, "-voice", "kal16", "-t", phrase.text, "-o", path], check=True)
        sound, rate = soundfile.read(path, dtype="float32")
        sound = soxr.resample(sound, rate, SAMPLE_RATE)
        sounds.append((0.05 * sound / np.sqrt((sound**2).mean())).astype(np.float32))
    return sounds


def reader(
    steps: Sequence[Sound | float | Trouble], backs: Sequence[int] = ()
) -> tuple[Reader, list[str]]:
    """`backs`: after so many phrases were taken, the one before is wanted again, once each."""
    shown: list[str] = []
    left = list(backs)

    def back() -> bool:
        if left and sum(line == "taken" for line in shown) == left[0]:
            left.pop(0)
            return True
        return False

    return Reader(Scripted(steps), SOME, shown.append, lambda clip: True, back), shown


def asked(shown: Sequence[str]) -> list[int]:
    return [int(line.split("(")[1].split()[0]) for line in shown if line.startswith("Read (")]


def test_each_phrase_gets_the_clip_that_follows_it(said: list[Sound]) -> None:
    steps = [part for sound in said for part in (quiet(1), sound, quiet(1.5))]
    made, shown = reader(steps)
    clips = made.run()
    assert asked(shown) == [1, 2, 3]
    for clip, sound in zip(clips, said, strict=True):
        assert clip is not None
        assert len(clip.raw) / SAMPLE_RATE == pytest.approx(len(sound) / SAMPLE_RATE, abs=1.0)


def test_a_cough_is_not_taken(said: list[Sound]) -> None:
    steps = [part for sound in said for part in (quiet(1), sound, quiet(1.5))]
    made, _ = reader(steps)
    calls: list[Clip] = []
    made.is_speech = lambda clip: bool(calls.append(clip) or len(calls) > 1)
    clips = made.run()
    assert [clip is not None for clip in clips] == [True, True, False]
    assert clips[0] is calls[1]


def test_the_one_before_can_be_read_again(said: list[Sound]) -> None:
    order = [0, 1, 1, 2]
    steps = [part for i in order for part in (quiet(1), said[i], quiet(1.5))]
    made, shown = reader(steps, backs=[2])
    clips = made.run()
    assert asked(shown) == [1, 2, 3, 2, 3]
    assert all(clip is not None for clip in clips)


def test_what_nobody_reads_is_asked_for_again_and_passed_over() -> None:
    gone = Trouble("gone", "the microphone is gone")
    made, shown = reader([quiet(1), gone, 600.0])
    assert made.run() == [None] * 3
    assert asked(shown) == [n for n in (1, 2, 3) for _ in range(TIMES)]
    assert shown.count("passed over") == 3
    assert "the microphone is gone" in shown
    assert made._now_s == pytest.approx(3 * TIMES * WAIT_S, abs=5)


def test_a_recording_that_ends_leaves_the_rest() -> None:
    made, _ = reader([quiet(2)])
    assert made.run() == [None] * 3


def touch(folder: Path, *names: str) -> None:
    for name in names:
        (folder / name).write_bytes(b"")


def test_recordings_are_found_by_number(tmp_path: Path) -> None:
    touch(tmp_path, "1.wav", "02.FLAC", "020.wav", "02-again.wav", "notes.txt", "x.wav", "3.txt")
    found = find_recordings(tmp_path, 20)
    assert {number: path.name for number, path in found.first.items()} == {
        1: "1.wav",
        2: "02.FLAC",
        20: "020.wav",
    }
    assert {number: path.name for number, path in found.again.items()} == {2: "02-again.wav"}


@pytest.mark.parametrize(
    ("names", "says"),
    [
        (("x.wav",), "no recording named by a phrase's number"),
        (("21.wav",), "there is no phrase 21; they are 1 to 20"),
        (("0.wav",), "there is no phrase 0"),
        (("7.wav", "07.flac"), "phrase 7 is in 07.flac already"),
    ],
)
def test_what_is_wrong_with_a_folder(tmp_path: Path, names: tuple[str, ...], says: str) -> None:
    touch(tmp_path, *names)
    with pytest.raises(UnreadableSound, match=says):
        find_recordings(tmp_path, 20)


def test_no_folder(tmp_path: Path) -> None:
    with pytest.raises(UnreadableSound, match="cannot be read: No such file"):
        find_recordings(tmp_path / "none", 20)


def test_the_reading_in_a_recording(tmp_path: Path, said: list[Sound]) -> None:
    path = tmp_path / "01.wav"
    soundfile.write(path, np.concatenate([quiet(1), said[0], quiet(1)]), SAMPLE_RATE)
    clip = clip_of(path)
    assert clip is not None
    assert len(clip.raw) < len(said[0]) + SAMPLE_RATE
    soundfile.write(path, quiet(2), SAMPLE_RATE)
    assert clip_of(path) is None
