"""Nails over the visits. Every nail is accounted for: common practice, no source."""

from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.grammar import load
from handsfree.records.entries import Entry, Finding, Nails, Shoe, Work
from handsfree.sums import ledger
from handsfree.sums.history import DayVisit, History, HorseFacts, Noted
from handsfree.sums.ledger import Bring, Missing, Pattern
from handsfree.sums.sources import CantSay
from handsfree.sums.wording import ForEar, ForEye
from handsfree.visit.nails import NailCount

GRAMMAR = load()
FIRST = date(2026, 1, 5)
OFF, NEW, BARE = (
    Work(limb="LH", action=action) for action in ("shoe_pulled", "new_shoe", "barefoot")
)


def nails(action: str, number: int | None, side: str | None = None, limb: str = "LH") -> Nails:
    return Nails(limb=limb, action=action, count=number, side=side)


def day(number: int) -> date:
    return FIRST + timedelta(weeks=6 * number)


def history(*visits: list[Entry]) -> History:
    return History(
        HorseFacts("Bramble"),
        tuple(DayVisit(day(at), tuple(map(Noted, entries))) for at, entries in enumerate(visits)),
    )


def shod(pulled: int, driven: int) -> list[Entry]:
    return [OFF, nails("pulled", pulled), NEW, nails("driven", driven)]


def test_what_one_visit_left_in_the_shoe_is_what_the_next_one_counts():
    found = ledger.ledger(history(shod(6, 8), shod(7, 8), [], shod(8, 7)))
    assert list(found) == ["LH"]
    assert [(d.on, d.count.known, d.count.unaccounted, d.after) for d in found["LH"]] == [
        (day(0), None, None, 8),
        (day(1), 8, 1, 8),
        (day(3), 8, 0, 7),
    ]


def test_feet_are_in_the_usual_order_and_one_that_nobody_spoke_of_is_not_there():
    h = history([nails("driven", 6, limb=limb) for limb in ("RH", "LF", "RF")], shod(8, 8))
    assert list(ledger.ledger(h)) == ["LF", "RF", "LH", "RH"]
    assert ledger.in_shoes(h) == {"LF": 6, "RF": 6, "LH": 8, "RH": 6}
    assert ledger.ledger(history([Finding(limb="LH", term="bruise")], [])) == {}
    assert ledger.in_shoes(history()) == {}


def test_a_foot_is_bare_after_its_shoe_came_off_or_was_lost():
    lost = Finding(limb="LH", term="lost_shoe")
    assert ledger.in_shoes(history(shod(8, 8), [OFF, nails("pulled", 8), BARE])) == {"LH": 0}
    assert ledger.in_shoes(history(shod(8, 8), [lost])) == {"LH": 0}
    # Shod again, but nobody said with how many nails: not guessed from the visit before.
    assert ledger.in_shoes(history(shod(8, 8), [OFF, NEW])) == {}


@pytest.mark.parametrize(
    ("driven", "sides"),
    [
        ([("medial", 4), ("lateral", 4)], (4, 4)),
        ([("medial", 2), ("medial", 1), ("lateral", 4)], (3, 4)),
        ([("lateral", 4), (None, 3)], (None, 4)),
        ([(None, 8)], (None, None)),
        ([("medial", None), ("lateral", 4)], (None, None)),
        ([("medial", -2), ("lateral", 4)], (None, None)),
    ],
)
def test_sides(driven: list[tuple[str | None, int | None]], sides: tuple[int | None, int | None]):
    said = [nails("driven", number, side) for side, number in driven]
    [found] = ledger.ledger(history([OFF, NEW, *said]))["LH"]
    assert (found.inside, found.outside) == sides


def test_sides_of_a_shoe_that_came_off_again_do_not_count():
    sided = [nails("driven", 3, "medial"), nails("driven", 4, "lateral")]
    [found] = ledger.ledger(history([NEW, *sided, OFF, NEW, *sided]))["LH"]
    assert (found.inside, found.outside) == (3, 4)
    # One of the new nails was drawn again, and nobody said on which side.
    [found] = ledger.ledger(history([OFF, nails("pulled", 8), NEW, *sided, nails("pulled", 1)]))[
        "LH"
    ]
    assert (found.after, found.inside, found.outside) == (6, None, None)


def test_missing_nails_of_old_visits_and_of_the_latest():
    found = ledger.missing(history(shod(8, 8), shod(7, 8), shod(6, 8)))
    assert found == [
        Missing(day(1), "LH", 1, 8, latest=False),
        Missing(day(2), "LH", 2, 8, latest=True),
    ]
    assert all(each.open for each in found)


def test_a_nail_more_than_there_were_may_be_the_missing_one():
    [found] = ledger.missing(history(shod(8, 8), shod(7, 8), shod(8, 8), shod(9, 8)))
    assert (found.on, found.perhaps_found, found.open) == (day(1), day(3), False)
    # One too many cannot be two that were missing.
    [found] = ledger.missing(history(shod(8, 8), shod(6, 8), shod(9, 8)))
    assert found.open
    # Nor is it one that is missed only later.
    [found] = ledger.missing(history(shod(8, 8), shod(9, 8), shod(7, 8)))
    assert (found.on, found.open) == (day(2), True)


def test_a_doubtful_note_is_left_out_and_what_it_would_change_is_not_said():
    sure = history(shod(8, 8))
    pulled = [Noted(OFF), Noted(nails("pulled", 7)), Noted(nails("pulled", 1), doubtful=True)]
    left = [Noted(NEW), Noted(nails("driven", 7)), Noted(nails("driven", 1), doubtful=True)]
    h = History(sure.horse, (*sure.visits, DayVisit(day(1), (*pulled, *left))))
    [found] = ledger.missing(h)
    assert (found.nails, found.doubtful) == (1, 2)
    assert ledger.in_shoes(h) == {}
    assert ledger.usual_pattern(h, "LH") == Pattern("LH", 8, 1, 1)


def test_the_usual_pattern_is_the_commonest_and_of_equals_the_latest():
    def sided(inside: int, outside: int) -> list[Entry]:
        driven = [nails("driven", inside, "medial"), nails("driven", outside, "lateral")]
        return [OFF, nails("pulled", 8), NEW, *driven]

    h = history(sided(3, 4), sided(3, 4), shod(7, 7), sided(4, 4))
    assert ledger.usual_pattern(h, "LH") == Pattern("LH", 7, 3, 4, inside=3, outside=4)
    assert ledger.usual_pattern(history(shod(8, 7), shod(7, 8)), "LH") == Pattern("LH", 8, 1, 2)


def test_mending_a_shoe_is_no_pattern():
    # Hunting 1895: the smallest shoes have four or five nail holes.
    for entries in ([nails("driven", 1)], [nails("driven", None)], [NEW], [nails("driven", 3)]):
        assert isinstance(ledger.usual_pattern(history(entries), "LH"), CantSay)
    assert isinstance(ledger.usual_pattern(history(shod(8, 8)), "RF"), CantSay)
    mended = history(shod(8, 8), [nails("lost", 1), nails("driven", 1)])
    assert ledger.usual_pattern(mended, "LH") == Pattern("LH", 8, 1, 1)


def test_what_to_bring():
    size, wider = (Shoe(limb="LH", item="size", detail=d) for d in ("4", "5"))
    clip = Shoe(limb="LH", item="clips", detail="toe")
    pads, fit = Shoe(limb="LH", item="pads"), Shoe(limb="LH", item="fit", detail="full outside")
    front = nails("driven", 6, limb="LF")
    bare = Work(limb="RH", action="barefoot")
    h = history([*shod(8, 8), size, clip, front], [*shod(8, 8), wider, pads], [fit, bare])
    found = ledger.to_bring(h)
    assert found == [
        Bring("LF", (), None, 6),
        Bring("LH", (wider, fit), day(2), 8),
        Bring("RH", (), None, None, bare=True),
    ]
    assert ledger.total_nails(found) == 14
    [left_bare] = ledger.to_bring(history(shod(8, 8), [OFF, BARE]))
    assert (left_bare.nails, left_bare.bare, ledger.total_nails([left_bare])) == (8, True, 0)


def test_lines_for_the_eye():
    assert ledger.lines(history(shod(8, 8), shod(7, 9)), ForEye(GRAMMAR)) == [
        "LH: 9 nails in it now; usually 9 (at 1 of 2 shoeings)",
        "LH, 2026-02-16: 1 of 8 nails not accounted for",
        "find the nail: one that is not found may be in the foot or on the ground, and any object "
        "in the sole or frog is an emergency for the vet (common practice, no source)",
        # Nineteenth-century texts: never more than eight; above is asked about, not refused.
        "LH, 2026-02-16: 9 nails driven, is that right? never more than 8 (19th-century texts)",
    ]


def test_nothing_odd_asks_nothing():
    eye = ForEye(GRAMMAR)
    assert ledger.question_lines(history(shod(8, 8), shod(8, 8)), eye) == []
    assert ledger.missing_lines([], eye) == []
    asked = ledger.question_lines(history([nails("in_shoe", 12)], shod(13, 8)), eye)
    assert [line.split(":")[1].split("?")[0] for line in asked] == [
        " 12 nails in the shoe, is that right",
        " 13 nails out of 12, is that right",
    ]


def test_more_pulled_than_a_shoe_holds_is_asked_about_where_nobody_knows_how_many_there_were():
    asked = ledger.question_lines(history([nails("pulled", 15)]), ForEye(GRAMMAR))
    assert [line.split("?")[0] for line in asked] == [
        "LH, 2026-01-05: 15 nails pulled, is that right"
    ]
    assert ledger.question_lines(history([nails("pulled", 8)]), ForEye(GRAMMAR)) == []


COUNTS = st.one_of(st.none(), st.integers(-3, 40), st.just(10**9))
SIDES = st.sampled_from([None, "medial", "lateral"])
ACTIONS = st.sampled_from(["pulled", "driven", "left_in", "lost", "in_shoe"])
NAILS = st.builds(nails, ACTIONS, COUNTS, SIDES, st.sampled_from(["LH", "LF"]))
ANYTHING = st.one_of(NAILS, st.sampled_from([OFF, NEW, BARE, Finding(limb="LH", term="lost_shoe")]))
VISITS = st.lists(
    st.lists(st.builds(Noted, ANYTHING, st.booleans()), max_size=6), min_size=1, max_size=6
)


@settings(deadline=None)
@given(VISITS)
def test_whatever_was_said_the_ledger_holds_together(visits: list[list[Noted]]):
    h = History(
        HorseFacts("Bramble"),
        tuple(DayVisit(day(at), tuple(notes)) for at, notes in enumerate(visits)),
    )
    found = ledger.ledger(h)
    for limb, days in found.items():
        assert [d.on for d in days] == sorted({d.on for d in days})
        pattern = ledger.usual_pattern(h, limb)
        if isinstance(pattern, Pattern):
            assert pattern.times <= pattern.shoeings <= len(days)
            if pattern.inside is not None and pattern.outside is not None:
                assert pattern.inside + pattern.outside == pattern.nails
        for before, after in pairwise(days):
            # What was left in the shoe is what is known, unless "nail count" said otherwise.
            at = [v.on for v in h.visits].index(after.on)
            said = [e for e in h.visits[at].entries if getattr(e, "action", None) == "in_shoe"]
            if not said:
                assert after.count.known == before.after
    for each in ledger.missing(h):
        assert 0 < each.nails <= each.known
        assert each.perhaps_found is None or each.perhaps_found > each.on
    assert all(number >= 0 for number in ledger.in_shoes(h).values())


@settings(deadline=None)
@given(VISITS)
def test_every_line_can_be_said(visits: list[list[Noted]]):
    ear = ForEar(GRAMMAR, FIRST)
    h = History(
        HorseFacts("Bramble"),
        tuple(DayVisit(day(at), tuple(notes)) for at, notes in enumerate(visits)),
    )
    bring = ledger.bring_lines(ledger.to_bring(h), ear)
    assert not any(c.isdigit() for line in [*ledger.lines(h, ear), *bring] for c in line)


def test_the_count_of_a_doubtful_only_foot_is_empty():
    doubtful = DayVisit(day(0), (Noted(nails("pulled", 8), doubtful=True),))
    [found] = ledger.ledger(History(HorseFacts("Bramble"), (doubtful,)))["LH"]
    assert found.count == NailCount("LH", None, 0, 0, 0, 0)
    assert (found.after, found.doubtful) == (None, 1)
