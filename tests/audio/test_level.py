"""The meter against sounds whose levels are known by construction."""

import numpy as np
import pytest

from handsfree.audio.level import Level, LevelMeter, level_verdict, noise_verdict, windy
from handsfree.engines.base import SAMPLE_RATE, Sound


def tone(seconds: float, peak: float, hz: float = 1000.0) -> Sound:
    time = np.arange(round(seconds * SAMPLE_RATE)) / SAMPLE_RATE
    return (peak * np.sin(2 * np.pi * hz * time)).astype(np.float32)


def white(seconds: float, rms: float) -> Sound:
    rng = np.random.default_rng(7)
    return (rms * rng.standard_normal(round(seconds * SAMPLE_RATE))).astype(np.float32)


def read(*parts: tuple[Sound, float]) -> Level:
    """The level of sounds that are speech with the probabilities given."""
    meter = LevelMeter()
    for sound, likely in parts:
        meter.feed(sound, np.full(len(sound) // 160, likely, np.float32))
    return meter.read()


def test_a_full_scale_sine_has_minus_3_db() -> None:
    """ITU-T G.100.1: 0 dBov is a square wave at full scale; a sine has 3.01 dB less."""
    level = read((tone(1, 1.0), 1.0))
    assert level.speech_db == pytest.approx(-3.01, abs=0.01)


def test_speech_above_noise_counts_the_voice_band_only() -> None:
    """White noise spreads evenly up to 8 kHz; 31 of 80 bins of 100 Hz lie in the band."""
    level = read((white(3, 0.01), 0.0), (tone(1, 0.1 * np.sqrt(2)), 1.0))
    assert level.noise_db == pytest.approx(-40, abs=0.3)
    expected = 20 - 10 * np.log10(31 / 80)
    # The floor is a median, up to 1 dB below the mean.
    assert level.above_noise_db == pytest.approx(expected, abs=1.0)
    assert level.speech_s == pytest.approx(1.0)
    assert level.noise_s == pytest.approx(3.0)


def test_noise_under_the_speech_is_taken_off() -> None:
    mixed = tone(3, 0.01 * np.sqrt(2)) + white(3, 0.01)
    level = read((white(3, 0.01), 0.0), (mixed, 1.0))
    assert level.above_noise_db == pytest.approx(-10 * np.log10(31 / 80), abs=1.0)


def test_without_probabilities_the_louder_part_is_speech() -> None:
    meter = LevelMeter()
    sound = np.concatenate([white(2, 0.001), tone(1, 0.1), white(2, 0.001)])
    for start in range(0, len(sound), 333):
        meter.feed(sound[start : start + 333])
    level = meter.read()
    assert level.speech_s == pytest.approx(1.0, abs=0.03)
    assert level.speech_db == pytest.approx(-23.0, abs=0.2)


def test_old_sound_is_forgotten() -> None:
    meter = LevelMeter(window_s=1.0)
    meter.feed(tone(5, 0.9), np.ones(500, np.float32))
    meter.feed(tone(1, 0.09), np.ones(100, np.float32))
    assert meter.read().speech_db == pytest.approx(-23.9, abs=0.1)


@pytest.mark.parametrize(
    ("peak", "verdict"),
    [(0.002, "too quiet"), (0.05, "good"), (0.6, "too loud"), (3.0, "clipping")],
)
def test_level_verdicts(peak: float, verdict: str) -> None:
    level = read((white(1, 1e-4), 0.0), (np.clip(tone(1, peak), -1, 1), 1.0))
    assert level_verdict(level) == verdict


@pytest.mark.parametrize(
    ("above", "verdict"), [(26, "good"), (15, "workable"), (5, "poor"), (-30, "poor")]
)
def test_noise_verdicts(above: float, verdict: str) -> None:
    noise = white(3, 0.01)
    in_band = 0.01 * np.sqrt(31 / 80)
    level = read((noise, 0.0), (tone(1, np.sqrt(2) * in_band * 10 ** (above / 20)), 1.0))
    assert noise_verdict(level) == verdict


def test_wind_is_told_from_hiss_and_from_an_offset() -> None:
    assert windy(read((tone(2, 0.1, 80) + white(2, 0.001), 0.0)))
    assert not windy(read((white(2, 0.01), 0.0)))
    assert not windy(read((white(2, 0.01) + np.float32(0.3), 0.0)))


def test_nothing_and_silence() -> None:
    empty = LevelMeter().read()
    assert (empty.speech_db, empty.noise_db, empty.above_noise_db) == (None, None, None)
    assert level_verdict(empty) == "no speech"
    assert noise_verdict(empty) == "unknown"
    silent = read((np.zeros(SAMPLE_RATE, np.float32), 0.0))
    assert silent.noise_db == pytest.approx(-120)
    assert not windy(silent)
