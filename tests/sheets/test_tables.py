"""The log as CSV and JSON, read back and compared with it."""

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import fields
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.log import Log, NoticeRow, UtteranceRow
from handsfree.records.entries import (
    KINDS,
    Entry,
    Finding,
    Measurement,
    Nails,
    Plan,
    Remark,
    ScaleGrade,
    Work,
    to_json,
)
from handsfree.sheets import tables

ODD = 'O\'Neil "=1+1", שלום\r\nzwei'


def row_of(heard: str, **more: Any) -> UtteranceRow:
    return UtteranceRow(heard=heard, status="recorded", confidence=more.pop("sure", 1.0), **more)


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    """Two horses, three visits, and one visit to a horse that nobody named."""
    with Log.open(tmp_path / "log.db") as made:
        bramble = made.add_horse("Bramble", "heavy", "=HYPERLINK(1)", "2015").id
        odd = made.add_horse(ODD).id
        for day, horse in (
            ("2026-03-02", bramble),
            ("2026-01-05", bramble),
            ("2026-02-01", odd),
            ("2026-02-03", None),
        ):
            at = datetime.fromisoformat(f"{day}T12:00:00").astimezone(UTC).isoformat()
            visit = made.start_visit("typed", horse, started_at=at).id
            entries: list[Entry] = [
                Finding(limb="LH", zone="heel", side="lateral", term="bruise", extent_mm=12.7),
                Measurement(limb="LF", quantity="toe_length", value=-3.25, unit="in"),
                Nails(limb="LF", action="pulled", count=7),
                Finding(scale_grade=ScaleGrade("body_condition", 5.5)),
            ]
            made.append(visit, row_of("left hind outside heel bruise"), map_all(entries))
            made.append(
                visit,
                row_of("come back in six weeks", sure=0.5),
                map_all([Plan(action="return", weeks=6)]),
            )
        first = made.visits(horse="Bramble")[-1].id
        gone = made.append(first, row_of("trimmed"), map_all([Work(limb="LF", action="trimmed")]))
        made.strike(gone.entry_ids, "review")
        made.append(first, row_of("remark"), map_all([Remark(limb="RH", text="=1+1\x1b[31m")]))
        made.notice(first, NoticeRow(kind="caution", code="test", text="call the vet"))
        yield made


def map_all(entries: list[Entry]) -> list[dict[str, Any]]:
    return [to_json(entry) for entry in entries]


def read(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data.decode(), newline="")))


def as_csv(log: Log, **more: Any) -> list[dict[str, str]]:
    return read(b"".join(tables.csv_lines(tables.COLUMNS, tables.rows(log, **more))))


def test_every_key_of_the_contract_has_a_column() -> None:
    keys = {f.name for kind in KINDS.values() for f in fields(kind)} - {"scale_grade"}
    assert keys | {"scale", "scale_value", "kind"} <= set(tables.COLUMNS)
    assert len(set(tables.COLUMNS)) == len(tables.COLUMNS)


def test_the_table_says_what_the_log_says(log: Log) -> None:
    """Each row is compared with the entry of the log it names, key by key."""
    table = as_csv(log)
    entries = {e.id: e for v in log.visits() for e in log.entries(v.id, in_force=True)}
    assert {row["entry"] for row in table} == set(entries)
    assert len(table) == len(entries)
    for row in table:
        entry = entries[row["entry"]]
        body = dict(entry.body)
        grade = body.pop("scale_grade", None)
        for key, value in body.items():
            if key == "text" and value:
                continue
            assert row[key] == ("" if value is None else str(value)), key
        assert row["scale_value"] == (str(grade["value"]) if grade else "")
        assert (row["status"], row["heard"]) == (entry.status, entry.heard)
        assert float(row["confidence"]) == entry.confidence
        assert row["doubtful"] == ("yes" if entry.confidence == 0.5 else "no")


def test_horses_in_their_order_visits_oldest_first_the_unnamed_last(log: Log) -> None:
    days = [(row["horse"], row["visit_day"]) for row in as_csv(log)]
    assert list(dict.fromkeys(days)) == [
        ("Bramble", "2026-01-05"),
        ("Bramble", "2026-03-02"),
        # The log makes one line of a name.
        ('O\'Neil "=1+1", שלום zwei', "2026-02-01"),
        ("", "2026-02-03"),
    ]


def test_one_horse_and_what_was_struck(log: Log) -> None:
    bramble = log.horse("bramble")
    assert {row["horse"] for row in as_csv(log, horse=bramble)} == {"Bramble"}
    struck = [row for row in as_csv(log, every=True) if row["status"] == "struck"]
    assert [(row["kind"], row["action"]) for row in struck] == [("work", "trimmed")]
    assert len(as_csv(log, every=True)) == len(as_csv(log)) + 1


def test_text_is_no_formula_and_a_negative_number_is_a_number(log: Log) -> None:
    table = as_csv(log)
    assert {row["text"] for row in table} == {"", "'=1+1\ufffd[31m"}
    assert {row["value"] for row in table} == {"", "-3.25"}


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_each_beginning_of_a_formula_is_guarded(start: str) -> None:
    assert tables.guarded(f"{start}cmd|' /C calc'!A0") == f"'{start}cmd|' /C calc'!A0"
    assert tables.guarded(f"a{start}") == f"a{start}"
    assert tables.guarded(-1) == -1


@given(st.lists(st.lists(st.one_of(st.text(), st.integers(), st.none()), min_size=2, max_size=2)))
def test_whatever_is_in_the_cells_comes_back(cells: list[list[Any]]) -> None:
    data = b"".join(
        tables.csv_lines(("a", "b"), (dict(zip("ab", row, strict=True)) for row in cells))
    )
    back = list(csv.reader(io.StringIO(data.decode(), newline="")))
    assert back[0] == ["a", "b"]
    assert back[1:] == [
        ["" if cell is None else str(tables.guarded(cell)) for cell in row] for row in cells
    ]
    for cell in (cell for row in back[1:] for cell in row):
        assert cell[:1] not in {"=", "+", "@", "\t", "\r", "\n"}


def test_the_form_is_that_of_rfc_4180(log: Log) -> None:
    pieces = list(tables.csv_lines(("a", "b"), [{"a": 'x"y', "b": "1,2"}], bom=True))
    assert b"".join(pieces) == b'\xef\xbb\xbfa,b\r\n"x""y","1,2"\r\n'


def test_rows_come_one_by_one(log: Log, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []
    real = log.entries
    monkeypatch.setattr(
        log, "entries", lambda visit, in_force: asked.append(visit) or real(visit, in_force)
    )
    next(tables.rows(log))
    assert len(asked) == 1


def test_the_json_has_all_of_the_log(log: Log) -> None:
    whole = json.loads(b"".join(tables.json_pieces(log)))
    assert [horse["name"] for horse in whole["horses"]] == [h.name for h in log.horses()]
    assert whole["horses"][0]["breed"] == "=HYPERLINK(1)"
    visits = [v for horse in whole["horses"] for v in horse["visits"]]
    visits += whole["visits_without_a_horse"]
    assert {v["id"] for v in visits} == {v.id for v in log.visits()}
    for visit in visits:
        entries = log.entries(visit["id"], in_force=True)
        assert [(e["id"], e["body"]) for e in visit["entries"]] == [(e.id, e.body) for e in entries]
        assert [u["heard"] for u in visit["utterances"]] == [
            u.heard for u in log.utterances(visit["id"])
        ]
        assert all(e["marks"] for e in visit["entries"])
    assert [n["text"] for v in visits for n in v["notices"]] == ["call the vet"]


def test_the_json_of_one_horse_and_of_an_empty_log(log: Log, tmp_path: Path) -> None:
    bramble = log.horse("Bramble")
    one = json.loads(b"".join(tables.json_pieces(log, bramble, every=True)))
    assert [h["name"] for h in one["horses"]] == ["Bramble"]
    assert one["visits_without_a_horse"] == []
    marks = [
        [mark["status"] for mark in entry["marks"]]
        for visit in one["horses"][0]["visits"]
        for entry in visit["entries"]
    ]
    assert ["heard", "struck"] in marks
    with Log.open(tmp_path / "none.db") as empty:
        none = json.loads(b"".join(tables.json_pieces(empty)))
        assert (none["horses"], none["visits_without_a_horse"]) == ([], [])
        assert as_csv(empty) == []
