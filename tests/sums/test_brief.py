"""The brief, and what is asked aloud under the horse."""

import re
from collections.abc import Callable
from datetime import date, timedelta
from typing import get_args

from handsfree.grammar import Grammar
from handsfree.records.entries import Finding, Remark
from handsfree.sums.asked import Past, Question, aloud, answer
from handsfree.sums.brief import Section, brief
from handsfree.sums.history import DayVisit, History, HorseFacts, Noted
from handsfree.sums.wording import ForEar, ForEye

Told = Callable[..., History]
TODAY = date(2025, 5, 1)


def sections(history: History, grammar: Grammar, today: date = TODAY) -> dict[str, str]:
    found = brief(history, grammar, today, ForEye(grammar))
    return {section.title: "\n".join(section.lines) for section in found}


def test_an_unknown_horse_has_an_empty_brief(grammar: Grammar) -> None:
    nobody = History(HorseFacts("Nobody"), ())
    assert brief(nobody, grammar, TODAY, ForEye(grammar)) == []
    assert aloud([]) == ("nothing is known of this horse yet",)


def test_what_may_hurt_comes_first_and_cautions_are_told_for_a_year(
    grammar: Grammar, told: Told
) -> None:
    history = told(v2024_06_01=["left fore nail prick"], v2025_03_20=["left fore foot clear"])
    kicks = DayVisit(date(2020, 1, 1), (Noted(Remark(text="he kicks behind")),))
    history = History(history.horse, (kicks, *history.visits))
    mind = brief(history, grammar, TODAY, ForEye(grammar))[0]
    assert mind.title == "Mind"
    assert mind.lines[0] == "2020-01-01, you said: he kicks behind"
    assert mind.lines[1].startswith(
        "Stop. Call the vet. LF nail prick (2024-06-01): it was one for the vet"
    )
    later = date(2024, 6, 1) + timedelta(days=366)
    assert "nail prick" not in sections(history, grammar, later)["Mind"]


def test_what_was_no_emergency_is_asked_about_without_an_order(grammar: Grammar) -> None:
    notes = (Noted(Finding(limb="RH", term="nail_bind")), Noted(Finding(limb="LF", term="canker")))
    history = History(HorseFacts("x"), (DayVisit(date(2025, 4, 1), notes),))
    assert sections(history, grammar)["Mind"].splitlines() == [
        "RH nail bind (2025-04-01): ask what came of it",
        "Stop. Call the vet. LF canker (2025-04-01): it was one for the vet; ask what came of it",
    ]


def test_what_was_denied_is_in_no_part_of_the_brief(grammar: Grammar) -> None:
    terms = ("laminitis", "puncture", "heat", "bounding_pulse", "lameness", "bruise", "wear")
    notes = tuple(Noted(Finding(limb="LF", term=term, denied=True)) for term in terms)
    days = [DayVisit(date(2025, month, 1), notes) for month in (1, 2, 3)]
    found = sections(History(HorseFacts("x"), tuple(days)), grammar)
    assert "Mind" not in found
    assert "Look at" not in found


def test_a_caution_that_was_not_surely_heard_is_told_with_perhaps(grammar: Grammar) -> None:
    note = Noted(Finding(limb="RH", term="canker"), doubtful=True)
    history = History(HorseFacts("x"), (DayVisit(date(2025, 4, 1), (note,)),))
    found = sections(history, grammar)
    assert "RH perhaps canker (2025-04-01)" in found["Mind"]
    assert "1 doubtful note to be confirmed" in found["Ask"]


def test_last_time_tells_feet_that_are_alike_together(grammar: Grammar, told: Told) -> None:
    said = ["all four trimmed", "both fronts new shoe", "left hind full outside"]
    last = sections(told(v2025_03_20=said), grammar)["Last time"].splitlines()
    assert last == [
        "2025-03-20, LF RF: trimmed, new shoe",
        "LH: trimmed, full outside",
        "RH: trimmed",
    ]


def test_what_got_worse_is_looked_at_before_what_got_better(grammar: Grammar, told: Told) -> None:
    history = told(
        v2025_01_10=["left hind severe thrush in the frog", "right fore slight heat"],
        v2025_03_20=["left hind mild thrush in the frog", "right fore severe heat"],
    )
    look = sections(history, grammar)["Look at"].splitlines()
    assert [line[:2] for line in look] == ["RF", "LH"]


def test_what_was_said_clear_is_not_looked_at(grammar: Grammar, told: Told) -> None:
    history = told(
        v2025_01_10=["left hind thrush in the frog"], v2025_03_20=["left hind frog clear"]
    )
    assert "Look at" not in sections(history, grammar)


def test_what_is_beyond_a_guideline_names_whose_it_is(grammar: Grammar, told: Told) -> None:
    history = told(
        v2025_03_20=[
            *("left hind hoof angle 50 degrees", "heel angle 44 degrees"),
            *("inside heel length 40 millimeters", "outside heel length 34 millimeters"),
        ],
    )
    under, sheared = sections(history, grammar)["Look at"].splitlines()
    assert under.startswith("LH heel angle 6° less than the toe angle")
    assert under.endswith("; beyond a guideline: Turner 1992")
    assert sheared.endswith("; beyond a guideline: Turner 1992, from memory")


def test_a_mark_that_cannot_be_dated_says_why(grammar: Grammar, told: Told) -> None:
    history = told(v2025_03_20=["left hind toe bruise nine hundred millimeters below the hairline"])
    assert "longer than any wall grows" in sections(history, grammar)["Look at"]


def test_odd_numbers_of_the_last_visit_are_asked_about(grammar: Grammar, told: Told) -> None:
    odd = ["left hind toe length nine hundred millimeters", "weight three pounds"]
    usual = ["left hind toe length eighty millimeters"]
    asked = sections(told(v2025_01_10=usual, v2025_03_20=odd), grammar)["Ask"]
    assert "LH toe length 900 mm: is that right?" in asked
    assert "\nweight 3 lb: is that right?" in asked
    assert "is that right" not in sections(told(v2025_01_10=odd, v2025_03_20=usual), grammar)["Ask"]


def test_a_nail_not_accounted_for_is_asked_about(grammar: Grammar, told: Told) -> None:
    history = told(v2025_03_20=["left hind nail count eight", "shoe pulled", "pulled seven nails"])
    assert "1 of 8 nails not accounted for" in sections(history, grammar)["Ask"]


def test_a_length_of_which_the_trim_is_not_known_is_asked_about(
    grammar: Grammar, told: Told
) -> None:
    history = told(v2025_03_20=["left hind toe length 82 millimeters", "shoe reset"])
    assert "before or after the trim?" in sections(history, grammar)["Ask"]


def test_today_counts_where_it_is_in_the_history(grammar: Grammar, told: Told) -> None:
    history = told(v2025_03_20=["left hind trimmed"])
    assert "6 weeks ago" in sections(history, grammar)["Due"]


# Asked aloud


def ask(question: str, history: History, grammar: Grammar, *said: str, limb: str | None) -> str:
    notes = [Noted(e) for text in said for e in _entries(grammar, text)]
    return "; ".join(answer(question, Past(history, TODAY), notes, limb, grammar))


def _entries(grammar: Grammar, text: str) -> list[Finding]:
    from handsfree.grammar.meaning import with_limb

    meaning = grammar.meanings(text.split())[0]
    return [with_limb(s.entry, s.limbs[0]) for s in meaning.statements]  # type: ignore[misc]


def test_every_question_has_an_answer_without_digits_even_of_an_unknown_horse(
    grammar: Grammar, told: Told
) -> None:
    rich = told(
        v2025_01_10=["left hind heel angle 44 degrees", "hoof angle 50 degrees", "trimmed"],
        v2025_03_20=["left hind bruise outside heel 25 millimeters below the hairline"],
    )
    for history in (History(HorseFacts("Nobody"), ()), rich):
        for question in get_args(Question):
            for limb in (None, "LH"):
                said = ask(question, history, grammar, limb=limb)
                assert said
                assert not re.search(r"\d|°", said), said


def test_the_previous_visit_tells_what_was_noted_and_what_is_different(
    grammar: Grammar, told: Told
) -> None:
    history = told(
        v2025_01_10=["left hind toe length three and a half inches"],
        v2025_03_20=["right hind trimmed"],
    )
    said = ask(
        "previous_visit",
        history,
        grammar,
        "left hind toe length three and a quarter inches",
        limb="LH",
    )
    assert said == (
        "left hind; January ten; toe length three and a half inches; "
        "toe length a quarter of an inch less now"
    )
    assert ask("previous_visit", history, grammar, limb="RF") == "right fore; nothing noted before"
    assert ask("previous_visit", history, grammar, limb=None) == "no limb is named"


def test_millimetres_now_are_held_against_inches_then(grammar: Grammar, told: Told) -> None:
    history = told(v2025_01_10=["left hind toe length three inches"])
    said = "left hind toe length eighty millimeters"
    answered = ask("previous_visit", history, grammar, said, limb="LH")
    # 3 in = 76.2 mm (international yard and pound agreement of 1959)
    assert answered.endswith("toe length four millimeters more now")


def test_a_mark_said_just_now_is_dated(grammar: Grammar, told: Told) -> None:
    said = "left hind bruise outside heel twenty five millimeters below the hairline"
    answered = ask("date_mark", told(v2025_03_20=["left hind trimmed"]), grammar, said, limb="LH")
    # 25 mm at 2.1 mm a week (Kolstrung et al. 2012) is 83 days: 2025-02-07
    assert "February seven" in answered


def test_balance_says_first_what_is_beyond_a_guideline(grammar: Grammar, told: Told) -> None:
    history = told(v2025_01_10=["left hind hoof angle 50 degrees", "heel angle 44 degrees"])
    answered = ask("balance", history, grammar, limb="LH")
    assert "six degrees" in answered.split(";")[0]
    assert "Turner" in answered


def test_the_brief_aloud_is_cut_short(grammar: Grammar) -> None:
    many = Section("Look at", tuple(f"line {word}" for word in ("one", "two", "three", "four")))
    assert aloud([many]) == (
        *("Look at", "line one", "line two", "line three"),
        "and more on the screen",
    )


def test_the_ear_is_told_when_the_horse_is_due(grammar: Grammar, told: Told) -> None:
    history = told(v2025_03_20=["left hind trimmed", "come back in six weeks"])
    assert "May one" in ask("date_visit", history, grammar, limb=None)
    assert ForEar(grammar, TODAY).day(date(2025, 5, 1)) == "May one"


def test_the_ear_is_told_the_weight_and_by_whose_formula(grammar: Grammar, told: Told) -> None:
    measured = ["heart girth two hundred centimeters", "body length one hundred eighty centimeters"]
    said = ask("weight", told(v2025_03_20=measured), grammar, limb=None)
    # 200 x 200 x 180 / 11900 = 605 kg (Carroll and Huntington 1988).
    assert said.startswith("six hundred five kilos")
    assert "Carroll and Huntington" in said
    nothing = ask("weight", told(v2025_03_20=["left hind trimmed"]), grammar, limb=None)
    assert "girth" in nothing
