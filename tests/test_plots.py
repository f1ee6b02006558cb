"""Pictures of a measure: in the terminal and as SVG."""

import math
import subprocess
import sys
import xml.etree.ElementTree as ET
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree import plots
from handsfree.grammar.grammar import load
from handsfree.plots.picture import description, trend
from handsfree.records.entries import Entry, Measurement, Work
from handsfree.sums.change import measure_tracks
from handsfree.sums.history import DayVisit, History, HorseFacts, Noted
from handsfree.sums.wording import ForEye

START = date(2026, 1, 5)
WORDS = ForEye(load())
SVG = "{http://www.w3.org/2000/svg}"


def toe(value: float, limb: str | None = "LH", unit: str = "mm", **more: str) -> Measurement:
    return Measurement(limb=limb, quantity="toe_length", value=value, unit=unit, **more)


def pictured(*visits: list[Entry], horse: str = "Bramble") -> plots.Picture:
    days = tuple(
        DayVisit(START + timedelta(weeks=6 * at), tuple(Noted(entry) for entry in entries))
        for at, entries in enumerate(visits)
    )
    return plots.picture(horse, measure_tracks(History(HorseFacts(horse), days)))


def trimmed(before: float, after: float, limb: str = "LH") -> list[Entry]:
    return [toe(before, limb), Work(limb=limb, action="trimmed"), toe(after, limb)]


def texts(svg: str) -> list[str]:
    return ["".join(each.itertext()) for each in ET.fromstring(svg).iter(f"{SVG}text")]


def test_the_terminal_shows_four_feet_on_a_screen_without_colour():
    visits = [
        [e for limb in ("LF", "RF", "LH", "RH") for e in trimmed(88 + n, 80 + n, limb)]
        for n in range(4)
    ]
    drawn = plots.terminal(pictured(*visits), WORDS).splitlines()
    assert len(drawn) <= 24
    assert max(map(len, drawn)) <= 80
    assert not any("\x1b" in line for line in drawn)
    assert drawn[0] == "Bramble: toe length (mm)"
    whole = "\n".join(drawn)
    assert [limb in whole for limb in ("LF", "RF", "LH", "RH")] == [True] * 4
    assert drawn[-1] == "o before the trim   # after the trim   . trend"
    inside = "\n".join(drawn[1:-1])
    assert inside.count("o") == inside.count("#") == 16


def test_a_higher_number_stands_higher_and_a_later_one_further_right():
    drawn = plots.terminal(pictured([toe(80)], [toe(90)]), WORDS).splitlines()[1:-1]
    (low, high) = sorted(
        ((row, line.index("+")) for row, line in enumerate(drawn) if "+" in line), reverse=True
    )
    assert low[0] > high[0]
    assert low[1] < high[1]


def test_the_feet_are_on_one_axis():
    drawn = plots.terminal(pictured([toe(80, "LF"), toe(120, "RF")]), WORDS).splitlines()
    ticks = [
        part.split("┤")[0].strip() for line in drawn for part in line.split("│") if "┤" in part
    ]
    left, right = ticks[::2], ticks[1::2]
    assert left
    assert left == right


def test_a_foot_that_was_not_measured_is_said():
    shown = pictured([toe(80, "LF"), toe(81, "LH")])
    assert "RF: not measured" in plots.terminal(shown, WORDS)
    assert texts(plots.svg(shown, WORDS)).count("not measured") == 2


def test_one_foot_alone_has_the_whole_width():
    shown = pictured([toe(80)], [toe(82)])
    assert shown.panels == [("LH", None)]
    assert "not measured" not in plots.terminal(shown, WORDS)


def test_sides_and_the_horse_have_panels_of_their_own():
    sides = pictured([toe(80, side="medial"), toe(82, side="lateral")])
    assert sides.panels == [("LH", "lateral"), ("LH", "medial")]
    assert "LH, inside" in plots.terminal(sides, WORDS)
    assert "LH, inside" in texts(plots.svg(sides, WORDS))
    assert pictured([toe(80, None)]).panels == [(None, None)]


def test_all_is_drawn_in_the_unit_last_said():
    shown = pictured([toe(82.55)], [toe(3.25, unit="in")])
    assert [shown.value(p) for p in shown.points] == pytest.approx([3.25, 3.25])
    assert "Bramble: toe length (in)" in plots.svg(shown, WORDS)


def test_the_trend_goes_through_the_middle_and_has_the_slope_of_the_unit_shown():
    shown = pictured(*[[toe(3.0 + n / 4, unit="in")] for n in range(3)])
    (track,) = shown.tracks
    line = trend(shown, track)
    assert line is not None
    assert line.slope == pytest.approx(0.25 / 42)
    assert line.at(line.day, line.slope) == pytest.approx(3.25)
    assert line.at((START + timedelta(weeks=12)).toordinal(), line.slope) == pytest.approx(3.5)


def test_svg_is_the_same_every_time_and_says_what_it_shows():
    shown = pictured(*[trimmed(88 + n, 80 + n) for n in range(4)])
    svg = plots.svg(shown, WORDS)
    assert svg == plots.svg(shown, WORDS)
    root = ET.fromstring(svg)
    assert root.get("role") == "img"
    (title,) = root.findall(f"{SVG}title")
    (desc,) = root.findall(f"{SVG}desc")
    assert title.text == "Bramble: toe length (mm)"
    assert desc.text is not None
    for told in description(shown, WORDS):
        assert told in desc.text
    assert "2026-01-05 88 mm" in desc.text
    assert "date" not in {child.tag.rpartition("}")[2] for child in root.iter()}
    assert {"before the trim", "after the trim", "LH", "mm"} <= set(texts(svg))


def test_the_interval_of_few_points_is_not_called_95_percent():
    few = plots.svg(pictured(*[[toe(80 + n)] for n in range(3)]), WORDS)
    many = plots.svg(pictured(*[[toe(80 + n)] for n in range(6)]), WORDS)
    assert any("67 to 95 % interval" in text for text in texts(few))
    assert any("95 % interval" in text and "67" not in text for text in texts(many))


@pytest.mark.parametrize(
    "horse",
    [
        "Bess & <script>alert(1)</script>",
        "$\\frac{1}{2}$ $x",
        "]]> --> &amp;",
        "Zoë 馬 🐴",
        "bell\x07 null\x00 escape\x1b[31m",
        "half \ud83d",
        "%s {0}",
    ],
)
@pytest.mark.filterwarnings("error")
def test_any_name_is_text_and_nothing_else(horse: str):
    shown = pictured([toe(80)], [toe(82)], horse=horse)
    svg = plots.svg(shown, WORDS)
    root = ET.fromstring(svg.encode())
    assert root.find(f".//{SVG}script") is None
    title = root.find(f"{SVG}title")
    assert title is not None
    assert title.text == f"{shown.horse}: toe length (mm)"
    assert f"{shown.horse}: toe length (mm)" in texts(svg)
    drawn = plots.terminal(shown, WORDS)
    assert "\x1b" not in drawn
    assert "\x00" not in drawn


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from(["LF", "RF", "LH", "RH"]), st.floats(0.1, 5000)),
        min_size=1,
        max_size=12,
    )
)
def test_any_numbers_can_be_drawn(points: list[tuple[str, float]]):
    shown = pictured(*[[toe(value, limb)] for limb, value in points])
    drawn = plots.terminal(shown, WORDS).splitlines()
    assert len(drawn) <= 24
    assert max(map(len, drawn)) <= 80
    low, high = shown.span
    assert low < high
    assert all(low <= shown.value(p) <= high and math.isfinite(low) for p in shown.points)


def test_a_picture_is_of_one_quantity():
    with pytest.raises(ValueError, match="one quantity"):
        plots.picture("Bramble", [])


def test_the_libraries_are_loaded_only_when_something_is_drawn():
    script = (
        "import sys, handsfree.plots\n"
        "print([m for m in ('matplotlib', 'plotext', 'scipy', 'numpy') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
