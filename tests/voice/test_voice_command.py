"""`handsfree voice` on made speech through a real recognizer, and what comes of it after."""

import json
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import platformdirs
import pytest
import soundfile
import soxr

from handsfree.cli.main import run
from handsfree.engines.base import SAMPLE_RATE, Clip
from handsfree.engines.choose import pocketsphinx_for
from handsfree.engines.speaker import Speaker
from handsfree.log import Log
from handsfree.voice.kept import Kept, Taught, read, versions, write
from handsfree.voice.lessons import teach
from handsfree.voice.outcome import KINDS, interval

from .prepared import GRAMMAR, PHRASES

READ = 12
"""Of the twenty, to be quick; and the last of them is a recording without speech."""


def say(text: str, path: Path, voice: str = "slt") -> None:
    """A made voice of a short throat, in quiet."""
    flite = shutil.which("flite")
    if flite is None:
        pytest.skip("needs the voice of Debian's flite")
    subprocess.run([flite, "-voice", voice, "-t", text, "-o", path], check=True)
    sound, rate = soundfile.read(path, dtype="float32")
    sound = soxr.resample(sound, rate, SAMPLE_RATE)
    sound = 0.05 * sound / np.sqrt((sound**2).mean())
    sound = np.concatenate([np.zeros(SAMPLE_RATE), sound, np.zeros(SAMPLE_RATE)])
    hiss = np.random.default_rng(len(text)).normal(0, 1e-3, len(sound))
    soundfile.write(path, sound + hiss, SAMPLE_RATE)


@pytest.fixture(scope="module")
def spoken(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("read")
    for phrase in PHRASES[:READ]:
        say(phrase.text, folder / f"{phrase.number:02d}.wav")
    soundfile.write(folder / f"{READ + 1}.wav", np.zeros(SAMPLE_RATE), SAMPLE_RATE)
    (folder / f"{READ + 2}.wav").write_bytes(b"no sound at all")
    return folder


@pytest.fixture
def settings_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(platformdirs, "user_config_dir", lambda *a, **k: str(tmp_path))
    monkeypatch.setenv("HANDSFREE_LOG", str(tmp_path / "log.db"))
    return tmp_path / "voices"


def test_warped_filters_take_effect_and_are_undone(spoken: Path) -> None:
    """A short throat fits better with the filters stretched than pressed together, and what one
    recognizer was told does not stay in the next."""
    text = PHRASES[0].text
    sound, _ = soundfile.read(spoken / "01.wav", dtype="float32")
    clip = Clip(sound, None, 0.0, len(sound) / SAMPLE_RATE)

    def fit(warp: float) -> float:
        return float(pocketsphinx_for(GRAMMAR, warp, live=True).score(clip, [text])[0])  # type: ignore[attr-defined]

    plain, stretched, pressed, again = fit(1.0), fit(1.12), fit(0.88), fit(1.0)
    assert pressed < stretched
    assert plain not in (stretched, pressed)
    assert again == plain


def test_from_readings_to_records(
    spoken: Path, settings_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ["voice", "--from", str(spoken), "--engine", "pocketsphinx", "--json"]
    assert run([*arguments, "--name", "Me"]) == 0
    shown = capsys.readouterr()
    result: dict[str, Any] = json.loads(shown.out)
    assert f"{READ + 1}.wav: no speech was found" in shown.err
    assert f"{READ + 2}.wav: " in shown.err

    assert [each["said"] for each in result["phrases"]] == [p.text for p in PHRASES[:READ]]
    assert result["not_read"] == list(range(READ + 1, 21))
    for side in ("before", "after"):
        counted = [each[side]["result"] for each in result["phrases"]]
        assert result[side] == {kind: counted.count(kind) for kind in KINDS}
        caught = result[side]["right"] + result[side]["right but doubtful"]
        assert result["understood_interval"][side] == pytest.approx(
            interval(caught, READ), abs=1e-4
        )
    assert result["before"]["right"] >= READ // 2, "a clear voice, heard in quiet"
    assert result["after"]["sure but wrong"] <= result["before"]["sure but wrong"]
    warped = [each for each in result["tried"] if "throat" in each["what"]]
    assert len(warped) == 1
    assert warped[0]["kept"] == (result["warp"] != 1.0)
    assert not (tmp_path / "log.db").exists(), "nothing was learnt, so no log is made"

    kept = read("me")
    assert kept is not None
    assert kept.speaker == Speaker(result["warp"], result["shift"])
    assert (kept.before, kept.after) == (result["before"], result["after"])
    assert kept.engines == versions()


def transcribed(
    path: Path, capsys: pytest.CaptureFixture[str], *more: str, code: int = 0
) -> tuple[list[dict[str, Any]], str]:
    arguments = ["transcribe", "--json", "--no-log", "--engine", "pocketsphinx"]
    assert run([*arguments, *more, str(path)]) == code
    shown = capsys.readouterr()
    return [json.loads(line) for line in shown.out.splitlines()], shown.err


def confidence(lines: Sequence[dict[str, Any]]) -> float:
    (line,) = lines
    return float(line["confidence"])


def test_transcribe_goes_by_the_voice(
    spoken: Path, settings_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = spoken / "01.wav"
    plain, err = transcribed(path, capsys)
    assert "voice" not in err
    shift = {"alone-pocketsphinx": -3.0}
    write(Kept("me", Speaker(1.08, shift), "now", engines=versions()))
    fitted, err = transcribed(path, capsys)
    assert "fitted to the voice of me" in err
    assert confidence(fitted) < confidence(plain)
    assert transcribed(path, capsys, "--voice", "none")[0] == plain
    _, err = transcribed(path, capsys, "--voice", "you", code=1)
    assert "there is no voice 'you'" in err
    (settings_folder / "me.toml").write_text("warp = 'much'\n", encoding="utf-8")
    lines, err = transcribed(path, capsys)
    assert lines == plain
    assert sum("me.toml" in line for line in err.splitlines()) == 1


def test_listen_goes_by_the_voice(
    spoken: Path, settings_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(Kept("you", Speaker(1.08, {"alone-pocketsphinx": -6.0}), "now", engines=versions()))
    common = ["listen", "--from", str(spoken / "01.wav"), "--speed", "0", "--json", "--tones-only"]
    common += ["--engine", "pocketsphinx"]
    found: list[float] = []
    for name in ("you", "none"):
        # A log of its own: one log knows a recording it has heard, and does not hear it twice.
        assert run([*common, "--voice", name, "--log", str(tmp_path / f"{name}.db")]) == 0
        shown = capsys.readouterr()
        assert ("fitted to the voice of you" in shown.err) == (name == "you")
        found.append(confidence([json.loads(line) for line in shown.out.splitlines()]))
    assert found[0] < found[1]


def test_forgetting(
    settings_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lesson = Taught("thresh insane truck tell circus", PHRASES[4].text)
    with Log.open(tmp_path / "log.db") as log:
        teach(log, "me", [lesson], ("neural",))
    write(Kept("me", Speaker(), "now", (lesson,)))
    assert run(["voice", "--forget"]) == 0
    assert "heard 'thresh insane" in capsys.readouterr().out
    assert read("me") is None
    with Log.open(tmp_path / "log.db") as log:
        assert log.lessons() == []
    assert run(["voice", "--forget"]) == 1
    assert "there is no voice 'me'" in capsys.readouterr().err


def test_a_damaged_file_can_be_forgotten(
    settings_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    settings_folder.mkdir()
    (settings_folder / "me.toml").write_text("[", encoding="utf-8")
    assert run(["voice", "--forget", "--json"]) == 0
    shown = capsys.readouterr()
    assert "is damaged" in shown.err
    assert json.loads(shown.out)["forgotten"] == []
    assert read("me") is None


def test_the_phrases_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["voice", "--phrases"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines == [f"{phrase.number:02d}  {phrase.text}" for phrase in PHRASES]


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (("--name", "../x"), 1, "cannot be a speaker's name"),
        (("--engine", "text"), 1, "hears nothing"),
        (("--from", "nowhere-at-all"), 2, "cannot be read: No such file"),
    ],
)
def test_what_is_given_wrongly(
    settings_folder: Path,
    capsys: pytest.CaptureFixture[str],
    arguments: tuple[str, ...],
    code: int,
    says: str,
) -> None:
    assert run(["voice", *arguments]) == code
    (line,) = capsys.readouterr().err.splitlines()
    assert says in line


def test_too_few_readings_change_nothing(
    spoken: Path, settings_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "few"
    folder.mkdir()
    shutil.copy(spoken / "01.wav", folder)
    assert run(["voice", "--from", str(folder), "--engine", "pocketsphinx"]) == 1
    assert "1 of 20 phrases were read" in capsys.readouterr().err
    assert not settings_folder.exists()


def test_ctrl_c_changes_nothing(
    spoken: Path, settings_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write(Kept("me", Speaker(1.04), "before"))

    def interrupted(*arguments: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("handsfree.voice.measure.Measure.hear", interrupted)
    assert run(["voice", "--from", str(spoken), "--engine", "pocketsphinx"]) == 130
    kept = read("me")
    assert kept is not None
    assert kept.made_at == "before"
    assert [path.name for path in settings_folder.iterdir()] == ["me.toml"]
