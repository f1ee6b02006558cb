"""A fixed sentence means the same to the reader of natural speech as to the grammar.

The grammar's meaning of its own sentences counts; this says that there is no second truth beside
it. Sentences that nobody says (twenty nails, a crack wider than the foot) are left out.
"""

import random
import tomllib
from pathlib import Path
from typing import Any

import pytest

from handsfree.grammar.meaning import Meaning
from handsfree.language.measures import LIKELY
from handsfree.language.nailing import MOST_NAILS
from handsfree.language.reader import Reader
from handsfree.records.entries import Entry, Finding, Measurement, Nails, to_json

from .rows import GRAMMAR

DEMO = Path(__file__).parents[2] / "demo_audio" / "phrases.toml"
SLOTS = ("grade", "age", "trend", "zone", "side")
LENGTHS = ("below_hairline_mm", "extent_mm")


def _demo() -> list[str]:
    said = tomllib.loads(DEMO.read_text(encoding="utf-8"))
    texts = [u["said"].lower() for r in said["recording"] for u in r["utterance"]]
    return [text for text in dict.fromkeys(texts) if GRAMMAR.sentences.accepts(text.split())]


def _is_said(entry: Entry) -> bool:
    match entry:
        case Nails():
            # "Lost nail" is one nail to the reader, some nails to the grammar.
            return entry.count is not None and 2 <= entry.count <= MOST_NAILS
        case Measurement():
            if entry.unit == "deg":
                return 20 <= entry.value <= 80
            least, most = LIKELY[entry.quantity].get(entry.unit, (1, 0))
            return least <= entry.value <= most
        case Finding():
            # A grade of laminitis names the finding as well, where the reader reads it.
            told = sum(getattr(entry, slot) is not None for slot in SLOTS)
            return told <= 2 and not any(getattr(entry, x) for x in LENGTHS) and bool(entry.term)
        case _:
            return True


def _generated(count: int) -> list[str]:
    rng, found = random.Random(3), list[str]()
    while len(found) < count:
        sentence, meaning = GRAMMAR.generate(rng)
        plain = len(meaning.statements) == 1 and not meaning.correction and not meaning.command
        if plain and sentence.words[0] != "remark" and _is_said(meaning.statements[0].entry):
            found.append(" ".join(sentence.words))
    return found


def _entries(meaning: Meaning | None) -> list[dict[str, Any]]:
    if meaning is None:
        return []
    found = []
    for statement in meaning.statements:
        body = {k: v for k, v in to_json(statement.entry).items() if v is not None}
        if body.get("scale_grade", {}).get("scale") == "laminitis":
            # The reader names the finding as well.
            body.pop("term", None)
        kept = {k: v for k, v in body.items() if k not in FREE}
        found += [kept | {"limb": limb} for limb in statement.limbs or (None,)]
    return found


FREE = ("detail", "text", "unit_inferred")


@pytest.mark.parametrize("text", [*_demo(), *_generated(60)])
def test_the_reader_reads_a_fixed_sentence_as_the_grammar_does(tables, text: str) -> None:
    words = text.split()
    wanted, got = GRAMMAR.read(words).meaning, Reader(tables).read(words).meaning
    assert wanted is not None
    if wanted.command is not None:
        assert got is None or got.command in (None, wanted.command)
        return
    assert got is not None
    assert sorted(map(str, _entries(got))) == sorted(map(str, _entries(wanted)))
    assert wanted.statements or got.limbs == wanted.limbs
    assert got.correction == wanted.correction
