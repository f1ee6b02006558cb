"""The twenty phrases say what is most used and most easily taken for something else."""

from pathlib import Path

import pytest

from handsfree.errors import GrammarError
from handsfree.grammar.grammar import folder, load
from handsfree.records.entries import Finding, Measurement
from handsfree.voice.phrases import COUNT, FILE, read_phrases

GRAMMAR = load()
PHRASES = read_phrases(GRAMMAR)
SAID = {word for phrase in PHRASES for word in phrase.text.split()}
ENTRIES = [s.entry for phrase in PHRASES for s in phrase.meaning.statements]

EASILY_MISTAKEN = [
    ("front", "fore"),
    ("eighteen", "eighty"),
    ("heat", "hock"),
    ("hock", "crack"),
    ("sulcus", "sole"),
    ("sole", "frog"),
    ("quarter", "coronet"),
    ("off fore", "all four"),
    ("fronts", "front"),
    ("hind", "hinds"),
    ("inside", "outside"),
    ("toe", "two"),
]


def test_there_are_twenty_and_each_has_one_meaning() -> None:
    assert [phrase.number for phrase in PHRASES] == list(range(1, COUNT + 1))
    for phrase in PHRASES:
        assert GRAMMAR.meanings(phrase.text.split()) == [phrase.meaning]
        assert 2 <= len(phrase.text.split()) <= 9


def test_every_limb_and_group_of_limbs_is_said() -> None:
    forms = {word.id: word.forms for word in GRAMMAR.table if word.slot == "limb"}
    texts = " | ".join(phrase.text for phrase in PHRASES)
    assert [limb for limb, said in forms.items() if not any(f in texts for f in said)] == []


@pytest.mark.parametrize("pair", EASILY_MISTAKEN)
def test_both_of_what_is_easily_mistaken_are_said(pair: tuple[str, str]) -> None:
    for words in pair:
        assert any(f" {words} " in f" {phrase.text} " for phrase in PHRASES), words


def test_findings_places_sides_and_grades_are_said() -> None:
    findings = [entry for entry in ENTRIES if isinstance(entry, Finding)]
    assert len({entry.zone for entry in findings} - {None}) >= 8
    assert len({entry.term for entry in findings}) >= 8
    assert {entry.side for entry in findings} >= {"medial", "lateral"}
    assert len({entry.grade for entry in findings} - {None}) >= 2
    assert {entry.age for entry in findings} >= {"old", "fresh"}


def test_every_kind_of_unit_and_number_is_said() -> None:
    classes = {word.id: word.group for word in GRAMMAR.table if word.slot == "unit"}
    units = {entry.unit for entry in ENTRIES if isinstance(entry, Measurement)}
    # Hands are read by natural speech alone: no fixed sentence says them.
    assert {classes[unit] for unit in units if unit} == set(classes.values()) - {"said-length"}
    assert units >= {"in", "mm"}
    assert {"quarter", "eighteen", "eighty", "fifty", "hundred", "seven"} <= SAID


def test_commands_that_confirm_and_erase_are_said() -> None:
    assert {phrase.meaning.command for phrase in PHRASES} >= {"confirm", "strike"}
    assert any(phrase.meaning.correction for phrase in PHRASES)


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        ("strike that", "strike it all", "phrase 19 .* no sentence"),
        ("strike that", "confirm foot", "20 different"),
        ('    "strike that",\n', "", "20 different"),
        ("say =", "say", "no TOML"),
    ],
)
def test_a_wrong_file_is_told(tmp_path: Path, before: str, after: str, says: str) -> None:
    text = (folder() / FILE).read_text(encoding="utf-8")
    assert before in text
    (tmp_path / FILE).write_text(text.replace(before, after), encoding="utf-8")
    with pytest.raises(GrammarError, match=says) as error:
        read_phrases(GRAMMAR, tmp_path)
    assert "\n" not in str(error.value)
