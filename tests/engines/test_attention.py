"""The attention word before the recognizers: who knows it, and what becomes of their answers."""

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from handsfree.audio.sources import open_sound
from handsfree.engines.base import Clip, HeardWord, Hearing, Hypothesis
from handsfree.engines.choose import ModelFolders, _hearable, listeners
from handsfree.engines.pocketsphinx import PocketSphinxListener
from handsfree.engines.together import Together, Verdict
from handsfree.errors import EngineError
from handsfree.grammar import Grammar, load
from handsfree.records.sureness import DOUBTFUL_BELOW as SURE

pytest.importorskip("pocketsphinx")


@pytest.fixture(scope="module")
def grammar() -> Grammar:
    return load(horse_names=["Bramble"]).with_attention("anvil")


def weigh(grammar: Grammar, *hearings: Hearing) -> Verdict:
    return Together((), grammar).weigh(hearings)


def heard(engine: str, *texts: str, accepted: bool = True, free: str | None = None) -> Hearing:
    hypotheses = tuple(Hypothesis(tuple(map(HeardWord, text.split())), -0.1) for text in texts)
    return Hearing(engine, hypotheses, -0.5, accepted, free)


def test_a_word_no_dictionary_has_is_left_to_the_others() -> None:
    grammar = load(horse_names=["Copper", "Xqwzzle"])
    known, unheard = _hearable(grammar.with_attention("anvil"))
    assert (known.attention, known.horse_names) == (("anvil",), ("Copper",))
    assert unheard == ["the horse's name Xqwzzle"]
    known, unheard = _hearable(grammar.with_attention("hey smithy"))
    assert (known.attention, known.horse_names) == ((), ("Copper",))
    assert unheard == ["the horse's name Xqwzzle", "the attention word hey smithy"]


def test_alone_it_refuses_a_word_it_could_never_hear() -> None:
    with pytest.raises(EngineError, match="'smithy'; choose another"):
        listeners(load().with_attention("smithy"), ("pocketsphinx",), ModelFolders())


@pytest.mark.parametrize("first", ["anvil left hind bruise", "left hind bruise"])
def test_one_that_heard_the_word_is_enough_where_two_heard_the_note(
    grammar: Grammar, first: str
) -> None:
    others = ("anvil left hind bruise", "left hind bruise")
    verdict = weigh(grammar, heard("pocketsphinx", first), heard("neural", *others[:1]))
    assert verdict.reading.called
    assert verdict.confidence >= SURE
    verdict = weigh(grammar, heard("pocketsphinx", others[1]), heard("neural", others[1]))
    assert not verdict.reading.called


def test_the_word_alone_is_agreed_on(grammar: Grammar) -> None:
    verdict = weigh(grammar, heard("pocketsphinx", "anvil"), heard("neural", "anvil"))
    assert verdict.reading.called
    assert verdict.reading.meaning is not None
    assert verdict.reading.meaning.command == "attention"
    assert verdict.confidence >= SURE


def test_free_words_are_counted_without_it(grammar: Grammar) -> None:
    hearings = (
        heard("pocketsphinx", "anvil left hind bruise"),
        heard("neural", "anvil left hind bruise", free="Anvil, left hind bruise."),
    )
    (candidate,) = Together((), grammar).candidates(hearings)
    assert (candidate.known["unread"], candidate.known["written"]) == (0.0, 1.0)


def test_what_is_not_understood_after_it_was_still_called(grammar: Grammar) -> None:
    for free, called in (("Anvil, are you there?", True), ("Are you there?", False)):
        verdict = weigh(grammar, heard("neural", accepted=False, free=free))
        assert verdict.reading.meaning is None
        assert verdict.reading.called == called


@pytest.mark.parametrize(
    ("free", "text"),
    [
        ("Anvil, remark, she pulls back.", "she pulls back"),
        ("And will remark, she pulls back.", "she pulls back"),
        ("And will re-mark.", ""),
    ],
)
def test_a_remark_after_it_keeps_its_words(grammar: Grammar, free: str, text: str) -> None:
    verdict = weigh(grammar, heard("pocketsphinx", "anvil remark"), heard("neural", free=free))
    assert verdict.is_remark
    assert verdict.reading.called
    assert verdict.reading.meaning is not None
    assert verdict.reading.meaning.statements[0].entry.text == text  # type: ignore[union-attr]


def test_free_speech_after_remark_after_the_word(grammar: Grammar, tmp_path: Path) -> None:
    if shutil.which("flite") is None:
        pytest.skip("flite is not installed")
    said, path = "anvil remark the owner says he slipped on the ice", tmp_path / "said.wav"
    subprocess.run(["flite", "-voice", "slt", "-t", said, "-o", path], check=True)
    sound = np.concatenate([*open_sound(path), np.zeros(8000, np.float32)])
    hearing = PocketSphinxListener(grammar.acceptor, grammar.pronunciations).hear(
        Clip(sound, None, 0.0, len(sound) / 16_000)
    )
    assert hearing.accepted
    assert hearing.hypotheses[0].text == "anvil remark"
