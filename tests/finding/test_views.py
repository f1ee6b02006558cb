"""The views for general SQLite tools, opened with nothing but the plain sqlite3 module."""

import sqlite3
from pathlib import Path

import pytest

from handsfree.log import Log

SAID = (
    "old bruise outside toe two and a half inches below the hairline",
    "lameness grade three",
    "toe length three and a half inches",
    "hoof angle fifty two degrees",
    "weight eighteen hundred pounds",
    "pulled seven nails",
    "shoe pulled",
    "size seven",
    "come back in six weeks",
    "remark mind the dog",
)


@pytest.fixture
def read(log: Log, say, visit, path: Path):
    id = visit("Thistle", "2026-05-14")
    for words in SAID:
        say(id, words, "LH", sound=b"fLaC")
    say(id, "mild thrush in the frog", "LF", confidence=0.5)
    log.add_horse("Lantern", "riding", "arab", "2017")
    log.close()
    conn = sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)
    conn.row_factory = sqlite3.Row

    def call(sql: str) -> list[dict[str, object]]:
        return [dict(row) for row in conn.execute(sql)]

    yield call
    conn.close()


def test_each_view_opens_and_has_plain_rows(read):
    counts = {
        name: len(read(f"SELECT * FROM {name}"))
        for name in (
            *("horses_and_visits", "everything_said", "findings", "measurements", "nails"),
            *("work_and_shoes", "plans", "remarks", "sounds_kept"),
        )
    }
    assert counts == {
        **{"horses_and_visits": 2, "everything_said": 11, "findings": 3, "measurements": 3},
        **{"nails": 1, "work_and_shoes": 2, "plans": 1, "remarks": 1, "sounds_kept": 10},
    }


def test_what_the_views_say(read):
    [bruise, lame, thrush] = read("SELECT * FROM findings")
    assert (bruise["day"], bruise["horse"], bruise["limb"]) == ("2026-05-14", "Thistle", "LH")
    assert (bruise["finding"], bruise["place"], bruise["side"]) == ("bruise", "toe", "lateral")
    assert (bruise["mm_below_hairline"], bruise["status"]) == (63.5, "heard")
    assert (lame["scale"], lame["scale_value"]) == ("lameness", 3)
    assert thrush["status"] == "doubtful"
    toe, angle, weight = read("SELECT * FROM measurements")
    assert (toe["value"], toe["unit"], toe["mm"]) == (3.5, "in", 88.9)
    assert (angle["degrees"], angle["mm"]) == (52, None)
    assert weight["kg"] == 816.47  # 1 lb = 0.45359237 kg exactly
    [nails] = read("SELECT * FROM nails")
    assert (nails["action"], nails["count"]) == ("pulled", 7)
    work, size = read("SELECT * FROM work_and_shoes")
    assert (work["work"], size["shoe"], size["detail"]) == ("shoe_pulled", "size", "7")
    [plan] = read("SELECT * FROM plans")
    assert (plan["plan"], plan["weeks"]) == ("return", 6)
    assert read("SELECT text FROM remarks") == [{"text": "mind the dog"}]
    assert read("SELECT bytes FROM sounds_kept LIMIT 1") == [{"bytes": 4}]
    assert read("SELECT horse FROM horses_and_visits WHERE visit IS NULL") == [{"horse": "Lantern"}]


def test_nobody_writes_read_only(read):
    with pytest.raises(sqlite3.OperationalError, match="readonly"):
        read("DELETE FROM findable")
