"""Speech: the pieces it is cut into, the sound, and whether a recognizer hears the words."""

import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pytest
import soxr

from handsfree.answers import voice
from handsfree.answers.tones import ANSWER_RATE
from handsfree.answers.voice import PAUSE_S, SLOW_PAUSE_S, PiperSpeech, pieces, unavailable
from handsfree.engines import neural
from handsfree.engines.base import SAMPLE_RATE, Clip, Sound
from handsfree.engines.neural import NeuralListener
from handsfree.errors import EngineError
from handsfree.grammar.acceptor import from_sentences

_reason = unavailable()
needs_voice = pytest.mark.skipif(_reason is not None, reason=str(_reason))

ANSWERS = [
    "right hind",
    "toe length three and a quarter inches",
    "one nail of eight is not accounted for",
    "pulled seven nails",
    "hoof angle fifty two degrees",
    "hoof angle fifty degrees",
]
"""Spoken in the test below; it has to tell each from its nearest neighbour."""

NEIGHBOURS = [
    "right fore",
    "left hind",
    "toe length three and a half inches",
    "toe length two and a quarter inches",
    "one nail of seven is not accounted for",
    "two nails of eight are not accounted for",
    "pulled eleven nails",
    "pulled six nails",
    "hoof angle fifty six degrees",
    "hoof angle fifteen degrees",
]


@pytest.fixture(scope="module")
def speech() -> PiperSpeech:
    made = PiperSpeech()
    made.warm_up()
    made.warm_up()
    return made


def test_long_text_is_cut_at_spaces_and_ends() -> None:
    text = " ".join(f"word{i}" for i in range(90))
    cut = list(pieces(text))
    assert all(len(piece) <= 160 for piece in cut)
    assert " ".join(cut) == text
    endless = list(pieces("nail " * 100_000))
    assert endless[-1].endswith("and more")
    assert sum(map(len, endless)) < 850
    assert all(len(piece) <= 160 for piece in pieces("x" * 5000))


@pytest.mark.parametrize("nothing", ["", "  ", "…", "\n\t", "[[]]", "\ud800", "\x00", "!?"])
def test_nothing_to_say(nothing: str) -> None:
    assert list(pieces(nothing)) == []
    # No voice is loaded for it either.
    assert PiperSpeech().say([nothing]).shape == (0,)
    assert PiperSpeech().say([]).shape == (0,)


@pytest.mark.parametrize(
    ("odd", "plain"),
    [("[[h@]] heel", "h@ heel"), ("a\x00b\ud800c", "a b c"), ("toe\n\n length ", "toe length")],
)
def test_signs_that_would_break_the_voice_are_taken_out(odd: str, plain: str) -> None:
    assert list(pieces(odd)) == [plain]


@pytest.mark.parametrize("package", [voice.PACKAGE, voice.VOICE_PACKAGE])
def test_missing_voice_is_one_line(monkeypatch: pytest.MonkeyPatch, package: str) -> None:
    found = voice.find_spec
    monkeypatch.setattr(voice, "find_spec", lambda name: None if name == package else found(name))
    line = unavailable()
    assert line is not None
    assert "pip install" in line
    assert "\n" not in line
    speech = PiperSpeech()
    speech.warm_up()
    with pytest.raises(EngineError, match="tones only"):
        speech.say(["left hind"])


@needs_voice
def test_damaged_voice_is_one_line(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    file = tmp_path / "damaged.onnx"
    file.write_bytes(b"no model")
    monkeypatch.setattr(voice, "_voice_file", lambda: file)
    speech = PiperSpeech()
    for _ in range(2):
        with pytest.raises(EngineError, match="cannot be loaded") as caught:
            speech.say(["left hind"])
        assert "\n" not in str(caught.value)


@needs_voice
def test_sound_is_as_promised_and_always_the_same(speech: PiperSpeech) -> None:
    parts = ["left hind", "toe length, three and a quarter inches"]
    sound = speech.say(parts)
    assert sound.dtype == np.float32
    assert sound.ndim == 1
    assert 0.3 < np.max(np.abs(sound)) <= 1
    assert np.max(np.abs(sound[[0, -1]])) < 0.001
    assert 2 < len(sound) / ANSWER_RATE < 6
    np.testing.assert_array_equal(PiperSpeech().say(parts), sound)


@needs_voice
def test_parts_are_joined_with_a_pause_and_slow_is_slower(speech: PiperSpeech) -> None:
    one, two = speech.say(["left hind"]), speech.say(["seven nails"])
    both = speech.say(["left hind", "", "seven nails"])
    assert len(both) == len(one) + len(two) + round(PAUSE_S * ANSWER_RATE)
    slow_one, slow_two = speech.say(["left hind"], slow=True), speech.say(["seven nails"], True)
    slow_both = speech.say(["left hind", "seven nails"], slow=True)
    assert len(slow_both) == len(slow_one) + len(slow_two) + round(SLOW_PAUSE_S * ANSWER_RATE)
    assert len(slow_one) > 1.1 * len(one)


@needs_voice
def test_a_known_phrase_costs_nothing(speech: PiperSpeech, monkeypatch: pytest.MonkeyPatch) -> None:
    first = speech.say(["next horse", "Bramble"])

    def again(text: str, slow: bool) -> Sound:
        raise AssertionError(f"made again: {text}")

    monkeypatch.setattr(speech, "_synthesise", again)
    np.testing.assert_array_equal(speech.say(["next horse", "Bramble"]), first)


def test_what_is_remembered_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    speech = PiperSpeech()
    monkeypatch.setattr(speech, "_load", lambda: None)
    made: list[str] = []
    monkeypatch.setattr(
        speech, "_synthesise", lambda text, slow: (made.append(text), np.ones(5, np.float32))[1]
    )
    speech.say([f"phrase {i}" for i in range(1000)])
    assert len(speech._known) <= 128
    made.clear()
    speech.say(["phrase 999", "phrase 0"])
    assert made == ["phrase 0"]
    long = "a long remark " * 8
    speech.say([long])
    speech.say([long])
    assert len(made) == 3


@needs_voice
def test_many_threads_get_the_same(speech: PiperSpeech) -> None:
    expected = speech.say(["near fore"])
    fresh = PiperSpeech()
    fresh.warm_up()
    got: list[Sound] = []
    threads = [
        threading.Thread(target=lambda: got.append(fresh.say(["near fore"]))) for _ in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(got) == 4
    assert all(np.array_equal(sound, expected) for sound in got)


@needs_voice
def test_odd_text_is_spoken_without_a_word_on_the_screen() -> None:
    # In a process of its own: what C libraries write goes past Python.
    script = (
        "from handsfree.answers.voice import PiperSpeech\n"
        "speech = PiperSpeech()\n"
        "speech.warm_up()\n"
        "odd = ['\\U0001f434 heel', '12 1/2\"', 'naïve', '<break/> \\x00 [[x]] a', '蹄 ɸ 7%',"
        " 'x' * 300]\n"
        "assert len(speech.say(odd)) > 22050\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


@needs_voice
@pytest.mark.skipif(neural.available() is not None, reason=str(neural.available()))
@pytest.mark.parametrize("slow", [False, True])
def test_answers_are_told_from_their_neighbours(speech: PiperSpeech, slow: bool) -> None:
    """Whisper tiny.en held to these answers and their neighbours; a person does better."""
    listener = NeuralListener(from_sentences(text.split() for text in [*ANSWERS, *NEIGHBOURS]))
    heard = []
    for text in ANSWERS:
        sound = soxr.resample(speech.say([text], slow), ANSWER_RATE, SAMPLE_RATE)
        hearing = listener.hear(Clip(np.pad(sound, SAMPLE_RATE // 5), None, 0.0, 1.0))
        heard.append(hearing.hypotheses[0].text if hearing.hypotheses else "")
    assert heard == ANSWERS
