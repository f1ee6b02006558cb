"""An attention word as a user meets it: made speech through the real commands."""

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile

from handsfree.audio.sources import open_sound
from handsfree.log import Log

NOTE = "left hind outside heel bruise"
SAID = [
    # With the seconds of quiet after each: 6 are more than it stays awake for.
    ("shall we have a cup of tea then", 1.5),
    (NOTE, 1.5),
    (f"anvil {NOTE}", 1.5),
    ("thrush in the frog", 6.0),
    (NOTE, 1.5),
    ("anvil", 1.5),
    ("toe length four inches", 1.5),
]
STAYS = ("--attention", "anvil", "--attention-for", 4)


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    if shutil.which("flite") is None:
        pytest.skip("flite is not installed")
    folder = tmp_path_factory.mktemp("recording")
    parts = [np.zeros(8000, np.float32)]
    for number, (phrase, quiet_s) in enumerate(SAID):
        path = folder / f"{number}.wav"
        subprocess.run(["flite", "-voice", "slt", "-t", phrase, "-o", path], check=True)
        sound = np.concatenate(list(open_sound(path)))
        sound *= 0.08 / np.sqrt((sound**2).mean())
        parts += [sound, np.zeros(int(quiet_s * 16_000), np.float32)]
    whole = np.concatenate(parts)
    hiss = np.random.default_rng(1).normal(0, 1e-4, len(whole))
    soundfile.write(folder / "yard.flac", whole + hiss, 16_000)
    return folder / "yard.flac"


AWAKE = [
    (f"anvil {NOTE}", "recorded", None),
    ("thrush in the frog", "recorded", None),
    ("anvil", "command", "attention"),
    ("toe length four inches", "recorded", None),
]


def test_listening_takes_only_what_follows_the_word(run, recording: Path, tmp_path: Path) -> None:
    replay = ("listen", "--from", recording, "--speed", 0, "--engine", "pocketsphinx", "--json")
    done = run(*replay, *STAYS)
    assert done.code == 0, done.err
    assert [(o["heard"], o["status"], o["command"]) for o in done.objects] == AWAKE
    assert "asleep until 'anvil' is said; awake for 4 s" in done.err
    (first, *_) = done.objects
    assert first["entries"][0]["limb"] == "LH"
    assert "anvil" not in str(first["entries"])
    with Log.open(tmp_path / "log.db") as log:
        kept = [u for visit in log.visits() for u in log.utterances(visit.id)]
        assert [u.heard for u in kept] == [heard for heard, _, _ in AWAKE]


def test_asleep_it_answers_nothing(run, recording: Path, tmp_path: Path) -> None:
    """One tone as it begins and one for each utterance that is taken."""
    done = run(
        *("listen", "--from", recording, "--speed", 0, "--engine", "pocketsphinx"),
        *("--tones-only", "--answers", tmp_path / "answers.wav", *STAYS),
    )
    tones = [line.split("tone: ")[1] for line in done.out.splitlines() if "tone: " in line]
    assert tones == ["ready", "finding", "finding", "command", "number"]


def test_a_recording_is_transcribed_likewise(run, recording: Path) -> None:
    heard = ("transcribe", recording, "--json", "--no-log", "--engine", "pocketsphinx")
    assert [o["heard"] for o in run(*heard, *STAYS).objects] == [heard for heard, _, _ in AWAKE]


def test_a_recording_that_is_brought_in_is_heard_likewise(
    run, recording: Path, tmp_path: Path
) -> None:
    done = run("bring", recording, "--engine", "pocketsphinx", *STAYS)
    assert done.code == 0, done.err
    with Log.open(tmp_path / "log.db") as log:
        (visit,) = log.visits()
        assert [u.heard for u in log.utterances(visit.id)] == [heard for heard, _, _ in AWAKE]


def test_without_the_option_the_notes_are_taken_that_were_left_out(run, recording: Path) -> None:
    done = run("transcribe", recording, "--json", "--no-log", "--engine", "pocketsphinx")
    assert [o["heard"] for o in done.objects].count(NOTE) >= 2
    assert "asleep" not in done.err


@pytest.mark.parametrize("command", ["listen --from nowhere.wav", "transcribe nowhere.wav"])
@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--attention", "bob"], "one syllable"),
        (["--attention", "fetlock"], "said in notes itself"),
        (["--attention", "s1"], "letters a to z"),
        (["--attention-for", "9"], "--attention-for needs --attention WORD"),
        (["--attention", "anvil", "--attention-for", "0"], "--attention-for"),
    ],
)
def test_each_mistake_is_one_line(run, command: str, options: list[str], said: str) -> None:
    done = run(*command.split(), *options)
    assert (done.code, done.out) == (1, "")
    assert said in done.err
    assert len(done.err.splitlines()) == 1


def test_typed_words_need_no_waking(run) -> None:
    done = run("transcribe", "-", "--engine", "text", "--attention", "anvil", stdin="left hind")
    assert (done.code, done.out) == (1, "")
    assert "typed words" in done.err
