"""Before and after a change of shoe or work, side by side."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.grammar.grammar import load
from handsfree.records.entries import Entry, Measurement, Shoe, Work
from handsfree.records.units import Length
from handsfree.sums.helped import (
    MADE_BY_WORK,
    NOT_A_CAUSE,
    Clear,
    Comparison,
    Pair,
    Silent,
    interventions,
)
from handsfree.sums.helped_lines import lines, side
from handsfree.sums.history import DayVisit, History, HorseFacts, Noted, Stage
from handsfree.sums.seen import FindingTrack
from handsfree.sums.series import MeasureTrack
from handsfree.sums.standing import Standing, State
from handsfree.sums.wording import ForEar, ForEye

START = date(2026, 1, 5)
GRAMMAR = load()
TRIM = "left hind trimmed"
RESET = "left hind shoe reset"


def spoken(said: str) -> list[Entry]:
    meaning = GRAMMAR.read(said.split()).meaning
    assert meaning is not None, said
    return [
        replace(statement.entry, limb=limb)
        for statement in meaning.statements
        for limb in statement.limbs or (None,)
    ]


def day(number: int) -> date:
    return START + timedelta(weeks=6 * number)


def history(*visits: Sequence[str]) -> History:
    days = tuple(
        DayVisit(day(at), tuple(Noted(entry) for each in said for entry in spoken(each)))
        for at, said in enumerate(visits)
    )
    return History(HorseFacts("Bramble"), days)


def changes(*visits: Sequence[str]) -> list[tuple[int, str]]:
    """(visit, what was changed)."""
    return [
        ((c.since - START).days // 42, ForEye(GRAMMAR).entry(c.change))
        for c in interventions(history(*visits))
    ]


def the_change(*visits: Sequence[str]) -> Comparison:
    (comparison,) = interventions(history(*visits))
    return comparison


def the_pair(comparison: Comparison, about: type) -> Pair:
    (pair,) = (p for p in comparison.pairs if isinstance(p.about, about))
    return pair


def toe(number: str) -> str:
    return f"left hind toe length {number} millimeters"


def test_a_property_of_the_shoe_that_was_not_there_before_is_a_change():
    visits = [RESET], [RESET, "left hind crease lengthened outside"], [RESET]
    assert [at for at, _ in changes(*visits)] == [1]
    found = the_change(*visits)
    assert found.change == Shoe(limb="LH", item="crease", detail="lengthened outside")
    assert (found.limb, found.since, found.until) == ("LH", day(1), None)


def test_on_the_first_day_nothing_is_a_change():
    assert changes([RESET, "left hind pads", "left hind full outside"]) == []
    assert changes() == []
    assert changes(["left hind bruise"], ["left hind pads"]) == []


def test_what_the_foot_had_already_is_no_change():
    assert changes(["left hind pads"], [RESET], ["left hind pads"]) == []
    assert changes(["left hind pads", "left hind pads"], ["left hind pads"]) == []


def test_another_detail_is_a_change():
    assert changes(["left hind full outside"], ["left hind tight inside"]) == [(1, "tight inside")]


def test_a_size_is_a_change_only_when_it_is_another():
    visits = [RESET], ["left hind size four"], ["left hind size four"], ["left hind size five"]
    assert changes(*visits) == [(3, "size 5")]


def test_after_a_time_barefoot_or_a_new_shoe_that_was_described_pads_are_a_change():
    bare = [RESET, "left hind pads"], ["left hind left barefoot"], ["left hind pads"]
    assert [at for at, _ in changes(*bare)] == [1, 2]
    described = (
        [RESET, "left hind pads"],
        ["left hind new shoe", "left hind rolled toe"],
        ["left hind pads"],
    )
    assert (2, "pads") in changes(*described)
    not_described = [RESET, "left hind pads"], ["left hind new shoe"], ["left hind pads"]
    assert (2, "pads") not in changes(*not_described)


@pytest.mark.parametrize("step", ["trimmed", "shoe pulled", "rasped", "clinched", "shoe reset"])
def test_steps_of_every_shoeing_are_no_change(step: str):
    assert changes(["left hind packed"], ["left hind packed", f"left hind {step}"]) == []


@pytest.mark.parametrize("act", sorted(MADE_BY_WORK))
def test_work_that_leaves_the_foot_otherwise_is_a_change(act: str):
    done = Work(limb="LH", action=act)
    visits = history([TRIM], [TRIM])
    last = DayVisit(day(1), (*visits.visits[1].notes, Noted(done)))
    (found,) = interventions(replace(visits, visits=(visits.visits[0], last)))
    assert found.change == done


def test_a_shoe_alone_before_does_not_make_the_first_work_a_change():
    assert changes(["left hind pads"], [TRIM]) == []


def test_records_stand_on_the_side_of_the_day_they_belong_to():
    found = the_change(
        [RESET, "left hind severe outside heel bruise", toe("eighty")],
        [
            "left hind moderate outside heel bruise",
            toe("eighty eight"),
            TRIM,
            toe("eighty one"),
            "left hind full outside",
            RESET,
        ],
        [RESET, "left hind mild outside heel bruise"],
        ["left hind outside heel clear", "left hind toe length eighty five millimeters"],
    )
    pair = the_pair(found, FindingTrack)
    assert [r.on for r in pair.before] == [day(0), day(1)]
    assert [r.on for r in pair.after] == [day(2), day(3)]
    assert pair.after[-1] == Clear(day(3))
    assert pair.outcome == Standing(State.GONE)
    by_stage = {p.about.stage: p for p in found.pairs if isinstance(p.about, MeasureTrack)}
    before, after = by_stage[Stage.BEFORE], by_stage[Stage.AFTER]
    assert [r.on for r in before.before] == [day(1)]
    assert [r.on for r in before.after] == [day(3)]
    assert [r.on for r in after.before] == []
    assert [r.on for r in after.after] == [day(1), day(3)]


def test_a_number_of_the_day_of_which_no_stage_was_said_is_on_neither_side():
    found = the_change(
        ["left hind pads", toe("eighty")],
        ["left hind rolled toe", RESET, toe("eighty two")],
        [toe("eighty five")],
    )
    assert day(1) not in [r.on for p in found.pairs for r in (*p.before, *p.after)]


def test_the_next_change_ends_what_is_counted():
    first, second = interventions(
        history(
            [RESET, "left hind severe bruise"],
            [RESET, "left hind moderate bruise", "left hind pads"],
            [RESET, "left hind mild bruise", "left hind rolled toe"],
            [RESET, "left hind slight bruise"],
        )
    )
    assert (first.until, second.until) == (day(2), None)
    pairs = [the_pair(c, FindingTrack) for c in (first, second)]
    assert [[r.on for r in p.before] for p in pairs] == [[day(0), day(1)], [day(2)]]
    assert [[r.on for r in p.after] for p in pairs] == [[day(2)], [day(3)]]
    for pair in pairs:
        assert isinstance(pair.outcome, Standing)
        assert pair.outcome.state is State.BETTER


def test_two_changes_of_one_day_cannot_be_told_apart():
    found = interventions(history([RESET], [RESET, "left hind pads", "left hind full outside"]))
    assert [len(c.along_with) for c in found] == [1, 1]
    told = lines(found[0], day(2), ForEye(GRAMMAR))
    assert told[1] == "2 changes on one day: they cannot be told apart"


def test_another_foot_is_left_out():
    visits = history(
        [RESET, "right hind shoe reset"],
        [RESET, "left hind pads", "right hind severe bruise", "right hind pads"],
    )
    left, right = interventions(visits)
    assert (left.limb, left.pairs) == ("LH", ())
    assert [p.about.limb for p in right.pairs] == ["RH"]
    assert interventions(visits, limb="LF") == []
    assert [c.limb for c in interventions(visits, limb="RH")] == ["RH"]


def test_not_mentioned_after_is_not_gone():
    found = the_change(
        [RESET, "left hind mild thrush"],
        [RESET, "left hind mild thrush", "left hind pads"],
        [RESET],
    )
    pair = the_pair(found, FindingTrack)
    assert pair.after == (Silent(day(2)),)
    assert pair.outcome is None
    told = "\n".join(lines(found, day(2), ForEye(GRAMMAR)))
    assert "not mentioned" in told
    assert "gone" not in told


def test_visits_in_a_row_that_do_not_mention_it_are_told_together():
    found = the_change(
        [RESET, "left hind mild thrush"],
        [RESET, "left hind mild thrush", "left hind pads"],
        *([RESET] for _ in range(3)),
        [RESET, "left hind severe thrush"],
        [RESET],
    )
    pair = the_pair(found, FindingTrack)
    assert side(pair.after, pair, ForEye(GRAMMAR)) == [
        f"{day(2)} to {day(4)} not mentioned, 3 visits",
        f"{day(5)} severe",
        f"{day(6)} not mentioned",
    ]


def test_new_after_it_was_clear_before():
    found = the_change(
        [RESET, "left hind frog clear"], [RESET, "left hind pads"], ["left hind thrush"]
    )
    pair = the_pair(found, FindingTrack)
    assert pair.before == (Clear(day(0)),)
    assert pair.outcome == Standing(State.NEW)


def test_measures_differ_by_a_length_in_the_unit_last_said():
    found = the_change(
        ["left hind shoe pulled", toe("eighty")],
        ["left hind pads"],
        [toe("eighty five")],
        ["left hind toe length three and a half inches"],
    )
    told = lines(found, day(3), ForEye(GRAMMAR))
    assert any("3.5 in" in line for line in told)
    assert not any(" mm" in line for line in told)


def test_the_difference_of_a_measure_is_last_after_less_last_before():
    found = the_change(
        ["left hind pads", toe("eighty")],
        ["left hind rolled toe", toe("eighty two")],
        [toe("eighty five")],
    )
    pair = the_pair(found, MeasureTrack)
    assert pair.outcome == Length(3.0)
    assert lines(found, day(2), ForEye(GRAMMAR))[1].endswith("(3 mm more)")


def test_the_words_say_that_it_is_no_cause_and_blame_nothing():
    visits = history(
        [RESET, "left hind severe bruise"],
        [RESET, "left hind severe bruise", "left hind crease lengthened outside"],
        [RESET, "left hind mild bruise"],
    )
    for words in (ForEye(GRAMMAR), ForEar(GRAMMAR, day(2))):
        for comparison in interventions(visits):
            told = lines(comparison, day(2), words)
            assert told[0].endswith(NOT_A_CAUSE)
            joined = " ".join(told)
            for blaming in ("because", "helped", "caused by", "thanks", "worked", "due to"):
                assert blaming not in joined
            if isinstance(words, ForEar):
                assert not any(c.isdigit() for c in joined), joined


def test_nothing_noted_since_is_said():
    found = the_change([RESET, "left hind bruise"], [RESET, "left hind pads"])
    assert "nothing was noted of this foot since" in lines(found, day(2), ForEye(GRAMMAR))
    empty = the_change([RESET], [RESET, "left hind pads"])
    assert "nothing else was noted" in lines(empty, day(2), ForEye(GRAMMAR))[-1]


Visits = st.lists(
    st.lists(
        st.sampled_from(
            [
                f"left hind {said}"
                for said in (
                    *("shoe reset", "trimmed", "new shoe", "barefoot", "pads", "full outside"),
                    *("tight inside", "size two", "mild thrush", "severe thrush", "frog clear"),
                    *("toe length eighty millimeters", "toe length ninety millimeters"),
                )
            ]
        ),
        max_size=6,
    ),
    max_size=6,
)


@settings(deadline=None, max_examples=60)
@given(Visits)
def test_no_record_is_on_both_sides_or_beyond_the_next_change(visits: list[list[str]]):
    for comparison in interventions(history(*visits)):
        for pair in comparison.pairs:
            assert not set(pair.before) & set(pair.after)
            assert all(r.on <= comparison.since for r in pair.before)
            assert all(r.on >= comparison.since for r in pair.after)
            if comparison.until is not None:
                assert all(r.on <= comparison.until for r in pair.after)
        assert lines(comparison, day(9), ForEye(GRAMMAR))


@settings(deadline=None, max_examples=40)
@given(Visits, st.randoms())
def test_the_order_in_which_visits_come_does_not_matter(visits: list[list[str]], rng):
    whole = history(*visits)
    mixed = list(whole.visits)
    rng.shuffle(mixed)
    assert interventions(replace(whole, visits=tuple(mixed))) == interventions(whole)


def test_odd_entries_do_no_harm():
    odd = (
        Noted(Shoe(limb="LH")),
        Noted(Work(limb="LH")),
        Noted(Shoe(item="pads")),
        Noted(Measurement(limb="LH", quantity="toe_length", value=-1, unit="mm")),
    )
    assert (
        interventions(History(HorseFacts("x"), (DayVisit(day(0), odd), DayVisit(day(1), odd))))
        == []
    )
