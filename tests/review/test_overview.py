"""What the review counts nails from: the earlier visits, as the live session counts them."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from handsfree.grammar import Grammar
from handsfree.histories import history
from handsfree.log import Log, UtteranceRow
from handsfree.log.rows import Horse, Visit
from handsfree.records.entries import Entry, Nails, Work, to_json
from handsfree.review.overview import nail_questions
from handsfree.sums.nailed import in_shoes

PULLED = (Work(limb="LH", action="shoe_pulled"), Nails(limb="LH", action="pulled", count=7))
SHOD = (Work(limb="LH", action="new_shoe"), Nails(limb="LH", action="driven", count=8))


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with Log.open(tmp_path / "log.db") as opened:
        yield opened


def visit(log: Log, horse: Horse | None, at: str, *said: Entry, **heard: Any) -> Visit:
    begun = log.start_visit("typed", horse.id if horse else None, started_at=at)
    row = UtteranceRow(heard="x", status="recorded", **heard)
    log.append(begun.id, row, [to_json(entry) for entry in said])
    return begun


def asked(log: Log, of: Visit, grammar: Grammar) -> list[str]:
    return nail_questions(log, log.visit(of.id), PULLED, grammar)


def test_nails_of_the_visit_before_are_to_be_accounted_for(log: Log, grammar: Grammar) -> None:
    duke = log.add_horse("Duke")
    visit(log, duke, "2026-01-05T10:00:00.000+00:00", *SHOD)
    now = visit(log, duke, "2026-03-02T10:00:00.000+00:00", *PULLED)
    assert asked(log, now, grammar) == ["left hind: one of eight nails is not accounted for"]


def test_a_later_visit_of_the_day_does_not_count(log: Log, grammar: Grammar) -> None:
    duke = log.add_horse("Duke")
    now = visit(log, duke, "2026-03-02T10:00:00.000+00:00", *PULLED)
    visit(log, duke, "2026-03-02T11:00:00.000+00:00", *SHOD)
    assert asked(log, now, grammar) == []


def test_a_doubtful_number_of_the_visit_before_does_not_count(log: Log, grammar: Grammar) -> None:
    duke = log.add_horse("Duke")
    before = visit(log, duke, "2026-01-05T10:00:00.000+00:00", *SHOD, confidence=0.5, doubt="x")
    now = visit(log, duke, "2026-03-02T10:00:00.000+00:00", *PULLED)
    assert in_shoes(history(log, duke, but=now.id)) == {}
    assert asked(log, now, grammar) == []
    log.confirm([entry.id for entry in log.entries(before.id)], "me")
    assert asked(log, now, grammar) == ["left hind: one of eight nails is not accounted for"]


def test_a_visit_to_no_named_horse_has_none_before(log: Log, grammar: Grammar) -> None:
    visit(log, None, "2026-01-05T10:00:00.000+00:00", *SHOD)
    assert asked(log, visit(log, None, "2026-03-02T10:00:00.000+00:00"), grammar) == []
