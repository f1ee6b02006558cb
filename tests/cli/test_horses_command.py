"""`handsfree horses`: what is known of each, and what is refused in one line."""

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from handsfree.log import Log

TODAY = date.today()
TOMORROW = TODAY + timedelta(days=1)


def log_of(tmp_path: Path) -> Path:
    """The log that `run` uses."""
    return tmp_path / "log.db"


def test_a_horse_with_all_its_facts(run: Any, tmp_path: Path) -> None:
    done = run(
        *("horses", "add", "Bramble", "--kind", "heavy"),
        *("--breed", "  Belgian   draft ", "--born", "2015"),
    )
    assert (done.code, done.err) == (0, "")
    assert done.out == "Bramble is in the log (heavy, Belgian draft, born 2015)\n"
    with Log.open(log_of(tmp_path)) as log:
        [horse] = log.horses()
    assert (horse.kind, horse.breed, horse.born) == ("heavy", "Belgian draft", "2015")


def test_the_facts_are_optional_and_can_be_given_later(run: Any) -> None:
    assert run("horses", "add", "Bess").out == "Bess is in the log\n"
    assert run("horses", "add", "bess", "--born", "2019-02-28").out == (
        "Bess is in the log (born 2019-02-28)\n"
    )
    assert run("horses", "add", "BESS", "--breed", "cob", "--kind", "riding").out == (
        "Bess is in the log (riding, cob, born 2019-02-28)\n"
    )
    assert run("horses", "add", "Bess", "--breed", " ").out == (
        "Bess is in the log (riding, cob, born 2019-02-28)\n"
    )


@pytest.mark.parametrize("born", ["1950", str(TODAY.year), TODAY.isoformat()])
def test_first_and_last_that_are_taken(run: Any, born: str) -> None:
    done = run("horses", "add", "Bess", "--born", born)
    assert (done.code, done.out) == (0, f"Bess is in the log (born {born})\n")


@pytest.mark.parametrize(
    ("born", "why"),
    [
        ("1949", "is not between 1950 and"),
        ("1949-12-31", "is not between 1950 and"),
        (str(TODAY.year + 1), "is not between 1950 and"),
        (TOMORROW.isoformat(), "is still to come" if TOMORROW.year == TODAY.year else "between"),
        ("2023-02-29", "is no day of the calendar"),
        ("2023-13-01", "is no day of the calendar"),
        ("0000", "is not between 1950 and"),
        ("20150412", "is neither a year"),
        ("2015-4-12", "is neither a year"),
        ("2015-W15-7", "is neither a year"),
        ("15", "is neither a year"),
        ("-2015", "is neither a year"),
        ("\u0662\u0660\u0661\u0665", "is neither a year"),
        ("about nine", "is neither a year"),
        ("", "is neither a year"),
        ("2015\n2016", "is neither a year"),
        ("\x1b[2J", "is neither a year"),
    ],
)
def test_no_birth_is_one_clear_line_and_nothing_is_kept(
    run: Any, tmp_path: Path, born: str, why: str
) -> None:
    done = run("horses", "add", "Bess", "--born", born)
    assert (done.code, done.out) == (1, "")
    assert len(done.err.splitlines()) == 1
    assert done.err.startswith("handsfree: Invalid value for '--born'")
    assert why in done.err
    assert "\x1b" not in done.err
    assert not log_of(tmp_path).exists()


def test_a_kind_that_is_none_is_refused(run: Any) -> None:
    done = run("horses", "add", "Bess", "--kind", "pony")
    assert (done.code, done.out) == (1, "")
    assert "'pony' is not one of 'heavy', 'riding'" in done.err


def test_the_list_has_breed_birth_and_visits(run: Any, tmp_path: Path) -> None:
    Log.open(log_of(tmp_path)).close()
    assert "no horses yet" in run("horses").out
    with Log.open(log_of(tmp_path)) as log:
        bess = log.add_horse("bess", "heavy", "coldblood", "2015")
        log.add_horse("Ada")
        for month in (3, 5, 4):
            log.start_visit("typed", bess.id, started_at=f"2026-0{month}-05T12:00:00.000+00:00")
    header, ada, second = (
        [cell.strip() for cell in line.strip("┃│").replace("┃", "│").split("│")]
        for line in run("horses").out.splitlines()
        if "│" in line or "┃" in line
    )
    assert header == ["horse", "kind", "breed", "born", "visits", "last visit"]
    assert ada == ["Ada", "", "", "", "0", ""]
    assert second == ["bess", "heavy", "coldblood", "2015", "3", "2026-05-05"]


def test_the_list_fits_a_narrow_screen_and_drives_no_terminal(run: Any) -> None:
    run("horses", "add", "Ev\x1b[2Jil", "--breed", "dra\x1b[31mft " * 12, "--born", "2015-04-12")
    out = run("horses", COLUMNS="80").out
    assert "\x1b" not in out
    assert max(map(len, out.splitlines())) <= 80


def test_the_list_as_json(run: Any, tmp_path: Path) -> None:
    assert run("horses", "--json").out == ""
    run("horses", "add", "Ada")
    with Log.open(log_of(tmp_path)) as log:
        bess = log.add_horse("bess", "riding", "arab", "2017-04-12")
        log.start_visit("typed", bess.id, started_at="2026-05-05T12:00:00.000+00:00")
    assert run("horses", "--json").objects == [
        {
            **{"name": "Ada", "kind": None, "breed": None, "born": None},
            **{"visits": 0, "last_visit": None},
        },
        {
            **{"name": "bess", "kind": "riding", "breed": "arab", "born": "2017-04-12"},
            **{"visits": 1, "last_visit": "2026-05-05"},
        },
    ]


def test_the_last_visit_is_of_the_day_by_the_clock_of_this_place(run: Any, tmp_path: Path) -> None:
    with Log.open(log_of(tmp_path)) as log:
        late = "2026-05-05T20:00:00.000+00:00"
        log.start_visit("typed", log.add_horse("bess").id, started_at=late)
    assert run("horses", "--json", TZ="Pacific/Auckland").objects[0]["last_visit"] == "2026-05-06"
    assert run("horses", "--json", TZ="UTC").objects[0]["last_visit"] == "2026-05-05"
