"""The dialogue driven by typed words: what is answered, kept and warned of."""

from collections.abc import Mapping
from datetime import date

import pytest

from handsfree.dialogue.dialogue import SET_DOWN, Dialogue
from handsfree.dialogue.session import Session
from handsfree.dialogue.turn import Turn
from handsfree.grammar import Grammar, load
from handsfree.grammar.grammar import Reading
from handsfree.grammar.meaning import Meaning, Statement
from handsfree.grammar.words import plain_words
from handsfree.records.entries import Finding, Measurement, Work
from handsfree.sums.asked import Past
from handsfree.sums.history import DayVisit, History, HorseFacts, Noted
from handsfree.visit.answer import Answer, Tone


@pytest.fixture(scope="module")
def grammar() -> Grammar:
    return load(horse_names=["Bramble"])


class Talk:
    """Says one utterance after another, ten seconds apart unless told otherwise."""

    def __init__(self, grammar: Grammar, **options: object) -> None:
        self.grammar, self.now_s = grammar, 0.0
        self.dialogue = Dialogue(grammar, Session(restating=True), **options)  # type: ignore[arg-type]

    def __call__(self, text: str, confidence: float = 0.97, after_s: float = 10.0) -> Turn:
        self.now_s += after_s
        reading = self.grammar.read(plain_words(text))
        turn = self.dialogue.hear(reading, confidence, self.now_s, self.now_s + 1.0)
        assert turn is not None
        self.now_s += 1.0
        return turn

    def tones(self, text: str, **how: float) -> list[Tone | None]:
        return [answer.tone for answer in self(text, **how).answers]

    def words(self, text: str, **how: float) -> list[str]:
        return [part for answer in self(text, **how).answers for part in answer.say]

    def know(self, nails: Mapping[str, int]) -> "Talk":
        self.dialogue.know(nails)
        return self


@pytest.fixture
def talk(grammar: Grammar) -> Talk:
    return Talk(grammar)


def test_each_kind_of_thing_has_its_tone(talk: Talk) -> None:
    assert talk.tones("left hind") == [Tone.COMMAND]
    assert talk.tones("outside heel bruise") == [Tone.FINDING]
    assert talk.tones("toe length three and a quarter inches") == [Tone.NUMBER]
    assert talk.tones("take a break") == [Tone.COMMAND]
    assert talk.tones("he is a good lad this one") == [Tone.UNCLEAR]


def test_numbers_and_changes_of_limb_are_spoken_back_slowly(talk: Talk) -> None:
    answer = talk("left hind").answers[0]
    assert (answer.say, answer.slow) == (("left hind",), True)
    answer = talk("toe length three and a quarter inches").answers[0]
    assert (answer.say, answer.slow) == (("three and a quarter inches",), True)
    assert talk.words("outside heel bruise") == []
    assert talk.words("right hind size four") == ["right hind", "size four"]


def test_what_was_not_surely_heard_is_said_with_a_perhaps(talk: Talk) -> None:
    talk("left hind")
    assert talk.words("outside heel bruise", confidence=0.6) == ["perhaps", "outside heel bruise"]
    assert talk.words("read back")[-1] == "perhaps outside heel bruise"


def test_a_limb_that_was_not_surely_heard_asks(talk: Talk) -> None:
    answer = talk("off fore", confidence=0.6).answers[0]
    assert (answer.tone, answer.say, answer.passing) == (
        Tone.QUESTION,
        ("perhaps", "right fore"),
        False,
    )


def test_a_correction_that_was_not_surely_heard_says_that_nothing_changed(talk: Talk) -> None:
    talk("left hind outside heel bruise")
    for unsure in ("strike that", "wrong inside heel bruise"):
        answer = talk(unsure, confidence=0.6).answers[0]
        assert (answer.tone, answer.say) == (Tone.UNCLEAR, ("nothing was changed",))


def test_a_strike_says_what_it_struck(talk: Talk) -> None:
    talk("left hind")
    bruise = talk("outside heel bruise")
    struck = talk("strike that")
    assert struck.struck == ((bruise.number, 0),)
    assert struck.answers[0].say == ("struck", "left hind", "outside heel bruise")
    assert talk.words("strike that") == ["nothing to strike"]
    assert talk.words("read back") == ["left hind", "nothing noted"]


def test_a_correction_is_read_back_in_full(talk: Talk) -> None:
    first = talk("left hind outside heel bruise")
    right = talk("wrong inside heel bruise")
    assert right.replaced == ((first.number, 0),)
    assert right.answers[0].say == ("left hind", "inside heel bruise")
    assert talk.words("read back") == ["left hind", "inside heel bruise"]


def test_a_bare_restatement_asks_by_tone_and_keep_both_answers_it(talk: Talk) -> None:
    first = talk("left hind outside heel bruise")
    again = talk("inside heel bruise", after_s=2)
    assert again.answers[0].tone is Tone.QUESTION
    assert again.replaced == ((first.number, 0),)
    both = talk("keep both", after_s=2)
    assert both.restored == ((first.number, 0),)
    assert both.answers[0].say == ("both are kept",)
    assert talk.words("read back") == [
        "left hind",
        "outside heel bruise",
        "perhaps inside heel bruise",
    ]
    assert talk.words("keep both") == ["nothing was replaced"]


def test_confirm_takes_the_sure_ones_of_the_foot(talk: Talk) -> None:
    other = talk("right hind heel bruise")
    sure = talk("left hind outside heel bruise")
    talk("thrush in the frog", confidence=0.6)
    turn = talk("confirm foot")
    assert turn.confirmed == ((sure.number, 0),)
    assert (other.number, 0) not in turn.confirmed
    assert turn.answers[0].say == ("left hind", "one confirmed", "one doubtful, for the review")


def test_a_nail_not_accounted_for_is_asked_about_once_and_settled(talk: Talk) -> None:
    talk.know({"LH": 8})
    talk("left hind")
    talk("pulled seven nails")
    down = talk("foot down")
    assert down.answers[1] == Answer(
        Tone.REMINDER, ("left hind: one of eight nails is not accounted for",), slow=True
    )
    assert [(n.kind, n.limb) for n in down.notices] == [("nails", "LH")]
    assert len(talk("foot down").answers) == 1
    assert len(talk("right hind").answers) == 1
    settled = talk("left hind one nail left in")
    assert settled.settled == ("LH",)
    assert len(talk("foot down").answers) == 1


def test_a_nail_is_asked_about_when_another_limb_is_named(talk: Talk) -> None:
    talk("near fore nail count eight")
    talk("pulled six nails")
    answers = talk("off fore outside heel bruise").answers
    assert answers[-1].say == ("left fore: two of eight nails are not accounted for",)


def test_leaving_a_horse_asks_about_all_its_nails(talk: Talk) -> None:
    talk("near fore nail count eight")
    talk("pulled six nails")
    turn = talk("next horse")
    assert turn.answers[-1].say == ("left fore: two of eight nails are not accounted for",)
    assert [n.limb for n in turn.parting] == ["LF"]
    assert not turn.notices
    assert talk.words("horse done") == ["horse done", "zero notes"]


def test_a_caution_is_spoken_and_kept_once(talk: Talk) -> None:
    turn = talk("left fore puncture in the frog")
    caution = turn.answers[1]
    assert (caution.tone, caution.urgent) == (Tone.CAUTION, True)
    assert "left fore" in caution.say
    assert "vet" in " ".join(caution.say).lower()
    assert [(n.kind, n.limb, n.entry) for n in turn.notices] == [("caution", "LF", 0)]
    assert all(a.tone is not Tone.CAUTION for a in talk("severe puncture in the frog").answers)


def test_a_caution_returns_with_what_was_struck_and_said_again(talk: Talk) -> None:
    talk("left fore canker in the frog")
    talk("strike that")
    assert Tone.CAUTION in talk.tones("canker in the frog")


def test_a_corrected_finding_keeps_its_caution_without_repeating_it(talk: Talk) -> None:
    talk("left fore canker in the frog")
    turn = talk("wrong severe canker in the frog")
    assert [a.tone for a in turn.answers] == [Tone.FINDING]
    assert [n.code for n in turn.notices] == ["canker"]


def test_heat_and_a_bounding_pulse_belong_together(talk: Talk) -> None:
    assert Tone.CAUTION not in talk.tones("left fore heat in the coronary band")
    assert Tone.CAUTION not in talk.tones("right fore bounding pulse")
    assert Tone.CAUTION in talk.tones("left fore bounding pulse")


def test_whats_left_follows_the_run_sheet(talk: Talk) -> None:
    assert talk.words("what's left") == ["no limb is named"]
    talk("left hind pulled eight nails")
    left = talk.words("what's left")
    assert left[:2] == ["left hind", "left to do"]
    assert "nails counted" not in left
    assert {"sole and frog", "wall", "plan"} <= set(left)


def test_a_reminder_once_a_foot_has_been_up_for_long(grammar: Grammar) -> None:
    talk = Talk(grammar, remind_after_s=60)
    assert talk.dialogue.tick(500) == ()
    talk("left hind")
    talk("foot up")
    up_s = talk.now_s
    assert talk.dialogue.tick(up_s + 59) == ()
    assert talk.dialogue.tick(up_s + 61) == (Answer(Tone.REMINDER, (SET_DOWN,)),)
    assert talk.dialogue.tick(up_s + 62) == ()
    talk("foot down")
    assert talk.dialogue.tick(up_s + 500) == ()
    assert talk.dialogue.pace.times_up == {"LH": 1}


def test_no_reminder_unless_asked_for(talk: Talk) -> None:
    talk("foot up")
    assert talk.dialogue.tick(10_000) == ()


def test_with_the_ears_off_nothing_happens(talk: Talk) -> None:
    talk("ears off")
    reading = talk.grammar.read(plain_words("left hind bruise"))
    assert talk.dialogue.hear(reading, 0.97, 100, 101) is None
    assert talk.words("ears on") == ["ears on"]
    assert talk.words("read back") == ["nothing noted"]


def test_questions_are_answered_from_earlier_visits_and_change_nothing(talk: Talk) -> None:
    assert talk.words("brief me") == ["no horse is named"]
    visit = DayVisit(date(2025, 3, 20), (Noted(Work(limb="LH", action="trimmed")),))
    past = Past(History(HorseFacts("Bramble"), (visit,)), date(2025, 5, 1))
    talk.dialogue.know({}, past)
    talk("left hind")
    before = talk.dialogue.state
    assert talk.words("previous visit") == ["left hind", "March twenty", "trimmed"]
    assert talk.tones("date the mark") == [Tone.COMMAND]
    assert talk.words("check balance")[0] == "left hind"
    assert "six weeks" in " ".join(talk.words("date the next visit"))
    assert "Last time" in talk.words("brief me")
    assert (talk.dialogue.state.limbs, talk.dialogue.state.last) == (before.limbs, before.last)


def test_what_was_said_today_counts_in_the_answers(talk: Talk) -> None:
    talk.dialogue.know({}, Past(History(HorseFacts("Bramble"), ()), date(2025, 5, 1)))
    talk("left hind bruise outside heel twenty five millimeters below the hairline")
    said = " ".join(talk.words("date the mark"))
    # 25 mm at 2.1 mm a week (Kolstrung et al. 2012) are 83 days
    assert "February seven" in said


def test_another_horse_is_not_answered_for(talk: Talk) -> None:
    talk.dialogue.know({}, Past(History(HorseFacts("Bramble"), ()), date(2025, 5, 1)))
    talk("next horse")
    assert talk.words("brief me") == ["no horse is named"]


def refused(talk: Talk, text: str) -> Turn:
    talk.now_s += 10.0
    reading = talk.grammar.refused(plain_words(text))
    turn = talk.dialogue.hear(reading, 0.1, talk.now_s, talk.now_s)
    assert turn is not None
    return turn


def test_a_foot_named_in_what_was_not_understood_is_said_back(talk: Talk) -> None:
    talk("right front")
    answer = refused(talk, "left front has a great big crack").answers[0]
    assert (answer.tone, answer.say) == (Tone.UNCLEAR, ("left fore",))
    assert refused(talk, "left front stand still").answers[0].say == ()


def test_which_foot_is_asked_where_it_cannot_be_told(talk: Talk) -> None:
    talk("right front outside heel bruise")
    answer = refused(talk, "the left one looks bruise like").answers[0]
    assert (answer.tone, answer.say) == (Tone.QUESTION, ("not understood", "which foot"))
    assert talk.words("new shoe") == ["perhaps", "right fore", "new shoe"]
    assert talk.words("read back")[-1] == "perhaps new shoe"
    confirm = talk("confirm foot")
    assert (confirm.confirmed, confirm.answers[0].say) == ((), ("which foot",))
    talk("right front")
    assert len(talk("confirm foot").confirmed) == 1


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("horse duke", ("no horse is called duke", "it is not named yet")),
        ("horse brambel", ("heard brambel", "did you mean Bramble", "it is not named yet")),
        ("horse", ("which horse", "it is not named yet")),
    ],
)
def test_a_name_that_is_no_horse_of_the_log_is_asked_about(
    talk: Talk, text: str, said: tuple[str, ...]
) -> None:
    talk("horse bramble")
    turn = talk(text)
    assert (turn.answers[0].tone, turn.answers[0].say) == (Tone.QUESTION, said)
    assert (turn.opens, turn.horse) == (True, None)
    assert talk.words("brief me") == ["no horse is named"]


def test_a_number_that_is_asked_about_is_not_confirmed_by_voice(talk: Talk) -> None:
    talk("left hind outside heel bruise")
    talk("toe length thirty two and a half inches")
    turn = talk("confirm foot")
    assert len(turn.confirmed) == 1
    assert turn.answers[0].say == ("left hind", "one confirmed", "one doubtful, for the review")


def test_what_is_no_emergency_rings_the_bell_of_a_reminder(talk: Talk) -> None:
    """A howl for what is none would be one that nobody heeds any more."""
    turn = talk("left hind nail bind")
    assert [a.tone for a in turn.answers] == [Tone.FINDING, Tone.REMINDER]
    assert turn.answers[1].say[:2] == ("Pull that nail.", "left hind")
    assert [(n.kind, n.code, n.limb) for n in turn.notices] == [("caution", "nail_bind", "LH")]
    assert Tone.CAUTION in talk.tones("mild lameness")


def test_a_pulse_in_both_fronts_is_told_once_of_no_one_foot(talk: Talk) -> None:
    turn = talk("both fronts bounding pulse")
    [caution] = [a for a in turn.answers if a.tone is Tone.CAUTION]
    assert caution.say == ("Stop. Call the vet.", "Bounding pulse in both fronts.")
    assert [(n.code, n.limb, n.entry) for n in turn.notices] == [("pulse_both_fronts", None, 1)]
    assert Tone.CAUTION not in talk.tones("right fore severe bounding pulse")


def test_what_is_denied_is_noted_and_warns_of_nothing(grammar: Grammar) -> None:
    dialogue = Dialogue(grammar)
    denied = Finding(term="puncture", zone="frog", denied=True)
    reading = Reading(("no", "puncture"), ("no", "puncture"), 0.0, Meaning((Statement(denied),)))
    turn = dialogue.hear(reading)
    assert turn is not None
    assert turn.outcome.entries == (denied,)
    assert [a.tone for a in turn.answers] == [Tone.FINDING]
    assert turn.notices == ()


def test_an_unlikely_unit_that_was_not_said_is_doubtful_and_said_with_perhaps(
    grammar: Grammar,
) -> None:
    def hear(value: float, inferred: bool) -> Turn:
        entry = Measurement(quantity="toe_length", value=value, unit="mm", unit_inferred=inferred)
        reading = Reading(("toe",), ("toe",), 0.0, Meaning((Statement(entry, ("LH",)),)))
        turn = Dialogue(grammar).hear(reading)
        assert turn is not None
        return turn

    odd = hear(850, True)
    assert odd.outcome.doubt is not None
    assert odd.outcome.doubt.startswith("the unit was not said, toe length 850 mm: is that right?")
    assert "perhaps" in odd.answers[0].say
    for usual in (hear(85, True), hear(850, False)):
        assert usual.outcome.doubt is None
        assert "perhaps" not in usual.answers[0].say
