"""How two answers become one verdict; the hearings are made by hand, the grammar is real."""

import threading
from dataclasses import dataclass, replace

import numpy as np
import pytest

from handsfree.engines.base import Clip, HeardWord, Hearing, Hypothesis
from handsfree.engines.together import NO_WORDS, Together, as_remark
from handsfree.grammar import Grammar, load
from handsfree.grammar.limbs import NamedLimbs
from handsfree.records.sureness import DOUBTFUL_BELOW as SURE


@dataclass(frozen=True)
class Taught:
    heard: str
    meant: str
    times: int = 1


@pytest.fixture(scope="module")
def grammar() -> Grammar:
    return load(horse_names=["Bramble"])


def heard(
    engine: str,
    *texts: str,
    accepted: bool = True,
    margin: float = -0.5,
    scores: tuple[float, ...] = (0.0, -0.3, -2.0),
    free: str | None = None,
) -> Hearing:
    hypotheses = tuple(
        Hypothesis(tuple(HeardWord(w) for w in text.split()), score)
        for text, score in zip(texts, scores, strict=False)
    )
    return Hearing(engine, hypotheses, margin, accepted, free)


def weigh(grammar: Grammar, *hearings: Hearing, scores=None):
    return Together((), grammar).weigh(hearings, None, scores)


def test_agreement_is_sure(grammar):
    verdict = weigh(
        grammar, heard("pocketsphinx", "left hind bruise"), heard("neural", "left hind bruise")
    )
    assert verdict.confidence >= SURE
    assert verdict.doubt is None
    assert verdict.reading.meaning is not None


def test_agreement_counts_by_meaning_not_by_words(grammar):
    verdict = weigh(
        grammar,
        heard("pocketsphinx", "near hind loose clench outside"),
        heard("neural", "left hind loose clinch outside"),
    )
    assert verdict.confidence >= SURE


def test_agreement_outweighs_pocketsphinx_not_being_sure_of_itself(grammar):
    verdict = weigh(
        grammar,
        heard("pocketsphinx", "trimmed", accepted=False),
        heard("neural", "trimmed"),
    )
    assert verdict.confidence >= SURE


def test_what_the_neural_listener_turns_away_is_never_sure_though_both_found_it(grammar):
    """Real people's "chapter eleven" under a rasp was "check balance" to both, with 0.99."""
    verdict = weigh(
        grammar,
        heard("pocketsphinx", "check balance"),
        heard("neural", "check balance", accepted=False, margin=-4.5, free="Chapter 11"),
    )
    assert verdict.heard == "check balance"
    assert 0 < verdict.confidence < SURE
    assert verdict.doubt == "heard weakly"


def test_two_that_agree_on_what_neither_accepts_is_unclear(grammar):
    verdict = weigh(
        grammar,
        heard("pocketsphinx", "trimmed", accepted=False),
        heard("neural", "trimmed", accepted=False, free="Tell him I said so"),
    )
    assert verdict.reading.meaning is None
    assert verdict.heard == "Tell him I said so"
    assert verdict.speech


def test_disagreement_is_doubtful_and_keeps_both(grammar):
    verdict = weigh(grammar, heard("pocketsphinx", "packed"), heard("neural", "pads"))
    assert verdict.heard == "pads"
    assert verdict.confidence < SURE
    assert verdict.doubt == "pocketsphinx heard it differently"
    assert [a.text for a in verdict.alternatives] == ["packed"]


def test_what_sounds_the_same_is_never_sure_and_the_other_is_offered(grammar):
    """Real listeners agree on "all four" where "off fore" was said, with a figure of 1.00."""
    verdict = weigh(
        grammar,
        heard("pocketsphinx", "all four shoe reset"),
        heard("neural", "all four shoe reset"),
    )
    assert verdict.reading.words == ("all", "four", "shoe", "reset")
    assert verdict.confidence < SURE
    assert verdict.doubt == "sounds like 'off fore shoe reset'"
    assert verdict.alternatives[0].text == "off fore shoe reset"
    other = weigh(
        grammar,
        heard("pocketsphinx", "off fore shoe reset"),
        heard("neural", "off fore shoe reset"),
    )
    assert other.confidence >= SURE
    assert other.doubt is None


def test_twins_are_words_that_may_be_said(grammar):
    assert grammar._twins
    for pair in grammar._twins.items():
        for words in pair:
            assert set(words) <= grammar.acceptor.vocabulary


def test_the_sentence_that_both_score_well_is_taken(grammar):
    """Its own search may have lost what a listener, asked for it, finds to fit better."""
    hearings = [
        heard("pocketsphinx", "mild bruise inside heel", margin=1.5),
        heard("neural", "mild bruise", margin=-2.6, scores=(-2.0,), free="my old brews inside"),
    ]
    scores = {
        "pocketsphinx": {"mild bruise inside heel": 2.4, "mild bruise": 0.1},
        "neural": {"mild bruise inside heel": -0.4, "mild bruise": -2.0},
    }
    assert weigh(grammar, *hearings, scores=scores).heard == "mild bruise inside heel"
    worse = {
        "pocketsphinx": {"mild bruise inside heel": 0.2, "mild bruise": 0.1},
        "neural": {"mild bruise inside heel": -5.4, "mild bruise": -0.2},
    }
    assert weigh(grammar, *hearings, scores=worse).heard == "mild bruise"


def test_what_differs_and_was_not_scored_is_never_sure(grammar):
    strong = heard("neural", "toe clip", margin=0.4, free="Toe clip.")
    verdict = weigh(grammar, heard("pocketsphinx", "pads", margin=-3.0, accepted=False), strong)
    assert verdict.reading.meaning is not None
    assert verdict.confidence < SURE


def test_what_the_neural_listener_turns_away_is_no_note(grammar):
    verdict = weigh(
        grammar,
        heard("pocketsphinx", "lame trimmed"),
        heard("neural", "left fore", accepted=False, margin=-5, free="mind your back"),
    )
    assert verdict.reading.meaning is None
    assert verdict.heard == "mind your back"
    assert {a.text for a in verdict.alternatives} == {"lame trimmed", "left fore"}


def test_free_decoding_that_comes_to_the_same_meaning_is_acceptance(grammar):
    verdict = weigh(grammar, heard("neural", "shoe reset", accepted=False, free="Shoe reset."))
    assert verdict.reading.meaning is not None


def test_one_alone_decides_by_its_own_score(grammar):
    strong = weigh(grammar, heard("neural", "trimmed", free="Trimmed."))
    weak = heard("neural", "trimmed", "pads", margin=-5.0, free="He dreamed of a pad there.")
    assert strong.confidence >= SURE > weigh(grammar, weak).confidence
    assert weigh(grammar, heard("neural", "trimmed", accepted=False)).reading.meaning is None


def test_remark_takes_its_words_from_the_free_decoding(grammar):
    verdict = weigh(
        grammar,
        heard("pocketsphinx", "remark"),
        heard("neural", "back", accepted=False, free="Remark, she pulls back."),
    )
    assert verdict.reading.meaning is not None
    assert verdict.reading.meaning.statements[0].entry.text == "she pulls back"


def test_remark_without_words_keeps_its_sound(grammar):
    verdict = weigh(grammar, heard("pocketsphinx", "remark"))
    assert verdict.doubt == NO_WORDS
    assert verdict.reading.meaning is not None
    assert verdict.reading.meaning.statements[0].entry.text == ""
    assert verdict.doubt == NO_WORDS


def test_a_remark_that_only_one_heard_in_other_words_is_kept_but_not_sure(grammar):
    """PocketSphinx took "but a mob without any man ..." (LibriSpeech) for "remark" and so on."""
    talk = heard("neural", "trimmed", accepted=False, free="But a mob without any man")
    verdict = weigh(grammar, heard("pocketsphinx", "remark"), talk)
    assert verdict.is_remark
    assert verdict.confidence < SURE
    alone = heard("neural", "remark", free="Remark")
    assert weigh(grammar, heard("pocketsphinx", "remark"), alone).confidence >= SURE


def test_the_rest_of_a_long_remark_is_a_remark(grammar):
    """A remark goes to the end of the utterance, which may be cut into several clips."""
    rest = as_remark(weigh(grammar, heard("neural", "trimmed", free="And she was trimmed.")))
    assert rest.reading.meaning is not None
    assert rest.reading.meaning.statements[0].entry.text == "and she was trimmed"
    assert as_remark(weigh(grammar, heard("pocketsphinx", "trimmed"))).doubt == NO_WORDS


class Patient:
    """Answers quickly with one thing and patiently with another; counts the second tries."""

    name = "neural"

    def __init__(self, quick, patient):
        self.quick, self.patient, self.tries = quick, patient, 0

    def hear(self, clip):
        raise AssertionError("among several, it is asked quickly first")

    def hear_quickly(self, clip):
        return replace(heard("neural", self.quick), again=True)

    def hear_patiently(self, clip, quick):
        self.tries += 1
        return heard("neural", self.patient)


class Fixed:
    name = "pocketsphinx"

    def __init__(self, text):
        self.text = text

    def hear(self, clip):
        return heard("pocketsphinx", self.text)


@pytest.mark.parametrize(
    ("other", "tries", "read"),
    [
        ("thrush in the frog", 0, "thrush in the frog"),
        ("heel bruise and thrush in the frog", 1, "heel bruise and thrush in the frog"),
    ],
)
def test_a_patient_hearing_only_where_the_quick_ones_differ(grammar, other, tries, read):
    ear = Patient("thrush in the frog", "heel bruise and thrush in the frog")
    together = Together([Fixed(other), ear], grammar)
    clip = Clip(np.zeros(1600, np.float32), None, 0.0, 0.1)
    verdict = together.hear(clip)
    together.close()
    assert (ear.tries, " ".join(verdict.reading.words)) == (tries, read)
    assert verdict.confidence >= SURE


class Scoring(Fixed):
    """Scores its own sentence well and every other badly; keeps what it was asked."""

    def __init__(self, name, text):
        super().__init__(text)
        self.name, self.asked = name, []

    def hear(self, clip):
        return heard(self.name, self.text, scores=(0.5,))

    def score(self, clip, sentences):
        self.asked.append(list(sentences))
        return tuple(0.5 if text == self.text else -4.0 for text in sentences)


def test_each_scores_what_the_other_heard_only_where_they_differ(grammar):
    for other, asked in (("toe clip", []), ("pads", [["pads", "toe clip"]])):
        ears = [Scoring("pocketsphinx", other), Scoring("neural", "toe clip")]
        together = Together(ears, grammar)
        verdict = together.hear(Clip(np.zeros(1600, np.float32), None, 0.0, 0.1))
        together.close()
        assert [ear.asked for ear in ears] == [asked, asked]
        assert verdict.reading.meaning is not None


def test_a_third_listener_may_differ_without_being_sure(grammar):
    hearings = [
        heard("pocketsphinx", "pads"),
        heard("neural", "toe clip"),
        heard("vosk", "packed", margin=0.0),
    ]
    verdict = weigh(grammar, *hearings)
    assert verdict.reading.meaning is not None
    assert verdict.confidence < SURE
    hearings[2] = heard("vosk", "pads", margin=0.0)
    assert weigh(grammar, *hearings).heard == "pads"


def test_noise_is_no_speech(grammar):
    assert not weigh(grammar, heard("pocketsphinx"), heard("neural", free="")).speech


def test_words_outside_the_grammar_are_bent_or_turned_away(grammar):
    bent = weigh(grammar, heard("vosk", "left hind outside heal brews"))
    assert bent.reading.meaning is not None
    assert bent.confidence < 0.85
    assert weigh(grammar, heard("vosk", "[unk] hello there")).reading.meaning is None


class Slow(Fixed):
    """Answers only when it is let."""

    def __init__(self, text):
        super().__init__(text)
        self.let = threading.Event()

    def hear(self, clip):
        self.let.wait(30)
        return super().hear(clip)


class Writing(Patient):
    """Hears no sentence, and writes freely what was said."""

    def __init__(self, free):
        super().__init__("", "")
        self.free = free

    def hear_quickly(self, clip):
        return heard("neural", accepted=False, margin=-5.0, free=self.free)


def test_live_nobody_is_waited_for_over_mere_talk(grammar):
    slow = Slow("thrush in the frog")
    together = Together([slow, Writing("Good morning, lovely day they say")], grammar, live=True)
    clip = Clip(np.zeros(1600, np.float32), None, 0.0, 0.1)
    verdict = together.hear(clip)
    assert not slow.let.is_set()
    assert verdict.reading.meaning is None
    assert verdict.heard == "Good morning, lovely day they say"
    slow.let.set()
    together.close()


def test_live_what_may_be_a_note_waits_for_all(grammar):
    words = "thrush in the frog"
    slow = Slow(words)
    slow.let.set()
    together = Together([slow, Writing("Thrush in the fog.")], grammar, live=True)
    verdict = together.hear(Clip(np.zeros(1600, np.float32), None, 0.0, 0.1))
    together.close()
    assert words in {a.text for a in verdict.alternatives} | {" ".join(verdict.reading.words)}


def test_refused_speech_names_its_foot_as_it_was_written_freely(grammar):
    free = "left front has a great big crack"
    verdict = weigh(
        grammar,
        heard("pocketsphinx", "right hind heat", accepted=False),
        heard("neural", accepted=False, free=free),
    )
    assert verdict.reading.meaning is None
    assert verdict.reading.named == NamedLimbs(("LF",))


def test_a_foot_that_only_a_listener_bound_to_sentences_found_is_left_open(grammar):
    """It finds one in any speech: it is neither taken nor passed over."""
    alone = weigh(grammar, heard("pocketsphinx", "right hind heat", accepted=False))
    assert alone.reading.named == NamedLimbs(sure=False)
    nothing = heard("neural", accepted=False, free="")
    noise = weigh(grammar, heard("pocketsphinx", "right hind heat", accepted=False), nothing)
    assert noise.reading.named == NamedLimbs()


ONCE, TWICE = "one nail left in", "one nail left in one nail left in"


def test_rivals_that_mean_the_same_are_one_and_the_record_is_none(grammar):
    """Of several wordings the plainest is kept; who only says it twice heard nothing else."""
    verdict = weigh(
        grammar,
        heard("pocketsphinx", ONCE, TWICE, "pulled two nails"),
        heard("neural", ONCE, "two nails pulled and two nails pulled", "two nails pulled"),
    )
    assert (verdict.heard, verdict.confidence >= SURE, verdict.doubt) == (ONCE, True, None)
    assert [a.text for a in verdict.alternatives] == ["pulled two nails"]


def test_saying_it_twice_is_agreement_and_makes_one_entry(grammar):
    verdict = weigh(grammar, heard("pocketsphinx", TWICE), heard("neural", ONCE))
    assert verdict.confidence >= SURE
    assert len(verdict.reading.meaning.statements) == 1
    assert verdict.alternatives == ()


def test_one_meaning_is_no_surer_for_having_many_wordings(grammar):
    """The weights are fitted to the best wording of a meaning: the others add nothing to it."""
    for wordings, scores in (((ONCE,), (0.0, -0.3)), ((ONCE, TWICE), (0.0, -0.1, -0.3))):
        neural = heard("neural", *wordings, "pulled two nails", scores=scores)
        hearings = [heard("pocketsphinx", ONCE), neural]
        [candidate] = Together((), grammar).candidates(hearings)
        assert candidate.known["lead"] == pytest.approx(0.3)


def test_what_was_taught_is_not_its_own_rival():
    lesson = Taught("wiggle the zebra", ONCE)
    hearing = heard("vosk", lesson.heard, TWICE, "pulled two nails", accepted=False)
    verdict = weigh(load(lessons=[lesson]), hearing)
    assert " ".join(verdict.reading.words) == ONCE
    assert [a.text for a in verdict.alternatives] == ["pulled two nails"]


@pytest.mark.parametrize("live", [True, False])
def test_the_same_words_are_read_once_for_a_clip(grammar, live, monkeypatch):
    """Offline it is weighed three times: before and after the patient try, and with scores."""
    read, reads = Grammar.read, []

    def counted(self, words, sureness=()):
        reads.append(tuple(words))
        return read(self, words, sureness)

    monkeypatch.setattr(Grammar, "read", counted)
    ear = Patient("thrush in the frog", "thrush in the frog with bruise inside heel")
    together = Together([Scoring("pocketsphinx", "bruise inside heel"), ear], grammar, live)
    together.hear(Clip(np.zeros(1600, np.float32), None, 0.0, 0.1))
    together.close()
    assert ear.tries == 1
    assert set(reads) >= {("thrush", "in", "the", "frog"), ("bruise", "inside", "heel")}
    assert len(reads) == len(set(reads))


def test_a_name_that_no_sentence_has_is_taken_as_it_was_written_freely(grammar):
    """Of all sentences "horse done" is nearest; what is said next is not the last horse's."""
    for accepted in (True, False):
        verdict = weigh(
            grammar,
            heard("pocketsphinx", "horse bramble", accepted=accepted),
            heard("neural", "horse done", accepted=False, free="Horse Duke."),
        )
        assert verdict.reading.meaning is not None
        assert verdict.reading.meaning.horse_said == "duke"
        assert verdict.confidence < SURE


def test_a_name_of_the_log_that_is_surely_heard_needs_no_spelling(grammar):
    verdict = weigh(
        grammar,
        heard("pocketsphinx", "horse bramble"),
        heard("neural", "horse bramble", free="Horse Brambel"),
    )
    assert verdict.reading.meaning is not None
    assert verdict.reading.meaning.horse == "Bramble"


def test_a_name_of_which_all_heard_only_that_it_is_one_is_left_open(grammar):
    verdict = weigh(
        grammar,
        heard("pocketsphinx", "horse bramble", accepted=False),
        heard("neural", "horse done", accepted=False, free="Horst Look"),
    )
    assert verdict.heard == "Horst Look"
    assert verdict.reading.meaning is not None
    assert verdict.reading.meaning.horse_said == ""


def test_horse_done_that_all_heard_weakly_is_no_name(grammar):
    verdict = weigh(
        grammar,
        heard("pocketsphinx", "horse done"),
        heard("neural", "horse done", accepted=False, margin=-4.5, free="Horst than"),
    )
    assert verdict.reading.meaning is not None
    assert verdict.reading.meaning.command == "horse_done"
