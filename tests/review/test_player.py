"""Hearing an utterance again: with a device, without one, and with sound that is no sound."""

import os
import subprocess
import sys
import threading
import time
from typing import Any

import numpy as np
import pytest

from handsfree.answers.speaker import Speaker
from handsfree.audio.devices import NoMicrophone
from handsfree.audio.speech import to_flac
from handsfree.engines.base import SAMPLE_RATE
from handsfree.review.player import SoundPlayer

RATE = 44_100
FLAC = to_flac(np.sin(np.arange(SAMPLE_RATE // 5) * 0.2).astype(np.float32) * 0.5)
"""0.2 s of a tone."""


class PortAudioError(Exception):
    """As sounddevice's."""


class Sounddevice:
    """A stand-in for the module, with one loudspeaker that plays as fast as it is asked."""

    PortAudioError = PortAudioError

    def __init__(self) -> None:
        self.taken: list[np.ndarray] = []
        self.refuses: Exception | None = None
        self.default = type("Default", (), {"device": (0, 0)})

    def query_devices(self, index: int | None = None) -> Any:
        device = {
            "name": "Loudspeaker",
            "index": 0,
            "hostapi": 0,
            "max_output_channels": 1,
            "default_samplerate": float(RATE),
        }
        return [device] if index is None else device

    def query_hostapis(self, index: int | None = None) -> Any:
        host = {"name": "ALSA", "default_output_device": 0}
        return [host] if index is None else host

    def RawOutputStream(self, **options: Any) -> "Stream":
        if self.refuses is not None:
            raise self.refuses
        return Stream(self, options["callback"])


class Stream:
    def __init__(self, module: Sounddevice, callback: Any) -> None:
        self.module, self.callback, self.active = module, callback, False

    def start(self) -> None:
        self.active = True
        threading.Thread(target=self._run, daemon=True).start()

    def _run(self) -> None:
        while self.active:
            data = bytearray(4 * 441)
            self.callback(memoryview(data), 441, None, None)
            self.module.taken.append(np.frombuffer(data, np.float32))
            time.sleep(0.001)

    def abort(self) -> None:
        self.active = False

    def close(self) -> None:
        self.active = False


@pytest.fixture
def sound() -> Sounddevice:
    return Sounddevice()


def player(sound: Sounddevice, wait: bool = True) -> SoundPlayer:
    return SoundPlayer(wait=wait, opened=lambda: Speaker(load=lambda: sound))


def test_the_whole_sound_goes_out_at_the_device_s_rate(sound: Sounddevice) -> None:
    played = player(sound)
    assert played.play(FLAC) is None
    played.close()
    out = np.concatenate(sound.taken)
    loud = np.flatnonzero(np.abs(out) > 0.05)
    assert (loud[-1] - loud[0]) / RATE == pytest.approx(0.2, abs=0.005)
    assert np.abs(out).max() == pytest.approx(0.5, abs=0.05)


def test_without_waiting_it_returns_when_it_has_begun_and_a_second_takes_its_place(
    sound: Sounddevice,
) -> None:
    played = player(sound, wait=False)
    assert played.play(FLAC) is None
    assert played.play(FLAC) is None
    played.close()
    assert np.abs(np.concatenate(sound.taken)).max() > 0.1


@pytest.mark.parametrize("wait", [True, False])
def test_a_device_that_refuses_is_one_line_each_time_and_works_once_it_is_there(
    sound: Sounddevice, wait: bool
) -> None:
    sound.refuses = PortAudioError("Error opening RawOutputStream: Device unavailable [-9985]")
    played = player(sound, wait)
    for _ in range(2):
        line = played.play(FLAC)
        assert line is not None
        assert "Device unavailable" in line
        assert "answers" not in line
        assert "\n" not in line
    sound.refuses = None
    assert played.play(FLAC) is None
    played.close()


def test_a_missing_sound_library_is_one_line() -> None:
    def missing() -> Any:
        raise NoMicrophone("the sound library PortAudio is missing: install it")

    played = SoundPlayer(wait=True, opened=lambda: Speaker(load=missing))
    assert played.play(FLAC) == "the sound library PortAudio is missing: install it"
    played.close()
    played.close()


@pytest.mark.parametrize(
    "flac", [b"", b"no sound at all", FLAC[:60], to_flac(np.zeros(0, np.float32))]
)
def test_sound_that_cannot_be_read_is_one_line(sound: Sounddevice, flac: bytes) -> None:
    line = player(sound).play(flac)
    assert line is not None
    assert line.startswith("the sound cannot be read: ")
    assert "\n" not in line
    assert "BytesIO" not in line
    assert not sound.taken


def test_no_sound_library_is_loaded_before_the_first_sound() -> None:
    script = (
        "import sys; from handsfree.review.player import SoundPlayer; SoundPlayer().close()\n"
        "print([m for m in ('numpy', 'soxr', 'soundfile', 'sounddevice') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


@pytest.mark.skipif(sys.platform != "linux", reason="ALSA's and PulseAudio's settings")
def test_a_real_portaudio_without_any_device_is_one_line() -> None:
    script = (
        "import sys; from handsfree.review.player import SoundPlayer\n"
        "p = SoundPlayer(wait=True); print(p.play(sys.stdin.buffer.read())); p.close()"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        input=FLAC,
        capture_output=True,
        env=os.environ | {"PULSE_SERVER": "unix:/nowhere"},
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    assert len(done.stdout.splitlines()) == 1
    assert not done.stdout.startswith(b"None")
    assert b"Traceback" not in done.stderr
