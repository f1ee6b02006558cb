"""The loudspeaker: with a device that is not there in every way, and with a real PortAudio."""

import os
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soxr

from handsfree.answers.output import Output, Speaker
from handsfree.answers.speaker import STALL_S
from handsfree.answers.tones import ANSWER_RATE, Tone, sound_of
from handsfree.audio.devices import NoMicrophone, load_portaudio
from handsfree.engines.base import SAMPLE_RATE, Sound

PATIENCE_S = 10.0


def until(true: Callable[[], object]) -> None:
    """Wait for the worker; a test that has to wait longer has failed."""
    end = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < end, "it did not happen"
        time.sleep(0.002)


class PortAudioError(Exception):
    """As sounddevice's."""


class Stream:
    """A stand-in for RawOutputStream: the test takes the sound out of it."""

    def __init__(self, module: "Sounddevice", **options: Any) -> None:
        if module.refuses is not None:
            raise module.refuses
        self.options, self.active, self.closed = options, False, False
        module.streams.append(self)

    def start(self) -> None:
        self.active = True

    def abort(self) -> None:
        if not self.active:
            raise PortAudioError("Stream is not running [PaErrorCode -9986]")
        self.active = False

    def close(self) -> None:
        self.closed = True

    def pull(self, frames: int) -> Sound:
        """What the device takes next; shape (frames, channels)."""
        channels = self.options["channels"]
        data = bytearray(b"\x7f" * (frames * channels * 4))
        self.options["callback"](memoryview(data), frames, None, None)
        return np.frombuffer(data, np.float32).reshape(frames, channels)


class Sounddevice:
    """A stand-in for the module: its devices can be taken away and refused."""

    PortAudioError = PortAudioError

    def __init__(self) -> None:
        self.streams: list[Stream] = []
        self.refuses: Exception | None = None
        self.listed = [
            info("Microphone", 0, host=0),
            info("Built-in Speakers", 2, rate=44_100.0),
            info("Headset (Yard One)", 1, host=1),
            info("Headset (Yard One)", 1),
            info("Headset", 8),
        ]
        self.default = type("Default", (), {"device": (0, 1)})()

    def query_devices(self, index: int | None = None) -> Any:
        return self.listed if index is None else self.listed[index]

    def RawOutputStream(self, **options: Any) -> Stream:
        return Stream(self, **options)


def info(name: str, channels: int, rate: float = 48_000.0, host: int = 0) -> dict[str, Any]:
    return {
        "name": name,
        "max_output_channels": channels,
        "default_samplerate": rate,
        "hostapi": host,
    }


class Clock:
    def __init__(self) -> None:
        self.s = 0.0

    def __call__(self) -> float:
        return self.s


@pytest.fixture
def module() -> Sounddevice:
    return Sounddevice()


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def make(module: Sounddevice, clock: Clock) -> Iterator[Callable[..., Speaker]]:
    made: list[Speaker] = []

    def maker(device: str | None = None, **options: Any) -> Speaker:
        options = {"load": lambda: module, "now": clock, "check_s": 0.005} | options
        made.append(Speaker(device, **options))
        return made[-1]

    yield maker
    for speaker in made:
        speaker.close()
    assert not [t for t in threading.enumerate() if t.name == "speaker"]


def wave(seconds: float) -> Sound:
    at = np.arange(round(seconds * ANSWER_RATE)) / ANSWER_RATE
    return (0.4 * np.sin(2 * np.pi * 700 * at)).astype(np.float32)


def pull_until_sound(stream: Stream, frames: int = 480) -> Sound:
    """The first block that is not silent: the worker may still be resampling."""
    found: list[Sound] = []

    def sounding() -> bool:
        block = stream.pull(frames)
        found[:] = [block]
        return bool(block.any())

    until(sounding)
    return found[0]


def opened(speaker: Speaker, module: Sounddevice, count: int = 1) -> Stream:
    speaker.play(wave(0.0))
    until(lambda: len(module.streams) == count and module.streams[-1].active)
    return module.streams[-1]


def test_nothing_is_opened_before_the_first_sound(make, module: Sounddevice) -> None:
    loads = []
    speaker = make(load=lambda: loads.append(1) or module)
    assert not speaker.playing
    assert not speaker.reference(160).any()
    speaker.stop()
    assert speaker.trouble() is None
    assert not loads
    opened(speaker, module)
    assert loads


def test_plays_at_the_rate_and_on_all_channels_of_the_device(make, module: Sounddevice) -> None:
    speaker: Output = make()
    stream = opened(speaker, module)
    assert stream.options["samplerate"] == 44_100
    assert stream.options["channels"] == 2
    assert stream.options["dtype"] == "float32"
    speaker.play(wave(0.1))
    assert speaker.playing
    got = [pull_until_sound(stream, 441)]
    got += [stream.pull(441) for _ in range(10)]
    expected = soxr.resample(wave(0.1), ANSWER_RATE, 44_100)
    out = np.concatenate(got)
    np.testing.assert_array_equal(out[:, 0], out[:, 1])
    np.testing.assert_allclose(out[:4410, 0], expected[:4410], atol=1e-6)
    assert not speaker.playing
    assert speaker.trouble() is None


def test_reference_is_in_step_with_what_the_device_took(make, module: Sounddevice) -> None:
    speaker = make("yard")
    stream = opened(speaker, module)
    speaker.play(wave(0.1))
    taken, told = [], []
    while speaker.playing or not any(block.any() for block in taken[-200:]):
        taken.append(stream.pull(480)[:, 0])
        told.append(speaker.reference(160))
    # The first blocks may have gone out before anybody asked; nothing did then.
    out, reference = np.concatenate(taken), np.concatenate(told)
    expected = soxr.resample(out, 48_000, SAMPLE_RATE)
    assert reference.shape == expected.shape
    np.testing.assert_allclose(reference[20:-20], expected[20:-20], atol=0.02)
    assert np.max(np.abs(reference)) > 0.39


def test_stop_is_heard_within_a_few_ms(make, module: Sounddevice) -> None:
    speaker = make("yard")
    stream = opened(speaker, module)
    speaker.play(wave(2.0))
    speaker.play(wave(2.0))
    pull_until_sound(stream)
    speaker.stop()
    assert not speaker.playing
    tail = stream.pull(48_000)[:, 0]
    assert tail[:100].any()
    assert not tail[480:].any()
    assert np.max(np.abs(np.diff(tail))) < 0.06
    speaker.play(wave(0.1))
    assert speaker.playing
    pull_until_sound(stream)


@pytest.mark.parametrize(
    ("wanted", "index"),
    [(None, 1), ("", 1), ("4", 4), ("built-in", 1), ("yard one", 3), ("HEADSET", 4), ("speak", 1)],
)
def test_the_device_is_found_by_number_or_name(
    make, module: Sounddevice, wanted: str | None, index: int
) -> None:
    stream = opened(make(wanted), module)
    assert stream.options["device"] == index
    assert stream.options["channels"] == min(2, module.listed[index]["max_output_channels"])


def fail_no_library() -> Any:
    raise NoMicrophone("the sound library PortAudio is missing: install it")


def fail_odd() -> Any:
    raise RuntimeError("what\nis this")


def take_all_away(module: Sounddevice) -> None:
    module.listed[:] = [info("Microphone", 0)]


def refuse(module: Sounddevice) -> None:
    module.refuses = PortAudioError("Error opening RawOutputStream: Device unavailable [-9985]")


@pytest.mark.parametrize(
    ("device", "spoil", "load", "says"),
    [
        (None, None, fail_no_library, "PortAudio is missing"),
        (None, None, fail_odd, "what is this"),
        (None, take_all_away, None, "there is no loudspeaker: plug"),
        (None, refuse, None, "Device unavailable"),
        ("nowhere", None, None, "no loudspeaker 'nowhere' (there are 1 'Built-in Speakers'"),
        ("0", None, None, "no loudspeaker '0'"),
    ],
)
def test_each_failure_gives_one_line_and_silence(
    make, module: Sounddevice, clock: Clock, device, spoil, load, says: str
) -> None:
    if spoil is not None:
        spoil(module)
    tries: list[int] = []
    source = load or (lambda: module)
    speaker = make(device, load=lambda: (tries.append(1), source())[1])
    speaker.play(wave(1.0))
    until(lambda: tries and not speaker.playing)
    line = speaker.trouble()
    assert line is not None
    assert says in line
    assert "\n" not in line
    assert line.endswith("answers are silent until then")
    # Tried again, but not said again, and later sounds do no harm.
    for more in range(2, 5):
        clock.s += 61
        speaker.play(wave(1.0))
        until(lambda more=more: len(tries) >= more and not speaker.playing)
    assert speaker.trouble() is None
    assert not speaker.reference(160).any()


def test_tried_again_only_after_a_while(make, module: Sounddevice, clock: Clock) -> None:
    refuse(module)
    tries: list[int] = []
    speaker = make(load=lambda: (tries.append(1), module)[1], retry_s=3.0)
    for _ in range(20):
        speaker.play(wave(0.1))
    until(lambda: not speaker.playing)
    assert len(tries) == 1
    clock.s = 3.1
    until(lambda: len(tries) == 2)


def test_back_again_is_said_and_old_answers_are_not_played(
    make, module: Sounddevice, clock: Clock
) -> None:
    refuse(module)
    rescans: list[int] = []
    speaker = make(rescan=lambda: rescans.append(1))
    speaker.play(wave(1.0))
    until(lambda: not speaker.playing)
    assert speaker.trouble() is not None
    assert not rescans
    module.refuses = None
    clock.s += 4
    until(lambda: module.streams and module.streams[-1].active)
    until(lambda: not speaker._failing)
    assert speaker.trouble() == "the loudspeaker is there again"
    assert speaker.trouble() is None
    assert rescans
    assert not module.streams[-1].pull(4800).any()
    speaker.play(wave(0.1))
    pull_until_sound(module.streams[-1])


def pulled_out_silently(stream: Stream, clock: Clock) -> None:
    """As when unplugged: the stream looks alive and takes nothing."""
    clock.s += STALL_S + 0.1


def said_to_be_over(stream: Stream, clock: Clock) -> None:
    stream.active = False


@pytest.mark.parametrize("unplug", [pulled_out_silently, said_to_be_over])
def test_unplugged_while_it_plays(make, module: Sounddevice, clock: Clock, unplug) -> None:
    speaker = make(retry_s=3.0)
    stream = opened(speaker, module)
    speaker.play(wave(5.0))
    pull_until_sound(stream)
    refuse(module)
    # Once the worker has seen the last block taken.
    until(lambda: speaker._seen_frames == speaker._playlist.frames)
    unplug(stream, clock)
    until(lambda: not speaker.playing)
    until(lambda: stream.closed)
    line = speaker.trouble()
    assert line is not None
    assert "gone" in line
    speaker.play(wave(5.0))
    until(lambda: not speaker.playing)
    assert speaker.trouble() is None
    module.refuses = None
    clock.s += 3.1
    until(lambda: len(module.streams) == 2)
    until(lambda: not speaker._failing)
    assert speaker.trouble() == "the loudspeaker is there again"


def test_set_aside_holds_no_stream_and_opens_again_without_a_word(
    make, module: Sounddevice
) -> None:
    speaker = make()
    stream = opened(speaker, module)
    with speaker.set_aside():
        assert stream.closed
        speaker.play(wave(0.1))
        assert len(module.streams) == 1
    until(lambda: len(module.streams) == 2 and module.streams[-1].active)
    # What was given meanwhile is played by the new one.
    pull_until_sound(module.streams[-1])
    assert speaker.trouble() is None


def test_set_aside_before_the_first_sound_opens_nothing(make, module: Sounddevice) -> None:
    speaker = make()
    with speaker.set_aside():
        pass
    until(lambda: speaker._todo.empty())
    assert not module.streams
    speaker.close()
    with speaker.set_aside():
        pass


def test_closed_inside_set_aside(make, module: Sounddevice) -> None:
    speaker = make()
    opened(speaker, module)
    with speaker.set_aside():
        speaker.close()
    assert len(module.streams) == 1


def test_close_lets_go_and_later_calls_do_no_harm(make, module: Sounddevice) -> None:
    speaker = make()
    stream = opened(speaker, module)
    speaker.play(wave(5.0))
    speaker.close()
    speaker.close()
    assert stream.closed
    speaker.play(wave(1.0))
    speaker.stop()
    assert not speaker.playing
    assert speaker.reference(16).shape == (16,)
    assert len(module.streams) == 1


def test_every_sound_is_counted_when_many_threads_play(make, module: Sounddevice) -> None:
    speaker = make("yard")
    stream = opened(speaker, module)
    click = np.full(ANSWER_RATE // 100, 0.5, np.float32)
    threads = [
        threading.Thread(target=lambda: [speaker.play(click) for _ in range(25)]) for _ in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    sounding = 0

    def over() -> bool:
        nonlocal sounding
        sounding += int(np.count_nonzero(np.abs(stream.pull(480)) > 0.2))
        return not speaker.playing

    until(over)
    assert sounding == pytest.approx(100 * 480, rel=0.02)


@pytest.fixture(scope="module")
def sink(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A sound server of these tests alone with one output that can be listened to."""
    if (
        shutil.which("pulseaudio") is None
        or not Path("/etc/alsa/conf.d/50-pulseaudio.conf").exists()
    ):
        pytest.skip("pulseaudio with its ALSA plugin is not installed")
    try:
        load_portaudio()
    except NoMicrophone as error:
        pytest.skip(str(error))
    folder = tmp_path_factory.mktemp("pulse")
    socket = folder / "native"
    environment = os.environ | {
        "XDG_RUNTIME_DIR": str(folder),
        "PULSE_RUNTIME_PATH": str(folder),
        "HOME": str(folder),
    }
    server = subprocess.Popen(
        [
            *("pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no"),
            *("--system=false", "--disable-shm=yes"),
            *("-L", f"module-native-protocol-unix auth-anonymous=1 socket={socket}"),
            *("-L", "module-null-sink sink_name=yard rate=48000 format=s16le channels=2"),
        ],
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=(folder / "log").open("w"),
    )
    try:
        until(lambda: socket.exists() or server.poll() is not None)
        if server.poll() is not None:
            pytest.skip(f"pulseaudio does not start: {(folder / 'log').read_text()[:200]}")
        yield folder
    finally:
        server.terminate()
        server.wait(10)


PLAYER = """
import sys, time, wave, numpy as np
from handsfree.answers.output import Speaker
from handsfree.answers.tones import Tone, sound_of
speaker = Speaker("pulse")
gathered = []
def wait():
    end = time.monotonic() + 10
    while speaker.playing and time.monotonic() < end:
        time.sleep(0.01)
        gathered.append(speaker.reference(160))
for tone in (Tone.READY, Tone.NUMBER):
    speaker.play(sound_of(tone))
wait()
time.sleep(0.5)
assert not speaker.playing
print("trouble:", speaker.trouble())
gathered.append(speaker.reference(16000))
print("loudest:", round(float(np.max(np.abs(np.concatenate(gathered)))), 2))
speaker.close()
"""


def test_through_a_real_portaudio(sink: Path) -> None:
    environment = os.environ | {"PULSE_SERVER": f"unix:{sink / 'native'}"}
    recorded = sink / "heard.raw"
    with recorded.open("wb") as file:
        listener = subprocess.Popen(
            [
                *("parec", "-d", "yard.monitor", "--rate=48000", "--channels=2"),
                *("--format=s16le", "--latency-msec=20"),
            ],
            env=environment,
            stdout=file,
        )
        try:
            until(lambda: recorded.stat().st_size > 0)
            player = subprocess.run(
                [sys.executable, "-c", PLAYER],
                env=environment,
                capture_output=True,
                text=True,
                timeout=60,
            )
        finally:
            listener.terminate()
            listener.wait(10)
    assert player.returncode == 0, player.stderr
    assert player.stderr == ""
    if "trouble: None" not in player.stdout:
        pytest.skip(f"PortAudio does not reach the sound server: {player.stdout}")
    assert "loudest: 0.5" in player.stdout
    heard = recorded.read_bytes()
    out = np.frombuffer(heard[: len(heard) // 4 * 4], "<i2").reshape(-1, 2) / 32768
    for tone in (Tone.READY, Tone.NUMBER):
        expected = soxr.resample(sound_of(tone), ANSWER_RATE, 48_000)
        size = len(out) + len(expected)
        fit = np.fft.irfft(
            np.fft.rfft(out[:, 0], size) * np.conj(np.fft.rfft(expected, size)), size
        )
        assert fit.max() > 0.9 * float(expected @ expected)
