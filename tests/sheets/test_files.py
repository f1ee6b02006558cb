"""Files written whole or not at all, and their names."""

import os
import stat
import unicodedata
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.errors import HandsfreeError
from handsfree.sheets import files
from handsfree.sheets.files import FileRefused, file_name, new_file, printable, write_new

DAY = date(2026, 11, 25)


def test_a_new_file_holds_what_was_given_and_nothing_is_left_beside_it(tmp_path: Path) -> None:
    write_new(tmp_path / "a.html", "é ✓\n")
    write_new(tmp_path / "b.pdf", b"\x00\xff")
    assert (tmp_path / "a.html").read_bytes() == "é ✓\n".encode()
    assert (tmp_path / "b.pdf").read_bytes() == b"\x00\xff"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.html", "b.pdf"]


def test_a_file_that_is_there_is_refused_in_one_line_unless_forced(tmp_path: Path) -> None:
    file = tmp_path / "a.html"
    file.write_text("his own")
    with pytest.raises(FileRefused) as refused:
        write_new(file, "new")
    assert str(refused.value) == (
        f"{file}: is there already; name another file, or say --force to replace it"
    )
    assert isinstance(refused.value, HandsfreeError)
    assert file.read_text() == "his own"
    write_new(file, "new", force=True)
    assert file.read_text() == "new"
    assert [p.name for p in tmp_path.iterdir()] == ["a.html"]


def overtaken(file: Path) -> None:
    """Another program takes the name while the file is being written."""
    with new_file(file) as out:
        out.write(b"late")
        file.write_text("first")


def broken_off(file: Path, error: BaseException) -> None:
    with new_file(file, force=True) as out:
        out.write(b"half of it")
        raise error


def test_a_file_that_comes_up_meanwhile_is_not_overwritten(tmp_path: Path) -> None:
    file = tmp_path / "a.csv"
    with pytest.raises(FileRefused, match="is there already"):
        overtaken(file)
    assert file.read_text() == "first"
    assert [p.name for p in tmp_path.iterdir()] == ["a.csv"]


def test_without_links_on_the_disk_the_file_is_still_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_links(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", no_links)
    file = tmp_path / "a.csv"
    write_new(file, "one")
    assert file.read_text() == "one"
    with pytest.raises(FileRefused, match="is there already"):
        overtaken(tmp_path / "b")
    assert (tmp_path / "b").read_text() == "first"


def test_what_breaks_off_leaves_the_old_file_and_no_part(tmp_path: Path) -> None:
    file = tmp_path / "a.csv"
    file.write_text("old")
    for error in (KeyboardInterrupt(), ValueError("the sum went wrong")):
        with pytest.raises(type(error)):
            broken_off(file, error)
    assert file.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.csv"]


def test_a_full_disk_is_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(FileRefused, match=r"a\.csv: cannot be written: No space left on device"):
        write_new(tmp_path / "a.csv", "x")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("name", "why"),
    [("none/a.html", "its folder is not there"), (".", "is a folder"), ("a\0b", "null byte")],
)
def test_a_name_that_cannot_be_written_is_one_line(tmp_path: Path, name: str, why: str) -> None:
    with pytest.raises(FileRefused, match=why) as refused:
        write_new(tmp_path / name, "x", force=True)
    assert len(str(refused.value).splitlines()) == 1


@pytest.mark.skipif(os.name != "posix", reason="devices and modes as on Unix")
def test_devices_links_and_modes(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(FileRefused, match="no ordinary file"):
        write_new(tmp_path / "pipe", "x", force=True)
    real = tmp_path / "real"
    write_new(real, "old")
    assert stat.S_IMODE(real.stat().st_mode) == 0o600
    real.chmod(0o644)
    (tmp_path / "link").symlink_to(real)
    write_new(tmp_path / "link", "new", force=True)
    assert (tmp_path / "link").is_symlink()
    assert (real.read_text(), stat.S_IMODE(real.stat().st_mode)) == ("new", 0o644)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("Bramble", "Bramble-2026-11-25.html"),
        ("Ünï/..\\ Codé", "Ünï-Codé-2026-11-25.html"),
        ("../../etc/passwd", "etc-passwd-2026-11-25.html"),
        ("a\x1b[31m\u202eb\r\n", "a-31m-b-2026-11-25.html"),
        ("שלום", "שלום-2026-11-25.html"),
        ("<script>\"'?*|:", "script-2026-11-25.html"),
        ("", "horse-2026-11-25.html"),
        ("...", "horse-2026-11-25.html"),
        ("-rf", "rf-2026-11-25.html"),
    ],
)
def test_names_of_files(name: str, expected: str) -> None:
    assert file_name(name, DAY, ".html") == expected


@pytest.mark.parametrize("name", ["con", "Nul", "LPT1", "COM¹"])
def test_names_that_are_devices_elsewhere_are_avoided(name: str) -> None:
    assert file_name(name, None, ".csv") == f"{name}-horse.csv"


def test_a_name_that_is_taken_gets_a_number() -> None:
    taken: set[str] = set()
    for expected in ("O-Neil-2026-11-25.pdf", "o-neil-2026-11-25-2.pdf", "O-NEIL-2026-11-25-3.pdf"):
        name = file_name(
            {"-2": "o neil", "-3": "O/NEIL"}.get(expected[-6:-4], "O'Neil"), DAY, ".pdf", taken
        )
        assert name == expected
        taken.add(name)


@given(st.text(max_size=400), st.one_of(st.none(), st.dates()))
def test_every_name_gives_a_safe_file_name(name: str, day: date | None) -> None:
    given = file_name(name, day, ".html")
    stem = given.removesuffix(".html")
    assert given.endswith(".html")
    assert len(given.encode()) <= files.LONGEST_NAME_BYTES
    assert stem
    assert not stem.startswith("-")
    assert all(c == "-" or unicodedata.category(c)[0] in "LMN" for c in stem)
    assert stem.upper() not in {"CON", "PRN", "AUX", "NUL"}


@given(st.text())
def test_printable_leaves_nothing_that_steers(text: str) -> None:
    shown = printable(text, keep="\n")
    assert len(shown) == len(text)
    assert not any(unicodedata.category(c) in ("Cc", "Cs") for c in shown if c != "\n")
    assert not set(shown) & set("\u202e\u2066\u200f")
    assert printable("a\u200cب") == "a\u200cب"
