"""The tape, the silent output, and the row of sounds that every output plays from."""

import numpy as np
import pytest
import soxr

from handsfree.answers.output import Output, Silent, Tape
from handsfree.answers.playlist import FADE_S, Backlog, Playlist, make_piece, playable
from handsfree.answers.tones import ANSWER_RATE, Tone, sound_of
from handsfree.engines.base import SAMPLE_RATE, Sound


def wave(seconds: float, hz: float = 700) -> Sound:
    at = np.arange(round(seconds * ANSWER_RATE)) / ANSWER_RATE
    return (0.4 * np.sin(2 * np.pi * hz * at)).astype(np.float32)


def in_step(tape: Tape, seconds: float, block_s: float = 0.03) -> Sound:
    """Let time go by as a microphone does and gather the reference."""
    parts = []
    for _ in range(round(seconds / block_s)):
        tape.advance(block_s)
        parts.append(tape.reference(round(block_s * SAMPLE_RATE)))
    return np.concatenate(parts)


def test_a_later_sound_waits_for_the_earlier() -> None:
    tape = Tape()
    first, second = wave(0.2), wave(0.1, 900)
    tape.advance(1.0)
    tape.play(first)
    tape.play(second)
    assert tape.playing
    tape.advance(0.25)
    assert tape.playing
    tape.advance(0.05)
    assert not tape.playing
    tape.advance(0.7)
    tape.play(sound_of(Tone.READY))
    starts, sounds = zip(*tape.played, strict=True)
    assert starts == pytest.approx((1.0, 1.2, 2.0))
    assert sounds[0] is first
    assert sounds[1] is second
    assert sounds[2] is sound_of(Tone.READY)


def test_reference_is_what_was_played_when_it_was_played() -> None:
    tape = Tape()
    before = in_step(tape, 0.3)
    sound = sound_of(Tone.TROUBLE)
    tape.play(sound)
    during = in_step(tape, 0.9)
    assert not before.any()
    expected = soxr.resample(sound, ANSWER_RATE, SAMPLE_RATE)
    np.testing.assert_allclose(during[: len(expected)], expected, atol=1e-6)
    assert not during[len(expected) + 1 :].any()


@pytest.mark.parametrize("block_s", [0.01, 0.0313, 0.1, 0.4])
def test_reference_does_not_depend_on_the_blocks(block_s: float) -> None:
    whole, cut = Tape(), Tape()
    for tape in (whole, cut):
        tape.play(wave(0.15))
        tape.play(wave(0.2, 1100))
    whole.advance(0.4)
    expected = whole.reference(6400)
    parts = []
    for index in range(6400 // round(block_s * SAMPLE_RATE)):
        # The clock of the tape in step with whole samples of the microphone.
        count = round(block_s * SAMPLE_RATE)
        cut.advance((index + 1) * count / SAMPLE_RATE - cut.now_s)
        parts.append(cut.reference(count))
    got = np.concatenate(parts)
    # A sample that falls between two frames may come with the next block.
    np.testing.assert_allclose(got[2:], expected[2 : len(got)], atol=0.2)
    assert np.mean(np.abs(got - expected[: len(got)])) < 0.02


def test_too_little_is_padded_and_too_old_is_dropped() -> None:
    tape = Tape()
    tape.play(wave(1.0))
    assert not tape.reference(800).any()
    assert tape.reference(800).shape == (800,)
    tape.advance(0.9)
    late = tape.reference(160)
    whole = soxr.resample(wave(1.0), ANSWER_RATE, SAMPLE_RATE)
    np.testing.assert_allclose(late, whole[14_400 - 8000 :][:160], atol=1e-6)
    assert len(tape.reference(7840)) == 7840
    assert not tape.reference(100).any()
    assert tape.reference(0).shape == (0,)


def test_stop_fades_what_plays_and_drops_what_waits() -> None:
    tape = Tape()
    tape.play(wave(1.0))
    tape.play(wave(1.0, 900))
    tape.advance(0.3)
    tape.reference(4800)
    tape.stop()
    assert not tape.playing
    assert len(tape.played) == 1
    assert tape.stops == [pytest.approx(0.3)]
    tape.advance(0.2)
    after = tape.reference(3200)
    fade = round(FADE_S * SAMPLE_RATE)
    assert after[: fade // 2].any()
    assert not after[fade + 1 :].any()
    # Faded, not torn off: no step is larger than the sound itself makes.
    largest = np.max(np.abs(np.diff(soxr.resample(wave(1.0), ANSWER_RATE, SAMPLE_RATE))))
    assert np.max(np.abs(np.diff(after))) <= largest * 1.2


def test_play_after_stop_is_heard() -> None:
    tape = Tape()
    tape.play(wave(1.0))
    tape.advance(0.1)
    tape.stop()
    tape.play(wave(0.2, 1300))
    assert tape.playing
    tape.reference(1600)
    tape.advance(0.3)
    after = tape.reference(4800)
    expected = soxr.resample(wave(0.2, 1300), ANSWER_RATE, SAMPLE_RATE)
    start = round(FADE_S * SAMPLE_RATE)
    fits = [float(after[start + d :][: len(expected)] @ expected) for d in range(-3, 4)]
    assert max(fits) > 0.98 * float(expected @ expected)
    assert not tape.playing
    assert tape.played[-1][0] == pytest.approx(0.1 + FADE_S)


def test_stop_before_the_start_takes_it_off_the_list() -> None:
    tape = Tape()
    tape.stop()
    assert tape.stops == []
    tape.play(wave(0.1))
    tape.play(wave(0.1))
    tape.advance(0.05)
    tape.stop()
    tape.close()
    assert [start for start, _ in tape.played] == [0.0]


def test_time_does_not_go_back() -> None:
    with pytest.raises(ValueError, match="go back"):
        Tape().advance(-1)


def test_many_short_steps_lose_nothing() -> None:
    tape = Tape()
    total = sum(len(in_step(tape, 0.03, 0.001)) for _ in range(100))
    tape.play(wave(0.05))
    heard = in_step(tape, 0.06, 0.001)
    assert total == 48_000
    expected = soxr.resample(wave(0.05), ANSWER_RATE, SAMPLE_RATE)
    assert float(heard[: len(expected)] @ expected) > 0.95 * float(expected @ expected)


@pytest.mark.parametrize(
    "odd",
    [
        np.zeros(0, np.float32),
        np.array([np.nan, np.inf, -np.inf, 3.0], np.float32),
        np.zeros((10, 2)),
        np.array([0, 1, -1], np.int16),
        [0.1, 0.2],
    ],
)
def test_odd_sound_is_played_without_harm(odd: Sound) -> None:
    assert playable(odd).dtype == np.float32
    assert np.all(np.abs(playable(odd)) <= 1)
    tape = Tape()
    tape.play(odd)
    tape.play(wave(0.05))
    tape.advance(0.1)
    assert not tape.playing
    assert tape.reference(1600).any()


def test_what_is_played_is_a_copy() -> None:
    tape, sound = Tape(), wave(0.1)
    tape.play(sound)
    sound[:] = 0
    tape.advance(0.1)
    assert tape.reference(1600).any()


def test_every_channel_gets_the_same_at_the_rate_of_the_device() -> None:
    playlist = Playlist(48_000)
    playlist.add(make_piece(0, wave(0.1), 48_000))
    block = np.full((9600, 2), 9, np.float32)
    playlist.render(block)
    np.testing.assert_array_equal(block[:, 0], block[:, 1])
    expected = soxr.resample(wave(0.1), ANSWER_RATE, 48_000)
    np.testing.assert_allclose(block[: len(expected), 0], expected, atol=1e-6)
    assert not block[len(expected) :].any()
    assert playlist.done == 0


@pytest.mark.parametrize("rate", [8000, 16_000, 22_050, 44_100, 48_000, 96_000])
def test_reference_stays_in_step_at_every_rate(rate: int) -> None:
    rng = np.random.default_rng(rate)
    playlist = Playlist(rate)
    drained, asked = [], 0
    while playlist.frames < 2 * rate:
        if playlist.frames > rate and not asked:
            asked = playlist.frames
            playlist.add(make_piece(0, wave(0.3), rate))
        playlist.render(np.empty((int(rng.integers(1, rate // 50)), 1), np.float32))
        drained.append(playlist.drain())
    out = np.concatenate(drained)
    assert abs(len(out) - playlist.frames * SAMPLE_RATE / rate) <= 1
    expected = soxr.resample(wave(0.3), ANSWER_RATE, SAMPLE_RATE)
    start = -(-asked * SAMPLE_RATE // rate)
    np.testing.assert_allclose(out[start : start + len(expected)], expected, atol=1e-6)


def test_an_output_nobody_asks_for_a_reference_does_not_grow() -> None:
    playlist = Playlist(8000)
    block = np.empty((4, 1), np.float32)
    for _ in range(5000):
        playlist.render(block)
    assert len(playlist.drain()) <= 16_000


def test_a_delay_that_grew_goes_away_in_silence_only() -> None:
    backlog = Backlog()
    hush, loud = np.zeros(160, np.float32), np.full(160, 0.5, np.float32)
    backlog.take(np.zeros(4800, np.float32), 0)  # 0.3 s too many
    for _ in range(201):
        backlog.take(hush, 160)
    assert backlog.take(loud, 160).any()

    backlog = Backlog()
    backlog.take(np.full(4800, 0.5, np.float32), 0)
    got = [backlog.take(loud, 160) for _ in range(250)]
    assert np.all(np.concatenate(got) == 0.5)


def test_silent() -> None:
    output: Output = Silent()
    output.play(wave(1.0))
    output.stop()
    assert not output.playing
    assert output.reference(123).shape == (123,)
    assert not output.reference(123).any()
    assert output.trouble() is None
    output.close()


def test_a_tape_is_an_output() -> None:
    output: Output = Tape()
    assert output.trouble() is None
    output.close()
    assert not output.playing
