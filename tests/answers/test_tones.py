"""The tones can be told apart, also in noise, by a matcher that belongs to these tests."""

import os
from functools import cache
from itertools import combinations, pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr

from handsfree.answers.tones import ANSWER_RATE, BAND_HZ, DESCRIPTIONS, Tone, sound_of
from handsfree.engines.base import Sound

SHORT = (Tone.FINDING, Tone.NUMBER, Tone.COMMAND)
PAIRS = list(combinations(Tone, 2))
HOP = 220
WINDOW = 512
BINS = np.fft.rfftfreq(WINDOW, 1 / ANSWER_RATE)
BANDS = np.geomspace(400, 4000, 33)
WEIGHTS = np.array([(low <= BINS) & (high > BINS) for low, high in pairwise(BANDS)], float)
WEIGHTS = WEIGHTS[WEIGHTS.any(axis=1)]


def bands_over_time(sound: Sound) -> np.ndarray:
    """Level of each band (dB) every 10 ms, shape (frames, bands)."""
    frames = np.lib.stride_tricks.sliding_window_view(sound, WINDOW)[::HOP] * np.hanning(WINDOW)
    power = np.abs(np.fft.rfft(frames)) ** 2 @ WEIGHTS.T
    return 10 * np.log10(power + 1e-6)


@cache
def template(tone: Tone) -> np.ndarray:
    """What stands out, 0.7 s from its start for every tone; shape (frames, bands)."""
    sound = np.zeros(WINDOW + int(0.7 * ANSWER_RATE), np.float32)
    sound[WINDOW // 2 :][: len(sound_of(tone))] = sound_of(tone)
    levels = bands_over_time(sound)
    # As through noise: what is 20 dB below the loudest is drowned.
    levels = outstanding(np.maximum(levels, levels.max() - 20))
    levels -= levels.mean()
    return levels / np.linalg.norm(levels)


def outstanding(levels: np.ndarray) -> np.ndarray:
    """dB above the steady noise of the band, then above what the whole moment rises by."""
    levels = levels - np.median(levels, axis=0)
    return np.clip(levels - np.maximum(np.median(levels, axis=1, keepdims=True), 0), 0, 20)


def recognised(sound: Sound) -> Tone:
    """The tone whose template fits best somewhere."""
    levels = outstanding(bands_over_time(sound))
    length = len(template(Tone.READY))
    best: dict[Tone, float] = {}
    for tone in Tone:
        fits = []
        for at in range(len(levels) - length + 1):
            part = levels[at : at + length]
            part = part - part.mean()
            fits.append(float(np.sum(part * template(tone)) / (np.linalg.norm(part) + 1e-9)))
        best[tone] = max(fits)
    return max(best, key=best.__getitem__)


def in_band(sound: Sound, low: float = 130, high: float = 6800) -> float:
    """Mean power inside a band; the project states SNR inside 130-6800 Hz."""
    spectrum = np.abs(np.fft.rfft(sound)) ** 2
    hz = np.fft.rfftfreq(len(sound), 1 / ANSWER_RATE)
    return float(spectrum[(hz >= low) & (hz <= high)].sum() / len(sound) ** 2)


def mixed(tone: Tone, noise: Sound, snr_db: float, seed: int) -> Sound:
    """The tone somewhere in 2 s of noise; SNR over the tone's own length."""
    rng = np.random.default_rng(seed)
    sound = sound_of(tone)
    at = int(rng.integers(0.2 * ANSWER_RATE, 1.2 * ANSWER_RATE))
    part = noise[at : at + len(sound)]
    # Where it is quieter than on the whole (between two blows), the whole counts.
    power = max(in_band(part), in_band(noise))
    out = noise * np.sqrt(in_band(sound) / power / 10 ** (snr_db / 10))
    # No place is digitally silent, as parts of the recordings are.
    floor = pink(seed + 500)
    out += floor * np.sqrt(in_band(sound) / in_band(floor) / 100)
    out[at : at + len(sound)] += sound
    return out.astype(np.float32)


def pink(seed: int) -> Sound:
    rng = np.random.default_rng(seed)
    count = 2 * ANSWER_RATE
    spectrum = np.fft.rfft(rng.standard_normal(count))
    spectrum[1:] /= np.sqrt(np.arange(1, len(spectrum)))
    spectrum[0] = 0
    return np.fft.irfft(spectrum, count)


def hammer(seed: int) -> Sound:
    """Blows on iron a third of a second apart: ringing modes over a thud, and a faint floor."""
    rng = np.random.default_rng(seed)
    out = 0.02 * pink(seed + 1000) / np.std(pink(seed + 1000))
    at = rng.uniform(0, 0.3)
    while at < 1.9:
        start = int(at * ANSWER_RATE)
        time_s = np.arange(len(out) - start) / ANSWER_RATE
        blow = np.exp(-time_s * 60) * rng.standard_normal(len(time_s))
        for hz in rng.uniform(300, 5000, 6):
            blow += 0.5 * np.exp(-time_s * rng.uniform(15, 60)) * np.sin(2 * np.pi * hz * time_s)
        out[start:] += rng.uniform(0.5, 1) * blow
        at += rng.uniform(0.25, 0.45)
    return out


@pytest.mark.parametrize("tone", Tone)
def test_length_level_edges_and_band(tone: Tone) -> None:
    sound = sound_of(tone)
    assert sound.dtype == np.float32
    assert sound.ndim == 1
    assert len(sound) / ANSWER_RATE <= (0.2 if tone in SHORT else 0.6)
    assert np.max(np.abs(sound)) <= 0.5 + 1e-6
    assert np.sqrt(np.mean(sound**2)) > 0.05
    # Gentle edges: the first and last ms stay below a twentieth of the peak.
    ms = ANSWER_RATE // 1000
    assert max(np.abs(sound[:ms]).max(), np.abs(sound[-ms:]).max()) < 0.025
    assert in_band(sound, *(BAND_HZ[0] * 0.9, BAND_HZ[1] * 1.05)) > 0.98 * in_band(sound, 0, 2e4)


@pytest.mark.parametrize("tone", Tone)
def test_no_click_inside(tone: Tone) -> None:
    # A click is energy far above every partial.
    sound = sound_of(tone)
    assert in_band(sound, 5000, 11_025) < 1e-4 * in_band(sound, 0, 11_025)


@pytest.mark.parametrize("tone", Tone)
def test_several_partials_share_the_power(tone: Tone) -> None:
    # IEC 60601-1-8 asks alarm pulses for four components within 300-4000 Hz.
    spectrum = np.abs(np.fft.rfft(sound_of(tone), 4 * ANSWER_RATE)) ** 2
    smooth = np.convolve(spectrum, np.hanning(81), "same")
    peaks = (smooth[1:-1] > smooth[:-2]) & (smooth[1:-1] > smooth[2:])
    assert np.sum(peaks & (smooth[1:-1] > smooth.max() * 10**-2)) >= 4


def test_made_once_and_not_writable() -> None:
    assert sound_of(Tone.READY) is sound_of(Tone.READY)
    with pytest.raises(ValueError, match="read-only"):
        sound_of(Tone.READY)[0] = 1


def test_every_tone_is_described_in_one_line() -> None:
    assert set(DESCRIPTIONS) == set(Tone)
    assert len(set(DESCRIPTIONS.values())) == len(Tone)
    assert all("\n" not in line and len(line) < 80 for line in DESCRIPTIONS.values())


@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_waveforms_differ(one: Tone, other: Tone) -> None:
    a, b = sound_of(one), sound_of(other)
    size = len(a) + len(b)
    cross = np.fft.irfft(np.fft.rfft(a, size) * np.conj(np.fft.rfft(b, size)), size)
    assert np.max(np.abs(cross)) / (np.linalg.norm(a) * np.linalg.norm(b)) < 0.5


@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_spectra_differ(one: Tone, other: Tone) -> None:
    a, b = (
        np.sqrt(np.mean(10 ** (bands_over_time(sound_of(t)) / 10), axis=0)) for t in (one, other)
    )
    assert a @ b / (np.linalg.norm(a) * np.linalg.norm(b)) < 0.9


@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_rhythm_or_slide_differ(one: Tone, other: Tone) -> None:
    """Of the loudness alone (no pitch) no two are the same."""
    loudness = []
    for tone in (one, other):
        levels = np.sqrt(np.mean(10 ** (bands_over_time(np.pad(sound_of(tone), 600)) / 10), axis=1))
        loudness.append(levels / np.linalg.norm(levels))
    fit = np.correlate(*loudness, "full").max()
    assert fit < 0.97


@pytest.mark.parametrize("kind", [pink, hammer])
def test_recognised_in_made_noise_at_0_db(kind) -> None:
    wrong = []
    for seed in range(6):
        for tone in Tone:
            heard = recognised(mixed(tone, kind(seed), 0, seed))
            wrong += [] if heard is tone else [(tone, heard, seed)]
    assert not wrong


def test_recognised_in_real_noise_at_0_db() -> None:
    speech = os.environ.get("HANDSFREE_SPEECH")
    folder = Path(speech).parent / "noise" if speech else None
    if folder is None or not folder.is_dir():
        pytest.skip("no recordings of real noise beside $HANDSFREE_SPEECH")
    wrong = []
    files = sorted(folder.glob("*.flac"))
    assert files
    for seed, file in enumerate(files):
        sound, rate = soundfile.read(file, dtype="float32", always_2d=True)
        noise = soxr.resample(sound.mean(axis=1), rate, ANSWER_RATE)
        rng = np.random.default_rng(seed)
        for tone in Tone:
            start = int(rng.integers(0, len(noise) - 2 * ANSWER_RATE))
            part = noise[start : start + 2 * ANSWER_RATE]
            heard = recognised(mixed(tone, part, 0, seed))
            wrong += [] if heard is tone else [(file.stem, tone, heard)]
    assert not wrong


def test_the_matcher_can_fail() -> None:
    """Drowned 25 dB below the noise no matcher is right every time."""
    heard = [recognised(mixed(tone, pink(seed), -25, seed)) for tone in Tone for seed in range(2)]
    assert heard != [tone for tone in Tone for _ in range(2)]
