"""Plans and what became of them, and remarks that warn of the horse."""

from collections.abc import Callable
from datetime import date

from handsfree.grammar import Grammar
from handsfree.records.entries import Plan, Remark
from handsfree.sums.history import DayVisit, History, HorseFacts, Noted
from handsfree.sums.plans import Fate, line, plans, still_open
from handsfree.sums.temper import warnings
from handsfree.sums.wording import ForEar, ForEye

Told = Callable[..., History]


def test_what_is_done_at_a_later_visit_is_done(grammar: Grammar, told: Told) -> None:
    history = told(
        v2025_01_10=["left hind next time crease lengthened outside", "next time pads"],
        v2025_03_01=["left hind crease lengthened outside"],
    )
    fates = {p.plan.text: p for p in plans(history, grammar)}
    assert fates["crease lengthened outside"].fate is Fate.DONE
    assert fates["crease lengthened outside"].done_on == date(2025, 3, 1)
    assert fates["pads"].fate is Fate.UNRECORDED
    assert [p.plan.text for p in still_open(history, grammar)] == ["pads"]


def test_the_same_done_to_another_foot_is_not_it(grammar: Grammar, told: Told) -> None:
    history = told(
        v2025_01_10=["left hind next time full outside"],
        v2025_03_01=["right hind full outside", "left hind full inside"],
    )
    assert [p.fate for p in plans(history, grammar)] == [Fate.UNRECORDED]


def test_a_plan_of_no_visit_since_is_open_and_one_passed_over_too_often_given_up(
    grammar: Grammar, told: Told
) -> None:
    said = ["left fore next time rolled toe"]
    assert [p.fate for p in plans(told(v2025_01_10=said), grammar)] == [Fate.OPEN]
    later = {f"v2025_0{m}_01": ["left fore trimmed"] for m in (3, 5, 7)}
    assert still_open(told(v2025_01_10=said, **later), grammar) == []


def test_a_plan_said_again_counts_once_from_the_last_time(grammar: Grammar, told: Told) -> None:
    said = ["left fore next time rolled toe"]
    history = told(v2025_01_10=said, v2025_03_01=said)
    assert [(p.on, p.fate) for p in plans(history, grammar)] == [(date(2025, 3, 1), Fate.OPEN)]


def test_a_watched_foot_is_looked_at_once_something_is_noted_of_it(
    grammar: Grammar, told: Told
) -> None:
    history = told(
        v2025_01_10=["right fore watch this foot"],
        v2025_03_01=["right fore foot clear"],
    )
    (fate,) = plans(history, grammar)
    assert fate.fate is Fate.DONE


def test_a_finding_planned_is_looked_at_also_where_it_is_clear(
    grammar: Grammar, told: Told
) -> None:
    history = told(
        v2025_01_10=["left hind next time outside heel bruise"],
        v2025_03_01=["left hind outside heel clear"],
    )
    assert plans(history, grammar)[0].fate is Fate.DONE


def test_the_vet_is_asked_about_only_until_the_next_visit(grammar: Grammar, told: Told) -> None:
    first = told(v2025_01_10=["left hind call the vet"])
    assert [p.plan.action for p in still_open(first, grammar)] == ["call_vet"]
    second = told(v2025_01_10=["left hind call the vet"], v2025_03_01=["trimmed"])
    assert still_open(second, grammar) == []


def test_return_is_no_plan_of_this_kind_and_words_of_no_sense_are_kept(
    grammar: Grammar, told: Told
) -> None:
    history = told(v2025_01_10=["come back in six weeks"], v2025_03_01=["trimmed"])
    assert plans(history, grammar) == []
    odd = Plan(action="next_time", text="gibberish of sorts", limb="LF")
    strange = History(HorseFacts("x"), (DayVisit(date(2025, 1, 1), (Noted(odd),)),))
    assert [p.fate for p in plans(strange, grammar)] == [Fate.OPEN]


def test_a_line_for_the_eye_and_one_for_the_ear(grammar: Grammar, told: Told) -> None:
    history = told(v2025_01_10=["left hind next time size 4"])
    (fate,) = plans(history, grammar)
    assert line(fate, ForEye(grammar)) == "LH next time: size four (said 2025-01-10)"
    ear = line(fate, ForEar(grammar, date(2026, 1, 1)))
    assert ear == "left hind next time size four (said January ten twenty twenty five)"


def test_remarks_that_warn_of_the_horse_are_found_however_old() -> None:
    remarks = ["he kicks on the off hind", "owner paid", "she PULLS BACK when tied", "kickstart"]
    days = tuple(
        DayVisit(date(2024, 1, n), (Noted(Remark(text=text), doubtful=True),))
        for n, text in enumerate(remarks, 1)
    )
    found = [remark.text for _, remark in warnings(History(HorseFacts("x"), days))]
    assert found == ["she PULLS BACK when tied", "he kicks on the off hind"]
