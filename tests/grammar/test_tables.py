"""Every example beside a rule stands in a table with what it means, and means that."""

import tomllib
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from handsfree.grammar import load
from handsfree.grammar.derive import Deriver
from handsfree.grammar.meaning import meaning_of
from handsfree.records.entries import to_json

TABLES = Path(__file__).parent / "tables"
RULES = load().rules
EXAMPLES = {
    rule.name.partition(".")[2]: rule.examples for rule in RULES.rules.values() if rule.examples
}
ROWS = [
    (path.stem, sentence, expected)
    for path in sorted(TABLES.glob("*.toml"))
    for sentence, expected in tomllib.loads(path.read_text()).items()
]


def test_tables_mirror_the_examples_one_to_one():
    tables = {path.stem: tuple(tomllib.loads(path.read_text())) for path in TABLES.glob("*.toml")}
    assert tables == EXAMPLES


@pytest.mark.parametrize(("rule", "sentence", "expected"), ROWS)
def test_example_means_what_its_table_says(grammar, rule: str, sentence: str, expected: Any):
    if not isinstance(expected, dict):
        assert number(sentence, rule) == expected
        return
    (meaning,) = grammar.meanings(sentence.split())
    assert meaning.command == expected.get("command")
    assert meaning.correction == expected.get("correction", False)
    assert list(meaning.limbs) == expected.get("limbs", [])
    said = []
    for statement in meaning.statements:
        row = {
            k: v for k, v in to_json(statement.entry).items() if v is not None and v is not False
        }
        said.append(row | ({"limbs": list(statement.limbs)} if statement.limbs else {}))
    assert said == expected.get("entries", [])


@pytest.mark.parametrize(
    ("rule", "sentence"),
    [(rule, s) for rule, sentences in EXAMPLES.items() for s in sentences],
)
def test_example_belongs_to_the_rule_it_stands_beside(grammar, rule: str, sentence: str):
    full = next(name for name in RULES.rules if name.split(".")[1] == rule)
    by_itself = grammar.meanings(sentence.split(), full)
    # Some rules hold only a part of a sentence; their examples show them in use.
    assert by_itself or rule in {
        "quality",
        "where-along",
        "hoof-mark",
        "leg-mark",
        "finding",
    }, f"{sentence!r} is not of rule <{rule}>"


def number(sentence: str, rule: str) -> float:
    """The value the program gives a number, read through a measurement where it allows one."""
    (tags,) = Deriver(RULES).derive(sentence.split(), f"numbers.{rule}")
    end = len(sentence.split())
    tags = (*tags, (end, ">value"), (end, ":measurement"))
    value = meaning_of(sentence.split(), tags).statements[0].entry.value
    return float(Fraction(value))
