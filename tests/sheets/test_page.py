"""The page: valid, accessible, self-contained, escaped, and with the log's numbers in it.

Checked by other programs: html5lib's strict parser; axe-core in Chromium where both are there.
The checks named "own" are ours.
"""

import html
import json
import re
import shutil
import subprocess
from collections.abc import Iterator
from datetime import date, timedelta
from importlib.util import find_spec
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree import histories, years
from handsfree.dialogue.session import Session
from handsfree.grammar import Grammar, load
from handsfree.grammar.words import plain_words
from handsfree.log import Log
from handsfree.records.entries import Finding, Measurement, Nails, Remark
from handsfree.sheets.content import Audience, Sheet, sheet
from handsfree.sheets.content_words import exact
from handsfree.sheets.drawing_svg import clean
from handsfree.sheets.files import printable
from handsfree.sheets.page import page
from handsfree.sums.history import DayVisit, History, HorseFacts, Noted, typed

html5lib = pytest.importorskip("html5lib")

DAY = date(2026, 6, 1)
SVG = "{http://www.w3.org/2000/svg}"
HTML = "{http://www.w3.org/1999/xhtml}"


@pytest.fixture(scope="module")
def grammar() -> Grammar:
    return load()


@pytest.fixture(scope="module")
def two_years(tmp_path_factory: pytest.TempPathFactory) -> list[History]:
    """The invented years of two horses, as the log gives them back, all confirmed."""
    path = tmp_path_factory.mktemp("page") / "years.db"
    with Log.open(path) as log:
        years.tell(log)
        for visit in log.visits():
            ids = [e.id for e in log.entries(visit.id, True) if e.status != "confirmed"]
            if ids:
                log.confirm(ids, by="review")
        return list(histories.histories(log))


def told(grammar: Grammar, *said: str, name: str = "Bramble") -> History:
    """Three visits of the same words, so that there are plots."""
    days = []
    for weeks in (0, 6, 12):
        session, notes = Session(), []
        for text in said:
            outcome = session.take(grammar.read(plain_words(text)), 1.0, 0.0, 1.0)
            assert outcome is not None
            assert outcome.status != "unclear", text
            notes += [Noted(e, confidence=0.9, heard=text, by="review") for e in outcome.entries]
        days.append(DayVisit(DAY + timedelta(weeks=weeks), tuple(notes)))
    return History(HorseFacts(name, "riding"), tuple(days))


def made(history: History, grammar: Grammar, audience: Audience, doubtful: bool = False) -> str:
    assert history.last is not None
    day = history.last.on
    found = sheet(history, day, audience, grammar, day, doubtful, None, True)
    assert isinstance(found, Sheet)
    return page(found)


SAID = (
    "left hind outside heel bruise twenty five millimeters below the hairline",
    "severe thrush in the frog",
    "puncture in the frog",
    "toe length ninety millimeters",
    "trimmed",
    "toe length eighty millimeters",
    "new shoe",
    "drove four nails outside",
    "drove three nails inside",
    "watch this foot",
    "heart girth one hundred and ninety centimeters",
    "body condition five",
    "come back in six weeks",
)


def parsed(text: str) -> Any:
    """The tree; the strict parser raises for anything that is not valid."""
    return html5lib.HTMLParser(strict=True).parse(text)


def texts(node: Any) -> str:
    return " ".join(" ".join(node.itertext()).split())


@pytest.mark.parametrize("audience", Audience)
def test_it_is_valid_html(grammar: Grammar, audience: Audience) -> None:
    tree = parsed(made(told(grammar, *SAID), grammar, audience))
    assert tree.get("lang") == "en"
    ids = [node.get("id") for node in tree.iter() if node.get("id")]
    assert len(ids) == len(set(ids))
    for node in tree.iter():
        for each in (node.get("aria-labelledby") or "").split():
            assert each in ids


@pytest.mark.parametrize("audience", Audience)
def test_it_needs_nothing_else(grammar: Grammar, audience: Audience) -> None:
    text = made(told(grammar, *SAID), grammar, audience)
    tree = parsed(text)
    tags = {node.tag for node in tree.iter() if isinstance(node.tag, str)}
    assert not tags & {f"{HTML}{name}" for name in ("script", "link", "img", "iframe", "object")}
    for node in tree.iter():
        for name, value in node.attrib.items():
            bare = name.rpartition("}")[2]
            assert not bare.startswith("on")
            assert bare not in ("src", "style")
            assert bare != "href" or value.startswith("#")
    assert "url(" not in text
    assert "@import" not in text


@pytest.mark.parametrize("audience", Audience)
def test_own_checks_of_accessibility(grammar: Grammar, audience: Audience) -> None:
    tree = parsed(made(told(grammar, *SAID), grammar, audience))
    drawings = list(tree.iter(f"{SVG}svg"))
    assert len(drawings) >= 4
    for drawing in drawings:
        assert drawing.get("role") == "img"
        assert texts(drawing.find(f"{SVG}title"))
        assert texts(drawing.find(f"{SVG}desc"))
    levels = [int(n.tag[-1]) for n in tree.iter() if re.fullmatch(f"{HTML}h[1-6]", str(n.tag))]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    for cell in tree.iter(f"{HTML}th"):
        assert cell.get("scope") in ("col", "row", "rowgroup")
    assert all(texts(node) for node in tree.iter(f"{HTML}summary"))


def luminance(color: str) -> float:
    """Relative luminance (WCAG 2)."""
    digits = color.lstrip("#")
    digits = "".join(c * 2 for c in digits) if len(digits) == 3 else digits
    parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def test_own_check_of_contrast(grammar: Grammar) -> None:
    css = re.search("<style>(.*?)</style>", made(told(grammar, *SAID), grammar, Audience.VET), re.S)
    assert css is not None
    colors = re.findall(r"(?<![-\w])color: (#\w+)", css[1])
    assert len(colors) >= 3
    for color in colors:  # all on white; WCAG 2 asks 7 : 1 of its highest level
        assert 1.05 / (luminance(color) + 0.05) >= 7, color


CHROMIUM = shutil.which("chromium") or shutil.which("google-chrome")


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium")
@pytest.mark.skipif(find_spec("axe_core_python") is None, reason="no axe-core")
@pytest.mark.parametrize("audience", Audience)
@pytest.mark.parametrize("width", [360, 1000])
def test_axe_finds_no_fault(
    grammar: Grammar, tmp_path: Path, audience: Audience, width: int
) -> None:
    spec = find_spec("axe_core_python")
    assert spec is not None
    assert spec.submodule_search_locations is not None
    axe = (Path(spec.submodule_search_locations[0]) / "axe.min.js").read_text(encoding="utf-8")
    run = (
        "axe.run(document).then(r => { const p = document.createElement('pre'); p.id = 'out';"
        "p.textContent = JSON.stringify([r.passes.length, r.violations.map(v => v.id)]);"
        "document.body.append(p) })"
    )
    text = re.sub("<meta http-equiv[^>]*>", "", made(told(grammar, *SAID), grammar, audience))
    text = text.replace("</body>", f"<script>{axe}</script><script>{run}</script></body>")
    (tmp_path / "page.html").write_text(text, encoding="utf-8")
    options = ["--headless", "--no-sandbox", "--disable-gpu", "--virtual-time-budget=20000"]
    done = subprocess.run(
        [
            str(CHROMIUM),
            *options,
            f"--user-data-dir={tmp_path / 'profile'}",
            f"--window-size={width},1200",
            "--dump-dom",
            (tmp_path / "page.html").as_uri(),
        ],
        capture_output=True,
        text=True,
        timeout=120,
    )
    found = re.search('<pre id="out">(.*?)</pre>', done.stdout, re.S)
    assert found, done.stderr[-2000:]
    passed, violations = json.loads(html.unescape(found[1]))
    assert passed > 20
    assert violations == []


HOSTILE = st.one_of(
    st.text(min_size=1, max_size=30),
    st.sampled_from(
        [
            "<script>alert(1)</script>",
            '"><img src=x onerror=alert(1)>',
            "</style></svg></title><b>",
            "{{ 7 * 7 }}{% raw %}",
            "&amp;&lt;",
            "שלום\u202e\u2067x",
            "a\x00b\x1b[31m\ud800",
        ]
    ),
)


@settings(max_examples=30, deadline=None)
@given(HOSTILE, HOSTILE, HOSTILE, st.sampled_from(Audience))
def test_whatever_is_in_the_log_is_only_text(
    name: str, remark: str, heard: str, audience: Audience
) -> None:
    notes = (
        Noted(Remark(limb="LH", text=remark), heard=heard),
        Noted(Finding(limb="LH", term="bruise", zone=remark), heard=heard),
    )
    history = History(HorseFacts(name, breed=remark), (DayVisit(DAY, notes),))
    tree = parsed(made(history, load(), audience))
    (bdi,) = tree.find(f".//{HTML}h1").iter(f"{HTML}bdi")
    assert texts(bdi) == " ".join(clean(printable(name)).split())
    for tag in ("script", "img", "b"):
        assert tree.find(f".//{HTML}{tag}") is None
    assert len(list(tree.iter(f"{HTML}style"))) == 1


def numbers_of(visit: DayVisit) -> Iterator[tuple[str | None, str]]:
    """What the log has of numbers that day, as they are to be read: (limb, text)."""
    for entry in visit.entries:
        match entry:
            case Measurement():
                value = typed(entry)
                assert value is not None
                yield entry.limb, exact(*value)
            case Nails(count=int() as count, action="in_shoe"):
                yield entry.limb, f"nail count {count}"
            case Nails(count=int() as count, action=action):
                yield entry.limb, f"{count} nail{'s' * (count != 1)} {action.replace('_', ' ')}"


@pytest.mark.parametrize("audience", Audience)
def test_every_number_of_two_years_is_read_back(
    grammar: Grammar, two_years: list[History], audience: Audience
) -> None:
    assert {history.horse.name for history in two_years} == {"juniper", "lantern"}
    compared = 0
    for history in two_years:
        for visit in history.visits[::6]:
            until = history.until(visit.on)
            tree = parsed(made(until, grammar, audience))
            groups: dict[str, str] = {}
            for body in tree.iter(f"{HTML}tbody"):
                head = body.find(f".//{HTML}th[@scope='rowgroup']")
                if head is not None:
                    groups[texts(head)] = texts(body)
            feet = {
                node.get("aria-labelledby")[-2:]: texts(node)
                for node in tree.iter(f"{HTML}section")
                if (node.get("aria-labelledby") or "").startswith("foot-")
            }
            names = {key[-2:]: texts(n) for key, n in _headings(tree).items()}
            whole = texts(tree)
            for limb, text in numbers_of(visit):
                where = feet[limb] + groups.get(names[limb], "") if limb else whole
                assert text in where, (visit.on, limb, text)
                compared += 1
    assert compared > 60


def _headings(tree: Any) -> dict[str, Any]:
    return {
        n.get("id"): n for n in tree.iter(f"{HTML}h3") if (n.get("id") or "").startswith("foot-")
    }


def test_a_visit_of_nothing_is_still_a_page(grammar: Grammar) -> None:
    history = History(HorseFacts("B"), (DayVisit(DAY, ()),))
    text = texts(parsed(made(history, grammar, Audience.OWNER)))
    assert text.count("Nothing was noted of this foot.") == 4
    assert "This is not a veterinary examination" in text


def test_forty_findings_of_one_foot_are_all_there(grammar: Grammar) -> None:
    notes = tuple(
        Noted(Finding(limb="LF", zone="sole", term="bruise", extent_mm=float(n)))
        for n in range(1, 41)
    )
    history = History(HorseFacts("B"), (DayVisit(DAY, notes),))
    tree = parsed(made(history, grammar, Audience.VET))
    shown = [texts(n) for n in tree.iter(f"{HTML}li")]
    assert all(f"{n} sole bruise, {n} mm long" in shown for n in range(1, 41))


def test_the_same_sheet_is_the_same_page(grammar: Grammar) -> None:
    history = told(grammar, *SAID)
    assert made(history, grammar, Audience.OWNER) == made(history, grammar, Audience.OWNER)
