"""The listener on real voices: it answers only from its sentences, and knows talk from them."""

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from handsfree.audio.sources import open_sound
from handsfree.engines.base import SAMPLE_RATE, Clip, Sound
from handsfree.engines.pocketsphinx import NO_MARGIN, PocketSphinxListener
from handsfree.errors import EngineError
from handsfree.grammar.acceptor import Acceptor, from_sentences

pytest.importorskip("pocketsphinx", reason="PocketSphinx is not installed")

LIMBS = ("left front", "left hind", "near fore", "off hind", "right front")
ZONES = ("toe", "quarter", "heel", "fetlock")
TERMS = ("bruise", "corn", "thrush", "crack")
COUNTS = ("one", "two", "three", "four", "five", "six", "seven", "eight")
COMMANDS = ("foot up", "strike that", "read back", "ears off", "remark")
PRONUNCIATIONS = {"fetlock": ["F EH T L AA K"]}
PHRASES = (
    "left hind outside heel bruise",
    "near fore inside quarter crack",
    "off hind pulled seven nails",
    "right front fetlock thrush",
    "read back",
)
TALK = (
    "the weather should be better on saturday afternoon",
    "she wants to sell the old trailer to her neighbour",
    "my brother is working in the city until christmas",
)


def sentences() -> list[str]:
    findings = [
        " ".join(part for part in (limb, side, zone, term) if part)
        for limb in LIMBS
        for side in ("", "inside", "outside")
        for zone in ZONES
        for term in TERMS
    ]
    nails = [f"{limb} pulled {count} nails" for limb in LIMBS for count in COUNTS]
    return [*findings, *nails, *LIMBS, *COMMANDS]


def grammar(words: list[str] | None = None) -> Acceptor:
    return from_sentences(sentence.split() for sentence in words or sentences())


def clip(sound: Sound) -> Clip:
    return Clip(sound, None, 0.0, len(sound) / SAMPLE_RATE)


@pytest.fixture(scope="module")
def listener() -> PocketSphinxListener:
    return PocketSphinxListener(grammar(), PRONUNCIATIONS)


@pytest.fixture(scope="module")
def say(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Clip]:
    if shutil.which("flite") is None:
        pytest.skip("flite is not installed")
    path: Path = tmp_path_factory.mktemp("voice") / "said.wav"
    rng = np.random.default_rng(1)

    def make(words: str) -> Clip:
        subprocess.run(["flite", "-voice", "slt", "-t", words, "-o", path], check=True)
        around = np.zeros(SAMPLE_RATE // 5, np.float32)
        sound = np.concatenate([around, *open_sound(path), around])
        return clip((sound + 1e-4 * rng.standard_normal(len(sound))).astype(np.float32))

    return make


@pytest.mark.parametrize("phrase", PHRASES)
def test_phrases(listener: PocketSphinxListener, say: Callable[[str], Clip], phrase: str) -> None:
    said = say(phrase)
    hearing = listener.hear(said)
    assert hearing.engine == "pocketsphinx"
    assert [hypothesis.text for hypothesis in hearing.hypotheses] == [phrase]
    assert hearing.accepted
    words = hearing.hypotheses[0].words
    ends = [0.0]
    for word in words:
        assert word.start_s is not None
        assert word.end_s is not None
        assert word.sureness is not None
        assert ends[-1] - 1e-6 <= word.start_s < word.end_s <= said.end_s
        assert 0.0 <= word.sureness <= 1.0
        ends.append(word.end_s)
    assert words[0].start_s == pytest.approx(0.2, abs=0.25)


@pytest.mark.parametrize("talk", TALK)
def test_talk_is_rejected(
    listener: PocketSphinxListener, say: Callable[[str], Clip], talk: str
) -> None:
    hearing = listener.hear(say(talk))
    assert not hearing.accepted
    assert hearing.margin < listener.accept_margin


def test_answers_are_always_sentences(
    listener: PocketSphinxListener, say: Callable[[str], Clip]
) -> None:
    allowed = set(sentences())
    for words in (*TALK, *PHRASES):
        for hypothesis in listener.hear(say(words)).hypotheses:
            assert hypothesis.text in allowed


def test_the_same_clip_is_heard_the_same(
    listener: PocketSphinxListener, say: Callable[[str], Clip]
) -> None:
    first, other = say(PHRASES[0]), say(PHRASES[2])
    hearing = listener.hear(first)
    listener.hear(other)
    assert listener.hear(first) == hearing


def test_clean_sound_is_preferred(
    listener: PocketSphinxListener, say: Callable[[str], Clip]
) -> None:
    one, other = say("read back").raw, say("ears off").raw
    length = min(len(one), len(other))
    hearing = listener.hear(Clip(one[:length], other[:length], 0.0, length / SAMPLE_RATE))
    assert hearing.hypotheses[0].text == "ears off"


@pytest.mark.parametrize("open_word", ["remark", None])
def test_free_speech_after_the_open_word(say: Callable[[str], Clip], open_word: str | None) -> None:
    listener = PocketSphinxListener(grammar(), PRONUNCIATIONS, open_word=open_word)
    hearing = listener.hear(say("remark the owner says he slipped on the ice"))
    is_remark = hearing.accepted and hearing.hypotheses[0].text == "remark"
    assert is_remark == (open_word is not None)
    assert listener.hear(say(PHRASES[0])).hypotheses[0].text == PHRASES[0]


ODD = {
    "empty": np.zeros(0, np.float32),
    "one sample": np.ones(1, np.float32),
    "too short": np.full(800, 0.1, np.float32),
    "digital silence": np.zeros(SAMPLE_RATE, np.float32),
    "faint": np.full(SAMPLE_RATE, 1e-6, np.float32),
    "not a number": np.full(SAMPLE_RATE, np.nan, np.float32),
}


@pytest.mark.parametrize("name", ODD)
def test_odd_sound_is_heard_as_nothing(
    listener: PocketSphinxListener, name: str, capfd: pytest.CaptureFixture[str]
) -> None:
    hearing = listener.hear(clip(ODD[name]))
    assert hearing.hypotheses == ()
    assert not hearing.accepted
    assert hearing.margin == NO_MARGIN
    assert capfd.readouterr() == ("", "")


def test_clipped_and_noisy_sound_never_raises(
    listener: PocketSphinxListener, capfd: pytest.CaptureFixture[str]
) -> None:
    rng = np.random.default_rng(2)
    for sound in (
        np.sign(rng.standard_normal(SAMPLE_RATE)),
        5 * rng.standard_normal(SAMPLE_RATE),
        0.01 * rng.standard_normal(2 * SAMPLE_RATE),
    ):
        listener.hear(clip(sound.astype(np.float32)))
    assert capfd.readouterr() == ("", "")


def test_all_missing_words_are_named() -> None:
    with pytest.raises(EngineError) as caught:
        PocketSphinxListener(grammar(["fetlock sulcuz", "left qwertz"]), {})
    line = str(caught.value)
    assert all(word in line for word in ("fetlock", "sulcuz", "qwertz"))
    assert "left" not in line
    assert "\n" not in line


def test_wrong_phones_are_named() -> None:
    with pytest.raises(EngineError, match=r"fetlock.*F EH TT"):
        PocketSphinxListener(grammar(), {"fetlock": ["F EH TT"]})


def test_another_acceptor(say: Callable[[str], Clip]) -> None:
    listener = PocketSphinxListener(grammar(["ears on"]), PRONUNCIATIONS)
    said = say("left hind outside heel bruise")
    assert not listener.hear(said).accepted
    listener.set_acceptor(grammar())
    assert listener.hear(said).hypotheses[0].text == "left hind outside heel bruise"
    with pytest.raises(EngineError, match="qwertz"):
        listener.set_acceptor(grammar(["qwertz"]))
    assert listener.hear(said).accepted


def test_a_second_pronunciation_of_a_known_word(say: Callable[[str], Clip]) -> None:
    """A word that the dictionary has may be said in our way too, and keeps its name."""
    listener = PocketSphinxListener(
        grammar(["left hind canker", "left hind bruise"]), {"canker": ["K W IH S T AH N"]}
    )
    hearing = listener.hear(say("left hind quistun"))
    assert hearing.hypotheses[0].text == "left hind canker"
    assert listener.hear(say("left hind canker")).hypotheses[0].text == "left hind canker"


def test_sound_as_it_is_is_heard_where_the_denoised_one_is_no_sentence(
    listener: PocketSphinxListener, say: Callable[[str], Clip]
) -> None:
    spoken, talk = say("left hind outside heel bruise").raw, say(TALK[0]).raw
    hearing = listener.hear(Clip(spoken, talk, 0.0, len(spoken) / SAMPLE_RATE))
    assert hearing.accepted
    assert hearing.hypotheses[0].text == "left hind outside heel bruise"
    others = [hypothesis.text for hypothesis in hearing.hypotheses[1:]]
    assert others == [h.text for h in listener.hear(clip(talk)).hypotheses]
