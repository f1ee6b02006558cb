"""Every nail is accounted for (trade-facts, gait and wear: common practice, no source)."""

import pytest

from handsfree.records.entries import Entry, Finding, Nails, Work
from handsfree.visit.nails import NailCount, count, in_shoe_after, question
from handsfree.visit.spoken import Spoken


def nails(action: str, number: int | None, limb: str | None = "LH") -> Nails:
    return Nails(limb=limb, action=action, count=number)


def work(action: str, limb: str | None = "LH") -> Work:
    return Work(limb=limb, action=action)


OFF, RESET, NEW, BARE = map(work, ["shoe_pulled", "shoe_reset", "new_shoe", "barefoot"])


@pytest.mark.parametrize(
    ("entries", "known", "expected"),
    [
        # Nothing has come out yet: nothing to ask.
        ([], 8, None),
        ([nails("left_in", 1)], 8, None),
        ([nails("driven", 8)], 8, None),
        ([nails("pulled", 8)], 8, 0),
        ([nails("pulled", 7)], 8, 1),
        # One by one, as they are best drawn (common practice).
        ([nails("pulled", 1)] * 8, 8, 0),
        ([nails("pulled", 1)] * 3, 8, 5),
        ([nails("pulled", 5), nails("lost", 2), nails("left_in", 1)], 8, 0),
        ([nails("pulled", 9)], 8, -1),
        ([nails("lost", 1)], 8, None),
        ([OFF], 8, 8),
        ([OFF, nails("pulled", 8)], 8, 0),
        # It cannot be said: no number known, or none said.
        ([nails("pulled", 7)], None, None),
        ([nails("pulled", None)], 8, None),
        ([nails("pulled", 7), nails("lost", None)], 8, None),
        ([nails("pulled", 7), nails("left_in", None)], 8, None),
        # "Nail count" said in this visit goes before what the last one left, said early or late.
        ([nails("in_shoe", 7), nails("pulled", 7)], 8, 0),
        ([nails("pulled", 6), nails("in_shoe", 7)], None, 1),
        ([nails("in_shoe", None), nails("pulled", 8)], 8, 0),
        # A close nail that is drawn again is one of the new ones, not the missing old one.
        ([nails("pulled", 7), nails("driven", 8), nails("pulled", 1)], 8, 1),
        # Said late: the old nails are reported after the new ones.
        ([nails("driven", 8), nails("pulled", 7)], 8, 1),
        # Absurd numbers are counted as said.
        ([nails("pulled", 20)], 0, -20),
        ([nails("pulled", 10**9)], 8, 8 - 10**9),
        ([nails("pulled", -3)], 8, None),
    ],
)
def test_unaccounted(entries: list[Entry], known: int | None, expected: int | None):
    given = {} if known is None else {"LH": known}
    found = count(entries, given).get("LH", NailCount("LH", None, 0, 0, 0, 0))
    assert found.unaccounted == expected


def test_each_limb_has_its_own_count_and_a_nail_of_no_limb_is_in_none():
    entries = [
        nails("pulled", 7, "LH"),
        nails("pulled", 6, "RF"),
        nails("pulled", 5, None),
        work("shoe_pulled", None),
        Finding(limb="LF", term="bruise"),
    ]
    counts = count(entries, {"LH": 8, "RF": 6, "RH": 7})
    assert counts["LH"] == NailCount("LH", 8, 7, 0, 0, 0)
    assert counts["RF"] == NailCount("RF", 6, 6, 0, 0, 0)
    assert counts["RH"] == NailCount("RH", 7, 0, 0, 0, 0)
    assert set(counts) == {"LH", "RF", "RH"}


def test_a_strike_or_a_correction_is_just_another_list():
    assert count([nails("pulled", 6)], {"LH": 8})["LH"].unaccounted == 2
    assert count([nails("pulled", 8)], {"LH": 8})["LH"].unaccounted == 0
    assert count([], {"LH": 8})["LH"].unaccounted is None


@pytest.mark.parametrize(
    ("entries", "known", "expected"),
    [
        ([], 8, 8),
        ([], None, None),
        ([OFF, nails("pulled", 8), RESET, nails("driven", 7)], 8, 7),
        ([OFF, nails("pulled", 8), nails("driven", 8), NEW], 6, 8),
        ([NEW, nails("driven", 9)], None, 9),
        # A shoe was set, but nobody said with how many nails.
        ([OFF, NEW], 8, None),
        ([NEW, nails("driven", None)], 8, None),
        ([OFF, nails("pulled", 8)], 8, 0),
        ([OFF, nails("pulled", 7), BARE], 8, 0),
        ([BARE], None, 0),
        ([Finding(limb="LH", term="lost_shoe")], 8, 0),
        ([Finding(limb="LH", term="lost_shoe"), nails("driven", 7)], 8, 7),
        # The shoe stayed on: one nail lost, one driven in its place.
        ([nails("lost", 1)], 8, 7),
        ([nails("lost", 1), nails("driven", 1)], 8, 8),
        ([nails("pulled", 1), nails("driven", 1)], 8, 8),
        # No word of the shoe, but all the nails were changed.
        ([nails("pulled", 7), nails("driven", 8)], 8, 8),
        ([nails("pulled", 8), nails("driven", 7)], None, 7),
        # Hunting 1895: no shoe has fewer than four nails, so one nail is not a shoe.
        ([nails("lost", 1), nails("driven", 1)], None, None),
        ([nails("pulled", None)], 8, None),
        ([OFF, nails("pulled", 8), NEW, nails("driven", 8), nails("pulled", 1)], 8, 7),
        # The shoe went on, came off again, and went on with fewer.
        ([NEW, nails("driven", 8), OFF, nails("driven", 6)], 8, 6),
        ([nails("pulled", 9)], 8, 0),
        ([nails("in_shoe", 7)], 8, 7),
    ],
)
def test_nails_in_the_shoe_for_the_next_visit(
    entries: list[Entry], known: int | None, expected: int | None
):
    previous = {} if known is None else {"LH": known}
    assert in_shoe_after([*entries], previous).get("LH") == expected


def test_limbs_not_spoken_of_keep_their_nails():
    after = in_shoe_after([nails("pulled", 1, None), OFF], {"LF": 8, "RF": 7})
    assert after == {"LF": 8, "RF": 7, "LH": 0}


@pytest.mark.parametrize(
    ("entries", "known", "asked"),
    [
        ([nails("pulled", 8)], 8, None),
        ([nails("pulled", None)], 8, None),
        ([nails("pulled", 7)], 8, "left hind: one of eight nails is not accounted for"),
        ([nails("pulled", 5)], 8, "left hind: three of eight nails are not accounted for"),
        ([OFF], 1, "left hind: one of one nail is not accounted for"),
        ([nails("pulled", 9)], 8, "left hind: nine nails out of eight"),
        ([nails("pulled", 1)], 0, "left hind: one nail out of none"),
        # Nineteenth-century texts: never more than 8 nails; above is asked about, not refused.
        ([nails("driven", 8)], 8, None),
        ([nails("driven", 9)], 8, "left hind: nine nails driven, is that right?"),
        ([nails("in_shoe", 12)], 8, "left hind: twelve nails in the shoe, is that right?"),
        (
            [nails("driven", 1234)],
            8,
            "left hind: twelve hundred thirty four nails driven, is that right?",
        ),
    ],
)
def test_question(entries: list[Entry], known: int, asked: str | None, spoken: Spoken):
    assert question(count(entries, {"LH": known})["LH"], spoken) == asked
