"""Clips begin and end with what is said, whatever goes on around it."""

import sys
import tracemalloc
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from handsfree.audio import denoise
from handsfree.audio.activity import follower
from handsfree.audio.speech import CutSettings, Cutter, cut, from_flac, to_flac
from handsfree.engines.base import SAMPLE_RATE, Clip, Sound
from handsfree.errors import EngineError

PHRASES = ("left hind outside heel bruise", "toe length three inches", "foot down")
needs_denoiser = pytest.mark.skipif(
    denoise.available() is not None, reason=str(denoise.available())
)


def blocks(sound: Sound, length: int = 4000) -> Iterator[Sound]:
    return (sound[i : i + length] for i in range(0, len(sound), length))


def clips(sound: Sound, settings: CutSettings | None = None) -> list[Clip]:
    return list(cut(blocks(sound), settings))


def said(make: Any, speak: Any, pause_s: float = 1.0) -> tuple[Sound, list[tuple[float, float]]]:
    """The phrases with pauses around them, and when each is spoken (s)."""
    parts, times, at = [make.quiet(pause_s)], [], pause_s
    for phrase in PHRASES:
        voice = speak(phrase)
        length = len(voice) / SAMPLE_RATE
        times.append((at, at + length))
        parts += [voice, make.quiet(pause_s)]
        at += length + pause_s
    return np.concatenate(parts), times


def assert_matches(found: list[Clip], times: list[tuple[float, float]]) -> None:
    assert len(found) == len(times)
    for clip, (start_s, end_s) in zip(found, times, strict=True):
        assert start_s - 0.45 < clip.start_s <= start_s + 0.02
        assert end_s - 0.05 < clip.end_s < end_s + 0.45
        assert len(clip.raw) / SAMPLE_RATE == pytest.approx(clip.end_s - clip.start_s)


@needs_denoiser
def test_phrases_are_cut_at_their_pauses(make: Any, speak: Any) -> None:
    sound, times = said(make, speak)
    found = clips(sound)
    assert_matches(found, times)
    for clip in found:
        first = round(clip.start_s * SAMPLE_RATE)
        assert np.array_equal(clip.raw, sound[first : first + len(clip.raw)])
        assert clip.clean is not None
        assert len(clip.clean) == len(clip.raw)


@needs_denoiser
def test_block_length_does_not_matter(make: Any, speak: Any) -> None:
    sound, _ = said(make, speak)
    expected = [c.start_s for c in clips(sound)]
    for length in (100, 1234, len(sound)):
        found = [c.start_s for c in cut(blocks(sound, length))]
        assert found == pytest.approx(expected)


@needs_denoiser
def test_a_pause_at_a_comma_does_not_split(make: Any, speak: Any) -> None:
    sound = np.concatenate(
        [
            make.quiet(1),
            speak("left hind"),
            make.quiet(0.4),
            speak("pulled seven nails"),
            make.quiet(1),
        ]
    )
    assert len(clips(sound)) == 1


@needs_denoiser
def test_speech_to_the_last_sample(make: Any, speak: Any) -> None:
    assert len(clips(np.concatenate([make.quiet(0.5), speak("foot down")]))) == 1


@needs_denoiser
@pytest.mark.parametrize("name", ["pink", "rasp", "hammer"])
def test_noise_alone_gives_nothing(make: Any, name: str) -> None:
    noise = {
        "pink": make.pink_noise(15, 0.05),
        "rasp": make.rasp_strokes(15) + make.quiet(15),
        "hammer": make.hammer_blows(15) + make.quiet(15),
    }[name]
    assert clips(noise) == []


@needs_denoiser
@pytest.mark.parametrize("name", ["pink", "rasp", "hammer"])
def test_speech_in_noise_at_10_db(make: Any, speak: Any, name: str) -> None:
    sound, times = said(make, speak, pause_s=1.5)
    seconds = len(sound) / SAMPLE_RATE + 0.01
    noise = {
        "pink": make.pink_noise(seconds, 1),
        "rasp": make.rasp_strokes(seconds, 1),
        "hammer": make.hammer_blows(seconds, 1),
    }[name][: len(sound)]
    noise *= 0.08 / np.sqrt(10) / np.sqrt((noise**2).mean())
    found = clips(sound + noise)
    assert len(found) == len(times)
    for clip, (start_s, end_s) in zip(found, times, strict=True):
        assert clip.start_s < start_s + 0.1
        assert clip.end_s > end_s - 0.1


@needs_denoiser
def test_endless_speech_is_cut_at_quiet_places(make: Any, speak: Any) -> None:
    settings = CutSettings(max_clip_s=4.0)
    words = [speak(w) for w in PHRASES]
    sound = np.concatenate([make.quiet(1), *words, *words, *words, make.quiet(1)])
    found = clips(sound, settings)
    assert len(found) >= 3
    assert all(clip.end_s - clip.start_s <= 4.3 for clip in found)
    # Nothing is dropped or given twice where one clip ends and the next begins.
    joins = [(a.end_s, b.start_s) for a, b in pairwise(found)]
    assert all(a == pytest.approx(b) for a, b in joins)


def test_empty_and_silent_streams() -> None:
    assert list(cut([])) == []
    assert clips(np.zeros(SAMPLE_RATE, np.float32)) == []


def test_without_the_denoiser(make: Any, speak: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("pocketsphinx", reason="PocketSphinx is not installed")
    monkeypatch.setattr(denoise, "available", lambda: "not installed")
    sound, times = said(make, speak)
    found = clips(sound)
    assert_matches(found, times)
    assert all(clip.clean is None for clip in found)


def test_without_any_detector(make: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(denoise, "available", lambda: "not installed")
    monkeypatch.setitem(sys.modules, "pocketsphinx", None)
    with pytest.raises(EngineError, match="install"):
        list(cut([make.quiet(0.5)]))


def test_memory_stays_bounded(make: Any, speak: Any) -> None:
    """Half an hour with a phrase each minute, never more than a few seconds held."""
    phrase = speak("foot down")
    minute = np.concatenate([make.quiet(50), phrase, make.quiet(10)])

    def recording() -> Iterator[Sound]:
        for _ in range(30):
            yield from blocks(minute, SAMPLE_RATE)

    # The denoiser would take a minute here and holds a few blocks only (its own test).
    pytest.importorskip("pocketsphinx", reason="PocketSphinx is not installed")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(denoise, "available", lambda: "not asked")
        found = 0
        tracemalloc.start()
        try:
            for _ in cut(recording()):
                found += 1
            _, peak = tracemalloc.get_traced_memory()
        finally:
            tracemalloc.stop()
    assert found == 30
    assert peak < 8e6


def test_flac_and_back(make: Any) -> None:
    sound = make.pink_noise(1.0, 0.1)
    data = to_flac(sound)
    assert len(data) < 2 * len(sound)
    assert np.abs(from_flac(data) - sound).max() <= 1.0 / 32768


def test_an_early_clip_is_the_very_clip_that_follows(speak: Any, make: Any) -> None:
    """What is heard ahead of the end of the pause need not be heard again."""
    sound = np.concatenate([make.quiet(0.6), speak("outside heel"), make.quiet(1.5)])
    cutter, stream = Cutter(), follower()
    early: list[Clip] = []
    final: list[Clip] = []
    for at in range(0, len(sound), 480):
        final += cutter.feed(stream.feed(sound[at : at + 480]))
        if cutter.early is not None and not any(c is cutter.early for c in early):
            early.append(cutter.early)
    stream.close()
    assert len(final) == 1
    assert cutter.early is None
    assert (early[-1].start_s, early[-1].end_s) == (final[0].start_s, final[0].end_s)
    assert np.array_equal(early[-1].raw, final[0].raw)


def test_speech_that_is_too_long_says_that_it_goes_on(speak: Any) -> None:
    words = speak("the left hind has a bruise at the outside heel and the right one has none")
    clips = list(cut(iter([words] * 5), CutSettings(max_clip_s=6.0, end_pause_s=3.0)))
    assert [c.goes_on for c in clips] == [False] + [True] * (len(clips) - 1)
    assert len(clips) > 1
