"""The printed sheet: opened, read and measured by other libraries (pypdf, pypdfium2)."""

import io
import re
from datetime import UTC, date, datetime
from functools import cache
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.dialogue.session import Session
from handsfree.grammar import Grammar, load
from handsfree.grammar.words import plain_words
from handsfree.records.entries import Entry, Finding, Measurement, Remark
from handsfree.sheets.content import Audience, Sheet, sheet
from handsfree.sheets.pdf import write_pdf
from handsfree.sums.history import DayVisit, History, HorseFacts, Noted

pypdf = pytest.importorskip("pypdf")
pdfium = pytest.importorskip("pypdfium2")

DAY = date(2025, 1, 10)
BEFORE = date(2024, 11, 29)
SAID = [
    "left front toe length three and a quarter inches",
    "trimmed",
    "toe length three inches",
    "hoof angle fifty degrees",
    "new shoe size two and drove eight nails",
    "left hind outside heel bruise",
    "severe thrush in the frog",
    "pulled seven nails",
    "right fore lameness grade four",
    "come back in six weeks",
]


@cache
def loaded() -> Grammar:
    return load()


@pytest.fixture(scope="module")
def grammar() -> Grammar:
    return loaded()


def spoken(grammar: Grammar, *said: str) -> list[Entry]:
    session = Session()
    entries: list[Entry] = []
    for text in said:
        outcome = session.take(grammar.read(plain_words(text)), 1.0, 0.0, 1.0)
        assert outcome is not None
        assert outcome.status != "unclear", text
        entries += outcome.entries
    return entries


def made(
    grammar: Grammar,
    entries: list[Entry],
    audience: Audience = Audience.OWNER,
    name: str = "Bramble",
    **more: Any,
) -> Sheet:
    earlier = tuple(Noted(e) for e in spoken(grammar, *SAID[:4]))
    visits = (DayVisit(BEFORE, earlier), DayVisit(DAY, tuple(Noted(e) for e in entries)))
    found = sheet(History(HorseFacts(name), visits), DAY, audience, grammar, DAY, **more)
    assert isinstance(found, Sheet)
    return found


def text_of(data: bytes) -> str:
    """All text, in one line."""
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


@pytest.mark.parametrize("audience", list(Audience))
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_every_measure_and_finding_can_be_read_in_it(
    grammar: Grammar, audience: Audience, paper: str
) -> None:
    whole = made(grammar, spoken(grammar, *SAID), audience)
    data = write_pdf(whole, paper)
    text = text_of(data)
    told = [row.before for foot in whole.feet for row in foot.measures]
    told += [row.after for foot in whole.feet for row in foot.measures]
    assert {"3 1/4 in", "3 in", "50°"} <= set(told)
    for each in filter(None, told):
        assert each in text
    items = [item for foot in whole.feet for item in (*foot.found, *foot.done, *foot.fitted)]
    assert len(items) == 8
    for item in items:
        assert item.text.casefold() in text.casefold()
    assert "not a veterinary examination" in text
    outside = "outside" if audience is Audience.OWNER else "lateral"
    assert f"{outside} heel bruise" in text.casefold()
    next_visit = "21 February 2025" if audience is Audience.OWNER else "2025-02-21"
    assert f"Next visit: {next_visit}" in text


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_size_of_the_pages_and_their_numbers(
    grammar: Grammar, paper: str, size: tuple[int, int]
) -> None:
    data = write_pdf(made(grammar, spoken(grammar, *SAID)), paper)
    opened = pdfium.PdfDocument(data)
    assert 1 <= len(opened) <= 3
    for number in range(len(opened)):
        page = opened[number]
        assert (round(page.get_width()), round(page.get_height())) == size
        text = page.get_textpage().get_text_bounded()
        assert f"page {number + 1} of {len(opened)}" in text
        assert "Bramble" in text.replace("\n", " ")


def test_title_language_and_words_for_every_picture(grammar: Grammar) -> None:
    whole = made(grammar, spoken(grammar, *SAID))
    read = pypdf.PdfReader(io.BytesIO(write_pdf(whole)))
    assert read.metadata.title == "Bramble: visit of 10 January 2025, farrier's notes for the owner"
    assert read.trailer["/Root"]["/Lang"] == "en"
    figures = [o for o in told_figures(read)]
    drawn = [foot for foot in whole.feet if foot.drawn]
    assert len(figures) == sum(1 + max(1, len(foot.sides)) for foot in drawn) + len(whole.trends)
    (bruise,) = [each for each in figures if "Left hind foot, from below" in each]
    assert "bruise" in bruise
    assert "heel" in bruise
    outline = [each["/Title"] for each in flat(read.outline)]
    assert {"In short", "Left fore", "What comes next"} <= set(outline)


def told_figures(read: Any) -> list[str]:
    kids = read.trailer["/Root"]["/StructTreeRoot"]["/K"][0].get_object()["/K"]
    elements = [kid.get_object() for kid in kids]
    figures = [each for each in elements if each.get("/S") == "/Figure" and "/Alt" in each]
    return [str(each["/Alt"]) for each in figures]


def flat(outline: Any) -> list[Any]:
    return [e for each in outline for e in (flat(each) if isinstance(each, list) else [each])]


def test_a_trend_has_its_plot_with_its_numbers_in_words(grammar: Grammar) -> None:
    visits = tuple(
        DayVisit(date(2024, month, 3), (Noted(Measurement(limb="LF", quantity="toe_length",
                                                          value=80.0 + month, unit="mm")),))
        for month in (1, 3, 5)
    )  # fmt: skip
    history = History(HorseFacts("Bramble"), visits)
    whole = sheet(history, visits[-1].on, Audience.VET, grammar, DAY)
    assert isinstance(whole, Sheet)
    told = told_figures(pypdf.PdfReader(io.BytesIO(write_pdf(whole))))
    (plot,) = [each for each in told if "over the visits" in each]
    assert all(f"{value} mm" in plot for value in (81, 83, 85))


def test_the_same_sheet_gives_the_same_bytes(grammar: Grammar) -> None:
    whole = made(grammar, spoken(grammar, *SAID), name="Żółw שלום")
    assert write_pdf(whole) == write_pdf(whole)
    at = datetime(2025, 1, 11, 7, 30, tzinfo=UTC)
    read = pypdf.PdfReader(io.BytesIO(write_pdf(whole, made=at)))
    assert read.metadata.creation_date == at


def test_another_paper_is_refused(grammar: Grammar) -> None:
    with pytest.raises(ValueError, match="no paper"):
        write_pdf(made(grammar, []), "a0")


@pytest.mark.parametrize("audience", list(Audience))
def test_a_visit_of_which_nothing_was_noted(grammar: Grammar, audience: Audience) -> None:
    data = write_pdf(made(grammar, [], audience))
    assert len(pdfium.PdfDocument(data)) == 1
    text = text_of(data)
    assert "nothing was noted" in text
    assert "page 1 of 1" in text


def test_forty_findings_on_one_foot(grammar: Grammar) -> None:
    terms = ("bruise", "corn", "crack", "separation")
    places: list[Any] = [(z, s) for z in ("heel", "quarter", "toe", "bar", "sole")
                         for s in ("medial", "lateral")]  # fmt: skip
    entries: list[Entry] = [
        Finding(limb="LH", zone=zone, side=side, term=term, grade="mild")
        for term in terms
        for zone, side in places
    ]
    whole = made(grammar, entries, Audience.VET)
    data = write_pdf(whole)
    text = text_of(data)
    (foot,) = [foot for foot in whole.feet if foot.limb == "LH"]
    assert len(foot.found) == 40
    for item in foot.found:
        assert text.casefold().count(item.text.casefold()) >= 1
    assert nothing_off_the_page(data)


def nothing_off_the_page(data: bytes) -> bool:
    """Whether every letter lies within the margins of its page."""
    for page in pdfium.PdfDocument(data):
        width, height = page.get_size()
        letters = page.get_textpage()
        for at in range(letters.count_chars()):
            left, bottom, right, top = letters.get_charbox(at)
            if right > left and not (left > 20 and right < width - 30 and bottom > 15
                                     and top < height - 15):  # fmt: skip
                return False
    return True


def test_a_long_word_and_a_long_remark_stay_on_the_page(grammar: Grammar) -> None:
    said = [Remark(limb="LH", text="hoof " * 3000), Remark(text="x" * 900)]
    name = "Wolfeschlegelsteinhausen" * 12
    data = write_pdf(made(grammar, list(said), name=name, with_remarks=True))
    text = text_of(data)
    assert text.count("hoof") >= 3000
    assert text.count("x") >= 900
    assert nothing_off_the_page(data)


@pytest.mark.parametrize(
    "name",
    [
        "Żółw Éclair",
        "Ωραία Жемчуг",
        "<b>&amp;\"'</b>",
        "**bold** __under__ --gone--",
        "{nb} $x^2$ %s \\n",
        "(a) Tj ET",
    ],
)
def test_names_are_printed_as_they_are(grammar: Grammar, name: str) -> None:
    data = write_pdf(made(grammar, spoken(grammar, *SAID), name=name))
    assert name in text_of(data)
    read = pypdf.PdfReader(io.BytesIO(data))
    assert read.metadata.title.startswith(f"{name}: visit")


def test_a_name_from_right_to_left_is_set_so(grammar: Grammar) -> None:
    data = write_pdf(made(grammar, [], name="שלום"))
    page = pdfium.PdfDocument(data)[0].get_textpage()
    boxes = [(page.get_charbox(at)[0], page.get_text_range(at, 1)) for at in range(4)]
    from_the_left = "".join(letter for _, letter in sorted(boxes))
    assert from_the_left == "םולש"


def test_what_the_letters_lack_is_said(grammar: Grammar) -> None:
    text = text_of(write_pdf(made(grammar, [], name="漢字 Bramble")))
    assert "?? Bramble" in text
    assert "U+5B57, U+6F22" in text
    assert "want of letters" not in text_of(write_pdf(made(grammar, [])))


@settings(max_examples=15, deadline=None)
@given(st.text(min_size=1, max_size=40), st.text(max_size=60))
def test_no_name_and_no_remark_breaks_it(name: str, remark: str) -> None:
    whole = made(loaded(), [Remark(limb="LF", text=remark)], name=name, with_remarks=True)
    text = text_of(write_pdf(whole))
    assert "not a veterinary examination" in text
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f]", text)


def test_what_is_not_confirmed_is_named_so(grammar: Grammar) -> None:
    bruise = Finding(limb="LH", zone="heel", side="lateral", term="bruise")
    notes = (Noted(bruise, status="heard", confidence=0.97, heard="outside heel bruise"),)
    history = History(HorseFacts("Bramble"), (DayVisit(DAY, notes),))
    without = sheet(history, DAY, Audience.VET, grammar, DAY)
    assert isinstance(without, Sheet)
    text = text_of(write_pdf(without))
    assert "bruise" not in text
    assert "1 note of this visit is not confirmed" in text
    assert "1 note is not confirmed yet and is left out." in text
    shown = sheet(history, DAY, Audience.VET, grammar, DAY, include_doubtful=True)
    assert isinstance(shown, Sheet)
    text = text_of(write_pdf(shown))
    assert "Lateral heel bruise (not confirmed)" in text
    assert "outside heel bruise" in text
    assert "confidence 0.97" in text
