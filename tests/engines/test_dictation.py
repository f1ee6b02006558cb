"""Speech written down freely by the real listener."""

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from handsfree.audio.sources import open_sound
from handsfree.audio.speech import as_one_clip
from handsfree.engines import neural
from handsfree.engines.base import Clip
from handsfree.engines.neural import NeuralListener
from handsfree.engines.together import Together
from handsfree.grammar import load

pytestmark = pytest.mark.skipif(neural.available() is not None, reason=str(neural.available()))

SAID = "there's a bit of a corn on the inside heel of the near fore"


def spoken(folder: Path, text: str) -> Clip:
    if shutil.which("flite") is None:
        pytest.skip("flite is not installed")
    path = folder / "said.wav"
    subprocess.run(["flite", "-voice", "rms", "-t", text, "-o", path], check=True)
    quiet = np.zeros(4000, np.float32)
    sound = np.concatenate([quiet, *open_sound(path), quiet])
    room = 1e-3 * np.random.default_rng(1).standard_normal(len(sound))
    return as_one_clip([(sound + room).astype(np.float32)])


@pytest.fixture(scope="module")
def grammar():
    return load(horse_names=["Bramble"])


@pytest.fixture(scope="module")
def ear(grammar) -> NeuralListener:
    return NeuralListener(grammar.acceptor)


def test_what_is_no_sentence_is_written_as_it_was_said(ear, tmp_path):
    hearing = ear.hear(spoken(tmp_path, SAID))
    assert SAID in [way.text for way in hearing.dictated]
    scores = [way.score for way in hearing.dictated]
    assert scores == sorted(scores, reverse=True)
    assert len(set(hearing.dictated)) == len(hearing.dictated)


def test_it_becomes_the_entries_that_it_means(ear, grammar, tmp_path):
    ears = Together([ear], grammar)
    verdict = ears.hear(spoken(tmp_path, SAID))
    [statement] = verdict.reading.meaning.statements
    entry = statement.entry
    assert (entry.term, entry.zone, entry.side) == ("corn", "heel", "medial")
    assert statement.limbs == ("LF",)


def test_a_sentence_of_the_grammar_is_not_written_again(ear, tmp_path):
    hearing = ear.hear(spoken(tmp_path, "left hind outside heel bruise"))
    assert hearing.hypotheses[0].text == "left hind outside heel bruise"
    assert hearing.dictated == ()


def test_talk_gives_no_note(ear, grammar, tmp_path):
    said = "the ticket office at the station was closed so we took the bus"
    verdict = Together([ear], grammar).hear(spoken(tmp_path, said))
    assert verdict.reading.meaning is None


def test_odd_sound_is_nothing(ear):
    for sound in (np.zeros(8000), np.full(8000, np.nan), np.ones(3)):
        raw = sound.astype(np.float32)
        assert ear.hear(Clip(raw, raw, 0.0, 0.5)).dictated == ()
