"""Whatever is wrong with a log is named, with its id and what to do."""

import sqlite3
from pathlib import Path

import pytest

from handsfree.keeping.checking import MOST, look_through
from handsfree.log import Log


def broken(path: Path, *statements: str) -> None:
    """Do what the program never does, past triggers and references."""
    conn = sqlite3.connect(path)
    triggers = conn.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in triggers:
        conn.execute(f"DROP TRIGGER {name}")
    for each in statements:
        conn.execute(each)
    for _, sql in triggers:
        conn.execute(sql)
    conn.commit()
    conn.close()


def test_a_sound_log_has_nothing_wrong_with_it(log: Log, path: Path) -> None:
    told: list[tuple[int, int]] = []
    assert look_through(path, sounds=True, progress=lambda *at: told.append(at)) == []
    assert told[-1] == (len(told), len(told))
    assert len(told) == 12  # of which the fixture has so many


ENTRY = "(SELECT id FROM entries ORDER BY rowid LIMIT 1)"
UTTERANCE = "(SELECT id FROM utterances WHERE status = 'recorded' ORDER BY rowid LIMIT 1)"


@pytest.mark.parametrize(
    ("statement", "of", "text"),
    [
        (f"DELETE FROM marks WHERE entry_id = {ENTRY}", ENTRY, "has no mark"),
        (
            f"UPDATE marks SET seq = seq + 5 WHERE entry_id = {ENTRY}",
            ENTRY,
            "has marks missing in its history",
        ),
        (f"UPDATE entries SET replaces = id WHERE id = {ENTRY}", ENTRY, "it replaces itself"),
        (
            f"UPDATE entries SET replaces = 'gone' WHERE id = {ENTRY}",
            ENTRY,
            "replaces an entry that is not there",
        ),
        (f"UPDATE entries SET limb = 'RF' WHERE id = {ENTRY}", ENTRY, "another kind or limb"),
        (
            f'UPDATE entries SET body = \'{{"kind": "song"}}\' WHERE id = {ENTRY}',
            ENTRY,
            "its body cannot be read by this version: unknown kind of entry: 'song'",
        ),
        (
            f"UPDATE entries SET utterance_id = 'gone' WHERE id = {ENTRY}",
            ENTRY,
            "refers to one of utterances that is not there",
        ),
        (
            f"UPDATE utterances SET recorded_at = 'noon' WHERE id = {UTTERANCE}",
            UTTERANCE,
            "recorded_at is no time ('noon')",
        ),
        (
            f"UPDATE sounds SET flac = x'00' WHERE utterance_id = {UTTERANCE}",
            UTTERANCE,
            "has a sound that is no FLAC",
        ),
        (
            f"UPDATE sounds SET flac = CAST('fLaC and no more' AS BLOB) "
            f"WHERE utterance_id = {UTTERANCE}",
            UTTERANCE,
            "its sound cannot be decoded",
        ),
        (
            "UPDATE utterances SET status = 'recorded' WHERE heard = 'mumble'",
            "(SELECT id FROM utterances WHERE heard = 'mumble' LIMIT 1)",
            "marked as recorded and has no entry",
        ),
    ],
)
def test_each_broken_row_is_named(log: Log, path: Path, statement: str, of: str, text: str) -> None:
    conn = sqlite3.connect(path)
    id = conn.execute(f"SELECT {of}").fetchone()[0]
    conn.close()
    broken(path, statement)
    found = look_through(path, sounds=True)
    assert any(each.id == id and text in each.text and each.todo for each in found), found
    assert all("\n" not in str(each) for each in found)


@pytest.mark.parametrize(
    ("statement", "text"),
    [
        ("DROP VIEW entries_in_force", "view entries_in_force: is missing"),
        ("DROP INDEX marks_by_change", "index marks_by_change: is missing"),
        (
            "CREATE TRIGGER x AFTER INSERT ON marks BEGIN DELETE FROM marks; END",
            "trigger x: is not",
        ),
    ],
)
def test_each_missing_part_is_named(log: Log, path: Path, statement: str, text: str) -> None:
    broken(path, statement)
    assert any(str(each).startswith(text) for each in look_through(path))


def test_a_trigger_that_is_gone_is_named(log: Log, path: Path) -> None:
    conn = sqlite3.connect(path)
    conn.execute("DROP TRIGGER entries_no_delete")
    conn.close()
    assert [str(f).split(";")[0] for f in look_through(path)] == [
        "trigger entries_no_delete: is missing"
    ]


def test_a_file_full_of_trouble_is_not_listed_for_ever(log: Log, path: Path) -> None:
    visit = "(SELECT id FROM visits LIMIT 1)"
    many = (
        "WITH RECURSIVE n (i) AS (SELECT 1000 UNION ALL SELECT i + 1 FROM n WHERE i < 2000) "
        "INSERT INTO utterances (id, visit_id, seq, recorded_at, heard, status, engines, "
        f"alternatives) SELECT 'x' || i, {visit}, i, 'never', '', 'unclear', '[]', '[]' FROM n"
    )
    broken(path, many)
    found = look_through(path)
    assert MOST < len(found) < 3 * MOST
    assert any(each.text == "there are more of this kind" for each in found)


def test_files_that_are_no_logs(tmp_path: Path) -> None:
    for content in (b"", b"SQLite format 3\x00" + bytes(5000), b"notes" * 2000):
        (tmp_path / "x.db").write_bytes(content)
        found = look_through(tmp_path / "x.db")
        assert len(found) == 1
        assert str(tmp_path / "x.db") in found[0].text
    assert "there is no such log" in look_through(tmp_path / "y.db")[0].text


def test_a_page_overwritten_is_found(log: Log, path: Path) -> None:
    log.close()
    data = bytearray(path.read_bytes())
    for page in range(20, 30):
        data[page * 4096 : page * 4096 + 200] = b"\xff" * 200
    path.write_bytes(data)
    found = look_through(path, sounds=True)
    assert found
    assert all(each.todo for each in found)


def test_sound_that_a_session_left_is_told_and_left_alone(log: Log, path: Path) -> None:
    from handsfree.spool import layout

    folder = path.with_name("log.db.spool")
    run = layout.new_run(folder)
    run.mkdir(parents=True)
    layout.segment_path(run, 0).write_bytes(bytes(2 * 16000 * 3))
    before = sorted(p.name for p in folder.rglob("*"))
    found = look_through(path)
    assert [(each.what, each.id) for each in found] == [("spool", run.name)]
    assert "3 s of sound of a session that broke off" in found[0].text
    assert sorted(p.name for p in folder.rglob("*")) == before
    lock = layout.claim(layout.lock_path(run))  # now somebody is at it
    assert lock is not None
    assert look_through(path) == []
    layout.let_go(lock, layout.lock_path(run))
