"""What a new hearing would change, and what never changes by it."""

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from sqlite_utils import Database

from handsfree.histories import history
from handsfree.log import ChangedMeanwhile, Log, schema
from handsfree.log.heard_again import NewHearing
from handsfree.records.entries import Finding, Nails, Remark, from_json, to_json
from handsfree.relisten import job
from handsfree.relisten.compare import Difference, Kind, compare, goes_on, limbs_before
from handsfree.review.desk import Desk
from handsfree.review.items import DOUBTFUL


@pytest.fixture
def heard(log: Log, material: Any) -> Callable[..., Difference]:
    """Writes lines, hears utterance number `at` anew, and compares."""

    def call(lines: list[Any], at: int, now: str, confidence: float = 0.9) -> Difference:
        visit_id = material.write(log, lines, "Duke")
        return at_now(log, material, visit_id, at, now, confidence)

    return call


def at_now(
    log: Log, material: Any, visit_id: str, at: int, now: str, confidence: float = 0.9
) -> Difference:
    held = log.held(visit_id)
    again = material.again(held[at].utterance.id, now, confidence)
    return compare(held, at, again, material.grammar)


def apply(log: Log, material: Any, *found: Difference) -> job.Applied:
    return job.apply(log, material.grammar, found)


def test_the_same_words_or_the_same_meaning_are_the_same(heard: Callable[..., Difference]):
    found = heard(["near hind", "outside heel bruise"], 1, "bruise outside heel", 0.6)
    assert (found.kind, found.applies, found.stays) == (Kind.SAME, False, None)
    assert (found.before.doubtful, found.now.doubtful) == (False, True)
    assert found.surer_by == pytest.approx(-0.35)


def test_what_was_unclear_is_new_and_stands_under_the_limb_in_force(
    heard: Callable[..., Difference], material: Any
):
    unclear = material.line("outside eel brew", 0.1, "sounds like speech", read=False)
    found = heard(["right fore", "trimmed", unclear], 2, "outside heel bruise", 0.5)
    assert (found.kind, found.applies) == (Kind.NEW, True)
    assert found.new == (Finding(limb="RF", zone="heel", side="lateral", term="bruise"),)


@pytest.mark.parametrize(("confidence", "applies"), [(0.95, True), (0.7, False), (0.5, False)])
def test_what_is_different_goes_in_only_where_it_is_surer(
    heard: Callable[..., Difference], material: Any, confidence: float, applies: bool
):
    lines = ["left hind", material.line("pulled seven nails", 0.7)]
    found = heard(lines, 1, "pulled eight nails", confidence)
    assert (found.kind, found.applies) == (Kind.DIFFERENT, applies)
    assert (found.stays is None) == applies


@pytest.mark.parametrize("now", ["stand still will you", ""])
def test_what_is_lost_stays(heard: Callable[..., Difference], now: str):
    found = heard(["left hind", "outside heel bruise"], 1, now)
    assert (found.kind, found.applies) == (Kind.LOST, False)
    assert found.stays == "what was heard first is kept"


def test_unclear_and_still_unclear_or_noise_is_the_same(
    heard: Callable[..., Difference], material: Any
):
    unclear = material.line("good boy", 0.1, read=False)
    assert heard([unclear], 0, "good boy duke").kind is Kind.SAME


def test_limbs_named_together_are_found_again(log: Log, material: Any):
    lines = ["both hinds", "trimmed", "outside heel bruise"]
    held = log.held(material.write(log, lines))
    assert limbs_before(held, 2, material.grammar) == ("LH", "RH")
    held = log.held(material.write(log, ["left hind", "next horse", "trimmed"]))
    assert limbs_before(held, 2, material.grammar) == ()
    found = at_now(log, material, material.write(log, lines), 2, "outside heel bruise")
    assert found.kind is Kind.SAME


def test_another_limb_is_told_and_nothing_is_moved_by_itself(
    heard: Callable[..., Difference], log: Log, material: Any
):
    unclear = material.line("lift hide", 0.1, read=False)
    found = heard(["right fore", unclear, "outside heel bruise"], 1, "left hind", 0.99)
    assert (found.kind, found.limb_after, found.applies) == (Kind.NEW, "LH", False)
    assert apply(log, material, found) == job.Applied(0, 0)


def test_a_correction_is_left_to_a_person(heard: Callable[..., Difference], material: Any):
    unclear = material.line("long inside eel", 0.1, read=False)
    found = heard(["left hind", "outside heel bruise", unclear], 2, "wrong inside heel bruise")
    assert (found.kind, found.applies) == (Kind.NEW, False)
    assert "corrects another" in (found.stays or "")


def test_a_spoken_correction_heard_so_again_is_the_same(heard: Callable[..., Difference]):
    lines = ["left hind", "outside heel bruise", "wrong inside heel bruise"]
    assert heard(lines, 2, "wrong inside heel bruise", 0.9).kind is Kind.SAME


def test_a_remark_of_which_only_the_sound_was_kept_gets_its_words(
    heard: Callable[..., Difference], log: Log, material: Any
):
    found = heard(["remark"], 0, "remark he kicks when the flies are about", 0.85)
    assert (found.kind, found.applies) == (Kind.NEW, True)
    assert apply(log, material, found).changed == 1
    entries = log.entries(found.utterance.visit_id, in_force=True)
    assert [from_json(e.body) for e in entries] == [
        Remark(text="he kicks when the flies are about")
    ]


def test_the_rest_of_a_long_remark_is_known_by_its_time(log: Log, material: Any):
    lines = ["remark he is", material.line("remark sore", gap_s=0.0), "remark and stiff"]
    held = log.held(material.write(log, lines))
    assert [goes_on(held, at) for at in range(3)] == [False, True, False]


def judge(log: Log, visit_id: str, how: str) -> None:
    """A person deals with the last utterance of the visit."""
    last = log.utterances(visit_id)[-1]
    ids = [e.id for e in log.entries(visit_id) if e.utterance_id == last.id]
    match how:
        case "confirmed":
            log.confirm(ids, "review")
        case "corrected":
            body = to_json(Nails(limb="LH", action="pulled", count=6))
            log.correct(last.id, [body], "review", ids)
        case "confirmed by voice":
            log.confirm(ids, "voice")
        case "undone":
            log.strike(ids, "review")
            log.undo(visit_id, "review")
        case "passed":
            log.strike(ids, "review", passes=[last.id])


@pytest.mark.parametrize("how", ["confirmed", "corrected", "confirmed by voice", "undone"])
def test_never_over_what_a_person_has_dealt_with(log: Log, material: Any, how: str):
    lines = ["left hind", material.line("pulled seven nails", 0.5)]
    visit_id = material.write(log, lines)
    before = at_now(log, material, visit_id, 1, "pulled eight nails", 0.99)
    assert before.applies
    judge(log, visit_id, how)
    after = at_now(log, material, visit_id, 1, "pulled eight nails", 0.99)
    assert (after.kind, after.applies) == (Kind.DIFFERENT, False)
    assert after.stays == "you have dealt with it"
    rows = log.entries(visit_id)
    assert apply(log, material, before) == job.Applied(0, 1)  # compared before, judged since
    assert log.entries(visit_id) == rows


def test_what_was_passed_over_stays_so(log: Log, material: Any):
    unclear = material.line("good boy", 0.1, read=False)
    visit_id = material.write(log, ["left hind", unclear])
    judge(log, visit_id, "passed")
    found = at_now(log, material, visit_id, 1, "outside heel bruise", 0.99)
    assert (found.kind, found.applies) == (Kind.NEW, False)
    assert log.stored_sounds(doubtful=True) == []


def test_what_was_taken_back_is_not_even_heard(log: Log, material: Any):
    visit_id = material.write(log, ["left hind", "outside heel bruise", "strike that"])
    places = [at for _, found in job.by_visit(log, log.stored_sounds()) for at in found]
    assert places == [0, 2]
    taken_back = at_now(log, material, visit_id, 1, "inside heel bruise", 0.99)
    assert not taken_back.applies


def test_applied_it_waits_for_the_review_and_the_old_version_is_kept(log: Log, material: Any):
    # Both hearings are sure by themselves; what a machine changed must be looked at all the same.
    lines = ["left hind", material.line("pulled seven nails", 0.9)]
    visit_id = material.write(log, lines, "Duke")
    found = at_now(log, material, visit_id, 1, "pulled eight nails", 0.97)
    old = log.entries(visit_id, in_force=True)[0]
    assert apply(log, material, found) == job.Applied(1, 0)
    (new,) = log.entries(visit_id, in_force=True)
    assert from_json(new.body) == Nails(limb="LH", action="pulled", count=8)
    assert (new.status, new.origin, new.replaces) == ("heard", "heard", old.id)
    assert (new.heard, new.confidence) == ("pulled eight nails", 0.97)
    assert new.doubt is not None
    kept = next(e for e in log.entries(visit_id) if e.id == old.id)
    assert (kept.status, kept.body, kept.heard) == ("corrected", old.body, "pulled seven nails")
    assert [m.by for m in log.history(old.id)] == ["voice", "relisten"]
    horse = log.horse("Duke")
    assert horse is not None
    assert [n.doubtful for v in history(log, horse).visits for n in v.notes] == [True]
    (item,) = [i for i in Desk(log, material.grammar, visit_id).items if i.parts]
    assert (item.state, item.heard, item.confidence) == (DOUBTFUL, "pulled eight nails", 0.97)
    assert item.alternatives[0].words == "pulled seven nails"
    # Heard so once more there is nothing left to do, and undoing gives the old one back.
    assert at_now(log, material, visit_id, 1, "pulled eight nails", 0.97).kind is Kind.SAME
    assert log.undo(visit_id, "relisten") is not None
    (back,) = log.entries(visit_id, in_force=True)
    assert (back.id, back.heard, back.doubt) == (old.id, "pulled seven nails", None)
    assert log.utterances(visit_id)[1].heard == "pulled seven nails"


def test_what_was_new_is_no_longer_unclear(log: Log, material: Any):
    unclear = material.line("outside eel", 0.1, "sounds like speech", read=False)
    visit_id = material.write(log, ["left hind", unclear])
    assert len(log.stored_sounds(doubtful=True)) == 1
    apply(log, material, at_now(log, material, visit_id, 1, "outside heel bruise", 0.9))
    utterance = log.utterances(visit_id)[1]
    assert (utterance.status, utterance.heard) == ("recorded", "outside heel bruise")
    assert len(log.stored_sounds(doubtful=True)) == 1  # doubtful until somebody confirms it
    log.confirm([e.id for e in log.entries(visit_id, in_force=True)], "review")
    assert log.stored_sounds(doubtful=True) == []


def test_it_calls_for_the_cautions_of_what_went_in(log: Log, material: Any):
    unclear = material.line("nail brick", 0.1, read=False)
    visit_id = material.write(log, ["left hind", unclear])
    apply(log, material, at_now(log, material, visit_id, 1, "nail prick", 0.9))
    assert [(n.kind, n.limb) for n in log.notices(visit_id)] == [("caution", "LH")]


def test_the_log_itself_refuses_what_was_changed_meanwhile(log: Log, material: Any):
    visit_id = material.write(log, ["left hind", "pulled seven nails"])
    (entry,) = log.entries(visit_id)
    hearing = NewHearing(heard="pulled eight nails", confidence=0.9, doubt="heard again")
    body = to_json(Nails(limb="LH", action="pulled", count=8))
    with pytest.raises(ChangedMeanwhile):
        log.hear_again(entry.utterance_id, [body], hearing, expects=[])
    assert log.entries(visit_id) == [entry]


def test_the_choice_of_sounds(log: Log, material: Any):
    material.write(log, ["left hind", material.line("pulled seven nails", 0.5)], "Duke")
    material.write(log, [material.line("trimmed", flac=None), "rasped"], "Bella")
    duke = log.horse("Duke")
    assert duke is not None
    assert len(log.stored_sounds()) == 3
    assert len(log.stored_sounds(horse_id=duke.id)) == 2
    assert len(log.stored_sounds(doubtful=True)) == 1
    assert log.stored_sounds(since="2999-01-01T00:00:00.000+00:00") == []


def test_a_log_of_the_version_before_keeps_its_entries_as_they_are(tmp_path: Path):
    at = next(n for n, ddl in enumerate(schema.MIGRATIONS) if "hearing" in ddl)
    path = tmp_path / "old.db"
    db = Database(sqlite3.connect(path))
    schema.migrate(db, schema.MIGRATIONS[:at])
    db.executescript(
        """INSERT INTO visits (id, started_at, source) VALUES ('v', '2026-01-05', 'typed');
        INSERT INTO utterances (id, visit_id, seq, recorded_at, heard, status, confidence, engines,
            alternatives, doubt)
        VALUES ('u', 'v', 1, '2026-01-05', 'trimmed', 'recorded', 0.5, '[]', '[]', 'weak');
        INSERT INTO entries (id, utterance_id, seq, kind, body, created_at, origin)
        VALUES ('e', 'u', 1, 'work', '{"kind": "work", "action": "trimmed"}', '2026', 'heard');
        INSERT INTO marks (entry_id, seq, status, at, "by", change)
        VALUES ('e', 1, 'heard', '2026', 'voice', 'c');"""
    )
    db.close()
    with Log.open(path) as log:
        (entry,) = log.entries("v", in_force=True)
        assert (entry.heard, entry.confidence, entry.doubt) == ("trimmed", 0.5, "weak")
        assert log.check() == []
