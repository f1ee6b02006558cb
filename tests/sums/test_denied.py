"""What was said not to be there is told as there by no sum, and counts as looked for."""

from dataclasses import replace
from datetime import date

import pytest

from handsfree.grammar import Grammar
from handsfree.records.commands import Command
from handsfree.records.entries import (
    Entry,
    Finding,
    Measurement,
    Nails,
    Plan,
    ScaleGrade,
    Work,
    is_absent,
)
from handsfree.sums import change, marks, wear
from handsfree.sums.asked import Past, answer
from handsfree.sums.brief import brief
from handsfree.sums.diary import diary, shod_between
from handsfree.sums.growth import published
from handsfree.sums.helped import interventions
from handsfree.sums.helped_lines import lines as helped_lines
from handsfree.sums.history import Age, DayVisit, History, HorseFacts, Noted, findings
from handsfree.sums.nailed import in_shoes, ledger, missing
from handsfree.sums.plans import Fate, plans
from handsfree.sums.seen import finding_tracks
from handsfree.sums.sightings import follow
from handsfree.sums.standing import Basis, State
from handsfree.sums.temper import warnings
from handsfree.sums.wording import ForEye
from handsfree.visit import nails

DAYS = [date(2026, month, 5) for month in (1, 3, 5, 7)]
TODAY = date(2026, 7, 20)
THRUSH = Finding(limb="LF", term="thrush", zone="frog", grade="severe")
NO_THRUSH = Finding(limb="LF", term="thrush", denied=True)


def history(*visits: list[Entry]) -> History:
    days = (DayVisit(on, tuple(map(Noted, said))) for on, said in zip(DAYS, visits, strict=False))
    return History(HorseFacts("Bramble", "riding"), tuple(days))


def test_what_is_absent():
    assert is_absent(NO_THRUSH)
    assert is_absent(Finding(term="lameness", scale_grade=ScaleGrade("lameness", 0)))
    assert not is_absent(THRUSH)
    assert not is_absent(Finding(term="lameness", scale_grade=ScaleGrade("lameness", 1)))
    assert not is_absent(Finding(scale_grade=ScaleGrade("body_condition", 0)))
    assert not is_absent(Work(action="trimmed"))


def test_it_is_no_finding(grammar: Grammar):
    alone = history([NO_THRUSH, replace(NO_THRUSH, term="lameness", limb=None)])
    assert findings(alone) == []
    assert finding_tracks(alone) == []
    assert "LF" not in str(brief(alone, grammar, TODAY, ForEye(grammar))).replace("RF LH RH", "")


@pytest.mark.parametrize(
    "denied",
    [
        NO_THRUSH,
        replace(NO_THRUSH, zone="frog"),
        replace(NO_THRUSH, zone="frog", side="medial"),
    ],
)
def test_a_finding_that_is_denied_later_is_gone(grammar: Grammar, denied: Finding):
    seen = replace(THRUSH, side=denied.side)
    [track] = finding_tracks(history([seen], [denied]))
    assert (track.state, track.rests_on) == (State.GONE, Basis.CLEAR)
    assert track.looked_clear == track.denied == (DAYS[1],)
    assert track.not_mentioned == ()
    told = change.lines(track, TODAY, ForEye(grammar))
    assert "gone, said not to be there 20 weeks ago" in told[0]
    assert "said not to be there: 2026-03-05" in told
    assert not any("said clear" in line for line in told)


@pytest.mark.parametrize(
    "denied",
    [
        replace(NO_THRUSH, limb="RF"),
        replace(NO_THRUSH, zone="heel"),
        replace(NO_THRUSH, term="canker"),
        replace(NO_THRUSH, side="lateral"),
        replace(NO_THRUSH, limb=None),
    ],
)
def test_what_is_denied_elsewhere_is_not_gone(denied: Finding):
    [track] = finding_tracks(history([replace(THRUSH, side="medial")], [denied]))
    assert track.state is State.UNKNOWN
    assert track.looked_clear == ()


def test_not_lame_is_said_of_every_foot():
    lame = Finding(limb="RH", term="lameness", grade="mild")
    [track] = finding_tracks(history([lame], [Finding(term="lameness", denied=True)]))
    assert track.state is State.GONE


def test_it_is_new_again_after_it_was_denied(grammar: Grammar):
    [track] = finding_tracks(history([THRUSH], [NO_THRUSH], [THRUSH]))
    assert track.state is State.NEW
    assert "after it was said not to be there" in change.headline(track, TODAY, ForEye(grammar))


def test_what_was_denied_after_it_got_worse_is_not_worse(grammar: Grammar):
    mild = replace(THRUSH, grade="mild")
    [track] = finding_tracks(history([mild], [THRUSH], [NO_THRUSH]))
    assert track.state is State.GONE
    found = {s.title: s.lines for s in brief(history([mild], [THRUSH], [NO_THRUSH]), grammar, TODAY,
                                             ForEye(grammar))}  # fmt: skip
    assert "Look at" not in found
    assert "Mind" not in found


def test_before_and_after_a_change_of_shoe(grammar: Grammar):
    pads = Work(limb="LF", action="new_shoe")
    trimmed = Work(limb="LF", action="trimmed")
    [comparison] = interventions(history([THRUSH, trimmed], [trimmed, pads], [NO_THRUSH]))
    told = helped_lines(comparison, TODAY, ForEye(grammar))
    assert any("2026-05-05 not there" in line for line in told)
    assert any("gone, said not to be there" in line for line in told)


def test_no_mark_is_dated_by_it():
    bruise = Finding(limb="LF", term="bruise", zone="toe", denied=True, below_hairline_mm=20)
    ring = replace(bruise, term="growth_ring", below_hairline_mm=None)
    past = history([bruise, ring])
    adults = published(Age.ADULT)
    assert follow(past, adults.slow, adults.middle) == []
    assert marks.dated(past, TODAY) == []
    assert marks.undated(past, TODAY) == []


def test_no_wear_and_no_cause_of_it(grammar: Grammar):
    worn = Finding(limb="LF", term="wear", side="lateral")
    assert wear.wear(history([replace(worn, denied=True)])) == []
    narrow = Finding(limb="LF", term="base_narrow", denied=True)
    [each] = wear.wear(history([worn, narrow]))
    assert all(not cause.recorded for cause in each.causes)


def test_it_is_not_told_of_the_time_when_a_mark_was_made():
    about = Finding(limb="LF", term="bruise", zone="toe", below_hairline_mm=30)
    said: list[Entry] = [Finding(limb="LF", term="abscess", denied=True), Nails(limb="LF")]
    assert all(
        each.noted == () for each in diary(history(said, said), about, DAYS[0], DAYS[0], DAYS[1])
    )


def test_a_shoe_that_is_not_lost_is_on():
    driven = Nails(limb="LF", action="driven", count=7)
    lost = Finding(limb="LF", term="lost_shoe")
    no = replace(lost, denied=True)
    assert nails.in_shoe_after([driven, no], {}) == {"LF": 7}
    assert nails.in_shoe_after([driven, lost], {}) == {"LF": 0}
    assert in_shoes(history([driven], [no])) == {"LF": 7}
    assert list(ledger(history([no]))) == []
    assert missing(history([driven], [no])) == []
    assert shod_between(history([driven, no], []), "LF", DAYS[0], DAYS[1]) is True
    assert (
        shod_between(history([], [replace(no, term="sprung_shoe")]), "LF", DAYS[0], DAYS[1]) is None
    )


def test_nails_in_the_shoe_are_what_was_known():
    said: list[Entry] = [
        Nails(limb="LF", action="in_shoe", count=10),
        Nails(limb="LF", action="pulled", count=9),
    ]
    assert nails.count(said, {"LF": 8})["LF"].unaccounted == 1


def test_a_foot_to_watch_was_watched_when_nothing_was_there(grammar: Grammar):
    watch = Plan(limb="LF", action="watch")
    again = Plan(limb="LF", action="next_time", text="mild thrush in the frog")
    found = {f.plan.action: f.fate for f in plans(history([watch, again], [NO_THRUSH]), grammar)}
    assert found == {"watch": Fate.DONE, "next_time": Fate.DONE}


def test_it_is_no_warning_of_the_horse(grammar: Grammar):
    assert warnings(history([NO_THRUSH])) == []


def test_the_visit_before_says_what_was_denied_as_denied(grammar: Grammar):
    past = Past(history([replace(NO_THRUSH, zone="frog")]), TODAY)
    told = answer(Command.PREVIOUS_VISIT, past, [], "LF", grammar)
    assert told[-1] == "no thrush in the frog"


def test_heights_in_hands_are_reckoned_and_told(grammar: Grammar):
    def tall(value: float, unit: str = "hands") -> list[Entry]:
        return [Measurement(quantity="height", value=value, unit=unit)]

    [track] = change.measure_tracks(history(tall(15.3), tall(16.0), tall(16.1)))
    told = change.lines(track, TODAY, ForEye(grammar))
    assert told[0] == "height: 16.1 hands, 1 in more than 9 weeks before"
    assert "trend: 0.51 in more a month" in told[2]
    [mixed] = change.measure_tracks(history(tall(165.1, "cm"), tall(16.1)))
    assert change.headline(mixed, TODAY, ForEye(grammar)).startswith(
        "height: 16.1 hands, no change"
    )
