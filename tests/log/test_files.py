"""Making, finding, refusing and migrating the file."""

import errno
import hashlib
import os
import shutil
import socket
import sqlite3
import stat
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

import pytest
from sqlite_utils import Database

from handsfree.errors import ExitCode, LogError
from handsfree.log import Log, UtteranceRow, default_path, files, schema

posix = pytest.mark.skipif(os.name != "posix", reason="file modes are of POSIX systems")


def refusal(path: Path, **options: bool) -> str:
    with pytest.raises(LogError) as caught:
        Log.open(path, **options)
    text = str(caught.value)
    assert "\n" not in text
    assert caught.value.exit_code == ExitCode.LOG
    return text


@posix
def test_only_the_owner_can_read_it(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        path = tmp_path / "new" / "folder" / "log.db"
        with Log.open(path) as log:
            log.start_visit("typed")
            files = sorted(path.parent.iterdir())
            assert [each.name for each in files] == ["log.db", "log.db-shm", "log.db-wal"]
            assert {stat.S_IMODE(each.stat().st_mode) for each in files} == {0o600}
    finally:
        os.umask(before)
    folders = (path.parent, path.parent.parent)
    assert {stat.S_IMODE(each.stat().st_mode) for each in folders} == {0o700}


@posix
def test_a_log_open_to_others_is_closed_to_them(path: Path) -> None:
    Log.open(path).close()
    path.chmod(0o644)
    Log.open(path).close()
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_where_it_is(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("HANDSFREE_LOG", str(tmp_path / "named.db"))
    assert default_path() == tmp_path / "named.db"
    with Log.open() as log:
        assert log.path == (tmp_path / "named.db").resolve()
    with Log.open(tmp_path / "given.db") as log:
        assert log.path == (tmp_path / "given.db").resolve()
    monkeypatch.setenv("HANDSFREE_LOG", " ")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    assert default_path().name == "log.db"
    assert default_path().parent.name == "handsfree"


def test_garbage_is_refused_and_left_alone(path: Path) -> None:
    path.write_bytes(b"RIFF, not a database at all" * 100)
    assert refusal(path) == f"log {path}: is not a log of this program; name another file"
    assert path.read_bytes() == b"RIFF, not a database at all" * 100


def test_another_programs_database_is_refused_and_left_alone(path: Path) -> None:
    other = sqlite3.connect(path)
    other.execute("CREATE TABLE invoices (id)")
    other.close()
    before = path.read_bytes()
    assert "database of another program" in refusal(path)
    assert path.read_bytes() == before


def test_a_newer_format_is_refused(path: Path) -> None:
    Log.open(path).close()
    other = sqlite3.connect(path)
    other.execute("PRAGMA user_version = 99")
    other.close()
    assert "newer version of this program (format 99" in refusal(path)
    assert "newer version" in refusal(path, read_only=True)


def test_a_damaged_log_is_told(path: Path) -> None:
    with Log.open(path) as log:
        visit = log.start_visit("typed")
        for n in range(200):
            log.append(visit.id, UtteranceRow(heard=f"{n} " * 99, status="unclear"), (), bytes(999))
    size = path.stat().st_size
    with path.open("r+b") as file:
        file.seek(size // 2)
        file.write(b"\xff" * (size // 2))
    with Log.open(path) as log:
        assert log.check() != []
        with pytest.raises(LogError, match="is damaged"):
            log.utterances(visit.id)
    path.write_bytes(path.read_bytes()[:100] + b"\xff" * (size - 100))
    assert "is damaged" in refusal(path)


def test_a_folder_a_file_for_a_folder_and_nothing(tmp_path: Path) -> None:
    assert "is a folder" in refusal(tmp_path)
    (tmp_path / "file").write_text("x")
    assert "log.db" in refusal(tmp_path / "file" / "log.db")
    missing = tmp_path / "none" / "log.db"
    assert refusal(missing, read_only=True) == (
        f"there is no log at {missing}; 'handsfree listen' begins one"
    )
    assert not missing.parent.exists()


@posix
def test_a_socket_and_a_circle_of_links_are_refused_untouched(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)  # the name of a socket must be short
    path, link = tmp_path / "socket", tmp_path / "link"
    with closing(socket.socket(socket.AF_UNIX)) as made:
        made.bind("socket")
        path.chmod(0o666)
        link.symlink_to(path)
        for each in (path, link):
            for read_only in (True, False):
                assert refusal(each, read_only=read_only) == (
                    f"log {path}: is a device, pipe or socket; name an ordinary file"
                )
        assert stat.S_IMODE(path.stat().st_mode) == 0o666
    circle = tmp_path / "circle"
    circle.symlink_to(circle)
    assert "leads nowhere" in refusal(circle)


@posix
def test_what_is_no_log_keeps_its_mode(path: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.db"
    with closing(sqlite3.connect(other)) as conn:
        conn.execute("CREATE TABLE invoices (id)")
    path.write_text("a letter to somebody\n" * 100)
    for each in (path, other):
        each.chmod(0o644)
        refusal(each)
        assert stat.S_IMODE(each.stat().st_mode) == 0o644
    path.unlink()
    Log.open(path).close()
    wal = Path(f"{path}-wal")
    wal.symlink_to(other)
    with suppress(LogError):
        Log.open(path).close()
    assert stat.S_IMODE(other.stat().st_mode) == 0o644


def test_reading_leaves_nothing_behind(path: Path) -> None:
    with Log.open(path) as log:
        log.add_horse("Bess")
    before = path.stat().st_mtime_ns
    with Log.open(path, read_only=True) as log:
        assert log.horse_names() == ["Bess"]
    assert list(path.parent.iterdir()) == [path]
    assert path.stat().st_mtime_ns == before


def test_read_only_cannot_write(log: Log, path: Path) -> None:
    visit = log.start_visit("typed")
    with Log.open(path, read_only=True) as reader:
        assert reader.visit(visit.id) == visit
        with pytest.raises(LogError, match="cannot be written"):
            reader.add_horse("Bess")


@pytest.fixture
def anyones_folder() -> Iterator[Path]:
    """A folder an ordinary user can reach, which pytest's own are not."""
    folder = Path(tempfile.mkdtemp(prefix="handsfree-test-"))
    yield folder
    folder.chmod(0o700)
    shutil.rmtree(folder)


OPEN = """
import sys
from handsfree.errors import LogError
from handsfree.log import Log
try:
    with Log.open(sys.argv[1], read_only=sys.argv[2] == "ro") as log:
        print(log.horse_names())
except LogError as error:
    print(error)
"""


@posix
def test_no_permission_is_told_and_reading_still_works(
    anyones_folder: Path, start: Callable[..., Any]
) -> None:
    path = anyones_folder / "log.db"
    with Log.open(path) as log:
        log.add_horse("Bess")

    def answer(mode: str) -> str:
        return str(start(OPEN, path, mode, ordinary_user=True).communicate()[0])

    path.chmod(0o444)
    anyones_folder.chmod(0o755)
    assert answer("rw") == f"log {path}: cannot be written; check its permissions\n"
    if os.geteuid() == 0:
        os.chown(path, 65534, 65534)
    path.chmod(0o644)
    anyones_folder.chmod(0o555)
    assert answer("rw") == f"log {path}: its folder cannot be written; check its permissions\n"
    assert answer("ro") == "['Bess']\n"
    index, journal = Path(f"{path}-shm"), Path(f"{path}-wal")
    anyones_folder.chmod(0o755)
    index.touch()
    journal.touch()
    anyones_folder.chmod(0o555)
    assert answer("ro") == "['Bess']\n"
    anyones_folder.chmod(0o755)
    for each in (path, index, journal):
        each.unlink()
    _of_format(path, 8)
    path.chmod(0o444)
    anyones_folder.chmod(0o555)
    assert answer("ro") == "['Bess']\n"
    path.chmod(0o000)
    assert answer("ro") == f"log {path}: cannot be read; check its permissions\n"
    path.unlink()
    assert answer("rw") == f"log {path}: Permission denied\n"


def test_an_empty_file_becomes_a_log(path: Path) -> None:
    path.touch()
    with Log.open(path) as log:
        assert schema.version(log._db) == len(schema.MIGRATIONS)
        assert log.visits() == []


def test_a_log_of_format_1_keeps_its_data(path: Path) -> None:
    old = Database(path)
    schema.migrate(old, schema.MIGRATIONS[:1])
    assert old.view_names() == []
    for sql in (
        "INSERT INTO visits VALUES ('v1', NULL, '2026-01-01T00:00:00+00:00', 'typed', NULL)",
        """INSERT INTO utterances (id, visit_id, seq, recorded_at, heard, status, engines,
            alternatives) VALUES ('u1', 'v1', 1, 't', 'corn', 'recorded', '[]', '[]')""",
        """INSERT INTO entries VALUES ('e1', 'u1', 1, 'finding', 'LH',
            '{"kind": "finding", "limb": "LH", "term": "corn"}', NULL, 't', 'heard')""",
        "INSERT INTO marks VALUES ('e1', 1, 'heard', 't', 'voice', NULL, 'u1', 'c1', NULL)",
    ):
        old.execute(sql)
    old.close()
    with Log.open(path, read_only=True) as log:
        assert schema.version(log._db) == len(schema.MIGRATIONS)
        (entry,) = log.entries("v1")
        assert (entry.body["term"], entry.status) == ("corn", "heard")


def test_a_failing_migration_changes_nothing(path: Path) -> None:
    with Log.open(path) as log:
        log.add_horse("Bess")
        newest = len(schema.MIGRATIONS)
        bad = "ALTER TABLE horses ADD COLUMN age INTEGER; DROP VIEW entries_in_force; NONSENSE;"
        with pytest.raises(sqlite3.OperationalError):
            schema.migrate(log._db, (*schema.MIGRATIONS, bad))
        assert schema.version(log._db) == newest
        assert "age" not in log._db.table("horses").columns_dict
        assert "entries_in_force" in log._db.view_names()
        good = "ALTER TABLE horses ADD COLUMN age INTEGER;"
        assert schema.migrate(log._db, (*schema.MIGRATIONS, good)) == 1
        assert "age" in log._db.table("horses").columns_dict
        assert log.horse_names() == ["Bess"]


RELEASED = (
    "5d42e134938ff8b2d62023e06f60f52b3d2326202fa45ce23de04db083dde600",
    "ae41e3b86e6a4aa9cb69070a0a6c90c7b761f41a252ed91481775233f606885e",
    "de9dfac9eaecc824383841ba3e65785d12408c61c02b9ef9f7aaeef7dec263ac",
    "1787e1acb32139df8371e9069a3a99d49ffa01cbbe3e1cb085e3700bda91c157",
    "5737c3161681fa4313c6ea08f13cca03f718f5188007266af32b82e0f4fc9e45",
    "a952aba2c912a2712261bbba7ed1f445fc7bf5eb3c24db1a9263e5a0169d3997",
    "bffe44299ef5f0a3f26fdab29eec8a186096a71e3557030ecbb10fa45d4a8bb4",
    "e6c77707c6807cfac3ea64f1e78fd26b8e8c16f3d9d8d5bac8af86221900874f",
    "731c13e0d8fcd831a9f27e43e1a275d0b36221acd096281c3a81f67a5ca4e7e5",
    "2dde7c9ebdaf754fb00272aa31718f7071584658ab20df6d1104c099fa1db2b8",
    "2c57b5dda23485f3758f18d3baea270ded5ef1d65fa0e5a52523a5204ed021af",
    "876cfe369940efc62f1ab09cf03c40b71e5e0e507fd1f47dc262ad7974f2719a",
    "f4b24c8aa60f7a78e76555973870766fa48030cbd14dd57373e7a06169dd1b62",
)
"""SHA-256 of each migration: logs made by it are out there. A new one is a new line at the end."""


def test_released_migrations_are_plain_text_and_never_change() -> None:
    files = sorted((Path(schema.__file__).parent / "released").glob("*.sql"))
    digests = [hashlib.sha256(sql.encode()).hexdigest() for sql in schema.MIGRATIONS]
    assert tuple(file.read_text("utf-8") for file in files) == schema.MIGRATIONS
    assert tuple(digests[: len(RELEASED)]) == RELEASED


def _make_older(path: Path, version: int) -> None:
    """A log of an older format with one horse in it."""
    old = Database(path)
    schema.migrate(old, schema.MIGRATIONS[:version])
    old.execute(
        "INSERT INTO horses (id, name, name_key, created) VALUES ('h', 'Bess', 'bess', 't')"
    )
    old.conn.commit()
    old.close()


def _of_format(path: Path, version: int) -> bytes:
    """The same; returns its content as SQL."""
    _make_older(path, version)
    with closing(sqlite3.connect(path)) as conn:
        return "\n".join(conn.iterdump()).encode()


def test_an_older_log_is_kept_beside_before_it_is_brought_up(path: Path) -> None:
    content = _of_format(path, 8)
    kept = path.with_name("log.format-8.db")
    Log.open(path).close()
    with sqlite3.connect(kept) as conn:
        assert conn.execute("PRAGMA user_version").fetchone()[0] == 8
        assert "\n".join(conn.iterdump()).encode() == content
    conn.close()
    if os.name == "posix":
        assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    Log.open(path).close()  # of the newest format by now: nothing more to keep
    assert sorted(p.name for p in path.parent.iterdir()) == ["log.db", "log.format-8.db"]


def test_an_older_log_that_cannot_be_kept_is_left_as_it_is(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    content = _of_format(path, 8)

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, "replace", full)
        assert "No space left on device" in refusal(path)
    with sqlite3.connect(path) as conn:
        assert "\n".join(conn.iterdump()).encode() == content
    conn.close()
    assert [p.name for p in path.parent.iterdir() if "format" in p.name] == []


@pytest.mark.parametrize("mode", ["DELETE", "WAL"])
@pytest.mark.parametrize("version", range(1, len(schema.MIGRATIONS)))
def test_an_older_log_that_cannot_be_written_is_read_and_left_as_it_is(
    path: Path, monkeypatch: pytest.MonkeyPatch, version: int, mode: str
) -> None:
    _make_older(path, version)
    with sqlite3.connect(path) as conn:
        conn.execute(f"PRAGMA journal_mode = {mode}")
    conn.close()
    before = path.read_bytes()
    monkeypatch.setattr(files, "writable", lambda _: False)
    with Log.open(path, read_only=True) as log:
        assert log.horse_names() == ["Bess"]
        assert log.visits() == []
        with pytest.raises(LogError, match="cannot be written"):
            log.add_horse("Duke")
    assert path.read_bytes() == before
    assert [each.name for each in path.parent.iterdir()] == ["log.db"]


def test_a_copy_that_is_there_is_not_replaced(path: Path) -> None:
    path.with_name("log.format-8.db").write_text("his own")
    _of_format(path, 8)
    Log.open(path).close()
    assert path.with_name("log.format-8.db").read_text() == "his own"
    assert path.with_name("log.format-8-2.db").is_file()
