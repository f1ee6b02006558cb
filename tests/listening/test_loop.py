"""The live loop: what is said is kept and answered, whatever happens to devices and disk."""

import sqlite3
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from handsfree.audio.live import Scripted, Trouble
from handsfree.engines.base import SAMPLE_RATE, Clip, Hearing, Sound
from handsfree.engines.together import Together
from handsfree.errors import EngineError
from handsfree.listening.recovery import spool_folder
from handsfree.spool import Spool, leftovers
from handsfree.visit.answer import Tone

PHRASES = ("left hind", "thrush in the frog", "toe length four inches")
GONE = Trouble("gone", "the microphone is gone")
BACK = Trouble("back", "the microphone is back", gap_s=12.0)


def test_what_is_said_is_written_and_answered(live: Any, speak: Any) -> None:
    live.session([speak(*PHRASES)]).run()
    assert live.written() == list(PHRASES)
    assert live.seen.tones == [Tone.COMMAND, Tone.FINDING, Tone.NUMBER]
    assert live.tones_on_tape == live.seen.tones


def test_each_answer_comes_soon_after_its_words(live: Any, speak: Any) -> None:
    """By the stream's clock: the pause that ends an utterance (0.65 s), and what the denoiser,
    the echo guard and the blocks hold back."""
    live.session([speak(*PHRASES)]).run()
    for line, (at_s, _, _) in zip(live.seen.lines, live.seen.told, strict=True):
        # The clip ends 0.25 s after the words.
        assert 0 < at_s - (line.heard.end_s - 0.25) < 0.8


def test_hearing_ahead_of_the_pause_gives_the_same(live: Any, speak: Any) -> None:
    """With a live source clips are heard early; the answers are the same ones."""
    live.session(Scripted([speak(*PHRASES)], live=True)).run()
    assert live.written() == list(PHRASES)


def test_an_unplugged_microphone_ends_the_words_and_loses_none(live: Any, speak: Any) -> None:
    words = speak("left hind")[:-SAMPLE_RATE]
    live.session([words, GONE, 12.0, BACK, speak("foot down")]).run()
    assert live.written() == ["left hind", "foot down"]
    assert live.seen.troubles == [GONE.line, BACK.line]
    assert live.seen.tones.count(Tone.TROUBLE) == 2
    visit = live.log.visits()[0].id
    assert [n.code for n in live.log.notices(visit)] == ["back"]
    first, second = live.log.utterances(visit)
    assert second.start_s - first.end_s > BACK.gap_s


def test_overflow_and_exact_silence_are_told_and_the_rest_goes_on(live: Any, speak: Any) -> None:
    overflow = Trouble("overflow", "some sound was lost", gap_s=0.2)
    zeros = Trouble("zeros", "only silence comes from the microphone")
    live.session(
        [
            speak("left hind"),
            overflow,
            np.zeros(SAMPLE_RATE, np.float32),
            zeros,
            speak(PHRASES[1]),
        ]
    ).run()
    assert live.written() == ["left hind", PHRASES[1]]
    assert live.seen.troubles == [overflow.line, zeros.line]


def test_a_locked_log_is_told_by_another_tone_and_written_later(
    live: Any, speak: Any, tmp_path: Path
) -> None:
    other = sqlite3.connect(live.log.path, check_same_thread=False)

    def lock(line: Any) -> None:
        if line.heard.text == "left hind":
            other.execute("BEGIN IMMEDIATE")
        if line.heard.text == PHRASES[2]:
            other.rollback()

    live.seen.at_line = lock
    live.session([speak(*PHRASES, "foot down")]).run()
    assert live.written() == [*PHRASES, "foot down"]
    assert live.seen.tones[:2] == [Tone.COMMAND, Tone.TROUBLE]
    assert Tone.FINDING not in live.seen.tones
    assert "in use" in live.seen.troubles[0]
    assert "in the log now" in live.seen.troubles[-1]
    entries = live.log.entries(live.log.visits()[0].id, in_force=True)
    assert [e.kind for e in entries] == ["finding", "measurement"]


def test_a_log_locked_to_the_end_leaves_the_sound_for_the_next_start(
    live: Any, speak: Any, grammar: Any
) -> None:
    folder = spool_folder(live.log.path)
    other = sqlite3.connect(live.log.path)
    live.seen.at_line = lambda line: (
        other.execute("BEGIN IMMEDIATE") if line.heard.text == "left hind" else None
    )
    live.session([speak(*PHRASES)], Spool.create(folder, {})).run()
    assert live.written() == ["left hind"]
    assert "could not be written" in live.seen.troubles[-1]
    other.rollback()
    from handsfree.listening.recovery import recover

    told: list[str] = []
    going_on = recover(live.log, live.ears, grammar, told.append)
    assert live.written() == list(PHRASES)
    assert {e.limb for e in live.log.entries(live.log.visits()[0].id)} == {"LH"}
    assert going_on is not None
    assert "recovered 2 utterances" in told[-1]
    assert leftovers(folder) == []
    assert not any(folder.iterdir())


def test_what_cannot_be_written_and_is_not_kept_is_told_so(live: Any, speak: Any) -> None:
    other = sqlite3.connect(live.log.path)
    other.execute("BEGIN IMMEDIATE")
    session = live.session([speak(*PHRASES)])
    session.run()
    assert session.unwritten == len(PHRASES)
    assert live.seen.troubles[-1].endswith("written to the log; the sound is not kept")
    other.rollback()


def test_a_full_disk_is_told_and_the_session_goes_on(live: Any, speak: Any, tmp_path: Path) -> None:
    """A file where the spool's folder should be refuses like a disk that takes nothing."""
    folder = tmp_path / "in the way"
    folder.write_text("")
    live.session([speak(*PHRASES)], Spool.create(folder, {})).run()
    assert live.written() == list(PHRASES)
    assert live.seen.troubles
    assert Tone.TROUBLE in live.seen.tones


class _FailsOnce:
    """A recognizer that dies at its second clip (a process killed by the system)."""

    name = "pocketsphinx"

    def __init__(self, real: Any) -> None:
        self._real, self._count = real, 0

    def hear(self, clip: Clip) -> Hearing:
        self._count += 1
        if self._count == 2:
            raise EngineError("engine pocketsphinx died while it listened; run it again")
        return self._real.hear(clip)  # type: ignore[no-any-return]


def test_a_recognizer_that_dies_leaves_the_sound_as_unclear(
    live: Any, speak: Any, grammar: Any
) -> None:
    live.ears = Together([_FailsOnce(live.ears.listeners[0])], grammar)
    live.session([speak(*PHRASES)]).run()
    visit = live.log.visits()[0].id
    _, failed, after = live.log.utterances(visit)
    assert (failed.status, failed.has_sound) == ("unclear", True)
    assert after.heard == PHRASES[2]


def test_with_the_ears_off_only_ears_on_is_kept(live: Any, speak: Any) -> None:
    live.session([speak("left hind", "ears off", PHRASES[1], "ears on", "foot up")]).run()
    assert live.written() == ["left hind", "ears off", "ears on", "foot up"]


def test_stopping_in_the_middle_of_words_still_keeps_them(live: Any, speak: Any) -> None:
    sound = speak("left hind", PHRASES[1])
    session = live.session([])
    source = Scripted([sound[: -int(1.3 * SAMPLE_RATE)]], live=False)
    read = source.read

    def stops_at_the_end() -> Any:
        part = read()
        if part is None:
            session.stop()
            return np.zeros(0, np.float32)
        return part

    source.read = stops_at_the_end  # type: ignore[method-assign]
    session.source = source
    session.run()
    assert live.written() == ["left hind", PHRASES[1]]


class _Echoing(Scripted):
    """A microphone that also hears, 0.1 s later, what the session plays."""

    def __init__(self, sound: Sound, played: Callable[[], Sound]) -> None:
        super().__init__([sound], live=False)
        self._played = played
        self._room = np.zeros(1600, np.float32)

    def read(self) -> Any:
        part = super().read()
        if not isinstance(part, np.ndarray):
            return part
        self._room = np.concatenate([self._room, self._played()])
        echo, self._room = self._room[: len(part)], self._room[len(part) :]
        echo = np.pad(echo, (0, len(part) - len(echo)))
        return (part + 0.3 * echo).astype(np.float32)


def test_its_own_words_make_no_records(live: Any, speak: Any) -> None:
    """Answers that fall into the microphone at -10 dB: heard by the same loop, none is kept."""
    import pytest

    from handsfree.answers import voice

    if voice.unavailable():
        pytest.skip(voice.unavailable())
    room: list[Sound] = []
    reference = live.tape.reference

    def tapped(samples: int) -> Sound:
        played: Sound = reference(samples)
        room.append(played)
        return played

    live.tape.reference = tapped
    quiet = np.zeros(4 * SAMPLE_RATE, np.float32)
    sound = np.concatenate([np.concatenate([speak(p), quiet]) for p in (*PHRASES, "foot down")])
    source = _Echoing(sound, lambda: room.pop(0) if room else np.zeros(0, np.float32))
    live.session(source, speech=voice.PiperSpeech()).run()
    assert [say for _, _, say in live.seen.told if say] == [
        ("left hind",),
        ("four inches",),
    ]
    assert live.written() == [*PHRASES, "foot down"]
    assert live.tape.stops == []


def test_threads_end_with_the_session(live: Any, speak: Any) -> None:
    before = threading.active_count()
    live.session([speak("left hind")]).run()
    assert threading.active_count() <= before
