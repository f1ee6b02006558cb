"""The state of a visit from utterance to utterance, driven by typed words."""

import pytest

from handsfree.dialogue.session import HORSE_UNNAMED, LIMB_UNSURE, Outcome, Session
from handsfree.grammar import Grammar, load
from handsfree.grammar.words import plain_words
from handsfree.records.entries import Finding, Measurement, Nails, Plan


@pytest.fixture(scope="module")
def grammar() -> Grammar:
    return load(horse_names=["Bramble"])


class Spoken:
    def __init__(self, grammar: Grammar, limb: str | None = None):
        self.grammar, self.session = grammar, Session(limb)

    def __call__(self, text: str, confidence: float = 1.0) -> Outcome | None:
        return self.session.take(self.grammar.read(plain_words(text)), confidence)


@pytest.fixture
def say(grammar) -> Spoken:
    return Spoken(grammar)


def test_limb_stays_in_force_until_another_is_named(say):
    assert say("bruise").entries[0].limb is None
    assert say("left hind") == Outcome("command", limb="LH")
    assert say("outside heel bruise").entries[0].limb == "LH"
    assert say("near fore pulled seven nails").entries == (
        Nails(limb="LF", action="pulled", count=7),
    )
    assert say("thrush in the frog").entries[0].limb == "LF"
    assert say("bruise toe right hind").limb == "RH"


def test_limb_can_be_set_at_the_start(grammar):
    assert Spoken(grammar, "RF")("canker").entries[0].limb == "RF"


def test_several_limbs_make_one_entry_each_and_leave_the_foot_in_hand(say):
    say("left hind")
    both = say("both fronts toed in")
    assert [e.limb for e in both.entries] == ["LF", "RF"]
    assert both.limb == "LH"
    assert [e.limb for e in say("all four trimmed").entries] == ["LF", "RF", "LH", "RH"]
    assert say("both hinds").limb is None
    assert [e.limb for e in say("brushing").entries] == ["LH", "RH"]


def test_what_belongs_to_the_horse_has_no_limb(say):
    say("left hind")
    girth = say("heart girth two hundred and six centimeters").entries
    assert girth == (Measurement(quantity="heart_girth", value=206, unit="cm"),)
    assert say("come back in six weeks").entries == (Plan(action="return", weeks=6),)
    assert say("watch this foot").entries == (Plan(action="watch", limb="LH"),)


def test_what_is_said_twice_in_a_row_makes_one_entry(say):
    nail = Nails(limb="LH", action="left_in", count=1)
    for words in ("", "and", "left hind"):
        said = f"one nail left in {words} one nail left in"
        assert say(f"left hind {said}").entries == (nail,), said
    trimmed = say("left hind trimmed both hinds trimmed").entries
    assert [entry.limb for entry in trimmed] == ["LH", "RH"]
    toe = "toe length eighty millimeters"
    again = say(f"left hind {toe} and trimmed and {toe}").entries
    assert [entry.kind for entry in again] == ["measurement", "work", "measurement"]


def test_strike_takes_back_the_last_entries_once(say):
    say("left hind outside heel bruise")
    struck = say("strike that")
    assert (struck.status, struck.command, struck.strikes) == ("command", "strike", True)
    assert not say("strike that").strikes


def test_unsure_strike_and_correction_change_nothing(say):
    say("left hind outside heel bruise")
    assert say("strike that", 0.6).status == "unclear"
    assert say("wrong inside heel bruise", 0.6).status == "unclear"
    assert say("strike that").strikes


def test_correction_replaces_and_keeps_the_limb(say):
    say("left hind outside heel bruise")
    right = say("wrong, inside heel bruise")
    assert right.replaces
    assert right.entries == (Finding(limb="LH", zone="heel", side="medial", term="bruise"),)


def test_correction_of_the_limb_alone_moves_the_entries(say):
    say("left hind outside heel bruise")
    moved = say("wrong, right hind")
    assert moved.replaces
    assert moved.limb == "RH"
    assert moved.entries == (Finding(limb="RH", zone="heel", side="lateral", term="bruise"),)


def test_ears_off_hears_only_ears_on(say):
    assert say("ears off").command == "ears_off"
    assert say("left hind outside heel bruise") is None
    assert say("gibberish entirely") is None
    assert say("ears on").command == "ears_on"
    assert say("canker").status == "recorded"


def test_next_horse_forgets_the_limb_and_what_could_be_struck(say):
    say("left hind canker")
    assert say("next horse").limb is None
    assert not say("strike that").strikes
    assert say("canker").entries[0].limb is None
    assert say("horse bramble").horse == "Bramble"
    named = say("horse nobody")
    assert (named.status, named.horse, named.horse_said) == ("command", None, "nobody")


def test_remark_keeps_free_words(say):
    say("left hind")
    remark = say("remark she pulls back when you lift it")
    assert (remark.status, remark.command) == ("recorded", "remark")
    assert remark.entries[0].text == "she pulls back when you lift it"
    assert remark.entries[0].limb == "LH"


class Live(Spoken):
    """Words with times, as under the horse: each utterance takes one second."""

    def __init__(self, grammar: Grammar):
        super().__init__(grammar)
        self.session = Session(restating=True)

    def at(self, start_s: float, text: str, confidence: float = 1.0) -> Outcome | None:
        reading = self.grammar.read(plain_words(text))
        return self.session.take(reading, confidence, start_s, start_s + 1.0)


@pytest.fixture
def live(grammar) -> Live:
    return Live(grammar)


@pytest.mark.parametrize(
    ("first", "again"),
    [
        ("outside heel bruise", "inside heel bruise"),
        ("heel bruise", "inside heel bruise"),
        ("pulled six nails", "pulled seven nails"),
        ("toe length three inches", "toe length three and a half inches"),
        ("lameness grade two", "lameness grade three"),
        ("size four", "size five"),
        ("come back in six weeks", "come back in five weeks"),
    ],
)
def test_nearly_the_same_said_again_at_once_replaces(live, first, again):
    live.at(0, first)
    outcome = live.at(4, again)
    assert outcome.replaces
    assert outcome.restated
    assert outcome.doubt


@pytest.mark.parametrize(
    ("first", "again"),
    [
        ("outside heel bruise", "mild inside heel bruise"),  # two slots
        ("heel bruise", "heel crack"),  # another thing
        ("left hind heel bruise", "right hind heel bruise"),  # another foot
        ("inside heel height two inches", "outside heel height two inches"),
        ("toe clip", "quarter clips"),
        ("full outside", "tight inside"),
        ("pulled seven nails", "drove seven nails"),
        ("remark quiet today", "remark restless today"),
        ("next time trimmed", "next time rasped"),
        ("thrush in the frog", "heel bruise and thrush in the frog"),
    ],
)
def test_what_may_well_be_another_thing_stands_beside_it(live, first, again):
    live.at(0, first)
    outcome = live.at(2, again)
    assert not outcome.replaces
    assert not outcome.restated


def test_said_again_later_both_stand(live):
    live.at(0, "outside heel bruise")
    assert not live.at(6.1, "inside heel bruise").replaces


def test_the_very_same_words_ask_and_both_stand(live):
    live.at(0, "drove one nail")
    again = live.at(2, "drove one nail")
    assert again.restated
    assert not again.replaces
    assert again.doubt


def test_keep_both_takes_a_replacement_back_once(live):
    live.at(0, "outside heel bruise")
    live.at(2, "inside heel bruise")
    assert live.at(4, "keep both").restores
    assert not live.at(6, "keep both").restores


def test_a_recording_that_nobody_can_ask_about_keeps_both(say):
    say("outside heel bruise")
    assert not say("inside heel bruise").replaces


def test_the_foot_that_is_up(live):
    live.at(0, "left hind")
    live.at(1, "foot up")
    assert (live.session.state.up, live.session.state.up_since_s) == ("LH", 2.0)
    live.at(5, "outside heel bruise")
    assert live.session.state.up == "LH"
    live.at(9, "right hind")
    assert (live.session.state.up, live.session.state.up_since_s) == ("RH", 10.0)
    live.at(12, "foot down")
    assert live.session.state.up is None


def test_a_foot_taken_up_before_it_is_named(live):
    live.at(0, "foot up")
    assert live.session.state.up == ""
    live.at(3, "off fore")
    assert (live.session.state.up, live.session.state.up_since_s) == ("RF", 1.0)


def test_another_horse_begins_another_visit(live):
    live.at(0, "left hind bruise")
    live.at(2, "horse bramble")
    state = live.session.state
    assert (state.horse, state.visit, state.limbs, state.last.entries) == ("Bramble", 2, (), ())
    live.at(4, "horse bramble")
    assert live.session.state.visit == 2
    live.at(6, "next horse")
    assert (live.session.state.horse, live.session.state.visit) == (None, 3)


def refused(said: Spoken, text: str) -> Outcome | None:
    """Speech that was heard, but is no note."""
    return said.session.take(said.grammar.refused(plain_words(text)), 0.1)


def test_a_refused_utterance_that_leads_with_a_foot_puts_it_in_force(say):
    say("right front")
    unclear = refused(say, "left front has a great big crack")
    assert (unclear.status, unclear.limb, unclear.doubt) == ("unclear", "LF", None)
    noted = say("separation at the toe")
    assert (noted.entries[0].limb, noted.doubt) == ("LF", None)


@pytest.mark.parametrize("text", ["the left one looks bruise like", "he did trim the left hind"])
def test_after_a_foot_that_cannot_be_told_all_is_doubtful_until_one_is_said(say, text):
    say("right front")
    assert refused(say, text).doubt == LIMB_UNSURE
    assert say("new shoe").doubt == LIMB_UNSURE
    assert say("heat").doubt == LIMB_UNSURE
    assert say("heart girth two hundred centimeters").doubt is None
    assert say("both fronts toed in").doubt is None
    assert say("left hind trimmed").doubt is None
    assert say("new shoe").doubt is None


def test_talk_without_a_foot_leaves_the_foot_as_it_was(say):
    say("right front")
    refused(say, "right then stand over you great lump")
    noted = say("separation at the toe")
    assert (noted.entries[0].limb, noted.doubt) == ("RF", None)


def test_a_foot_is_only_as_sure_for_what_follows_as_it_was_heard(say):
    say("left hind", 0.6)
    assert say("bruise").doubt == LIMB_UNSURE
    say("right hind thrush in the frog", 0.6)
    assert say("new shoe").doubt == LIMB_UNSURE
    say("right hind")
    assert say("new shoe").doubt is None


def test_a_correction_of_the_foot_that_was_not_sure_enough_leaves_the_foot_open(say):
    say("left hind outside heel bruise")
    say("wrong right hind", 0.6)
    assert say("new shoe").doubt == LIMB_UNSURE


@pytest.mark.parametrize(
    ("text", "said"), [("horse duke", "duke"), ("horse brambel", "brambel"), ("horse", "")]
)
def test_a_name_that_is_no_horse_of_the_log_begins_a_visit_without_a_horse(say, text, said):
    say("horse bramble")
    say("left hind canker")
    named = say(text)
    assert (named.status, named.command) == ("command", "horse")
    assert (named.horse, named.horse_said, named.doubt) == (None, said, HORSE_UNNAMED)
    state = say.session.state
    assert (state.horse, state.horse_said, state.visit, state.limbs) == (None, said, 3, ())


def test_a_name_that_was_not_surely_heard_is_not_taken(say):
    say("horse bramble")
    say("left hind canker")
    named = say("horse bramble", 0.6)
    assert (named.horse, named.horse_said) == (None, "bramble")
    assert say.session.state.visit == 3


def test_the_next_name_names_the_visit_while_nothing_is_noted_in_it(say):
    say("horse brambel")
    assert say("horse bramble").doubt is None
    assert (say.session.state.horse, say.session.state.visit) == ("Bramble", 2)
    say("horse duke")
    say("horse duke")
    assert say.session.state.visit == 3
    say("canker")
    say("horse bramble")
    assert (say.session.state.horse, say.session.state.visit) == ("Bramble", 4)
