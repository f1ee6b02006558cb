"""What is on a sheet, what is left out of it, and in whose words."""

from collections.abc import Sequence
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.dialogue.session import Session
from handsfree.grammar import Grammar, load
from handsfree.grammar.words import plain_words
from handsfree.records.entries import (
    Entry,
    Finding,
    Measurement,
    Nails,
    Plan,
    Remark,
    ScaleGrade,
    Shoe,
    Work,
)
from handsfree.sheets.content import Audience, Sheet, sheet
from handsfree.sheets.page import page
from handsfree.sums.history import DayVisit, History, HorseFacts, Noted
from handsfree.sums.sources import CantSay

FIRST, SECOND, THIRD = date(2026, 6, 1), date(2026, 7, 13), date(2026, 8, 24)
OWNER, VET = Audience.OWNER, Audience.VET


@pytest.fixture(scope="module")
def grammar() -> Grammar:
    return load()


def noted(grammar: Grammar, said: Sequence[str]) -> tuple[Noted, ...]:
    """Notes of what was said; "~" before it: not confirmed, "?": doubtful."""
    session, notes = Session(), []
    for text in said:
        outcome = session.take(grammar.read(plain_words(text.lstrip("~?"))), 1.0, 0.0, 1.0)
        assert outcome is not None
        assert outcome.status != "unclear", text
        sure = {"~": 0.9, "?": 0.4}.get(text[0], 0.97)
        status = "heard" if text[0] in "~?" else "confirmed"
        notes += [
            Noted(e, text[0] == "?", status=status, confidence=sure, heard=text, by="review")
            for e in outcome.entries
        ]
    return tuple(notes)


def told(grammar: Grammar, *visits: Sequence[str], horse: HorseFacts | None = None) -> History:
    days = (
        DayVisit(day, noted(grammar, said))
        for day, said in zip((FIRST, SECOND, THIRD), visits, strict=False)
    )
    return History(horse or HorseFacts("Bramble", "riding"), tuple(days))


def made(
    history: History, grammar: Grammar, audience: Audience = OWNER, doubtful: bool = False
) -> Sheet:
    assert history.last is not None
    found = sheet(history, history.last.on, audience, grammar, history.last.on, doubtful)
    assert isinstance(found, Sheet)
    return found


def foot(made: Sheet, limb: str):  # type: ignore[no-untyped-def]
    return next(part for part in made.feet if part.limb == limb)


SAID = [
    "left hind outside heel bruise",
    "~mild thrush in the frog",
    "?puncture in the frog",
    "toe length three and a quarter inches",
    "trimmed",
    "toe length three inches",
    "new shoe",
    "drove four nails outside",
    "drove three nails inside",
    "come back in six weeks",
]


def test_only_what_is_confirmed_is_there(grammar: Grammar) -> None:
    only = made(told(grammar, SAID), grammar)
    assert [item.text for item in foot(only, "LH").found] == ["outside heel bruise"]
    assert only.left_out == 2
    assert "2 notes of this visit are not confirmed" in " ".join(only.notes)
    assert foot(only, "LH").left_out == "2 notes are not confirmed yet and are left out."


def test_a_caution_that_nobody_confirmed_is_on_the_sheet_and_begins_with_its_order(
    grammar: Grammar,
) -> None:
    # The puncture is left out of the foot, as nobody looked it over; the horse may be hurt.
    (caution,) = made(told(grammar, SAID), grammar, VET).cautions
    assert (caution.where, caution.noted) == ("LH: left hind", "frog puncture")
    assert not caution.confirmed
    assert caution.orders.startswith("Stop. Call the vet. ")
    assert "Do not walk the horse." in caution.orders


def test_a_confirmed_caution_stays_confirmed_beside_a_graver_one_that_is_not(
    grammar: Grammar,
) -> None:
    said = ["~left hind puncture in the frog", "puncture in the sole"]
    found = made(told(grammar, said), grammar).cautions
    assert [(each.noted, each.confirmed) for each in found] == [
        ("sole puncture", True),
        ("frog puncture", False),
    ]
    # A pair of which one is not confirmed is not confirmed either.
    (pair,) = made(told(grammar, ["~left hind heat", "bounding pulse"]), grammar).cautions
    assert not pair.confirmed


@pytest.mark.parametrize("audience", Audience)
def test_nothing_is_never_said_of_a_foot_whose_notes_are_left_out(
    grammar: Grammar, audience: Audience
) -> None:
    said = ["left fore trimmed", "~right fore puncture in the frog", "~mild thrush in the frog"]
    said += ["left hind", "remark he stood badly", "~body condition five"]
    part = made(told(grammar, said), grammar, audience)
    assert [foot(part, limb).missing for limb in ("LF", "RF", "LH", "RH")] == [
        "",
        "2 notes are not confirmed yet and are left out.",
        "1 remark is left out.",
        "Nothing was noted of this foot.",
    ]
    assert part.whole.left_out == "1 note is not confirmed yet and is left out."
    assert dict(part.summary)["Found"] == ("no finding is confirmed yet",)
    assert foot(made(told(grammar, said), grammar, audience, doubtful=True), "RF").missing == ""


def test_the_rest_is_named_as_not_confirmed(grammar: Grammar) -> None:
    whole = made(told(grammar, SAID), grammar, doubtful=True)
    items = foot(whole, "LH").found
    assert [(i.text, i.confirmed) for i in items] == [
        ("outside heel bruise", True),
        ("mild frog thrush", False),
        ("frog puncture", False),
    ]
    assert whole.left_out == 0
    (caution,) = whole.cautions
    assert (caution.limb, caution.confirmed) == ("LH", False)
    assert [mark.doubtful for mark in foot(whole, "LH").marks] == [False, True, True]
    found = dict(whole.summary)["Found"]
    assert found == (
        "Left hind: outside heel bruise, mild frog thrush (not confirmed), "
        "frog puncture (not confirmed)",
    )


def test_the_vet_reads_how_sure_it_is_and_by_whom(grammar: Grammar) -> None:
    whole = made(told(grammar, SAID), grammar, VET, doubtful=True)
    bruise, thrush, puncture = foot(whole, "LH").found
    assert bruise.text == "lateral heel bruise"
    assert bruise.sureness == "confirmed at the review; confidence 0.97"
    assert thrush.sureness == "not confirmed; confidence 0.9"
    assert puncture.sureness == "not confirmed, doubtful; confidence 0.4"
    assert any(h.noted == ("lateral heel bruise",) and h.where == "LH" for h in whole.heard)
    assert made(told(grammar, SAID), grammar).heard == ()


def test_measures_before_and_after_the_trim(grammar: Grammar) -> None:
    later = ["left hind toe length three and a half inches", "trimmed", "toe length three inches"]
    part = foot(made(told(grammar, SAID, later), grammar), "LH")
    (row,) = part.measures
    assert (row.before, row.after) == ("3 1/2 in", "3 in")
    assert row.earlier == "3 1/4 in before the trim, 3 in after the trim (1 June 2026)"
    assert row.change == "1/4 in more before the trim, no change after the trim"


def test_the_unit_asked_for_and_mixed_units(grammar: Grammar) -> None:
    history = told(
        grammar,
        ["left fore toe length three and a quarter inches"],
        ["left fore toe length eighty five millimeters"],
    )
    (row,) = foot(made(history, grammar), "LF").measures
    # 3.25 in = 82.55 mm, told to the millimetre since it was not said in mm.
    assert (row.only, row.earlier) == ("85 mm", "83 mm (1 June 2026)")
    asked = sheet(history, SECOND, OWNER, grammar, SECOND, unit="cm")
    assert isinstance(asked, Sheet)
    (row,) = foot(asked, "LF").measures
    assert row.only == "8.5 cm"


def test_numbers_that_are_no_such_measure(grammar: Grammar) -> None:
    odd = [
        Measurement(limb="LF", quantity="toe_length", value=value, unit=unit)
        for value, unit in ((50.0, "deg"), (0.0, "mm"), (-3.0, "mm"), (float("nan"), "mm"))
    ]
    odd.append(Measurement(limb="LF", quantity="hoof_angle", value=None, unit=None))
    history = History(HorseFacts("B"), (DayVisit(FIRST, tuple(Noted(e) for e in odd)),))
    (row,) = foot(made(history, grammar), "LF").measures
    assert (row.before, row.after, row.only, row.change) == ("", "", "", "")
    assert row.odd  # the last of them is named, none is shown as a measure


def test_the_shoe_as_fitted(grammar: Grammar) -> None:
    part = foot(made(told(grammar, SAID), grammar), "LH")
    assert part.shod is not None
    assert (part.shod.nails_inside, part.shod.nails_outside, part.shod.nails) == (3, 4, 7)
    bare = foot(made(told(grammar, [*SAID, "left hind left barefoot"]), grammar), "LH")
    assert bare.shod is None


def test_next_visit_is_told_as_it_was_known_then(grammar: Grammar) -> None:
    history = told(grammar, SAID, ["left hind trimmed"])
    first = sheet(history, FIRST, OWNER, grammar, date(2026, 9, 30))
    assert isinstance(first, Sheet)
    assert first.next_visit is not None
    assert first.next_visit.best_day == date(2026, 7, 13)  # six weeks after 1 June
    assert first.next_visit.best == "13 July 2026"
    assert any("this time is past" in reason for reason in first.next_visit.reasons)


def test_changes_are_judged_for_the_owner_only_by_what_was_said(grammar: Grammar) -> None:
    history = told(
        grammar,
        ["left hind mild thrush in the frog", "right fore outside heel bruise"],
        ["left hind moderate thrush in the frog worse"],
    )
    owner, vet = (made(history, grammar, each) for each in (OWNER, VET))
    texts = [change.text for change in owner.changes]
    assert "Left hind thrush: worse by the grade said (mild, then moderate, worse)" in texts
    assert any(text.startswith("Right fore outside heel bruise: seen once") for text in texts)
    details = next(c.details for c in vet.changes if c.text.startswith("LH"))
    assert details == (
        "first seen 6 weeks before, last at this visit; "
        "2026-06-01 mild; 2026-07-13 moderate, worse",
    )
    assert not any("worse by" in line for c in vet.changes for line in (c.text, *c.details))


def test_trends_need_three_visits_and_hold_every_number(grammar: Grammar) -> None:
    visits = [[f"left fore toe length {n} millimeters"] for n in ("eighty", "ninety", "ninety one")]
    assert made(told(grammar, *visits[:2]), grammar).trends == ()
    (trend,) = made(told(grammar, *visits), grammar).trends
    assert (trend.least, trend.most, trend.unit) == (80.0, 91.0, "mm")
    assert trend.description == "1 June 2026 80 mm; 13 July 2026 90 mm; 24 August 2026 91 mm."


def test_remarks_are_there_only_if_wanted(grammar: Grammar) -> None:
    note = Noted(Remark(limb="LH", text="owner pays late"))
    history = History(HorseFacts("B"), (DayVisit(FIRST, (*noted(grammar, SAID), note)),))
    without = made(history, grammar)
    assert without.remarks_left_out == 1
    assert "pays late" not in str(without)
    shown = sheet(history, FIRST, VET, grammar, FIRST, with_remarks=True)
    assert isinstance(shown, Sheet)
    assert "pays late" in foot(shown, "LH").remarks[0].text


def test_words_are_explained_once(grammar: Grammar) -> None:
    words = [each.word for each in made(told(grammar, SAID), grammar).glossary]
    assert len(words) == len(set(words))
    assert {"bruise", "heel", "outside", "toe length"} <= set(words)
    vet = [each.word for each in made(told(grammar, SAID), grammar, VET).glossary]
    assert "lateral" not in vet


def test_no_visit_that_day(grammar: Grammar) -> None:
    history = told(grammar, SAID)
    assert isinstance(sheet(history, SECOND, OWNER, grammar, SECOND), CantSay)
    assert isinstance(sheet(History(HorseFacts("B"), ()), FIRST, VET, grammar, FIRST), CantSay)


def test_a_visit_of_nothing_is_an_empty_sheet(grammar: Grammar) -> None:
    empty = made(History(HorseFacts("B"), (DayVisit(FIRST, ()),)), grammar)
    assert empty.empty
    assert all(part.quiet for part in empty.feet)
    assert not made(told(grammar, SAID), grammar).empty


LIMB = st.sampled_from(["LF", "RF", "LH", "RH", None])
TEXT = st.text(max_size=20)
NUMBER = st.floats(allow_nan=True, allow_infinity=True)
ENTRIES = st.one_of(
    st.builds(
        Finding,
        limb=LIMB,
        zone=st.sampled_from(["heel", "frog", "toe", "hock", None]),
        side=st.sampled_from(["medial", "lateral", None]),
        term=st.sampled_from(["bruise", "puncture", "clear", "wear", None]),
        below_hairline_mm=st.one_of(st.none(), NUMBER),
        extent_mm=st.one_of(st.none(), NUMBER),
    ),
    st.builds(
        Measurement,
        limb=LIMB,
        quantity=st.sampled_from(["toe_length", "hoof_angle", "weight", "heart_girth"]),
        value=st.one_of(st.none(), NUMBER),
        unit=st.sampled_from(["mm", "cm", "in", "deg", "kg", None]),
    ),
    st.builds(
        Nails,
        limb=LIMB,
        action=st.sampled_from(["driven", "pulled", "lost"]),
        count=st.one_of(st.none(), st.integers(-3, 999)),
    ),
    st.builds(Work, limb=LIMB, action=st.sampled_from(["trimmed", "new_shoe", "barefoot"])),
    st.builds(Shoe, limb=LIMB, item=st.sampled_from(["clips", "pads", "size"]), detail=TEXT),
    st.builds(Remark, limb=LIMB, text=TEXT),
)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.lists(st.tuples(ENTRIES, st.booleans(), st.booleans()), max_size=8), max_size=3),
    st.sampled_from(Audience),
    st.booleans(),
)
def test_no_log_makes_it_fail(
    visits: list[list[tuple[Entry, bool, bool]]], audience: Audience, doubtful: bool
) -> None:
    days = tuple(
        DayVisit(
            day,
            tuple(Noted(e, unsure, status="confirmed" if ok else "heard") for e, unsure, ok in one),
        )
        for day, one in zip((FIRST, SECOND, THIRD), visits, strict=False)
    )
    history = History(HorseFacts("B"), days)
    if history.last is None:
        return
    found = sheet(history, history.last.on, audience, load(), THIRD, doubtful, None, True)
    assert isinstance(found, Sheet)
    shown = [i for part in found.feet for i in (*part.found, *part.done, *part.fitted)]
    assert doubtful or all(item.confirmed for item in shown)


def test_what_was_denied_is_named_as_looked_for_and_in_no_list_of_findings(grammar: Grammar):
    denied = [
        Finding(limb="LH", term=term, zone=zone, denied=True)
        for term, zone in (("puncture", "frog"), ("laminitis", None), ("lameness", None))
    ]
    graded = Finding(limb="LH", term="lameness", scale_grade=ScaleGrade("lameness", 0))
    notes = tuple(Noted(entry) for entry in (*denied, graded))
    history = History(HorseFacts("Bramble"), (DayVisit(FIRST, notes),))
    for audience in (OWNER, VET):
        sheet = made(history, grammar, audience)
        part = foot(sheet, "LH")
        assert part.found == ()
        assert part.marks == ()
        assert [item.text for item in part.absent] == [
            *("no puncture in the frog", "no laminitis", "not lame", "lameness grade 0")
        ]
        assert not part.quiet
        assert sheet.cautions == ()
        assert dict(sheet.summary)["Found"] == ("no finding was noted",)
        for text in (page(sheet), "\n".join(pdf_text(sheet))):
            assert "Looked for, not there" in text
            assert "no puncture in the frog" in text


def pdf_text(sheet: Sheet) -> list[str]:
    from io import BytesIO

    from pypdf import PdfReader

    from handsfree.sheets.pdf import write_pdf

    return [each.extract_text() for each in PdfReader(BytesIO(write_pdf(sheet))).pages]


def test_a_close_nail_is_no_order_to_who_reads_the_sheet(grammar: Grammar):
    history = told(grammar, ["left hind nail bind", "right fore canker"])
    first, second = made(history, grammar).cautions
    assert first.orders.startswith("A nail was close: watch for heat or lameness")
    assert second.orders.startswith("Stop. Call the vet.")


def test_what_the_owner_is_told_and_asked_is_on_the_sheet(grammar: Grammar):
    notes = (
        Noted(Plan(limb="LH", action="tell_owner", text="keep that foot dry")),
        Noted(Plan(limb="LF", action="xray")),
        Noted(Plan(action="watch", text="the crack")),
    )
    sheet = made(History(HorseFacts("Bramble"), (DayVisit(FIRST, notes),)), grammar)
    assert [line.split(" (said")[0] for line in sheet.watch] == [
        "left hind: tell the owner: keep that foot dry",
        "left fore: x-ray",
        "watch: the crack",
    ]
