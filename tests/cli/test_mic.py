"""`handsfree mic` on recordings, through the real recognizers, and without a microphone."""

import json
import shutil
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import soundfile
import soxr

from handsfree.audio import devices as audio_devices
from handsfree.audio.level import Level, level_verdict
from handsfree.audio.live import Trouble
from handsfree.cli.mic import advice, level_of, mic, phrases
from handsfree.errors import HandsfreeError, UnreadableSound
from handsfree.grammar.grammar import load

RATE = 16000
DEMO = Path(__file__).parents[2] / "demo_audio" / "riding_horse.flac"


def run(*arguments: str | Path) -> int:
    code = mic.main([str(a) for a in arguments], standalone_mode=False)
    assert isinstance(code, int)
    return code


def test_phrases_are_said_of_the_trade_and_stay_the_same() -> None:
    grammar = load()
    made = phrases(grammar)
    assert [p.text for p in phrases(grammar)] == [p.text for p in made]
    kinds = [type(p.meaning.statements[0].entry).__name__ for p in made]
    assert kinds == ["Finding", "Nails", "Measurement", "Work", "Shoe"]
    for phrase in made:
        assert 4 <= len(phrase.words) <= 6
        assert grammar.read(phrase.words).meaning == phrase.meaning


@pytest.fixture(scope="module")
def spoken(tmp_path_factory: pytest.TempPathFactory) -> np.ndarray:
    """Three seconds of quiet and the five phrases in a voice that the demo does not have."""
    flite = shutil.which("flite")
    if flite is None:
        pytest.skip("needs the voice of Debian's flite")
    path = tmp_path_factory.mktemp("voice") / "said.wav"
    parts = [np.zeros(RATE * 7 // 2, np.float32)]
    for phrase in phrases(load()):
        subprocess.run([flite, "-voice", "slt", "-t", phrase.text, "-o", path], check=True)
        sound, rate = soundfile.read(path, dtype="float32")
        sound = soxr.resample(sound, rate, RATE)
        parts += [0.05 * sound / np.sqrt((sound**2).mean()), np.zeros(RATE * 5 // 4, np.float32)]
    return np.concatenate(parts)


def heard(path: Path, sound: np.ndarray, capsys: Any) -> dict[str, Any]:
    soundfile.write(path, np.clip(sound, -1, 1), RATE)
    assert run("--json", "--from", path) == 0
    out = capsys.readouterr().out
    result = json.loads(out)
    assert isinstance(result, dict)
    return result


def noise(count: int, rms: float) -> np.ndarray:
    return np.random.default_rng(5).normal(0, rms, count).astype(np.float32)


def test_a_good_microphone(tmp_path: Path, spoken: np.ndarray, capsys: Any) -> None:
    result = heard(tmp_path / "good.wav", spoken + noise(len(spoken), 2e-4), capsys)
    assert result["level"]["verdict"] == "good"
    # The voice was made with -26 dB, pauses within it included.
    assert -27 <= result["level"]["speech_db"] <= -22
    assert result["noise"]["verdict"] == "good"
    assert result["noise"]["noise_db"] == pytest.approx(20 * np.log10(2e-4), abs=2)
    assert [p["said"] for p in result["phrases"]] == [p.text for p in phrases(load())]
    assert result["heard_right"] == sum(p["right"] for p in result["phrases"]) >= 4
    assert result["advice"] == "Nothing needs to be changed."


@pytest.mark.parametrize("rms", [0.002, 0.005, 0.01])
def test_speech_above_noise_is_measured_rightly(spoken: np.ndarray, rms: float) -> None:
    """Against the ratio of the two before they were mixed, each by its spectrum
    within 300-3400 Hz over the times in which the voice speaks."""

    def in_band(sound: np.ndarray) -> float:
        power = np.abs(np.fft.rfft(sound)) ** 2
        hertz = np.fft.rfftfreq(len(sound), 1 / RATE)
        return float(power[(hertz >= 300) & (hertz <= 3400)].sum())

    added = noise(len(spoken), rms)
    speaks = np.convolve(np.abs(spoken) > 0.005, np.ones(800), "same") > 0
    expected = 10 * np.log10(in_band(spoken[speaks]) / in_band(added[speaks]))
    level = level_of([(spoken + added).astype(np.float32)])
    assert level.above_noise_db == pytest.approx(expected, abs=3)


def test_clipping_is_told(spoken: np.ndarray) -> None:
    level = level_of([np.clip(15 * spoken, -1, 1).astype(np.float32)])
    assert level_verdict(level) == "clipping"
    assert level.clipped > 0.01
    assert "level down" in advice(level, 5, 5, 48000, [])


def test_speech_that_is_no_phrase_is_not_right(capsys: Any) -> None:
    """A recording that says other things, in words for people."""
    assert run("--from", DEMO) == 0
    shown = capsys.readouterr().out
    assert "0 of 5 heard right" in shown
    assert "Keep quiet" in shown
    assert "Say (5 of 5):" in shown
    assert shown.count("not right (heard: ") >= 4


def test_silence(tmp_path: Path, capsys: Any) -> None:
    result = heard(tmp_path / "silent.wav", np.zeros(RATE * 6), capsys)
    assert result["level"] == {"verdict": "no speech", "speech_db": None, "clipped_share": 0.0}
    assert (result["heard_right"], result["phrases"][0]["heard"]) == (0, None)
    assert "No speech was found" in result["advice"]


def test_a_damaged_recording_is_told(tmp_path: Path, capsys: Any) -> None:
    soundfile.write(tmp_path / "cut.wav", noise(RATE * 6, 0.01), RATE)
    data = (tmp_path / "cut.wav").read_bytes()
    (tmp_path / "cut.wav").write_bytes(data[: len(data) * 3 // 4])
    assert run("--json", "--from", tmp_path / "cut.wav") == 0
    (trouble,) = json.loads(capsys.readouterr().out)["troubles"]
    assert trouble["kind"] == "ended-early"


def test_what_is_no_recording(tmp_path: Path) -> None:
    with pytest.raises(UnreadableSound, match=r"none\.wav: no such file"):
        run("--from", tmp_path / "none.wav")


def fake(monkeypatch: pytest.MonkeyPatch, *names: str) -> None:
    found = [
        {"name": n, "hostapi": 0, "max_input_channels": 1, "default_samplerate": 48000.0}
        for n in names
    ]
    sound = SimpleNamespace(
        query_devices=lambda: found,
        query_hostapis=lambda: [{"name": "ALSA"}],
        default=SimpleNamespace(device=[0, 0]),
        PortAudioError=RuntimeError,
    )
    monkeypatch.setattr(audio_devices, "load_portaudio", lambda: sound)


def test_listing(monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    fake(monkeypatch, "Green Headset", "Built-in \x1b[31m")
    assert run("--list") == 0
    shown = capsys.readouterr().out
    assert "Green Headset" in shown
    assert "\x1b" not in shown
    assert run("--list", "--json") == 0
    assert json.loads(capsys.readouterr().out)[0]["rate"] == 48000


@pytest.mark.parametrize(
    ("names", "arguments", "says"),
    [
        ((), (), "there is no microphone"),
        ((), ("--list",), "there is no microphone"),
        (("Green",), ("--device", "blue"), "there are 0 'Green'"),
        (("Green 1", "Green 2"), ("--device", "green"), "several microphones"),
        (("Green",), ("--engine", "nothing", "--from", str(DEMO)), "no engine 'nothing'"),
    ],
)
def test_what_is_missing_ends_with_code_4(
    monkeypatch: pytest.MonkeyPatch, names: tuple[str, ...], arguments: tuple[str, ...], says: str
) -> None:
    fake(monkeypatch, *names)
    with pytest.raises(HandsfreeError, match=says) as error:
        run(*arguments)
    assert error.value.exit_code == 4
    assert "\n" not in str(error.value)


def test_without_portaudio() -> None:
    """In a process of its own, as a machine without the library behaves."""
    script = (
        "import sys, ctypes.util\n"
        "ctypes.util.find_library = lambda name: None\n"
        "from handsfree.cli.mic import mic\n"
        "mic.main(['--list'], standalone_mode=False)\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    if sys.platform != "linux":
        pytest.skip("elsewhere the library is inside the package")
    assert "sudo apt-get install libportaudio2" in done.stderr.splitlines()[-1]


LOUD = Level(-20.0, -60.0, 38.0, 0.0, 0.0, 5.0, 5.0)


@pytest.mark.parametrize(
    ("level", "right", "rate", "troubles", "says"),
    [
        (LOUD, 5, 48000, [], "Nothing"),
        (LOUD, 2, 48000, [], "one breath"),
        (LOUD, 5, 8000, [], "telephone"),
        (Level(-60.0, -90.0, 30.0, 0.0, 0.0, 5.0, 5.0), 5, 48000, [], "level up"),
        (Level(-20.0, -25.0, 5.0, 0.0, 0.0, 5.0, 5.0), 1, 48000, [], "boom"),
        (Level(-20.0, -25.0, 5.0, 25.0, 0.0, 5.0, 5.0), 1, 48000, [], "wind"),
        (Level(-20.0, -35.0, 14.0, 0.0, 0.0, 5.0, 5.0), 3, 48000, [], "boom"),
        (Level(None, -120.0, None, 0.0, 0.0, 0.0, 9.0), 0, 48000, ["zeros"], "unmute"),
    ],
)
def test_advice(level: Level, right: int, rate: int, troubles: list[str], says: str) -> None:
    said = advice(level, right, 5, rate, troubles)
    assert says in said
    assert len(said.splitlines()) == 1


def test_a_live_test_goes_on_when_nothing_is_said(capsys: Any) -> None:
    """Each phrase is waited for only so long, also while the microphone is gone."""
    from handsfree.audio.live import Scripted
    from handsfree.cli.mic import PHRASE_S, QUIET_S, _Trial
    from handsfree.cli.screen import console

    gone = Trouble("gone", "the microphone is gone")
    source = Scripted([noise(RATE * 10, 1e-3), gone, 600.0])
    trial = _Trial(source, phrases(load()), console())
    trial.run(ears=None)  # type: ignore[arg-type]
    assert trial.heard == [None] * 5
    assert trial.seconds == pytest.approx(QUIET_S + 5 * PHRASE_S, abs=3)
    assert "the microphone is gone" in capsys.readouterr().out
