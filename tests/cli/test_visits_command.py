"""`handsfree visits`: a visit whose horse was not known is named later."""

from datetime import date
from pathlib import Path
from typing import Any

import pytest

from handsfree.log import Log, UtteranceRow


def said(run: Any, *lines: str) -> Any:
    done = run("transcribe", "--engine", "text", "--json", "-", stdin="\n".join(lines) + "\n")
    assert done.code == 0, done.err
    return done.objects


def id_of(run: Any, name: str) -> str:
    """The beginning of the id of the visit that is listed with this name."""
    rows = run("visits", COLUMNS="160").out.splitlines()
    return str(next(row.split()[1] for row in rows if name in row))


def test_a_visit_of_an_unknown_horse_is_shown_as_such_and_named_later(run: Any) -> None:
    run("horses", "add", "Rosie")
    *_, last = said(run, "horse rosie", "left hind bruise", "horse duke", "left hind canker")
    assert (last["horse"], last["horse_said"], last["doubt"]) == (None, "duke", None)
    table = " ".join(run("visits", COLUMNS="160").out.split())
    assert "(not named, heard 'duke')" in table
    visit = id_of(run, "duke")
    shown = " ".join(run("show", visit).out.split())
    assert shown.startswith("horse not named, heard 'duke', 20")
    named = run("visits", "name", visit, "Duke")
    assert (named.code, named.out) == (0, f"visit {visit} is Duke's; Duke is new in the log\n")
    assert "canker" in run("show", visit).out
    assert "Duke" in run("show", visit).out
    again = run("visits", "name", visit, "rosie")
    assert again.out == f"visit {visit} is Rosie's (was Duke's)\n"


def test_a_new_name_that_is_nearly_one_of_the_log_is_said(run: Any) -> None:
    run("horses", "add", "Rosie")
    said(run, "horse duke", "left hind canker")
    visit = id_of(run, "duke")
    assert "did you mean Rosie?" in run("visits", "name", visit, "Rosy").out


def test_what_cannot_be_named_is_one_line(run: Any) -> None:
    said(run, "left hind canker")
    none = run("visits", "name", "ffffffff", "Duke")
    assert (none.code, none.err.count("\n")) == (5, 1)
    assert "has no visit ffffffff" in none.err


EVENING = "2026-05-01T00:10:00.000+00:00"
"""Ten past eight of the evening of April 30th in New York."""


def an_evening(path: Path, zone: str | None) -> str:
    """A visit to Rosie; returns its id."""
    with Log.open(path) as log:
        rosie = log.add_horse("Rosie")
        visit = log.start_visit("typed", rosie.id, started_at=EVENING, zone=zone)
        bruise = {"kind": "finding", "limb": "LH", "zone": "heel", "term": "bruise"}
        row = UtteranceRow(heard="left hind heel bruise", status="recorded", recorded_at=EVENING)
        log.append(visit.id, row, [bruise], confirmed=True)
    return visit.id


@pytest.mark.parametrize(
    ("zone", "place"), [(None, "America/New_York"), ("-04:00", "UTC"), ("-04:00", "Asia/Tokyo")]
)
def test_a_visit_is_of_the_day_where_it_was_wherever_it_is_shown(
    run: Any, tmp_path: Path, zone: str | None, place: str
) -> None:
    visit = an_evening(tmp_path / "log.db", zone)
    assert "2026-04-30 20:10" in run("visits", TZ=place).out
    shown = [
        run("show", visit, TZ=place).out,
        run("review", "--plain", visit, stdin="", TZ=place).out,
        run("find", "bruise", TZ=place).out,
        run("horses", TZ=place).out,
        run("sheet", visit, "--to", tmp_path / "sheet.html", TZ=place).err
        + (tmp_path / "sheet.html").read_text(),
        run("export", "--csv", TZ=place).out,
    ]
    for text in shown:
        assert "2026-04-30" in text or "30 April 2026" in text, text
        assert "2026-05-01" not in text


def test_a_visit_keeps_how_far_its_clock_was_from_utc(run: Any, tmp_path: Path) -> None:
    done = run(
        *("transcribe", "--engine", "text", "-"), stdin="left hind bruise\n", TZ="Asia/Kathmandu"
    )
    assert done.code == 0
    with Log.open(tmp_path / "log.db") as log:
        [visit] = log.visits()
    assert visit.zone == "+05:45"


def test_the_visits_of_a_day_are_those_of_the_day_where_each_was(tmp_path: Path) -> None:
    an_evening(tmp_path / "log.db", "-04:00")
    with Log.open(tmp_path / "log.db") as log:
        assert len(log.visits_on(date(2026, 4, 30))) == 1
        assert log.visits_on(date(2026, 5, 1)) == []
