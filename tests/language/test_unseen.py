"""What invented farriers say whom nobody had in sight while the reader was mended.

Do not mend the reader with these in sight: what is learnt from them tells nothing of a new speaker
any more. `plain` are working notes of three speakers; in `stories` three others tell reasons, what
was so once, and correct themselves in long sentences.
"""

import json
from pathlib import Path

import pytest

from handsfree.grammar.words import plain_words

from .rows import UNDERSTANDING
from .test_speakers import SURE_TO, is_right, is_wrong
from .test_speakers import entries as entries_of

UNSEEN = Path(__file__).parent / "unseen"


@pytest.mark.parametrize(
    ("name", "least_right", "most_wrong"), [("plain", 0.88, 0.01), ("stories", 0.84, 0.02)]
)
def test_speakers_nobody_had_in_sight(name: str, least_right: float, most_wrong: float) -> None:
    lines = (UNSEEN / f"{name}.jsonl").read_text(encoding="utf-8").splitlines()
    rows = [json.loads(line) for line in lines]
    right = wrong = talk = 0
    missed = []
    for row in rows:
        reading = UNDERSTANDING.read(plain_words(row["text"]))
        got = entries_of(reading)
        sure = reading.bend <= SURE_TO and not reading.doubt
        right += is_right(row["entries"], got)
        wrong += sure and is_wrong(row["entries"], got)
        talk += row["kind"] == "talk" and sure and bool(got)
        told = {e["term"] for e in row["entries"] if e["kind"] == "finding"}
        if row["kind"] == "alarm" and not told <= {e.get("term") for e in got}:
            missed.append(row["text"])
    assert right / len(rows) >= least_right
    assert wrong / len(rows) <= most_wrong
    assert missed == []
    assert talk <= 1
