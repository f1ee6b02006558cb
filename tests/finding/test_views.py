"""The views for general SQLite tools, opened with nothing but the plain sqlite3 module."""

import json
import sqlite3
from pathlib import Path

import pytest
from sqlite_utils import Database

from handsfree.log import Log, UtteranceRow, schema
from handsfree.records.entries import Finding, Measurement, to_json

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


def test_what_is_not_there_and_heights_in_hands(log: Log, visit, path: Path):
    id = visit("Pumpkin", "2026-05-14")
    entries = (
        Finding(limb="LF", term="thrush", denied=True),
        Finding(limb="LF", term="corn"),
        Measurement(quantity="height", value=16.1, unit="hands"),
        Measurement(quantity="height", value=16.5, unit="hands"),
        Measurement(limb="LF", quantity="toe_length", value=85, unit="mm", unit_inferred=True),
    )
    row = UtteranceRow(heard="all", status="recorded", confidence=0.97)
    log.append(id, row, [to_json(entry) for entry in entries])
    log.close()
    conn = sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)
    assert conn.execute("SELECT finding, not_there FROM findings").fetchall() == [
        *(("thrush", 1), ("corn", 0))
    ]
    assert conn.execute("SELECT value, unit, mm, unit_inferred FROM measurements").fetchall() == [
        *((16.1, "hands", 1651.0, 0), (16.5, "hands", None, 0), (85, "mm", 85.0, 1))
    ]
    assert conn.execute("SELECT sum(denied), sum(unit_inferred) FROM entries_now").fetchone() == (
        *(1, 1),
    )
    conn.close()


HANDS = next(n for n, sql in enumerate(schema.MIGRATIONS) if "'hands'" in sql)
"""The migration that brought heights in hands into the index."""


def test_a_log_that_had_hands_before_has_them_in_its_index(tmp_path: Path):
    old = Database(tmp_path / "old.db")
    schema.migrate(old, schema.MIGRATIONS[:HANDS])
    old.execute(
        "INSERT INTO visits (id, started_at, source) VALUES ('v', '2026-01-01T00:00:00+00:00', 'x')"
    )
    for at, value in enumerate((16.1, 16.5)):
        old.execute(
            """INSERT INTO utterances (id, visit_id, seq, recorded_at, heard, status, engines,
                alternatives) VALUES (?, 'v', ?, 't', 'x', 'recorded', '[]', '[]')""",
            [f"u{at}", at + 1],
        )
        body = to_json(Measurement(quantity="height", value=value, unit="hands"))
        old.execute(
            "INSERT INTO entries (id, utterance_id, seq, kind, body, created_at, origin) VALUES "
            "(?, ?, 1, 'measurement', ?, 't', 'heard')",
            [f"e{at}", f"u{at}", json.dumps(body)],
        )
    sql = "SELECT amount FROM findable WHERE entry IS NOT NULL ORDER BY entry"
    assert old.execute(sql).fetchall() == [(None,), (None,)]
    schema.migrate(old)
    assert old.execute(sql).fetchall() == [(pytest.approx(1651.0),), (None,)]
    old.close()
