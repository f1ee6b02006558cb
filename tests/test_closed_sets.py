"""Commands, recognizers and units: each is a closed set, and everything in it is dealt with."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from handsfree.dialogue.dialogue import Dialogue
from handsfree.dialogue.session import Session
from handsfree.engines import choose
from handsfree.engines.base import Clip, Hearing, Listener
from handsfree.errors import EngineError
from handsfree.finding import amounts, numbers
from handsfree.grammar.grammar import Grammar, load
from handsfree.grammar.jsgf import Node
from handsfree.grammar.rules import children
from handsfree.log import Log, UtteranceRow
from handsfree.records.commands import Command
from handsfree.records.entries import Measurement, to_json
from handsfree.records.units import (
    QUANTITIES,
    UNITS,
    Angle,
    Length,
    Weight,
    fits,
    kind_of,
    quantity,
)
from handsfree.sums import change, wording
from handsfree.visit.answer import Tone
from handsfree.visit.plausible import RANGES, question


@pytest.fixture(scope="module")
def grammar() -> Grammar:
    return load(horse_names=["Bramble"]).with_attention("smithy")


def tags(node: Node) -> Iterator[str]:
    yield from node.tags
    for child in children(node):
        yield from tags(child)


def test_the_grammar_has_every_command_and_no_other(grammar: Grammar) -> None:
    spoken = {tag[1:] for rule in grammar.rules.rules.values() for tag in tags(rule.body)
              if tag.startswith("!")}  # fmt: skip
    assert spoken | {Command.ATTENTION} == set(Command)


def test_every_command_is_taken_as_itself_and_answered(grammar: Grammar) -> None:
    examples = grammar.rules.of("command").examples
    sentences = [*examples, "horse bramble", "smithy"]
    taken = set()
    for sentence in sentences:
        dialogue = Dialogue(grammar, Session("LH", attention_s=60))
        dialogue.hear(grammar.read(["smithy"]))
        turn = dialogue.hear(grammar.read(sentence.split()))
        assert turn is not None, sentence
        if turn.outcome.command != Command.REMARK:
            assert (turn.outcome.status, turn.answers[0].tone) == ("command", Tone.COMMAND)
        taken.add(turn.outcome.command)
    assert taken == set(Command)


class Silent:
    """A recognizer of another make."""

    name = "silent"

    def hear(self, clip: Clip) -> Hearing:
        return Hearing(self.name, (), 0.0, False)


@pytest.mark.parametrize("name", choose.RECOGNIZERS)
def test_every_recognizer_is_made_by_its_name(name: str, grammar: Grammar) -> None:
    folders = choose.ModelFolders()
    reason = choose.why_not(name, folders)
    if reason is not None:
        with pytest.raises(EngineError, match=f"engine {name}: "):
            choose.listeners(load(), (name,), folders)
    else:
        [ear], _ = choose.listeners(load(), (name,), folders)
        assert ear.name == name


def test_a_new_recognizer_is_none_of_the_others(monkeypatch: pytest.MonkeyPatch) -> None:
    def make(setting: choose.Setting) -> Listener:
        return Silent()

    monkeypatch.setitem(choose.RECOGNIZERS, "silent", choose.Recognizer(lambda _: None, make))
    [ear], _ = choose.listeners(load(), ("silent",), choose.ModelFolders())
    assert isinstance(ear, Silent)


CLASSES = {
    **dict.fromkeys(("length", "foot-length", "horse-length"), Length),
    "angle": Angle,
    "weight": Weight,
}
"""Class of a quantity or unit in the table of words → what it is."""


def test_units_and_quantities_are_those_of_the_table(grammar: Grammar) -> None:
    for slot, kinds in (("unit", UNITS), ("quantity", QUANTITIES)):
        assert kinds == {w.id: CLASSES[w.like] for w in grammar.table if w.slot == slot}
    assert set(QUANTITIES) == set(RANGES)


def test_what_is_unknown_is_no_length() -> None:
    with pytest.raises(ValueError, match="'barrel_angles' is no quantity"):
        kind_of("barrel_angles")
    with pytest.raises(ValueError, match="'furlong' is no unit"):
        quantity(1, "furlong")
    assert not any(fits("barrel_angles", quantity(1, unit)) for unit in UNITS)
    assert question(Measurement(quantity="toe_length", value=1, unit="furlong"), None) is None


def test_every_table_of_units_has_them_all() -> None:
    for table in (wording.DECIMALS, change.SLOPE_DECIMALS, amounts.HALF_OF_LAST):
        assert set(table) == set(UNITS)
    assert set(numbers.UNITS.values()) == set(UNITS)


@pytest.mark.parametrize("unit", UNITS)
def test_the_index_reckons_every_unit_as_the_program_does(unit: str, tmp_path: Path) -> None:
    of = next(q for q, kind in QUANTITIES.items() if kind is UNITS[unit])
    value = 16.15 if unit == "hands" else 3.5
    entry = to_json(Measurement(limb="LH", quantity=of, value=value, unit=unit))
    with Log.open(tmp_path / "log.db") as log:
        visit = log.start_visit("typed")
        log.append(visit.id, UtteranceRow(heard="so much", status="recorded"), [entry])
        with log._reading() as db:
            [(amount,)] = db.execute("SELECT amount FROM findable").fetchall()
    assert amount == pytest.approx(quantity(value, unit).amount)
