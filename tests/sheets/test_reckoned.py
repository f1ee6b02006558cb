"""What is reckoned on a sheet: only of what is confirmed, only for the vet, with its source."""

import html
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from io import BytesIO
from pathlib import Path

import pytest

from handsfree.dialogue.session import Session
from handsfree.grammar import Grammar, load
from handsfree.grammar.words import plain_words
from handsfree.log import Log, UtteranceRow
from handsfree.records.entries import to_json
from handsfree.sheets.content import Audience, Sheet, sheet
from handsfree.sheets.content_reckoned import BALANCE, DATED, MARKS, RECKONED
from handsfree.sheets.listeners import listeners
from handsfree.sheets.page import page
from handsfree.sheets.pdf import write_pdf
from handsfree.sums.history import DayVisit, History, HorseFacts, Noted

pypdf = pytest.importorskip("pypdf")

FIRST, SECOND = date(2026, 6, 1), date(2026, 7, 13)
OWNER, VET = Audience.OWNER, Audience.VET

FEET = [
    "left fore hoof angle fifty degrees",
    "heel length inside forty millimeters",
    "heel length outside thirty four millimeters",
    "right fore hoof angle fifty six degrees",
]
MARK = "left fore outside quarter bruise twenty millimeters below the hairline"


@pytest.fixture(scope="module")
def grammar() -> Grammar:
    return load()


def told(grammar: Grammar, *visits: Sequence[str]) -> History:
    """Confirmed notes of what was said at each visit; "~" before it: not confirmed."""
    days = []
    for day, said in zip((FIRST, SECOND), visits, strict=False):
        session, notes = Session(), []
        for text in said:
            outcome = session.take(grammar.read(plain_words(text.lstrip("~"))), 1.0, 0.0, 1.0)
            assert outcome is not None
            assert outcome.entries, text
            status = "heard" if text.startswith("~") else "confirmed"
            notes += [Noted(entry, status=status, by="review") for entry in outcome.entries]
        days.append(DayVisit(day, tuple(notes)))
    return History(HorseFacts("Bramble", "riding", born=date(2015, 1, 1)), tuple(days))


def made(
    history: History,
    grammar: Grammar,
    audience: Audience = VET,
    doubtful: bool = False,
    unit: str | None = None,
) -> Sheet:
    day = history.visits[-1].on
    found = sheet(history, day, audience, grammar, day, doubtful, unit)
    assert isinstance(found, Sheet)
    return found


def printed(of: Sheet) -> str:
    """The text of the PDF in one line."""
    pages = pypdf.PdfReader(BytesIO(write_pdf(of))).pages
    return " ".join(" ".join(each.extract_text() for each in pages).split())


def test_left_against_right_and_each_foot_with_whose_limit(grammar: Grammar) -> None:
    rows = {row.text: row.against for row in made(told(grammar, FEET), grammar).balance}
    angles = "LF and RF hoof angle (dorsal wall) right steeper by 6°: 50° and 56°"
    (against,) = [rows[text] for text in rows if text.startswith(angles)]
    assert against == "beyond: more than 5° is called mismatched (Turner 1992, from memory)"
    heels = "LF heel length, medial against lateral: medial longer by 6 mm: 40 mm and 34 mm"
    (against,) = [rows[text] for text in rows if text.startswith(heels)]
    assert "(Turner 1992, from memory)" in against
    # What the anatomy texts say is no guideline, and of one foot no difference.
    assert not any("anatomy texts" in text for text in (*rows, *rows.values()))


def test_only_measures_of_the_day_that_are_confirmed(grammar: Grammar) -> None:
    assert made(told(grammar, FEET, ["left fore trimmed"]), grammar).balance == ()
    unsure = [*FEET[:3], f"~{FEET[3]}"]
    for doubtful in (False, True):
        found = made(told(grammar, unsure), grammar, doubtful=doubtful)
        assert not any("LF and RF" in row.text for row in found.balance)
        assert any("medial against lateral" in row.text for row in found.balance)


def test_lengths_in_the_unit_asked_for(grammar: Grammar) -> None:
    found = made(told(grammar, FEET), grammar, unit="cm")
    assert any("by 0.6 cm: 4 cm and 3.4 cm" in row.text for row in found.balance)


def test_a_mark_has_its_days_and_the_growth_they_rest_on(grammar: Grammar) -> None:
    (mark,) = made(told(grammar, [MARK]), grammar).mark_dates
    assert mark.text.startswith("LF lateral quarter bruise, 20 mm below the hairline on 2026-06-01")
    # 20 mm at 2.1 mm a week are 67 days.
    assert mark.details[0].startswith("at the hairline about 2026-03-26")
    assert "at the outside" in mark.details[1]
    assert any("Kolstrung 2012" in line for line in mark.details)
    assert any(line.startswith("at the ground about") for line in mark.details)


def test_a_mark_stays_until_it_is_grown_out(grammar: Grammar) -> None:
    later = told(grammar, [MARK], ["left fore trimmed"])
    assert len(made(later, grammar).mark_dates) == 1
    years = replace(later, visits=(later.visits[0], replace(later.visits[1], on=date(2029, 1, 1))))
    assert made(years, grammar).mark_dates == ()
    assert made(told(grammar, [f"~{MARK}"]), grammar, doubtful=True).mark_dates == ()


def test_it_is_named_as_reckoned_and_only_for_the_vet(grammar: Grammar) -> None:
    history = told(grammar, [*FEET, MARK])
    vet, owner = made(history, grammar), made(history, grammar, OWNER)
    for text in (html.unescape(" ".join(page(vet).split())), printed(vet)):
        for words in (BALANCE, RECKONED, MARKS, DATED, "more than 5° is called mismatched"):
            assert words in text, words
    for text in (page(owner), printed(owner)):
        assert BALANCE not in text
        assert MARKS not in text


@pytest.mark.parametrize("audience", Audience)
def test_a_nail_that_nobody_spoke_of_is_a_caution(grammar: Grammar, audience: Audience) -> None:
    shod = ["left hind new shoe", "drove eight nails"]
    found = made(
        told(grammar, shod, ["left hind shoe pulled", "pulled seven nails"]), grammar, audience
    )
    (caution,) = found.cautions
    assert (caution.limb, caution.noted) == ("LH", "1 of 8 nails not accounted for")
    assert caution.source == "common practice, no source"
    for text in (page(found), printed(found)):
        assert "1 of 8 nails not accounted for" in text
    all_there = ["left hind shoe pulled", "pulled seven nails", "one nail lost"]
    assert made(told(grammar, shod, all_there), grammar, audience).cautions == ()


def test_a_nail_in_a_note_that_is_left_out_is_not_missed(grammar: Grammar) -> None:
    shod = ["left hind new shoe", "drove eight nails"]
    pulled = ["left hind shoe pulled", "pulled seven nails", "~one nail lost"]
    assert made(told(grammar, shod, pulled), grammar).cautions == ()


def test_a_change_names_its_day_where_the_last_measure_was_of_another_stage(
    grammar: Grammar,
) -> None:
    days = [
        ["left fore toe length ninety millimeters", "trimmed", "toe length eighty millimeters"],
        ["left fore trimmed", "toe length eighty one millimeters"],
        ["left fore toe length ninety two millimeters", "trimmed", "toe length eighty millimeters"],
    ]
    history = told(grammar, *days[:2])
    third = DayVisit(date(2026, 8, 24), told(grammar, days[2]).visits[0].notes)
    found = made(replace(history, visits=(*history.visits, third)), grammar)
    (row,) = next(part for part in found.feet if part.limb == "LF").measures
    assert row.change == "2 mm more before the trim (since 2026-06-01), 1 mm less after the trim"


def test_what_is_to_watch_is_told_apart_from_what_is_planned(grammar: Grammar) -> None:
    said = ["left hind watch this foot", "left fore next time bar shoe", "right hind call the vet"]
    owner = made(told(grammar, said), grammar, OWNER)
    assert set(owner.watch) == {
        "left hind: watch this foot (said 1 June 2026)",
        "right hind: call the vet (said 1 June 2026)",
    }
    assert owner.plans == ("left fore next time: bar shoe (said 1 June 2026)",)
    assert "To watch" in dict(owner.summary)
    for text in (page(owner), printed(owner)):
        assert text.index("To watch") < text.index("Still planned")
        assert "Left hind: watch this foot" in text


def test_what_of_the_shoe_is_not_drawn_is_said_under_the_drawing(grammar: Grammar) -> None:
    found = made(told(grammar, ["left hind new shoe", "drove eight nails"]), grammar)
    for text in (" ".join(page(found).split()), printed(found)):
        assert "Solar view; 8 nails, sides not said, not drawn" in text


def test_inches_stand_the_same_in_the_table_and_beside_what_was_heard(grammar: Grammar) -> None:
    said = "left fore toe length four and eleven sixteenths inches"
    found = made(told(grammar, [said, "right fore toe length three point two inches"]), grammar)
    noted = [line for each in found.heard for line in each.noted]
    assert noted == ["toe length (dorsal wall) 4 11/16 in", "toe length (dorsal wall) 3.2 in"]


def test_the_vet_reads_who_heard_it(grammar: Grammar, tmp_path: Path) -> None:
    with Log.open(tmp_path / "log.db") as log:
        visit = log.start_visit("live", log.add_horse("Bramble").id).id
        ids: list[str] = []
        for words, engines in (
            ("left hind outside heel bruise", ("pocketsphinx", "neural")),
            ("mild thrush in the frog", ("text",)),
            ("toe length ninety millimeters", ()),
        ):
            outcome = Session().take(grammar.read(words.split()), 1.0)
            assert outcome is not None
            entries = outcome.entries
            row = UtteranceRow(heard=words, status="recorded", engines=engines)
            ids += log.append(visit, row, [to_json(entry) for entry in entries]).entry_ids
        found = listeners(log, [visit])
    assert [found[id] for id in ids] == ["heard by neural and pocketsphinx", "typed", ""]
    bruise = told(grammar, ["left hind outside heel bruise"]).visits[0].notes[0]
    history = History(HorseFacts("B"), (DayVisit(FIRST, (replace(bruise, id="a"),)),))
    shown = sheet(history, FIRST, VET, grammar, FIRST, listeners={"a": "heard by neural"})
    assert isinstance(shown, Sheet)
    assert shown.heard[0].sureness.startswith("heard by neural; confirmed")
    assert "heard by neural" in page(shown)
