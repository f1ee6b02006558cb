"""How likely words follow one another: the counts that come with the program."""

import math

import pytest

from handsfree.engines import word_model
from handsfree.engines.word_model import CLASSES, END, OTHER, WordModel, load
from handsfree.errors import EngineError
from handsfree.grammar import load as load_grammar


@pytest.fixture(scope="module")
def words() -> WordModel:
    return load(["bramble", "juniper"])


def test_what_is_said_is_likelier_than_the_same_words_in_disorder(words):
    said = "there's a bit of thrush in the left hind".split()
    assert words.total(said) > words.total(sorted(said)) + 10


def test_no_foot_side_or_number_is_likelier_than_another(words):
    def likely(text):
        return words.total(text.split())

    said = {"<hand>": "{} hind bruise", "<digit>": "pulled {} nails", "<edge>": "{} heel"}
    for name, frame in said.items():
        first, *others = CLASSES[name]
        assert all(likely(frame.format(word)) == likely(frame.format(first)) for word in others), (
            name
        )


def test_whatever_follows_is_a_share_of_one(words):
    """No context gives away more than there is: what follows "left hind" sums to about one."""
    two, one = words.number("left"), words.number("hind")
    every = [*sorted(words.vocabulary), END, OTHER, "bramble"]
    total = sum(math.exp(words.after(two, one, word)) for word in every)
    assert 0.9 < total < 1.1


def test_a_word_of_no_trade_and_a_name_may_be_said_at_a_price(words):
    assert words.total(["xyzzy"]) < words.total(["thrush"])
    assert math.isfinite(words.total(["xyzzy"]))
    assert words.number("bramble") != words.number("xyzzy") == words.number(OTHER)


def test_every_word_of_the_grammar_was_counted(words):
    """Else it could be said in a sentence of the grammar, but in no other."""
    unsaid = load_grammar().acceptor.vocabulary - words.vocabulary
    assert not unsaid


def test_a_damaged_file_is_one_line(tmp_path):
    file = tmp_path / "words.npz"
    file.write_bytes(b"no such thing")
    with pytest.raises(EngineError, match="cannot be read"):
        load(file=file)
    assert word_model.FILE.is_file()
