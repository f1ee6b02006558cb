"""Backup and restore: whole copies of a log in use, and nothing newer ever lost unasked."""

import os
import sqlite3
import stat
import subprocess
import sys
from datetime import datetime
from pathlib import Path

import pytest

from handsfree.errors import HandsfreeError, LogError
from handsfree.joining import join
from handsfree.keeping import copying, restoring
from handsfree.keeping.checking import look_through
from handsfree.log import Log, UtteranceRow, schema

AT = datetime(2026, 11, 25, 8, 15)

WRITING = """
import sys
from handsfree.log import Log, UtteranceRow
with Log.open(sys.argv[1]) as log:
    visit = log.visits(1)[0].id
    while True:
        row = UtteranceRow(heard="bruise", status="recorded", limb="LH")
        entry = {"kind": "finding", "limb": "LH", "term": "bruise"}
        print(log.append(visit, row, [entry], b"fLaC" + bytes(90000)).utterance_id, flush=True)
"""


def said(path: Path) -> set[str]:
    conn = sqlite3.connect(path)
    try:
        return {row[0] for row in conn.execute("SELECT id FROM utterances")}
    finally:
        conn.close()


def spoil(path: Path) -> None:
    """Overwrite the middle of a log's file, as a bad disk does."""
    data = bytearray(path.read_bytes())
    data[len(data) // 3 : len(data) // 3 * 2] = b"\xa5" * (len(data) // 3 * 2 - len(data) // 3)
    path.write_bytes(data)


def test_a_backup_holds_all_and_is_one_file_for_the_owner(log: Log, path: Path) -> None:
    target = path.with_name("backup.db")
    done = copying.back_up(path, target)
    assert done.rows == copying.count_rows(log._db.conn)
    assert done.rows["utterances"] > 10
    assert said(target) == said(path)
    assert stat.S_IMODE(target.stat().st_mode) == 0o600
    assert done.bytes == target.stat().st_size
    with Log.open(target) as copy:
        assert copy.check() == []
    assert not [p for p in path.parent.iterdir() if p.name.startswith(".handsfree")]


def test_a_backup_of_a_log_that_is_being_written_is_of_one_moment(log: Log, path: Path) -> None:
    child = subprocess.Popen(
        [sys.executable, "-c", WRITING, str(path)], stdout=subprocess.PIPE, text=True
    )
    try:
        assert child.stdout is not None
        answered = [child.stdout.readline().strip() for _ in range(20)]
        for number in range(4):
            target = path.with_name(f"backup-{number}.db")
            copying.back_up(path, target)
            answered.append(child.stdout.readline().strip())
            assert set(answered[:-1]) <= said(target)
            assert child.poll() is None  # it was never kept from writing
    finally:
        child.kill()
        child.communicate()
    assert len(said(path.with_name("backup-0.db"))) < len(said(path.with_name("backup-3.db")))


def test_a_file_that_is_there_is_replaced_only_with_force(log: Log, path: Path) -> None:
    target = path.with_name("backup.db")
    target.write_text("his own")
    with pytest.raises(HandsfreeError, match="is there already; name another, or say --force"):
        copying.back_up(path, target)
    assert target.read_text() == "his own"
    copying.back_up(path, target, force=True)
    assert said(target) == said(path)


@pytest.mark.parametrize("name", ["log.db", "folder", "missing/backup.db"])
def test_places_where_no_backup_can_be(log: Log, path: Path, name: str) -> None:
    path.with_name("folder").mkdir()
    with pytest.raises(HandsfreeError):
        copying.back_up(path, path.parent / name, force=True)
    assert Log.open(path, read_only=True).check() == []


def test_a_damaged_log_gives_no_backup_that_looks_good(log: Log, path: Path) -> None:
    log.close()
    spoil(path)
    with pytest.raises(LogError, match=r"no backup was written|is damaged"):
        copying.back_up(path, path.with_name("backup.db"))
    assert not path.with_name("backup.db").exists()


def test_what_is_no_log_is_refused(tmp_path: Path) -> None:
    for name, content in (("a.db", b""), ("b.db", b"text" * 500), ("c.db", None)):
        if content is not None:
            (tmp_path / name).write_bytes(content)
        with pytest.raises(LogError):
            copying.back_up(tmp_path / name, tmp_path / "to.db")
        with pytest.raises(LogError):
            restoring.restore(tmp_path / name, tmp_path / "log.db", AT)
    assert not (tmp_path / "to.db").exists()
    assert not (tmp_path / "log.db").exists()


def test_restore_refuses_to_lose_an_utterance_and_says_what(log: Log, path: Path) -> None:
    backup = path.with_name("backup.db")
    copying.back_up(path, backup)
    visit = log.visits(1)[0].id
    entry = {"kind": "work", "limb": "LF", "action": "trimmed"}
    log.append(visit, UtteranceRow(heard="trimmed", status="recorded"), [entry])
    log.close()
    before = said(path)
    with pytest.raises(LogError) as refused:
        restoring.restore(backup, path, AT)
    assert "1 utterances, 1 entries, 1 judgements of entries, the latest of 20" in str(
        refused.value
    )
    assert said(path) == before

    kept = restoring.restore(backup, path, AT, lose=True)
    assert kept == path.with_name("log.replaced-2026-11-25-081500.db")
    assert said(path) == said(backup) != before
    assert said(kept) == before


def test_restore_refuses_to_lose_a_judgement_alone(log: Log, path: Path) -> None:
    backup = path.with_name("backup.db")
    copying.back_up(path, backup)
    entry = next(e for e in log.entries(log.visits()[-1].id) if e.status == "heard")
    log.strike([entry.id], "review")
    log.close()
    with pytest.raises(LogError, match="1 judgements of entries, the latest"):
        restoring.restore(backup, path, AT)


def test_restore_of_an_older_state_that_lost_nothing(log: Log, path: Path) -> None:
    backup = path.with_name("backup.db")
    copying.back_up(path, backup)
    log.close()
    kept = restoring.restore(backup, path, AT)
    assert kept is not None
    assert restoring.restore(backup, path, AT) == kept.with_stem(f"{kept.stem}-2")
    with Log.open(path) as restored:
        assert restored.check() == []


def test_restore_where_there_is_no_log(log: Log, path: Path) -> None:
    backup = path.with_name("backup.db")
    copying.back_up(path, backup)
    assert restoring.restore(backup, path.with_name("new.db"), AT) is None
    assert said(path.with_name("new.db")) == said(path)


def test_a_log_that_is_open_is_not_replaced(log: Log, path: Path) -> None:
    backup = path.with_name("backup.db")
    copying.back_up(path, backup)
    with pytest.raises(LogError, match="is open in another program"):
        restoring.restore(backup, path, AT, lose=True)
    entry = {"kind": "work", "limb": "LF", "action": "trimmed"}
    row = UtteranceRow(heard="trimmed", status="recorded")
    done = log.append(log.visits(1)[0].id, row, [entry])
    assert done.utterance_id in said(path)


def test_a_damaged_log_is_kept_beside_the_restored_one(log: Log, path: Path) -> None:
    backup = path.with_name("backup.db")
    copying.back_up(path, backup)
    log.close()
    spoil(path)
    damaged = path.read_bytes()
    with pytest.raises(LogError, match="cannot be compared, for it is damaged"):
        restoring.restore(backup, path, AT)
    assert path.read_bytes() == damaged
    kept = restoring.restore(backup, path, AT, lose=True)
    assert kept is not None
    assert kept.read_bytes() == damaged
    with Log.open(path) as restored:
        assert restored.check() == []


def test_a_damaged_backup_is_refused(log: Log, path: Path) -> None:
    backup = path.with_name("backup.db")
    copying.back_up(path, backup)
    log.close()
    spoil(backup)
    with pytest.raises(LogError):
        restoring.restore(backup, path, AT, lose=True)
    with Log.open(path) as still:
        assert still.check() == []


def test_backups_of_older_and_newer_programs(log: Log, path: Path) -> None:
    old = path.with_name("old.db")
    conn = sqlite3.connect(old)
    db = schema.Database(conn)
    schema.migrate(db, schema.MIGRATIONS[:5])
    conn.close()
    target = path.with_name("from-old.db")
    assert copying.back_up(old, path.with_name("copy-of-old.db")).log_version == 5
    restoring.restore(old, target, AT)
    with Log.open(target) as restored:
        assert restored.check() == []
        assert schema.version(restored._db) == len(schema.MIGRATIONS)
    conn = sqlite3.connect(old)
    conn.execute(f"PRAGMA user_version = {len(schema.MIGRATIONS) + 1}")
    conn.close()
    with pytest.raises(LogError, match="newer version of this program"):
        restoring.restore(old, target, AT, lose=True)


@pytest.mark.skipif(os.name != "posix" or os.geteuid() != 0, reason="needs another user")
def test_a_folder_that_cannot_be_written_is_told_in_one_line(log: Log, path: Path) -> None:
    script = """
import os, sys
from pathlib import Path
from handsfree.errors import HandsfreeError
from handsfree.keeping import copying
os.setgroups([]); os.setgid(65534); os.setuid(65534)
try:
    copying.back_up(Path(sys.argv[1]), Path(sys.argv[1]).with_name("backup.db"))
except HandsfreeError as error:
    print(error)
"""
    log.close()
    path.parent.chmod(0o755)
    path.chmod(0o644)
    done = subprocess.run([sys.executable, "-c", script, path], capture_output=True, text=True)
    assert done.stderr == ""
    assert len(done.stdout.splitlines()) == 1


def _spoiled(path: Path, statement: str) -> Path:
    """A backup with something in it that no log has."""
    backup = path.with_name("spoiled.db")
    copying.back_up(path, backup)
    conn = sqlite3.connect(backup)
    triggers = conn.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in triggers:
        conn.execute(f"DROP TRIGGER {name}")
    conn.execute(statement)
    for _, sql in triggers:
        conn.execute(sql)
    conn.commit()
    conn.close()
    return backup


@pytest.mark.parametrize(
    ("statement", "reason"),
    [
        ("CREATE TRIGGER x AFTER INSERT ON marks BEGIN DELETE FROM sounds; END", "trigger x"),
        ("DROP INDEX marks_by_change", "index marks_by_change is missing"),
        ("UPDATE visits SET started_at = 'noon'", "started_at is no time"),
        ("UPDATE utterances SET engines = '{}'", "engines is no list"),
        ("UPDATE entries SET limb = 'RF' WHERE limb = 'LH'", "another kind or limb"),
    ],
)
def test_restore_merge_and_check_refuse_the_same(
    log: Log, path: Path, statement: str, reason: str
) -> None:
    backup = _spoiled(path, statement)
    assert any(reason.split(" is ")[0] in str(each) for each in look_through(backup))
    with pytest.raises(LogError, match=reason) as caught:
        restoring.restore(backup, path.with_name("new.db"), AT, lose=True)
    assert str(backup) in str(caught.value)
    assert not path.with_name("new.db").exists()
    if statement.startswith("UPDATE"):
        with Log.open(path.with_name("other.db")) as other:
            with pytest.raises(LogError, match=reason) as caught:
                join(other, backup)
            assert str(backup) in str(caught.value)
            assert other.visits() == []


def test_an_entry_of_another_version_does_not_keep_a_backup_out(log: Log, path: Path) -> None:
    backup = _spoiled(path, """UPDATE entries SET body = '{"kind": "finding", "limb": ["LH"]}'""")
    new = path.with_name("new.db")
    restoring.restore(backup, new, AT)
    with Log.open(new) as restored:
        assert len(restored.visits()) == len(log.visits())
    with Log.open(path.with_name("other.db")) as other, pytest.raises(LogError, match="by this"):
        join(other, backup)
