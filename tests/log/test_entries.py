"""What is written comes back, with the status its marks give it."""

import sqlite3
from pathlib import Path

import pytest

from handsfree.errors import LogError
from handsfree.log import Log, NoticeRow, UtteranceRow

BRUISE = {"kind": "finding", "limb": "LH", "zone": "heel", "side": "lateral", "term": "bruise"}
FLARE = {"kind": "finding", "limb": "LH", "zone": "quarter", "side": "medial", "term": "flare"}
SAID = UtteranceRow(heard="left hind outside heel bruise", status="recorded", limb="LH")


def statuses(log: Log, visit_id: str) -> dict[str, str]:
    return {entry.body["term"]: entry.status for entry in log.entries(visit_id)}


def test_an_utterance_comes_back_whole(log: Log) -> None:
    row = UtteranceRow(
        heard="left hind outside heel bruise",
        status="recorded",
        confidence=0.94,
        limb="LH",
        start_s=1.24,
        end_s=3.02,
        recorded_at="2026-03-01T09:00:00.000+00:00",
        engines=("pocketsphinx", "whisper"),
        alternatives=({"text": "left hind outside heel", "score": -3.5},),
        free_text="left hind, outside heel bruise.",
        doubt="the listeners differ",
    )
    visit = log.start_visit("x.flac")
    done = log.append(visit.id, row, [BRUISE, FLARE], b"fLaC\x00\xff")
    (stored,) = log.utterances(visit.id)
    assert {key: getattr(stored, key) for key in vars(row)} == vars(row)
    assert (stored.id, stored.seq, stored.has_sound) == (done.utterance_id, 1, True)
    assert log.sound(stored.id) == b"fLaC\x00\xff"
    first, second = log.entries(visit.id)
    assert (first.body, second.body) == (BRUISE, FLARE)
    assert (first.id, second.id) == done.entry_ids
    assert (first.kind, first.limb, first.status, first.origin) == (
        "finding",
        "LH",
        "heard",
        "heard",
    )
    assert (first.start_s, first.confidence, first.doubt) == (1.24, 0.94, "the listeners differ")


def test_an_utterance_without_sound_or_entries(log: Log) -> None:
    visit = log.start_visit("typed")
    done = log.append(visit.id, UtteranceRow(heard="", status="unclear"))
    (stored,) = log.utterances(visit.id)
    assert (stored.has_sound, stored.start_s, stored.confidence) == (False, None, None)
    assert log.sound(done.utterance_id) is None
    assert log.entries(visit.id) == []


def test_strike_that(log: Log) -> None:
    visit = log.start_visit("microphone")
    said = log.append(visit.id, SAID, [BRUISE])
    command = UtteranceRow(heard="strike that", status="command", command="strike")
    done = log.append(visit.id, command, strikes=said.entry_ids)
    assert done.marked == said.entry_ids
    assert log.entries(visit.id, in_force=True) == []
    heard, struck = log.history(said.entry_ids[0])
    assert (heard.status, heard.utterance_id) == ("heard", said.utterance_id)
    assert (struck.status, struck.utterance_id, struck.by) == ("struck", done.utterance_id, "voice")


def test_a_spoken_correction_replaces_in_order(log: Log) -> None:
    visit = log.start_visit("microphone")
    old = log.append(visit.id, SAID, [BRUISE, FLARE])
    new = [BRUISE | {"term": t} for t in ("corn", "thrush", "abscess")]
    done = log.append(visit.id, SAID, new, replaces=old.entry_ids)
    by_term = {entry.body["term"]: entry for entry in log.entries(visit.id)}
    assert by_term["corn"].replaces == old.entry_ids[0]
    assert by_term["thrush"].replaces == by_term["abscess"].replaces == old.entry_ids[1]
    assert done.marked == old.entry_ids
    assert statuses(log, visit.id) == {
        "bruise": "corrected",
        "flare": "corrected",
        **dict.fromkeys(("corn", "thrush", "abscess"), "heard"),
    }


def test_confirm_and_strike_skip_what_is_done_already(log: Log) -> None:
    visit = log.start_visit("typed")
    ids = log.append(visit.id, SAID, [BRUISE, FLARE]).entry_ids
    assert log.confirm(ids[:1], "review") == ids[:1]
    assert log.confirm(ids, "review") == ids[1:]
    assert log.strike(ids[:1], "review", reason="wrong foot") == ids[:1]
    assert log.strike(ids[:1], "review") == ()
    assert log.confirm(ids[:1], "review") == ()
    assert statuses(log, visit.id) == {"bruise": "struck", "flare": "confirmed"}
    assert log.history(ids[0])[-1].reason == "wrong foot"


def test_correct_at_review(log: Log) -> None:
    visit = log.start_visit("x.flac")
    old = log.append(visit.id, SAID, [BRUISE])
    done = log.correct(old.utterance_id, [FLARE], "review", replaces=old.entry_ids)
    (now,) = log.entries(visit.id, in_force=True)
    assert (now.id, now.status, now.origin) == (done.entry_ids[0], "confirmed", "corrected")
    assert (now.replaces, now.seq, now.heard) == (old.entry_ids[0], 2, SAID.heard)
    with pytest.raises(LogError, match="changed elsewhere"):
        log.correct(old.utterance_id, [BRUISE], "review", replaces=old.entry_ids)
    assert len(log.entries(visit.id)) == 2


def test_correct_gives_an_unclear_utterance_its_entry(log: Log) -> None:
    visit = log.start_visit("x.flac")
    unclear = log.append(visit.id, UtteranceRow(heard="hind bruce", status="unclear"))
    log.correct(unclear.utterance_id, [BRUISE], "review")
    assert statuses(log, visit.id) == {"bruise": "confirmed"}
    assert log.undo(visit.id, "review").what == "corrected"  # type: ignore[union-attr]
    assert statuses(log, visit.id) == {"bruise": "struck"}


def test_undo_walks_back_through_every_change_and_a_reopening(path: Path) -> None:
    with Log.open(path) as log:
        visit = log.start_visit("x.flac")
        old = log.append(visit.id, SAID, [BRUISE])
        log.confirm(old.entry_ids, "review")
        log.strike(old.entry_ids, "review")
        assert log.undo(visit.id, "review").what == "struck"  # type: ignore[union-attr]
        assert statuses(log, visit.id) == {"bruise": "confirmed"}
        log.correct(old.utterance_id, [FLARE], "review", replaces=old.entry_ids)
    with Log.open(path) as log:
        undone = log.undo(visit.id[:8], "review")
        assert undone is not None
        assert undone.what == "corrected"
        assert undone.now[old.entry_ids[0]] == "confirmed"
        assert statuses(log, visit.id) == {"bruise": "confirmed", "flare": "struck"}
        assert log.undo(visit.id, "review").what == "confirmed"  # type: ignore[union-attr]
        assert statuses(log, visit.id) == {"bruise": "heard", "flare": "struck"}
        assert log.undo(visit.id, "review") is None
        assert [mark.status for mark in log.history(old.entry_ids[0])] == [
            *("heard", "confirmed", "struck", "confirmed", "corrected", "confirmed", "heard"),
        ]


def test_undo_leaves_what_the_voice_struck_since(log: Log) -> None:
    visit = log.start_visit("microphone")
    old = log.append(visit.id, SAID, [BRUISE])
    log.confirm(old.entry_ids, "review")
    log.append(visit.id, UtteranceRow(heard="strike that", status="command"), strikes=old.entry_ids)
    log.undo(visit.id, "review")
    assert statuses(log, visit.id) == {"bruise": "struck"}


def test_undo_keeps_to_its_visit(log: Log) -> None:
    one, other = log.start_visit("a"), log.start_visit("b")
    ids = log.append(one.id, SAID, [BRUISE]).entry_ids
    log.confirm(ids, "review")
    assert log.undo(other.id, "review") is None
    assert statuses(log, one.id) == {"bruise": "confirmed"}


@pytest.mark.parametrize("table", ["utterances", "entries", "marks"])
@pytest.mark.parametrize(
    ("sql", "word"),
    [
        ("UPDATE {} SET rowid = rowid", "changed"),
        ("DELETE FROM {}", "deleted"),
        ("INSERT OR REPLACE INTO {0} SELECT * FROM {0}", "replaced"),
    ],
)
def test_the_past_cannot_be_changed_by_any_tool(
    log: Log, path: Path, table: str, sql: str, word: str
) -> None:
    log.append(log.start_visit("typed").id, SAID, [BRUISE])
    with sqlite3.connect(path) as other, pytest.raises(sqlite3.IntegrityError, match=word):
        other.execute(sql.format(table))
    other.close()


def test_a_refused_write_leaves_nothing_behind(log: Log) -> None:
    visit = log.start_visit("typed")
    with pytest.raises(LogError, match="no entry nonesuch"):
        log.append(visit.id, SAID, [BRUISE], b"fLaC", strikes=["nonesuch"])
    for wrong in ({"limb": "LH"}, BRUISE | {"mood": "sour"}, BRUISE | {"term": "moonstone"}):
        with pytest.raises(LogError, match="an entry cannot be written to the log"):
            log.append(visit.id, SAID, [BRUISE, wrong])
    with pytest.raises(LogError, match="cannot be written"):
        log.append(visit.id, SAID, [BRUISE | {"extent_mm": float("nan")}])
    with pytest.raises(LogError, match="no such horse, visit or utterance"):
        log.append("nonesuch", SAID)
    with pytest.raises(LogError, match="there is no limb 'left'"):
        log.append(visit.id, SAID, [{"kind": "work", "limb": "left", "action": "trimmed"}])
    assert log.utterances(visit.id) == []
    assert log.append(visit.id, SAID).seq == 1
    assert log.check() == []


def test_the_view_has_plain_columns_for_other_tools(log: Log, path: Path) -> None:
    visit = log.start_visit("x.flac", log.add_horse("Bess").id)
    graded = {"kind": "finding", "limb": None, "scale_grade": {"scale": "lameness", "value": 2}}
    nails = {"kind": "nails", "limb": "LF", "action": "pulled", "count": 7, "side": None}
    log.append(visit.id, SAID, [BRUISE, graded, nails])
    with sqlite3.connect(path) as other:
        sql = """SELECT horse, limb, zone, side, term, scale, scale_value, action, count, status
            FROM entries_now ORDER BY seq"""
        assert other.execute(sql).fetchall() == [
            ("Bess", "LH", "heel", "lateral", "bruise", None, None, None, None, "heard"),
            ("Bess", None, None, None, None, "lameness", 2, None, None, "heard"),
            ("Bess", "LF", None, None, None, None, None, "pulled", 7, "heard"),
        ]
    other.close()


def test_a_replaced_entry_can_count_again(log: Log) -> None:
    visit = log.start_visit("x.wav")
    old = log.append(visit.id, _said("outside heel bruise"), [_finding("bruise")])
    log.append(visit.id, _said("inside heel bruise"), [_finding("bruise")], replaces=old.entry_ids)
    log.append(visit.id, _said("keep both"), restores=old.entry_ids)
    assert len(log.entries(visit.id, in_force=True)) == 2
    assert [m.status for m in log.history(old.entry_ids[0])] == ["heard", "corrected", "heard"]


def test_an_utterance_can_confirm_earlier_entries(log: Log) -> None:
    visit = log.start_visit("x.wav")
    old = log.append(visit.id, _said("outside heel bruise"), [_finding("bruise")])
    confirm = log.append(visit.id, _said("confirm foot"), confirms=old.entry_ids)
    assert confirm.marked == old.entry_ids
    assert log.entries(visit.id)[0].status == "confirmed"


def test_a_notice_counts_until_it_is_settled_or_its_entry_is_gone(log: Log) -> None:
    visit = log.start_visit("x.wav")
    notices = [
        NoticeRow(kind="caution", code="canker", text="call the vet", limb="LH", entry=0),
        NoticeRow(kind="nails", code="count", text="one of eight", limb="LH"),
    ]
    made = log.append(visit.id, _said("canker"), [_finding("canker")], notices=notices)
    assert [n.text for n in log.notices(visit.id)] == ["call the vet", "one of eight"]
    log.append(visit.id, _said("one nail left in"), settles=made.notice_ids[1:])
    log.append(visit.id, _said("strike that"), settles=made.notice_ids[1:], strikes=made.entry_ids)
    assert log.notices(visit.id) == []
    device = log.notice(visit.id, NoticeRow(kind="device", code="gone", text="was gone"))
    assert [n.id for n in log.notices(visit.id)] == [device]


def _said(heard: str) -> UtteranceRow:
    return UtteranceRow(heard=heard, status="recorded")


def _finding(term: str) -> dict[str, object]:
    return {"kind": "finding", "limb": "LH", "term": term}
