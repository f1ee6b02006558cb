"""Every fault of a microphone, on a stand-in for sounddevice, and PulseAudio where it is."""

import builtins
import os
import queue
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from handsfree.audio import devices as audio_devices
from handsfree.audio.devices import NoMicrophone, c_libraries_silenced, choose, devices
from handsfree.audio.live import Trouble
from handsfree.audio.microphone import Microphone
from handsfree.engines.base import SAMPLE_RATE, Sound

GREEN = {"name": "Green Headset: USB Audio", "max_input_channels": 1, "default_samplerate": 48000.0}
INNER = {"name": "Built-in Mic", "max_input_channels": 2, "default_samplerate": 44100.0}
SPEAKER = {"name": "Green Headset: Out", "max_input_channels": 0, "default_samplerate": 48000.0}


class PortAudioError(Exception):
    pass


class FakeTime:
    """Time that passes only while the microphone waits; things happen at set times."""

    def __init__(self) -> None:
        self.s = 50.0
        self._plan: list[tuple[float, int, Callable[[], None]]] = []

    def at(self, when: float, what: Callable[[], None]) -> None:
        self._plan.append((50.0 + when, len(self._plan), what))
        self._plan.sort()

    def now(self) -> float:
        return self.s

    def get(self, inbox: "queue.SimpleQueue[Any]", timeout: float) -> Any:
        until = self.s + timeout
        while inbox.empty():
            if not self._plan or self._plan[0][0] > until:
                self.s = max(self.s, until)
                return None
            when, _, what = self._plan.pop(0)
            self.s = max(self.s, when)
            what()
        return inbox.get()


@dataclass
class FakeSound:
    """As much of the module sounddevice as is used. `plugged` is what is really there;
    like PortAudio it sees changes only when it is started anew."""

    plugged: list[dict[str, Any]]
    refuses: Callable[[dict[str, Any]], bool] = lambda setting: False
    seen: list[dict[str, Any]] = field(default_factory=list)
    streams: list[Any] = field(default_factory=list)
    asked: list[dict[str, Any]] = field(default_factory=list)
    hosts: tuple[str, ...] = ("ALSA",)
    default_input: int = 0
    starts: int = 0

    def __post_init__(self) -> None:
        self.PortAudioError = PortAudioError
        self.seen = list(self.plugged)
        self.default = SimpleNamespace(device=[self.default_input, -1])

    def query_devices(self) -> list[dict[str, Any]]:
        return [{"hostapi": 0} | device for device in self.seen]

    def query_hostapis(self) -> list[dict[str, Any]]:
        return [{"name": name} for name in self.hosts]

    def _terminate(self) -> None:
        assert all(stream.closed for stream in self.streams)

    def _initialize(self) -> None:
        self.starts += 1
        self.seen = list(self.plugged)

    def RawInputStream(self, **setting: Any) -> Any:
        self.asked.append(setting)
        device = self.seen[setting["device"]]
        if device not in self.plugged or self.refuses(setting):
            raise PortAudioError("Invalid sample rate [PaErrorCode -9997]")
        stream = FakeStream(**setting)
        self.streams.append(stream)
        return stream


class FakeStream:
    def __init__(self, **setting: Any) -> None:
        self.setting, self.closed = setting, False

    def start(self) -> None: ...

    def abort(self) -> None: ...

    def close(self) -> None:
        self.closed = True

    def deliver(self, values: np.ndarray, overflow: bool = False) -> None:
        """Values -1..1, shape (n,) or (n, channels), as PortAudio would give them."""
        table = np.repeat(values[:, None], self.setting["channels"], 1)
        table = table if values.ndim == 1 else values
        if self.setting["dtype"] == "int16":
            table = np.round(table * 32767)
        data = table.astype(self.setting["dtype"]).tobytes()
        flags = SimpleNamespace(input_overflow=overflow)
        self.setting["callback"](memoryview(data), len(values), None, flags)


@dataclass
class Bench:
    sound: FakeSound
    time: FakeTime

    def open(self, device: str | None = None, **more: Any) -> Microphone:
        return Microphone(
            device, sound=self.sound, clock=self.time, start=lambda job: job(), **more
        )

    def plays(self, values: np.ndarray, rate: int, at_s: float, step_s: float = 0.03) -> None:
        """What the microphone picks up from `at_s` on, in blocks of `step_s`."""
        step = round(rate * step_s)
        for start in range(0, len(values), step):
            part = values[start : start + step]
            self.time.at(at_s + (start + len(part)) / rate, lambda part=part: self._give(part))

    def _give(self, part: np.ndarray) -> None:
        for stream in self.sound.streams:
            if not stream.closed and self.sound.seen[stream.setting["device"]] in (
                self.sound.plugged
            ):
                stream.deliver(part)

    def plug(self, at_s: float, *what: dict[str, Any]) -> None:
        self.time.at(at_s, lambda: setattr(self.sound, "plugged", list(what)))


def bench(*plugged: dict[str, Any], **more: Any) -> Bench:
    return Bench(FakeSound(list(plugged), **more), FakeTime())


def tone(rate: int, seconds: float, hz: float = 500.0) -> np.ndarray:
    return 0.3 * np.sin(2 * np.pi * hz * np.arange(round(rate * seconds)) / rate)


def listen(
    microphone: Microphone, reads: int, b: Bench | None = None, until_s: float = 0.0
) -> tuple[Sound, list[Trouble]]:
    sounds: list[Sound] = [np.zeros(0, np.float32)]
    troubles: list[Trouble] = []
    for _ in range(reads):
        if b is not None and b.time.now() - 50 >= until_s - 1e-6:
            break
        part = microphone.read()
        assert part is not None
        (troubles if isinstance(part, Trouble) else sounds).append(part)  # type: ignore[arg-type]
    return np.concatenate(sounds), troubles


@pytest.mark.parametrize("rate", [8000, 16000, 44100, 48000])
def test_any_rate_becomes_16_khz(rate: int) -> None:
    b = bench(GREEN | {"default_samplerate": float(rate)})
    with closing(b.open()) as microphone:
        assert microphone.rate == rate
        assert microphone.name == "microphone Green Headset: USB Audio"
        b.plays(tone(rate, 3), rate, 0)
        heard, troubles = listen(microphone, 150, b, 3.0)
    assert troubles == []
    # The resampler still holds up to 0.1 s.
    assert len(heard) == pytest.approx(3 * SAMPLE_RATE, abs=1600)
    middle = heard[8000:40000]
    assert np.sqrt((middle**2).mean()) == pytest.approx(0.3 / np.sqrt(2), rel=0.02)
    assert np.fft.rfft(middle).__abs__().argmax() * SAMPLE_RATE / len(middle) == 500


def test_stereo_is_averaged_and_of_more_channels_the_first_is_taken() -> None:
    for count, expected in ((2, 0.2), (4, 0.3)):
        wide = GREEN | {"max_input_channels": count, "default_samplerate": 16000.0}
        b = bench(wide, refuses=lambda setting, count=count: setting["channels"] != count)
        with closing(b.open()) as microphone:
            table = np.tile([0.3, 0.1, -0.5, 0.0][:count], (480, 1))
            b.time.at(0.1, lambda b=b, table=table: b.sound.streams[0].deliver(table))
            heard, _ = listen(microphone, 1)
        assert heard == pytest.approx(np.full(480, expected), abs=1e-4)


def test_a_plugin_with_32_channels_is_opened_with_one() -> None:
    b = bench(GREEN | {"max_input_channels": 32})
    b.open()
    assert b.sound.streams[0].setting["channels"] == 1


def test_a_device_that_refuses_its_rate_or_int16_is_opened_otherwise() -> None:
    b = bench(GREEN, refuses=lambda s: s["samplerate"] != 44100 or s["dtype"] == "int16")
    with closing(b.open()) as microphone:
        assert microphone.rate == 44100
        b.plays(tone(44100, 1), 44100, 0)
        heard, _ = listen(microphone, 40)
    assert np.abs(heard).max() == pytest.approx(0.3, rel=0.05)


def test_a_device_that_refuses_everything() -> None:
    b = bench(GREEN, refuses=lambda s: True)
    with pytest.raises(NoMicrophone, match="'Green Headset: USB Audio' cannot be opened") as error:
        b.open()
    assert "-9997" in str(error.value)
    assert error.value.exit_code == 4


def test_no_device_at_the_start() -> None:
    with pytest.raises(NoMicrophone, match="no microphone: plug one in"):
        bench(SPEAKER).open()


def test_waiting_for_a_device() -> None:
    b = bench(SPEAKER)
    microphone = b.open(wait=True)
    b.plug(5, SPEAKER, GREEN)
    b.plays(tone(48000, 8), 48000, 0)
    heard, troubles = listen(microphone, 80)
    assert [t.kind for t in troubles] == ["gone", "back"]
    assert "plug one in" in troubles[0].line
    assert 5 <= troubles[1].gap_s <= 7.5
    assert len(heard) > 0


def test_a_name_that_is_no_help_is_refused_even_when_waiting() -> None:
    b = bench(GREEN, GREEN | {"name": "green headset 2"})
    with pytest.raises(NoMicrophone, match="several") as error:
        b.open("GREEN", wait=True)
    assert "0 'Green Headset: USB Audio', 1 'green headset 2'" in str(error.value)


def test_choosing() -> None:
    b = bench(INNER, SPEAKER, GREEN)
    found = devices(b.sound)
    assert [d.index for d in found] == [0, 2]
    for wanted, index in ((None, 0), ("2", 2), ("green", 2), ("BUILT", 0), (" usb ", 2)):
        assert choose(found, wanted).index == index
    for wanted in ("blue", "1", "", "7"):
        with pytest.raises(NoMicrophone, match=r"there are 0 'Built-in Mic', 2 'Green Headset"):
            choose(found, wanted)


def test_one_microphone_under_several_hosts_is_not_ambiguous() -> None:
    twice = [GREEN | {"hostapi": n} for n in (1, 0)]
    b = bench(*twice, INNER, hosts=("MME", "Windows WASAPI"), default_input=1)
    assert choose(devices(b.sound), "green").host == "MME"


def test_overflows_are_counted_and_told_at_most_every_10_s() -> None:
    b = bench(GREEN | {"default_samplerate": 16000.0})
    microphone = b.open()
    block = tone(16000, 0.03)
    late = 0.0
    for i in range(1000):
        lost = i % 100 == 99
        late += 0.25 * lost
        b.time.at((i + 1) * 0.03 + late, lambda lost=lost: b.sound.streams[0].deliver(block, lost))
    heard, troubles = listen(microphone, 1000)
    assert {t.kind for t in troubles} == {"overflow"}
    assert 2 <= len(troubles) <= 4
    assert "lost" in troubles[0].line
    # Each loss took a quarter of a second; the last ones may not have been told yet.
    told = sum(t.gap_s for t in troubles)
    assert 1.4 <= told <= 2.5
    assert told == pytest.approx(0.25 * round(told / 0.25), abs=0.01)
    assert len(heard) == (1000 - len(troubles)) * 480


def test_lost_time_shows_without_a_flag_but_lateness_does_not() -> None:
    b = bench(GREEN | {"default_samplerate": 16000.0})
    microphone = b.open()
    rng = np.random.default_rng(1)
    for i in range(400):
        jitter = 0.0 if i % 5 == 4 else rng.uniform(0, 0.1)
        lost = 0.8 if i >= 200 else 0.0
        b.time.at((i + 1) * 0.03 + jitter + lost, lambda: b.sound.streams[0].deliver(np.ones(480)))
    _, troubles = listen(microphone, 400)
    assert [t.kind for t in troubles] == ["overflow"]
    assert troubles[0].gap_s == pytest.approx(0.8, abs=0.1)


def test_unplugged_and_back_with_another_number() -> None:
    b = bench(GREEN, SPEAKER)
    restarts: list[str] = []

    @contextmanager
    def around() -> Iterator[None]:
        restarts.append("speaker closed")
        yield
        restarts.append("speaker open")

    with closing(b.open(around_restart=around)) as microphone:
        b.plays(tone(48000, 20), 48000, 0)
        b.plug(3, SPEAKER)
        b.plug(9, INNER, SPEAKER, GREEN)
        heard, troubles = listen(microphone, 800, b, 19.0)
        assert [t.kind for t in troubles] == ["gone", "back"]
        assert microphone.name == "microphone Green Headset: USB Audio"
        assert b.sound.streams[-1].setting["device"] == 2
        assert b.sound.streams[0].closed
        # Counted by samples and the gap, the clock is right to a few blocks.
        counted = len(heard) / SAMPLE_RATE + troubles[1].gap_s
        assert counted == pytest.approx(b.time.now() - 50, abs=0.35)
        assert b.sound.starts >= 3
        assert restarts == ["speaker closed", "speaker open"] * b.sound.starts


def test_everything_queued_before_the_fault_is_delivered() -> None:
    b = bench(GREEN)
    microphone = b.open()
    # The reader is busy for ten seconds; after three of them the microphone goes.
    for start in range(0, 144000, 1440):
        b.sound.streams[0].deliver(tone(48000, 3)[start : start + 1440])
    b.time.s += 10
    b.sound.plugged = []
    heard, troubles = listen(microphone, 110)
    assert [t.kind for t in troubles] == ["gone"]
    assert len(heard) == 3 * SAMPLE_RATE


def test_the_default_is_given_up_for_another_only_after_a_while() -> None:
    b = bench(GREEN, INNER)
    microphone = b.open()
    b.plays(tone(48000, 60), 48000, 0)
    b.plug(2, INNER)
    _, troubles = listen(microphone, 120)
    assert [t.kind for t in troubles] == ["gone"]
    _, troubles = listen(microphone, 300)
    assert "Built-in" in troubles[0].line
    assert troubles[0].gap_s >= 19


def test_a_named_microphone_is_never_given_up() -> None:
    b = bench(GREEN, INNER)
    microphone = b.open("green")
    b.plays(tone(48000, 100), 48000, 0)
    b.plug(2, INNER)
    _, troubles = listen(microphone, 400)
    assert [t.kind for t in troubles] == ["gone"]


def test_a_sound_system_that_hangs_is_told_once_and_reading_goes_on() -> None:
    b = bench(GREEN)
    microphone = Microphone(sound=b.sound, clock=b.time, start=lambda job: None)
    before = b.time.now()
    _, troubles = listen(microphone, 200)
    assert [t.kind for t in troubles] == ["gone", "gone"]
    assert "start handsfree again" in troubles[1].line
    assert b.time.now() - before <= 200 * 0.31
    microphone.close()
    assert microphone.read() is None


def test_exact_silence_is_told_once_until_sound_comes() -> None:
    b = bench(GREEN)
    microphone = b.open()
    quiet, sound = np.zeros(48000 * 8), tone(48000, 1)
    b.plays(np.concatenate([quiet, sound, quiet, sound]), 48000, 0)
    _, troubles = listen(microphone, 700, b, 18.0)
    assert [t.kind for t in troubles] == ["zeros", "zeros"]
    assert "unmute" in troubles[0].line


def test_faint_sound_is_no_silence() -> None:
    b = bench(GREEN)
    microphone = b.open()
    b.plays(np.tile([0.0, 1 / 32767], 48000 * 3), 48000, 0)
    assert listen(microphone, 250, b, 6.0)[1] == []


def test_a_reader_that_never_comes_does_not_fill_the_memory() -> None:
    b = bench(GREEN)
    microphone = b.open()
    for _ in range(10_000):
        b.sound.streams[0].deliver(np.ones(1440))
    heard, _ = listen(microphone, 4100)
    assert 100 * SAMPLE_RATE < len(heard) < 125 * SAMPLE_RATE


def test_closing_ends_the_reading_and_the_stream() -> None:
    b = bench(GREEN)
    microphone = b.open()
    microphone.close()
    microphone.close()
    assert microphone.read() is None
    assert b.sound.streams[0].closed


def test_odd_numbers_from_a_driver() -> None:
    b = bench(GREEN | {"default_samplerate": 16000.0}, refuses=lambda s: s["dtype"] == "int16")
    microphone = b.open()
    b.sound.streams[0].deliver(np.array([np.nan, np.inf, -np.inf, 7.0]))
    assert listen(microphone, 1)[0].tolist() == [0.0, 1.0, -1.0, 1.0]


@pytest.mark.parametrize(
    ("fault", "says"),
    [
        (OSError("PortAudio library not found"), "apt-get install libportaudio2"),
        (ImportError("No module named sounddevice"), "pip install sounddevice"),
        (PortAudioError("Error initializing PortAudio"), "does not start: Error initializing"),
    ],
)
def test_without_the_library(monkeypatch: pytest.MonkeyPatch, fault: Exception, says: str) -> None:
    real = builtins.__import__

    def refuse(name: str, *more: Any) -> Any:
        if name == "sounddevice":
            raise fault
        return real(name, *more)

    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(builtins, "__import__", refuse)
    with pytest.raises(NoMicrophone, match=says) as error:
        Microphone()
    assert "\n" not in str(error.value)


def test_chatter_of_c_libraries_is_hidden_and_ours_is_not() -> None:
    script = (
        "import os, sys\n"
        "from handsfree.audio.devices import c_libraries_silenced, quiet_stderr\n"
        "with quiet_stderr(): os.write(2, b'chatter 1 ')\n"
        "os.write(2, b'error 1 ')\n"
        "with c_libraries_silenced():\n"
        "    os.write(2, b'chatter 2 '); print('ours', file=sys.stderr)\n"
        "os.write(2, b'error 2 ')\n"
        "print('end', file=sys.stderr)\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, check=True)
    assert done.stderr.split() == b"error 1 ours error 2 end".split()


def test_silencing_leaves_a_caught_stderr_alone(capsys: pytest.CaptureFixture[str]) -> None:
    with c_libraries_silenced():
        print("ours", file=sys.stderr)
    assert capsys.readouterr().err == "ours\n"


class Pulse:
    """A PulseAudio of our own, whose only source is what is played into its null sink."""

    def __init__(self, place: Path) -> None:
        self.place, self.socket = place, place / "socket"
        self.environment = {
            "PULSE_SERVER": f"unix:{self.socket}",
            "PULSE_RUNTIME_PATH": str(place),
            "PULSE_STATE_PATH": str(place / "state"),
            "PULSE_COOKIE": str(place / "cookie"),
        }
        self._daemon: subprocess.Popen[bytes] | None = None

    def start(self) -> bool:
        self.socket.unlink(missing_ok=True)
        modules = (
            f"module-native-protocol-unix socket={self.socket} auth-anonymous=1",
            "module-null-sink sink_name=horse",
        )
        loads = [word for module in modules for word in ("-L", module)]
        flags = "-n --daemonize=no --exit-idle-time=-1 --use-pid-file=no --log-level=error"
        self._daemon = self._run(["pulseaudio", *flags.split(), *loads])
        for _ in range(50):
            if self._run(["pactl", "set-default-source", "horse.monitor"]).wait() == 0:
                return True
            time.sleep(0.1)
        return False

    def play(self, raw: Path) -> "subprocess.Popen[bytes]":
        return self._run(["paplay", "--raw", "--rate=16000", "--channels=1", str(raw)])

    def kill(self) -> None:
        if self._daemon is not None:
            self._daemon.kill()
            self._daemon.wait()

    def _run(self, command: list[str]) -> "subprocess.Popen[bytes]":
        nowhere = subprocess.DEVNULL
        environment = os.environ | self.environment
        return subprocess.Popen(command, stdout=nowhere, stderr=nowhere, env=environment)


PROBE = """
import sys
from handsfree.audio.devices import devices
print(*(d.name for d in devices()), sep="\\n")
"""

CAPTURE = """
import sys, time
import numpy as np
from handsfree.audio.devices import c_libraries_silenced
from handsfree.audio.live import Trouble
from handsfree.audio.microphone import Microphone
with c_libraries_silenced():
    microphone = Microphone("pulse")
    print("open", microphone.rate, flush=True)
    ends = time.monotonic() + 30
    loud, told = 0, set()
    while time.monotonic() < ends and "again" not in told:
        part = microphone.read()
        if isinstance(part, Trouble):
            print(part.kind, round(part.gap_s, 2), flush=True)
            loud = 0
            told.add(part.kind)
        elif len(part) and np.abs(part).max() > 0.1:
            loud += len(part)
            if loud > 8000 and not loud < 0:
                spectrum = np.abs(np.fft.rfft(part))
                print("loud", int(spectrum.argmax() * 16000 / len(part) / 50) * 50, flush=True)
                loud = -10**9
                if "back" in told:
                    told.add("again")
    microphone.close()
"""


def test_a_real_sound_system_that_dies_and_comes_back(tmp_path: Path) -> None:
    """PulseAudio behind ALSA's plugin behind PortAudio; its death is the unplugging."""
    missing = [p for p in ("pulseaudio", "pactl", "paplay") if shutil.which(p) is None]
    if missing:
        pytest.skip(f"{', '.join(missing)} of PulseAudio is not installed")
    raw = tmp_path / "tone.raw"
    (tone(16000, 20, 1000) * 32767).astype("<i2").tofile(raw)
    pulse = Pulse(tmp_path)
    players: list[subprocess.Popen[bytes]] = []
    capture = None
    try:
        if not pulse.start():
            pytest.skip("PulseAudio does not start here")
        environment = os.environ | pulse.environment
        probe = subprocess.run(
            [sys.executable, "-c", PROBE], capture_output=True, text=True, env=environment
        )
        if "pulse" not in probe.stdout.split("\n"):
            pytest.skip(f"PortAudio does not see PulseAudio: {probe.stdout or probe.stderr}")
        players.append(pulse.play(raw))
        capture = subprocess.Popen(
            [sys.executable, "-c", CAPTURE],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=environment,
        )
        assert capture.stdout is not None
        assert capture.stdout.readline().startswith("open ")
        assert capture.stdout.readline() in ("loud 1000\n", "loud 950\n")
        pulse.kill()
        assert capture.stdout.readline() == "gone 0.0\n"
        assert pulse.start()
        players.append(pulse.play(raw))
        kind, gap = capture.stdout.readline().split()
        assert kind == "back"
        assert float(gap) > 1
        assert capture.stdout.readline() in ("loud 1000\n", "loud 950\n")
        out, err = capture.communicate(timeout=20)
        assert (capture.returncode, out, err) == (0, "", "")
    finally:
        pulse.kill()
        for process in [*players, capture]:
            if process is not None:
                process.kill()
                process.wait()


def test_stand_in_is_like_the_real_module() -> None:
    """What the program uses of sounddevice is there in the installed one."""
    try:
        sound = audio_devices.load_portaudio()
    except NoMicrophone as error:
        pytest.skip(str(error))
    for name in ("RawInputStream", "query_devices", "query_hostapis", "PortAudioError"):
        assert hasattr(sound, name)
    for name in ("_terminate", "_initialize"):
        assert callable(getattr(sound, name))
    assert isinstance(sound.default.device[0], int)
    assert all(d.channels > 0 for d in devices())
