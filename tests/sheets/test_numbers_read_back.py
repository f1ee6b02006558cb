"""The numbers of the demo's years, read back out of HTML, PDF, CSV and calendar.

Each is read by a library that did not write it (html5lib, pypdf, csv, vobject) and compared with
the rows of the log, not with the sheet that was made of them.
"""

import csv
import io
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from handsfree import histories, years
from handsfree.grammar import Grammar, load
from handsfree.grammar.wording import Wording, limb_name
from handsfree.log import Log, Visit
from handsfree.records.units import Quantity, quantity
from handsfree.sheets import calendar, tables
from handsfree.sheets.content import Audience, Sheet, sheet
from handsfree.sheets.page import page
from handsfree.sheets.pdf import write_pdf
from handsfree.sums.history import History
from handsfree.sums.sources import CantSay

pypdf = pytest.importorskip("pypdf")
html5lib = pytest.importorskip("html5lib")
vobject = pytest.importorskip("vobject")

LIMBS = ("LF", "RF", "LH", "RH")
NUMBER = r"(?:\d+ )?\d+/\d+ in|\d+(?:\.\d+)? (?:mm|cm|in|kg|lb)|\d+(?:\.\d+)?°"
ACTIONS = {"pulled": "pulled", "driven": "driven", "left in": "left_in", "lost": "lost"}
SIDES = {"inside": "medial", "outside": "lateral", "medial": "medial", "lateral": "lateral"}
NAILS = rf"(\d+) nails? ({'|'.join(ACTIONS)})(?: ({'|'.join(SIDES)}))?(?! \w+ nails)"
LENGTHS = rf"({NUMBER}) (below the hairline|long)"
VISITS = [("juniper", "last"), ("lantern", "last"), ("juniper", "most"), ("lantern", "most")]

About = tuple[str, str | None]
"""A quantity and a side."""
Measures = dict[About, list[Quantity]]


@dataclass
class Read:
    """What was read of one foot (of the horse): numbers alone."""

    measures: Measures
    nails: Counter[tuple[int, str, str | None]]
    lengths: list[tuple[Quantity, str]]


@dataclass
class Case:
    """One visit of the log, and the history it is part of."""

    history: History
    visit: Visit
    on: date
    rows: list[dict[str, Any]]
    grammar: Grammar
    log: Log

    @property
    def name(self) -> str:
        return self.history.horse.name

    def sheet(self, audience: Audience) -> Sheet:
        made = sheet(self.history, self.on, audience, self.grammar, self.on)
        assert isinstance(made, Sheet)
        return made


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Log]:
    with Log.open(tmp_path_factory.mktemp("years") / "log.db") as told:
        years.tell(told)
        for visit in told.visits():
            told.confirm([entry.id for entry in told.entries(visit.id, in_force=True)], "review")
        yield told


@pytest.fixture(scope="module", params=VISITS, ids=" ".join)
def case(request: pytest.FixtureRequest, log: Log) -> Case:
    name, which = request.param
    bodies = {
        visit.id: [dict(e.body) | {"limb": e.limb} for e in log.entries(visit.id, in_force=True)]
        for visit in log.visits(horse=name)
    }
    visits = log.visits(horse=name)
    chosen = visits[0] if which == "last" else max(visits, key=lambda v: numbers(bodies[v.id]))
    return Case(
        histories.history(log, histories.named(log, name)),
        chosen,
        chosen.day,
        bodies[chosen.id],
        load(),
        log,
    )


def numbers(rows: list[dict[str, Any]]) -> tuple[int, int]:
    """How many lengths of findings, and how many numbers of any kind."""
    keys = ("below_hairline_mm", "extent_mm", "value", "count", "weeks")
    there = [key for row in rows for key in keys if row.get(key) is not None]
    return sum(key in keys[:2] for key in there), len(there)


def said(case: Case, limb: str | None) -> Read:
    """What the log holds of a foot."""
    mine = [row for row in case.rows if row["limb"] == limb]
    found = Read({}, Counter(), [])
    for row in mine:
        match row["kind"]:
            case "measurement":
                about = (row["quantity"], row["side"])
                value = quantity(row["value"], row["unit"])
                found.measures.setdefault(about, []).append(value)
            case "nails":
                found.nails[row["count"], row["action"], row["side"]] += 1
            case "finding":
                for key, words in (("below_hairline_mm", "below the hairline"),
                                   ("extent_mm", "long")):  # fmt: skip
                    if row[key] is not None:
                        found.lengths.append((quantity(row[key], "mm"), words))
    return found


def number(text: str) -> Quantity:
    """ "4 11/16 in", "82.5 mm", "50°"."""
    if text.endswith("°"):
        return quantity(float(text[:-1]), "deg")
    *parts, unit = text.split()
    return quantity(float(sum(Fraction(part) for part in parts)), unit)


def abouts(case: Case) -> dict[str, About]:
    """What an owner calls each measure."""
    wording = Wording(case.grammar)
    ids = {word.id for word in case.grammar.table if word.slot == "quantity"}
    sides = {None: "", "medial": "inside ", "lateral": "outside "}
    return {
        f"{said}{wording.word('quantity', id)}".capitalize(): (id, side)
        for id in ids
        for side, said in sides.items()
    }


def told_in(text: str) -> tuple[Counter[tuple[int, str, str | None]], list[tuple[Quantity, str]]]:
    nails = Counter(
        (int(count), ACTIONS[action], SIDES.get(side))
        for count, action, side in re.findall(NAILS, text)
    )
    return nails, [(number(length), words) for length, words in re.findall(LENGTHS, text)]


def close(found: list[Quantity], wanted: list[Quantity]) -> bool:
    """The same numbers in the same order; a length as exact as it is printed."""
    return len(found) == len(wanted) and all(
        type(a) is type(b) and a.amount == pytest.approx(b.amount, abs=0.01)
        for a, b in zip(found, wanted, strict=True)
    )


def same(found: Read, wanted: Read) -> None:
    assert set(found.measures) == set(wanted.measures)
    for about, values in wanted.measures.items():
        assert close(found.measures[about], values), about
    assert found.nails == wanted.nails
    assert [words for _, words in found.lengths] == [words for _, words in wanted.lengths]
    assert close([v for v, _ in found.lengths], [v for v, _ in wanted.lengths])


def test_there_is_something_to_compare(case: Case, request: pytest.FixtureRequest) -> None:
    wanted = [said(case, limb) for limb in (*LIMBS, None)]
    assert any(each.lengths for each in wanted) or "last" in request.node.name
    assert sum(len(values) for each in wanted for values in each.measures.values()) >= 8
    assert sum(sum(each.nails.values()) for each in wanted) >= 4


# HTML, by html5lib


def tree_of(case: Case, audience: Audience = Audience.OWNER) -> Any:
    parser = html5lib.HTMLParser(tree=html5lib.getTreeBuilder("lxml"), namespaceHTMLElements=False)
    return parser.parse(page(case.sheet(audience)))


def words_of(element: Any) -> str:
    return " ".join("".join(element.itertext()).split())


def section(tree: Any, label: str) -> Any:
    (found,) = tree.xpath(f'//section[@aria-labelledby="{label}"]')
    return found


def table_of(part: Any) -> list[tuple[str, list[Quantity]]]:
    """The rows of measures in a part: the name, and the numbers of this visit."""
    return [
        (
            words_of(row.find("th")),
            [number(n) for cell in row.findall("td")[:-2]
             for n in re.findall(NUMBER, words_of(cell))],
        )
        for row in part.xpath('.//tr[th[@scope="row"]]')
    ]  # fmt: skip


def foot_measures(tree: Any, limb: str) -> list[tuple[str, list[Quantity]]]:
    """The rows of a foot: the group of the table of measures under the foot's name."""
    name = words_of(tree.xpath(f'//*[@id="foot-{limb}"]')[0])
    groups = tree.xpath('//section[@aria-labelledby="measures"]//tbody')
    mine = [group for group in groups if words_of(group.xpath("./tr[1]/th")[0]) == name]
    assert len(mine) <= 1
    return [row for group in mine for row in table_of(group)]


@pytest.mark.parametrize("limb", LIMBS)
def test_html_holds_the_numbers_of_each_foot(case: Case, limb: str) -> None:
    tree = tree_of(case)
    part = section(tree, f"foot-{limb}")
    names = abouts(case)
    nails: Counter[tuple[int, str, str | None]] = Counter()
    lengths: list[tuple[Quantity, str]] = []
    for item in part.xpath(".//li"):
        more, lengths_here = told_in(words_of(item))
        nails += more
        lengths += lengths_here
    measures = {names[name]: values for name, values in foot_measures(tree, limb)}
    same(Read(measures, nails, lengths), said(case, limb))


def test_html_holds_the_numbers_of_the_horse(case: Case) -> None:
    wanted = said(case, None)
    if not wanted.measures:
        pytest.skip("the horse was not measured")
    names = abouts(case)
    found = {names[name]: values for name, values in table_of(section(tree_of(case), "whole"))}
    assert set(found) == set(wanted.measures)
    assert all(close(found[about], wanted.measures[about]) for about in found)


@pytest.mark.parametrize("limb", LIMBS)
def test_html_for_the_vet_holds_the_same_measures(case: Case, limb: str) -> None:
    found = [values for _, values in foot_measures(tree_of(case, Audience.VET), limb)]
    wanted = list(said(case, limb).measures.values())
    assert len(found) == len(wanted)
    assert all(close(a, b) for a, b in zip(found, wanted, strict=True))


def test_html_holds_the_days_and_weeks(case: Case) -> None:
    tree = tree_of(case)
    (when,) = tree.xpath('//h1/*[@class="when"]')
    assert day_of(words_of(when).removeprefix("visit of ")) == case.on
    (facts,) = tree.xpath('//dl[@class="facts"]')
    labels, told = facts.findall("dt"), facts.findall("dd")
    before = dict(zip(map(words_of, labels), map(words_of, told), strict=True))["Visit before"]
    visits = [v.day for v in case.log.visits(horse=case.name)]
    assert day_of(before) == max(day for day in visits if day < case.on)
    due(case, words_of(section(tree, "next")))


# PDF, by pypdf


def pdf_text(case: Case, audience: Audience) -> str:
    read = pypdf.PdfReader(io.BytesIO(write_pdf(case.sheet(audience))))
    lines = [line for each in read.pages for line in each.extract_text().splitlines()]
    kept = [line for line in lines if not re.fullmatch(r"page \d+ of \d+", line.strip())]
    return " ".join(" ".join(kept).split())


def parts_of(text: str, names: list[str]) -> dict[str, str]:
    """The text of each foot and of the horse, by the headings between which it stands."""
    start = text.index("Foot by foot")
    ends = ("The horse as a whole", "Since the time before", "Findings over the visits",
            "Measures over the visits", "What comes next")  # fmt: skip
    places = sorted((text.index(name, start), name) for name in (*names, *ends)
                    if name in text[start:])  # fmt: skip
    stops = [place for place, _ in places[1:]] + [len(text)]
    return {
        name: text[place + len(name) : stop]
        for (place, name), stop in zip(places, stops, strict=True)
    }


def pdf_measures(part: str, names: dict[str, About]) -> Measures:
    """The rows of a part's table: a name, and one cell or two of this visit's numbers."""
    cell = rf"(?:{NUMBER}|–)"
    several = "Before trim After trim" in part
    found: Measures = {}
    for name, about in names.items():
        # "Heel length" also ends "Inside heel length", but has a small letter there.
        match = re.search(rf"\b{name} ({cell})(?: ({cell}))?", part)
        if match:
            texts = match.groups() if several else match.groups()[:1]
            found[about] = [number(text) for text in texts if text and text != "–"]
    return found


@pytest.fixture(scope="module")
def owner_pdf(case: Case) -> str:
    return pdf_text(case, Audience.OWNER)


def test_pdf_holds_the_numbers_of_each_foot(case: Case, owner_pdf: str) -> None:
    feet = {limb: limb_name(case.grammar, limb).capitalize() for limb in LIMBS}
    parts = parts_of(owner_pdf, list(feet.values()))
    for limb, name in feet.items():
        wanted = said(case, limb)
        if name not in parts:
            assert wanted == Read({}, Counter(), [])
            continue
        nails, lengths = told_in(parts[name])
        same(Read(pdf_measures(parts[name], abouts(case)), nails, lengths), wanted)


def test_pdf_holds_the_numbers_of_the_horse(case: Case, owner_pdf: str) -> None:
    wanted = said(case, None).measures
    if not wanted:
        pytest.skip("the horse was not measured")
    found = pdf_measures(parts_of(owner_pdf, [])["The horse as a whole"], abouts(case))
    assert set(found) == set(wanted)
    assert all(close(found[about], wanted[about]) for about in wanted)


def test_pdf_for_the_vet_holds_every_measure_and_nail(case: Case) -> None:
    text = pdf_text(case, Audience.VET)
    parts = parts_of(text, [f"{limb}: {limb_name(case.grammar, limb)}" for limb in LIMBS])
    for heading, part in parts.items():
        if (limb := heading[:2]) not in LIMBS:
            continue
        wanted = said(case, limb)
        there = [number(text) for text in re.findall(NUMBER, part)]
        for values in wanted.measures.values():
            assert all(any(close([value], [each]) for each in there) for value in values)
        assert told_in(part)[0] == wanted.nails


def test_pdf_holds_the_days_and_weeks(case: Case, owner_pdf: str) -> None:
    (on,) = re.findall(r"Visit of (\d+ [A-Z]\w+ \d{4})", owner_pdf)
    assert day_of(on) == case.on
    due(case, parts_of(owner_pdf, [])["What comes next"])


def day_of(text: str) -> date:
    return datetime.strptime(text, "%d %B %Y").date()


def weeks_said(case: Case) -> int:
    weeks = [row["weeks"] for row in case.rows if row["kind"] == "plan" and row["weeks"]]
    if not weeks:
        pytest.skip("no weeks were said")
    return int(weeks[-1])


def due(case: Case, text: str) -> None:
    """The day of the next visit and the weeks it rests on."""
    weeks = weeks_said(case)
    day = re.search(r"Next visit: (\d+ [A-Z]\w+ \d{4})", text)
    assert day is not None
    assert day_of(day[1]) == case.on + timedelta(weeks=weeks)
    told = re.search(r"[Cc]ome back in (\d+) weeks?", text)
    assert told is not None
    assert int(told[1]) == weeks


# CSV, by csv


def test_csv_holds_every_number_of_the_visit(case: Case, tmp_path: Path) -> None:
    horse = histories.named(case.log, case.name)
    data = b"".join(tables.csv_lines(tables.COLUMNS, tables.rows(case.log, horse)))
    file = tmp_path / "all.csv"
    file.write_bytes(data)
    with file.open(encoding="utf-8", newline="") as opened:
        read = [row for row in csv.DictReader(opened) if row["visit"] == case.visit.id]
    assert len(read) == len(case.rows)
    assert {row["visit_day"] for row in read} == {case.on.isoformat()}
    for found, wanted in zip(read, case.rows, strict=True):
        assert (found["kind"], found["limb"] or None) == (wanted["kind"], wanted["limb"])
        for key in ("value", "count", "weeks", "below_hairline_mm", "extent_mm"):
            text, number_said = found[key], wanted.get(key)
            assert (float(text) if text else None) == number_said, key
        assert (found["unit"] or None) == wanted.get("unit")
        grade = wanted.get("scale_grade")
        assert (float(found["scale_value"]) if found["scale_value"] else None) == (
            grade and grade["value"]
        )


# Calendar, by vobject


def test_calendar_holds_the_next_visit(case: Case) -> None:
    weeks = weeks_said(case)
    known = case.history.until(case.on)
    found = calendar.items(known, case.on, case.grammar)
    assert not isinstance(found, CantSay)
    data = calendar.calendar(found, datetime(2026, 1, 1, tzinfo=UTC))
    read = vobject.readOne(data.decode())
    (visit,) = [e for e in read.vevent_list if "visit" in words_in(e.categories.value)]
    assert visit.dtstart.value == case.on + timedelta(weeks=weeks)
    text = visit.description.value
    window = re.search(r"window (\S+) to (\S+), best (\S+); last visit (\S+)", text)
    assert window is not None
    earliest, latest, best, last = (date.fromisoformat(day) for day in window.groups())
    assert (best, last) == (visit.dtstart.value, case.on)
    assert earliest <= best <= latest
    told = re.search(r"[Cc]ome back in (\d+) weeks?", text)
    assert told is not None
    assert int(told[1]) == weeks
    due_days = case.sheet(Audience.OWNER).next_visit
    assert due_days is not None
    assert (due_days.earliest_day, due_days.best_day, due_days.latest_day) == (
        earliest,
        best,
        latest,
    )


def words_in(categories: Any) -> list[str]:
    return [categories] if isinstance(categories, str) else list(categories)
