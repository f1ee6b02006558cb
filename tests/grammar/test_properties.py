"""Properties of the grammar as a whole, on sentences it makes up itself."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.grammar import folder, jsgf, load
from handsfree.grammar.compile import acceptor_of, minimal
from handsfree.grammar.rules import link
from handsfree.grammar.words import as_grammar, names_grammar

GRAMMAR = load(horse_names=["Bramble", "Old Copper"])
KINDS_OF_SENTENCE = [
    "command",
    "finding",
    "measurement",
    "nails",
    "shoe",
    "wedge",
    "work",
    "plan",
]


@given(st.integers())
@settings(max_examples=400, deadline=None)
def test_every_sentence_parses_back_to_what_it_was_made_from(seed: int):
    sentence, meaning = GRAMMAR.generate(random.Random(seed))
    assert GRAMMAR.acceptor.accepts(sentence.words)
    # One meaning only: the same words must never stand for two records.
    assert GRAMMAR.meanings(sentence.words) == [meaning]
    reading = GRAMMAR.read(sentence.words)
    if meaning.command == "remark":
        assert reading.meaning is not None
        assert reading.meaning.statements[0].entry.kind == "remark"
    else:
        assert reading.meaning == meaning
        assert reading.bend == 0


@pytest.mark.parametrize("kind", KINDS_OF_SENTENCE)
def test_no_rule_steals_sentences_of_another(kind: str):
    rng = random.Random(kind)
    others = [k for k in KINDS_OF_SENTENCE if k != kind]
    for _ in range(400):
        sentence, _ = GRAMMAR.generate(rng, kind)
        stolen = [o for o in others if GRAMMAR.meanings(sentence.words, o)]
        assert not stolen, f"<{stolen[0]}> takes {' '.join(sentence.words)!r} from <{kind}>"


def test_automaton_and_rules_allow_the_same_sentences():
    rng = random.Random(5)
    acceptor = GRAMMAR.acceptor
    for _ in range(300):
        state, walked = acceptor.start, []
        while not (state in acceptor.finals and rng.random() < 0.5):
            if not acceptor.arcs[state]:
                break
            word = rng.choice(sorted(acceptor.arcs[state]))
            walked.append(word)
            state = acceptor.arcs[state][word]
        assert GRAMMAR.meanings(walked), " ".join(walked)


def test_automaton_is_minimal_and_has_no_dead_ends():
    acceptor = GRAMMAR.acceptor
    assert len(minimal(acceptor).arcs) == len(acceptor.arcs)
    leads_out = set(acceptor.finals)
    while True:
        more = {s for s, arcs in enumerate(acceptor.arcs) if leads_out & set(arcs.values())}
        if more <= leads_out:
            break
        leads_out |= more
    assert leads_out == set(range(len(acceptor.arcs)))


def test_every_spoken_form_of_the_table_is_in_some_sentence():
    heard = GRAMMAR.acceptor.vocabulary
    for word in GRAMMAR.table:
        for form in word.forms if word.in_sentences else ():
            assert set(form.split()) <= heard, f"{form} of {word.id} can never be said"


def test_words_of_natural_speech_change_nothing_of_what_recognizers_search():
    """As if their rows were not in the table: the automaton, its words, the phrases."""
    table = tuple(word for word in GRAMMAR.table if word.in_sentences)
    assert {"laminitis", "shoulder", "poulticed", "hands", "xray"} <= {
        word.id for word in set(GRAMMAR.table) - set(table)
    }
    others = {
        "numbers": jsgf.read(folder() / "numbers.jsgf"),
        "words": as_grammar(table),
        "names": names_grammar(GRAMMAR.horse_names),
    }
    without = acceptor_of(link(jsgf.read(folder() / "sentences.jsgf"), others))
    assert without.arcs == GRAMMAR.sentences.arcs
    assert (without.start, without.finals) == (GRAMMAR.sentences.start, GRAMMAR.sentences.finals)
    own = {"mites", "keratoma", "poulticed", "shoulder", "hands", "owner", "winging"}
    assert not own & GRAMMAR.acceptor.vocabulary
    assert not own & {w for phrase in GRAMMAR.phrases(count=300) for w in phrase.split()}


def test_numbers_zero_to_999_and_nothing_else():
    whole = acceptor_of(GRAMMAR.rules, "numbers.whole")
    for number in range(1000):
        reading = GRAMMAR.read(["toe", "length", str(number), "mm"])
        assert reading.meaning is not None, number
        assert reading.meaning.statements[0].entry.value == number
    assert not whole.accepts(["twenty", "eleven"])
    assert GRAMMAR.read(["toe", "length", "1000", "mm"]).meaning is None


def test_recognizers_phrases_are_allowed_sentences_or_parts_of_them():
    phrases = GRAMMAR.phrases(count=300)
    assert len(phrases) > 300
    assert {w for p in phrases for w in p.split()} <= GRAMMAR.acceptor.vocabulary


def test_without_any_horse_sentences_can_still_be_made_up():
    bare = load()
    assert bare.horse_names == ()
    rng = random.Random(2)
    for _ in range(200):
        sentence, _ = bare.generate(rng, "command")
        assert bare.acceptor.accepts(sentence.words)
