"""RNNoise keeps time with the recording, takes noise out and leaves speech."""

from typing import Any

import numpy as np
import pytest

from handsfree.audio import denoise
from handsfree.audio.activity import activity
from handsfree.audio.denoise import FRAME, Denoiser
from handsfree.engines.base import SAMPLE_RATE, Sound
from handsfree.errors import EngineError

needs_library = pytest.mark.skipif(denoise.available() is not None, reason=str(denoise.available()))


def cleaned(sound: Sound, block: int = 4000) -> tuple[Sound, Sound, np.ndarray]:
    parts = list(activity(iter([sound[i : i + block] for i in range(0, len(sound), block)])))
    return (
        np.concatenate([part.raw for part in parts]),
        np.concatenate([part.clean for part in parts]),
        np.concatenate([part.speech for part in parts]),
    )


@needs_library
@pytest.mark.parametrize("block", [160, 777, 4000, 100_000])
def test_nothing_is_lost_at_any_block_length(make: Any, speak: Any, block: int) -> None:
    sound = np.concatenate([make.quiet(0.3), speak("outside heel"), make.quiet(0.31234)])
    raw, clean, speech = cleaned(sound, block)
    assert np.array_equal(raw, sound)
    assert len(clean) == len(sound)
    assert len(speech) == -(-len(sound) // FRAME)
    assert np.allclose(clean, cleaned(sound)[1], atol=1e-3)


@needs_library
def test_clean_is_aligned_with_raw(make: Any, speak: Any) -> None:
    sound = np.concatenate(
        [make.quiet(0.5), speak("left hind outside heel bruise"), make.quiet(0.5)]
    )
    _, clean, _ = cleaned(sound)
    lags = range(-400, 401)
    middle = slice(1000, len(sound) - 1000)
    products = [float(np.dot(sound[middle], np.roll(clean, -lag)[middle])) for lag in lags]
    assert abs(lags[int(np.argmax(products))]) <= 2


@needs_library
def test_speech_stays_and_noise_goes(make: Any, speak: Any) -> None:
    voice = speak("left hind outside heel bruise")
    sound = np.concatenate([make.quiet(2.0), voice, make.quiet(1.0)])
    noisy = sound + make.pink_noise(len(sound) / SAMPLE_RATE, 0.025)
    _, clean, speech = cleaned(noisy)
    before = slice(SAMPLE_RATE, 2 * SAMPLE_RATE - 1600)
    assert (clean[before] ** 2).mean() < 0.1 * (noisy[before] ** 2).mean()
    during = slice(2 * SAMPLE_RATE, 2 * SAMPLE_RATE + len(voice))
    assert (clean[during] ** 2).mean() > 0.5 * (voice**2).mean()
    first = 2 * SAMPLE_RATE // FRAME
    assert speech[first + 10 : first + len(voice) // FRAME].mean() > 0.8
    assert speech[100 : first - 10].mean() < 0.3


@needs_library
def test_silence_and_empty_streams() -> None:
    _, clean, speech = cleaned(np.zeros(SAMPLE_RATE, np.float32))
    assert np.abs(clean).max() < 1e-3
    assert speech[20:].max() < 0.3
    assert list(activity(iter([]))) == []


@needs_library
def test_closing_twice_frees_once(make: Any) -> None:
    with Denoiser() as denoiser:
        denoiser.feed(make.quiet(0.1))
    denoiser.close()


def test_absence_is_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(denoise, "_PACKAGE", "no_such_package_at_all")
    denoise._load.cache_clear()
    denoise._library_path.cache_clear()
    try:
        reason = denoise.available()
        assert reason is not None
        assert "install" in reason
        assert "\n" not in reason
        with pytest.raises(EngineError):
            Denoiser()
    finally:
        denoise._load.cache_clear()
        denoise._library_path.cache_clear()
