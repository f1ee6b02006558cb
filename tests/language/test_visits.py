"""Whole visits, typed as they were spoken: what stands at their end."""

import json
from pathlib import Path
from typing import Any

import pytest

from handsfree.dialogue.dialogue import Dialogue
from handsfree.dialogue.session import Session
from handsfree.grammar import load
from handsfree.grammar.words import plain_words
from handsfree.language.understand import Understanding
from handsfree.records.entries import to_json

VISITS = sorted((Path(__file__).parent / "visits").glob("*.jsonl"))
LEAST = 0.95
"""Of the entries that should stand."""


def compared(entry: dict[str, Any]) -> tuple[Any, ...]:
    kept = {k: v for k, v in entry.items() if v not in (None, False)}
    for free in ("grade", "text", "detail", "unit", "unit_inferred"):
        kept.pop(free, None)
    for key, value in kept.items():
        if isinstance(value, int | float):
            kept[key] = round(float(value), 2)
    return tuple(sorted((k, str(v)) for k, v in kept.items()))


@pytest.mark.parametrize("file", VISITS, ids=lambda f: f.stem)
def test_what_stands_at_the_end_of_a_visit(file: Path):
    rows = [json.loads(line) for line in file.read_text().splitlines()]
    horse = rows[0]["horse"]
    grammar = load(horse_names=[horse])
    understanding, dialogue = Understanding(grammar), Dialogue(grammar, Session())
    for row in rows[1:-1]:
        reading = understanding.read(plain_words(row["text"]))
        dialogue.hear(reading, 1.0 - reading.bend)
    assert dialogue.state.horse == horse
    standing = [compared(to_json(kept.entry)) for kept in dialogue._visit.kept]
    wanted = [compared(entry) for entry in rows[-1]["final"]]
    there = 0
    for entry in wanted:
        if entry in standing:
            standing.remove(entry)
            there += 1
    assert there / len(wanted) >= LEAST, [e for e in wanted if e not in standing]
    assert len(standing) / len(wanted) <= 1 - LEAST, standing
