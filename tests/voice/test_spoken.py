"""The screen and the microphone of a voice set-up; the microphone alone is a stand-in."""

import os
import sys
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
import soundfile

from handsfree.audio.live import Scripted, Trouble
from handsfree.cli import voice_readings
from handsfree.cli.screen import console
from handsfree.engines.base import SAMPLE_RATE, Sound
from handsfree.engines.choose import ModelFolders, listeners
from handsfree.engines.confidence import load as load_confidence
from handsfree.voice.measure import Measure

from .prepared import GRAMMAR, PHRASES
from .test_voice_command import say


def test_what_is_read_is_taken_and_nothing_heard_is_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A phrase, a knock, a loss of the microphone, another phrase; real recognizer."""
    sounds: list[Sound] = []
    for phrase in PHRASES[:2]:
        say(phrase.text, tmp_path / "said.wav")
        sounds.append(soundfile.read(tmp_path / "said.wav", dtype="float32")[0])
    knock = np.zeros(SAMPLE_RATE, np.float32)
    knock[8000:8100] = 0.5
    gone = Trouble("gone", "the microphone is gone")
    source = Scripted([sounds[0], knock, gone, 0.6, sounds[1]])
    monkeypatch.setattr(voice_readings, "Microphone", lambda device: source)
    chosen, _ = listeners(GRAMMAR, ("pocketsphinx",), ModelFolders(), live=True)
    with closing(Measure(GRAMMAR, load_confidence(), chosen)) as measure:
        readings = voice_readings.Spoken(measure, None, console())
        clips = readings.first(PHRASES[:2])
        assert readings.again(()) == {}
        heard = {number: measure.hear(clip).texts[0] for number, clip in clips.items()}
    assert source.closed
    assert heard == {phrase.number: phrase.text for phrase in PHRASES[:2]}
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("Read each phrase in one breath")
    assert lines[1:] == [
        f"Read (1 of 2):   {PHRASES[0].text}",
        "taken",
        f"Read (2 of 2):   {PHRASES[1].text}",
        "the microphone is gone",
        "taken",
    ]


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such terminals")
def test_enter_is_seen_once_and_never_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    near, far = os.openpty()
    with os.fdopen(near, "wb", buffering=0) as keys, os.fdopen(far) as terminal:
        monkeypatch.setattr(sys, "stdin", terminal)
        assert not voice_readings.enter_pressed()
        keys.write(b"\n")
        assert voice_readings.enter_pressed()
        assert not voice_readings.enter_pressed()
