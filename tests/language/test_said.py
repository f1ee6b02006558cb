"""What farriers say, in the words of nobody who made the reader's tables, one table a theme."""

import pytest

from .rows import Said, problem, read, read_row, rows

ROWS = rows()
LEAST_SURE = 0.9
"""Of what is read rightly so much is read surely."""


def _marked(said: Said):
    reason = said.row.get("expected_fail")
    marks = [pytest.mark.xfail(reason=reason, strict=True)] if reason else []
    return pytest.param(said, marks=marks, id=f"{said.theme}-{said.text}")


@pytest.mark.parametrize("said", [_marked(said) for said in ROWS])
def test_it_is_read_as_a_careful_note_taker_would(said: Said) -> None:
    assert problem(said) is None


def test_there_is_a_table_for_each_theme_and_nothing_is_there_twice() -> None:
    themes = """limbs places negation numbers nails work shoes plans alarms talk repairs
        commands""".split()
    assert sorted({said.theme for said in ROWS}) == sorted(themes)
    texts = [(said.text, tuple(said.row.get("after", ()))) for said in ROWS]
    assert len(set(texts)) == len(texts) >= 120


def test_most_of_it_is_read_surely() -> None:
    right = [s for s in ROWS if s.row.get("says") and "expected_fail" not in s.row]
    doubtful = [s.text for s in right if not read_row(s).sure]
    assert len(doubtful) <= (1 - LEAST_SURE) * len(right), doubtful


def test_every_alarm_is_understood() -> None:
    for said in ROWS:
        if said.row.get("alarm"):
            wanted = {entry["term"] for entry in said.wanted}
            assert wanted <= {entry.get("term") for entry in read_row(said).entries}, said.text


def test_the_foot_stays_in_force_from_row_to_row() -> None:
    (entry,) = read("mild thrush in the frog", ["over to the near hind now"]).entries
    assert entry["limb"] == "LH"
