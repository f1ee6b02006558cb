"""Words of the user's own before the recognizers: heard as said, read as meant."""

import shutil
import subprocess
from pathlib import Path

import pytest

from handsfree.audio.sources import SoundReader
from handsfree.audio.speech import as_one_clip
from handsfree.engines.choose import ModelFolders, _hearable, listeners, why_not
from handsfree.engines.together import Together
from handsfree.grammar import load
from handsfree.grammar.synonyms import Synonyms
from handsfree.records.sureness import unsure

OWN = Synonyms(
    {
        ("wooden", "slipper"): ("outside", "heel"),
        ("market", "garden"): ("thrush", "in", "the", "frog"),
        ("xqwzzle",): ("left", "hind"),
    }
)


def test_a_word_no_dictionary_has_is_left_to_the_others() -> None:
    pytest.importorskip("pocketsphinx")
    grammar = load(horse_names=["Copper", "Zzqwix"]).with_synonyms(OWN)
    known, unheard = _hearable(grammar.with_attention("anvil"))
    assert unheard == ["the horse's name Zzqwix", "your own word xqwzzle"]
    assert ("xqwzzle",) not in known.synonyms.means
    assert ("wooden", "slipper") in known.synonyms.means
    assert (known.attention, known.horse_names) == (("anvil",), ("Copper",))
    assert ("xqwzzle",) in grammar.synonyms.means


def test_they_are_among_the_phrases_for_vosk() -> None:
    assert "wooden slipper" in load().with_synonyms(OWN).phrases(100)


@pytest.mark.skipif(shutil.which("flite") is None, reason="flite is not installed")
@pytest.mark.parametrize("engine", ["pocketsphinx", "neural"])
def test_made_speech_with_them_is_heard(engine: str, tmp_path: Path) -> None:
    if why_not(engine, ModelFolders()):
        pytest.skip(f"{engine} cannot be used here")
    grammar = load().with_synonyms(OWN)
    ears = Together(listeners(grammar, (engine,), ModelFolders())[0], grammar)
    for said, meant in [
        ("left hind wooden slipper bruise", "left hind outside heel bruise"),
        ("left fore market garden", "left fore thrush in the frog"),
        ("left hind outside heel bruise", "left hind outside heel bruise"),
    ]:
        path = tmp_path / "said.wav"
        subprocess.run(["flite", "-voice", "slt", "-t", said, "-o", path], check=True)
        with SoundReader(path) as reader:
            verdict = ears.hear(as_one_clip(reader))
        assert verdict.heard == said
        assert verdict.reading.meaning == grammar.read(meant.split()).meaning
        assert not unsure(verdict.confidence)
    ears.close()
