"""Recordings of real people, where a folder of them is named by $HANDSFREE_SPEECH.

It holds human_words/ and chatter/, each with an index.csv (columns file and text). Open sets:
CMU AN4 and Google Speech Commands for the words, LibriSpeech and others for the talk. The
bounds are well below what tests/bench/hearing.py measured on all of them, so that a change
for the worse shows and chance does not.
"""

import csv
import os
from pathlib import Path

import pytest

from handsfree.audio.sources import SoundReader
from handsfree.audio.speech import as_one_clip, cut
from handsfree.engines.base import Clip, Listener
from handsfree.engines.choose import ModelFolders, listeners, why_not
from handsfree.engines.together import Together
from handsfree.grammar import load
from handsfree.grammar.acceptor import Acceptor, from_sentences
from handsfree.grammar.words import plain_words
from handsfree.records.sureness import unsure

FOLDER = Path(os.environ.get("HANDSFREE_SPEECH") or "nowhere")

pytestmark = [
    pytest.mark.skipif(
        not (FOLDER / "human_words" / "index.csv").is_file(),
        reason="$HANDSFREE_SPEECH names no folder of recordings of real people",
    ),
    pytest.mark.skipif(
        any(why_not(name, ModelFolders()) for name in ("pocketsphinx", "neural")),
        reason="needs both listeners",
    ),
]


def index(name: str) -> list[tuple[Path, tuple[str, ...]]]:
    with (FOLDER / name / "index.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return [(FOLDER / name / row["file"], tuple(plain_words(row["text"]))) for row in rows]


def clip_of(path: Path) -> Clip:
    with SoundReader(path) as reader:
        return as_one_clip(reader)


def both(acceptor: Acceptor) -> list[Listener]:
    from handsfree.engines.neural import NeuralListener
    from handsfree.engines.pocketsphinx import PocketSphinxListener

    return [PocketSphinxListener(acceptor, {}), NeuralListener(acceptor)]


@pytest.mark.parametrize("kind", ["number strings", "single words"])
def test_people_saying_numbers_and_words(kind: str):
    rows = index("human_words")
    if kind == "number strings":
        rows = [row for row in rows if row[0].name.startswith("an4_num")]
        after = dict.fromkeys({word for _, words in rows for word in words}, 1)
        acceptor = Acceptor(0, (after, after), frozenset({1}))
    else:
        rows = [row for row in rows if len(row[1]) == 1]
        acceptor = from_sentences({words for _, words in rows})
    rows = rows[:: max(1, len(rows) // 15)]
    right, agreed = [0, 0], []
    ears = both(acceptor)
    for path, said in rows:
        clip = clip_of(path)
        hearings = [ear.hear(clip) for ear in ears]
        texts = [h.hypotheses[0].text if h.hypotheses else "" for h in hearings]
        for i, text in enumerate(texts):
            right[i] += text == " ".join(said)
        if texts[0] == texts[1] != "":
            agreed.append(texts[0] == " ".join(said))
    assert right[0] >= 0.6 * len(rows), "pocketsphinx"
    assert right[1] >= 0.85 * len(rows), "neural"
    assert len(agreed) >= 0.6 * len(rows)
    assert sum(agreed) >= len(agreed) - 1


def test_peoples_other_talk_is_never_called_a_sure_note():
    grammar = load()
    ears = Together(listeners(grammar, ("pocketsphinx", "neural"), ModelFolders())[0], grammar)
    rows = index("chatter")
    sure = taken = 0
    for path, _ in rows[:: max(1, len(rows) // 15)]:
        with SoundReader(path) as reader:
            for clip in cut(reader):
                verdict = ears.hear(clip)
                taken += verdict.reading.meaning is not None
                sure += verdict.reading.meaning is not None and not unsure(verdict.confidence)
    ears.close()
    assert sure == 0
    assert taken <= 1
