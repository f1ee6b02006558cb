"""Scoring what another listener heard."""

import math
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from handsfree.audio.sources import open_sound
from handsfree.audio.speech import as_one_clip
from handsfree.engines import neural
from handsfree.engines.apart import Apart
from handsfree.engines.base import Clip, ScoringListener
from handsfree.engines.neural import NeuralListener
from handsfree.engines.pocketsphinx import PocketSphinxListener
from handsfree.grammar.acceptor import from_sentences

pytest.importorskip("pocketsphinx", reason="PocketSphinx is not installed")

SENTENCES = ("left hind outside heel bruise", "left hind inside heel bruise", "pulled seven nails")
ACCEPTOR = from_sentences(s.split() for s in SENTENCES)
SILENT = Clip(np.zeros(16000, np.float32), np.zeros(16000, np.float32), 0.0, 1.0)


@pytest.fixture(scope="module")
def clip(tmp_path_factory: pytest.TempPathFactory) -> Clip:
    """The first sentence, spoken."""
    if shutil.which("flite") is None:
        pytest.skip("flite is not installed")
    path: Path = tmp_path_factory.mktemp("voice") / "said.wav"
    subprocess.run(["flite", "-voice", "slt", "-t", SENTENCES[0], "-o", path], check=True)
    quiet = np.zeros(4000, np.float32)
    sound = np.concatenate([quiet, *open_sound(path), quiet])
    room = 1e-3 * np.random.default_rng(1).standard_normal(len(sound))
    return as_one_clip([(sound + room).astype(np.float32)])


def test_pocketsphinx_scores_what_was_said_best(clip):
    ear = PocketSphinxListener(ACCEPTOR, {})
    assert isinstance(ear, ScoringListener)
    said, near, other, unknown, empty = ear.score(clip, [*SENTENCES, "left xyzzy", ""])
    assert said > near > other
    assert (unknown, empty) == (-math.inf, -math.inf)
    assert ear.hear(clip).hypotheses[0].text == SENTENCES[0], "its own sentences stay in force"
    assert ear.score(SILENT, ["pulled seven nails"]) == (-math.inf,)


@pytest.mark.skipif(neural.available() is not None, reason=str(neural.available()))
def test_the_neural_listener_scores_as_its_own_search_does(clip):
    ear = NeuralListener(ACCEPTOR)
    assert isinstance(ear, ScoringListener)
    found = ear.hear_quickly(clip).hypotheses
    scores = ear.score(clip, [hypothesis.text for hypothesis in found])
    assert scores == pytest.approx([hypothesis.score for hypothesis in found], abs=0.02)
    assert ear.score(clip, ["pads"])[0] < scores[0]
    assert ear.score(SILENT, ["pads"]) == (-math.inf,)


def test_in_a_process_of_its_own_it_does_the_same(clip):
    here = PocketSphinxListener(ACCEPTOR, {})
    there = Apart("pocketsphinx", PocketSphinxListener, ACCEPTOR, {})
    try:
        assert there.hear(clip) == here.hear(clip)
        assert there.score(clip, SENTENCES) == pytest.approx(here.score(clip, SENTENCES))
    finally:
        there.close()
