"""What is found of runs that ended early, and what is left alone."""

import json
import os
import stat
import subprocess
import sys
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from handsfree.engines.base import Sound
from handsfree.errors import LogError
from handsfree.spool import Leftover, Spool, leftovers

ROOT = Path(__file__).parents[2]
SECOND = 16_000

Speech = Callable[[int, int], Sound]
AllOf = Callable[[Leftover], Sound]
Begin = Callable[..., Spool]


@pytest.fixture
def run(folder: Path, begin: Begin, speech: Speech) -> Path:
    """The folder of a run of 30 s in three files that ended before all was dealt with."""
    spool = begin()
    for second in range(30):
        spool.write(speech(second * SECOND, SECOND))
    spool.close(clean=False)
    (found,) = (each for each in folder.iterdir() if each.is_dir())
    return found


def test_nothing_is_left_of_a_run_that_was_dealt_with(
    folder: Path, begin: Begin, speech: Speech
) -> None:
    spool = begin()
    spool.write(speech(0, SECOND))
    spool.close()
    spool.close()
    spool.write(speech(0, SECOND))
    assert list(folder.iterdir()) == []
    assert leftovers(folder) == []
    assert leftovers(folder / "missing") == []


def test_a_run_dealt_with_but_not_closed_is_cleared_away(
    folder: Path, begin: Begin, speech: Speech
) -> None:
    spool = begin()
    spool.write(speech(0, SECOND))
    spool.done_before(99.0)  # more than there was
    spool.close(clean=False)
    assert leftovers(folder) == []
    assert list(folder.iterdir()) == []


def test_oldest_first_and_each_with_its_description(
    folder: Path, begin: Begin, speech: Speech, all_of: AllOf
) -> None:
    for number in range(3):
        spool = begin(about={"visit": number, "log": folder})
        spool.write(speech(number, 100))
        spool.note({"visit": number + 10, "limb": "LH", "log": folder})
        spool.close(clean=False)
    found = leftovers(folder)
    assert [each.about["visit"] for each in found] == [10, 11, 12]
    assert found[0].about == {"visit": 10, "limb": "LH", "log": str(folder)}
    for number, left in enumerate(found):
        assert np.array_equal(all_of(left), speech(number, 100))
        assert np.array_equal(all_of(left), speech(number, 100))  # may be read again
    found[1].remove()
    assert not found[1].path.exists()
    del left, found
    assert [each.about["visit"] for each in leftovers(folder)] == [10, 12]


def test_sound_that_16_bits_cannot_hold(folder: Path, begin: Begin, all_of: AllOf) -> None:
    spool = begin()
    spool.write(np.array([2.0, -2.0, np.nan, np.inf, -np.inf, 0.5], np.float32))
    spool.write(np.zeros(0, np.float32))
    spool.close(clean=False)
    (left,) = leftovers(folder)
    top = 32767 / 32768
    assert all_of(left).tolist() == [top, -1.0, 0.0, top, -1.0, 0.5]


def test_a_run_that_goes_on_is_not_touched(folder: Path, begin: Begin, speech: Speech) -> None:
    spool = begin()
    spool.write(speech(0, SECOND))
    before = sorted(folder.rglob("*"))
    assert leftovers(folder) == []
    program = """
import sys
from pathlib import Path
from handsfree.spool import leftovers
print(len(leftovers(Path(sys.argv[1]))))
"""
    arguments = [sys.executable, "-c", program, str(folder)]
    seen = [subprocess.run(arguments, cwd=ROOT, capture_output=True, text=True).stdout]
    assert sorted(folder.rglob("*")) == before
    spool.close(clean=False)
    claimed = leftovers(folder)
    assert leftovers(folder) == []  # somebody recovers it
    seen.append(subprocess.run(arguments, cwd=ROOT, capture_output=True, text=True).stdout)
    del claimed
    seen.append(subprocess.run(arguments, cwd=ROOT, capture_output=True, text=True).stdout)
    assert seen == ["0\n", "0\n", "1\n"]


def test_a_recovery_that_is_cut_short_goes_on(
    folder: Path, run: Path, speech: Speech, all_of: AllOf
) -> None:
    (left,) = leftovers(folder)
    left.done_before(12.5)
    left.done_before(3.0)  # never backwards
    del left
    (left,) = leftovers(folder)
    assert (left.start_s, left.seconds) == (12.5, 17.5)
    assert np.array_equal(all_of(left), speech(200_000, 280_000))
    left.remove()
    assert list(folder.iterdir()) == []


def test_garbage_around_the_sound(folder: Path, run: Path, speech: Speech, all_of: AllOf) -> None:
    (folder / "notes.txt").write_text("mine")
    (folder / "broken.lock").write_bytes(b"\xff")
    (folder / "photos").mkdir()
    (folder / "photos" / "horse.jpg").write_bytes(b"jpg")
    (folder / "20200101T000000000000-ab").mkdir()  # killed before its first sound
    (folder / "20200101T000000000001-ab.lock").touch()  # killed before its folder
    (folder / "20200101T000000000002-ab").write_text("a file with the name of a run")
    (run / "000000160000.pcm").open("ab").write(b"\x7f")  # killed in the middle of a sample
    (run / "000000480000.pcm").touch()
    (run / "000000000007.pcm").mkdir()
    (run / "about-000009.json.part").write_text('{"abo')
    (run / "about-000008.json").write_bytes(b"\x00" * 100)
    (run / "about-000007.json").write_text("[" * 100_000)
    (run / "about-000006.json").write_text(json.dumps({"about": [1]}))
    (run / "x.pcm").write_bytes(b"no sound")
    (run / "position").write_text("000000480000 00000000\n")  # a wrong checksum hides nothing
    (left,) = leftovers(folder)
    assert left.about == {"visit": "v1", "limb": None}
    assert np.array_equal(all_of(left), speech(0, 30 * SECOND))
    assert not (folder / "20200101T000000000000-ab").exists()
    assert not (folder / "20200101T000000000001-ab.lock").exists()
    left.remove()
    del left
    assert leftovers(folder) == []
    kept = sorted(str(each.relative_to(folder)) for each in folder.rglob("*") if each.is_file())
    strangers = ["20200101T000000000002-ab", "broken.lock", "notes.txt", "photos/horse.jpg"]
    assert kept == sorted([*strangers, f"{run.name}/x.pcm"])


@pytest.mark.parametrize("how", ["missing", "empty", "binary", "null"])
def test_sound_without_a_description(folder: Path, run: Path, speech: Speech, how: str) -> None:
    (about,) = run.glob("about-*")
    about.write_bytes({"empty": b"", "binary": b"\xff\x00", "null": b"null"}.get(how, b""))
    if how == "missing":
        about.unlink()
    (left,) = leftovers(folder)
    assert left.about == {}
    assert left.seconds == 30.0


def test_sound_in_a_folder_of_another_name(folder: Path, run: Path) -> None:
    run.rename(folder / "copied by hand")
    (left,) = leftovers(folder)
    assert left.seconds == 30.0


def test_a_file_missing_between_makes_two_stretches(
    folder: Path, run: Path, speech: Speech, all_of: AllOf
) -> None:
    (run / "000000160000.pcm").unlink()
    (run / "000000320001.pcm").write_bytes(b"\x01\x00" * 10)  # already in the one before
    first, second = leftovers(folder)
    assert (first.start_s, first.seconds, second.start_s, second.seconds) == (0, 10, 20, 10)
    assert np.array_equal(all_of(second), speech(20 * SECOND, 10 * SECOND))
    first.remove()
    assert np.array_equal(all_of(second), speech(20 * SECOND, 10 * SECOND))
    second.remove()
    assert list(folder.iterdir()) == []


def test_reading_needs_little_memory(folder: Path, begin: Begin, speech: Speech) -> None:
    spool = begin()
    for second in range(600):
        spool.write(speech(second * SECOND, SECOND))
    spool.close(clean=False)
    (left,) = leftovers(folder)
    tracemalloc.start()
    count = sum(len(block) for block in left.blocks())
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert count == 600 * SECOND
    assert peak < 1_000_000


def test_what_cannot_be_read_is_silence_of_its_length(
    folder: Path, run: Path, speech: Speech, all_of: AllOf
) -> None:
    (left,) = leftovers(folder)
    (run / "000000160000.pcm").unlink()
    found = all_of(left)
    assert np.array_equal(found[: 10 * SECOND], speech(0, 10 * SECOND))
    assert not found[10 * SECOND : 20 * SECOND].any()
    assert np.array_equal(found[20 * SECOND :], speech(20 * SECOND, 10 * SECOND))


def test_what_cannot_be_removed_is_told(folder: Path, run: Path) -> None:
    (left,) = leftovers(folder)
    (run / "000000160000.pcm").unlink()
    (run / "000000160000.pcm").mkdir()
    with pytest.raises(LogError, match=f"sound kept in {run}: .*; check the permissions"):
        left.remove()


@pytest.mark.skipif(os.name != "posix", reason="file modes are of POSIX systems")
def test_only_the_owner_can_hear_it(tmp_path: Path, begin: Begin, speech: Speech) -> None:
    before = os.umask(0)
    try:
        spool = begin(tmp_path / "new" / "spool")
        spool.write(speech(0, SECOND))
        spool.done_before(0.5)
    finally:
        os.umask(before)
    made = [tmp_path / "new", *(tmp_path / "new").rglob("*")]
    modes = {each.suffix or each.name: stat.S_IMODE(each.stat().st_mode) for each in made}
    assert {modes[each] for each in (".pcm", ".json", ".lock", "position")} == {0o600}
    assert {stat.S_IMODE(each.stat().st_mode) for each in made if each.is_dir()} == {0o700}
