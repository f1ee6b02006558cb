"""One horse erased: nothing of it is left in any byte, and nothing of others is touched."""

import json
import sqlite3
from pathlib import Path

import pytest

from handsfree.errors import LogError
from handsfree.keeping import erasing
from handsfree.keeping.checking import look_through
from handsfree.log import Horse, Log, NoticeRow, UtteranceRow, keeping
from handsfree.log.rows import new_id
from handsfree.sheets.tables import json_pieces

SECRETS = {
    "name": "Zanzibar",
    "breed": "zbreed",
    "heard": "zheard",
    "free": "zfree",
    "alternative": "zalternative",
    "doubt": "zdoubt",
    "remark": "zremark",
    "lesson": "zlesson",
    "meant": "zmeant",
    "notice": "znotice",
    "reason": "zreason",
    "note": "znote",
    "moved": "zmoved",
    "file": "zfile",
    "sound": "zsound",
}


def secret_horse(log: Log) -> Horse:
    """A horse whose every word is to be gone, woven in with the others as far as it goes."""
    s = SECRETS
    horse = log.add_horse(s["name"], "heavy", s["breed"], "2012")
    visit = log.start_visit(f"{s['file']}.wav", horse.id, s["note"])
    row = UtteranceRow(
        heard=s["heard"],
        status="recorded",
        confidence=0.4,
        free_text=s["free"],
        doubt=s["doubt"],
        alternatives=({"text": s["alternative"]},),
    )
    remark = {"kind": "remark", "limb": "LH", "text": s["remark"]}
    notice = NoticeRow(kind="caution", code="x", text=s["notice"], entry=0)
    flac = b"fLaC" + s["sound"].encode() * 2000
    said = log.append(visit.id, row, [remark], flac, notices=[notice])
    log.correct(
        said.utterance_id,
        [remark],
        "review",
        said.entry_ids,
        s["reason"],
        taught=(s["lesson"], s["meant"]),
    )
    log.forget_lesson(s["lesson"], s["meant"])
    # Said into another horse's visit and moved here: its words are this horse's.
    elsewhere = next(v for v in log.visits() if v.horse == "Bess")
    wrong = UtteranceRow(heard=s["moved"], status="recorded")
    there = log.append(elsewhere.id, wrong, [{"kind": "work", "limb": "LF", "action": "trimmed"}])
    log.move(there.entry_ids, visit.id, "review", s["reason"])
    with log._writing() as db:
        db.execute("INSERT INTO horse_aliases VALUES (?, ?)", [ALIAS, horse.id])
        db.execute(
            "INSERT INTO recordings_taken VALUES (?, ?, '2026', '2026')", ["d" * 64, s["file"]]
        )
        db.execute("INSERT INTO recording_visits VALUES (?, ?)", ["d" * 64, visit.id])
    return horse


ALIAS = new_id()


def of_others(log: Log) -> str:
    """All that the log holds of other horses, but where it was moved from or to."""
    whole = json.loads(b"".join(json_pieces(log, every=True)))
    whole["horses"] = [h for h in whole["horses"] if h["name"] != SECRETS["name"]]
    for horse in whole["horses"]:
        for visit in horse["visits"]:
            visit["utterances"] = [u for u in visit["utterances"] if u["heard"] != SECRETS["moved"]]
            visit["entries"] = [e for e in visit["entries"] if e["heard"] != SECRETS["moved"]]
    return json.dumps(whole, sort_keys=True)


def bytes_beside(path: Path) -> bytes:
    return b"".join(p.read_bytes() for p in path.parent.rglob("*") if p.is_file())


def test_no_byte_of_it_is_left(log: Log, path: Path) -> None:
    horse = secret_horse(log)
    log.add_horse(horse.name, None, SECRETS["breed"], "2013")  # an older form of the row is free
    before = bytes_beside(path)
    assert all(word.encode() in before for word in SECRETS.values())
    path.with_name("log.db.relisten.jsonl").write_text('{"heard": "zheard"}\n')
    others = of_others(log)
    found = erasing.look(log, horse)
    done = erasing.erase(log, found, "smith")
    assert (done.counts["horses"], done.counts["visits"]) == (1, 1)
    assert done.counts["recordings_taken"] == 1
    assert done.counts["lessons_forgotten"] == 1
    log.close()
    left = bytes_beside(path).lower()
    assert [word for word in SECRETS.values() if word.lower().encode() in left] == []
    assert horse.id.encode() not in left
    assert ALIAS.encode() not in left
    with Log.open(path) as again:
        assert of_others(again) == others
        assert again.horse_names() == ["Bess", "Duke O'Brien"]
        assert again.lessons()
        assert again.was_erased(horse.id) == done.at
        assert again.was_erased(ALIAS) is not None
        assert again.was_erased("another") is None
        (one,) = [e for e in again.erasures() if e.counts]
        assert (one.by, one.counts) == ("smith", done.counts)
        # It goes on as before: written, judged, taken back, refused to be deleted.
        visit = again.visits()[0].id
        row = UtteranceRow(heard="trimmed", status="recorded")
        again.append(visit, row, [{"kind": "work", "limb": "LF", "action": "trimmed"}])
        assert again.undo(visit, "voice") is not None
    assert look_through(path, sounds=False) == []
    conn = sqlite3.connect(path)
    with pytest.raises(sqlite3.IntegrityError, match="never deleted"):
        conn.execute("DELETE FROM utterances")
    conn.close()


def test_nothing_is_erased_while_another_has_the_log_open(log: Log, path: Path) -> None:
    horse = secret_horse(log)
    found = erasing.look(log, horse)
    with Log.open(path, busy_s=0.2) as other, pytest.raises(LogError) as refused:
        erasing.erase(other, found, "smith")
    assert "in use" in str(refused.value) or "is open in another program" in str(refused.value)
    assert log.horse(horse.name) is not None
    assert log.erasures() == []
    assert log.check() == []


def test_what_other_horses_said_of_it_is_counted(log: Log) -> None:
    horse = secret_horse(log)
    visit = next(v for v in log.visits() if v.horse == "Bess")
    for words in ("stood beside zanzibar today", "zanzibarian"):
        log.append(visit.id, UtteranceRow(heard=words, status="unclear"))
    assert erasing.look(log, horse).mentions == 1


def test_a_horse_that_shares_a_sentence_keeps_its_part(log: Log) -> None:
    """Of one utterance an entry was moved to another horse: the rest is still of the first."""
    horse = log.horse("bess")
    duke = log.horse("duke o'brien")
    assert horse is not None
    assert duke is not None
    mine = next(v for v in log.visits() if v.horse == "Bess")
    theirs = next(v for v in log.visits() if v.horse_id == duke.id)
    entry = {"kind": "work", "limb": "LF", "action": "trimmed"}
    row = UtteranceRow(heard="both trimmed", status="recorded")
    said = log.append(mine.id, row, [entry, entry])
    log.move(said.entry_ids[:1], theirs.id, "review")
    erasing.erase(log, erasing.look(log, duke), "smith")
    assert said.entry_ids[1] in {e.id for e in log.entries(mine.id, in_force=True)}
    assert log.horse_names() == ["Bess"]
    assert log.check() == []


def test_erasing_that_fails_changes_nothing(
    log: Log, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    horse = secret_horse(log)
    log._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()

    def full(*_: object) -> None:
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr(keeping, "_record", full)  # the last step of the transaction
    with pytest.raises(LogError, match="full"):
        erasing.erase(log, erasing.look(log, horse), "smith")
    assert log.horse(horse.name) == horse
    assert len(log.visits(horse=horse.name)) == 1
    assert log._db.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
    assert look_through(path) == []  # the triggers are all there
