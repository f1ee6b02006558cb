"""A disk that is full, cannot be written or is slow: the sound waits in memory, with a bound."""

import inspect
import os
import subprocess
import sys
import threading
import time
import tracemalloc
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest

from handsfree.engines.base import Sound
from handsfree.spool import Leftover, Spool, leftovers, writing

ROOT = Path(__file__).parents[2]
SECOND = 16_000

Speech = Callable[[int, int], Sound]
AllOf = Callable[[Leftover], Sound]
Begin = Callable[..., Spool]


def write(spool: Spool, speech: Speech, start_s: int, end_s: int) -> None:
    for second in range(start_s, end_s):
        for part in range(4):
            spool.write(speech(second * SECOND + part * 4000, 4000))


def fill(path: Path) -> None:
    """Take all the room there is."""
    with path.open("wb", buffering=0) as file, suppress(OSError):
        while file.write(bytes(4096)):
            pass


def used(folder: Path) -> int:
    return sum(each.stat().st_size for each in folder.rglob("*") if each.is_file())


def test_a_full_disk_that_gets_room_again(
    small_disk: Path, begin: Begin, speech: Speech, all_of: AllOf
) -> None:
    filler = small_disk / "other"
    filler.write_bytes(bytes(600_000))
    spool = begin(small_disk / "spool")
    write(spool, speech, 0, 60)
    line = spool.trouble()
    assert line == (
        "the disk is full: the last 10 minutes of sound are kept in memory only "
        f"({small_disk / 'spool'})"
    )
    assert spool.trouble() is None  # told once
    write(spool, speech, 60, 62)
    assert spool.trouble() is None
    assert used(small_disk / "spool") > 200_000  # what there was room for is on it
    spool.done_before(50.5)  # makes room as well
    filler.unlink()
    write(spool, speech, 62, 64)
    assert spool.trouble() == "the disk has room again: what memory held is on it now"
    assert spool.trouble() is None
    spool.close(clean=False)
    (left,) = leftovers(small_disk / "spool")
    assert (left.start_s, left.seconds) == (50.5, 13.5)
    assert np.array_equal(all_of(left), speech(round(50.5 * SECOND), round(13.5 * SECOND)))


def test_a_full_disk_in_the_middle_of_a_sample(
    small_disk: Path, begin: Begin, speech: Speech, all_of: AllOf
) -> None:
    """What a short write left behind is neither doubled nor torn."""
    spool = begin(small_disk / "spool")
    at, chance = 0, np.random.default_rng(5)
    for _ in range(12):
        filler = small_disk / "other"
        fill(filler)
        for count in chance.integers(1, 9000, 6).tolist():
            spool.write(speech(at, count))
            at += count
        filler.unlink()
        spool.write(speech(at, SECOND))
        at += SECOND
        spool.done_before((at - 9 * SECOND) / SECOND)
    spool.close(clean=False)
    (left,) = leftovers(small_disk / "spool")
    found = all_of(left)
    start = round(left.start_s * SECOND)
    assert start + len(found) == at
    assert np.array_equal(found, speech(start, len(found)))


LIMITED = """
import resource, sys
from pathlib import Path
import numpy as np
from handsfree.spool import Spool
SPEECH
folder, limit = Path(sys.argv[1]), int(sys.argv[2])
resource.setrlimit(resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY))
spool = Spool.create(folder, {"visit": "v1"})
for second in range(30):
    spool.write(speech(second * 16000, 16000))
print(spool.trouble())
resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
spool.write(speech(480000, 16000))
print(spool.trouble())
sys.stdout.flush()
import os
os.kill(os.getpid(), 9)
"""


@pytest.mark.skipif(os.name != "posix", reason="limits of file sizes are of POSIX systems")
@pytest.mark.parametrize("limit", [0, 1001, 100_001])
def test_files_that_may_not_grow(folder: Path, speech: Speech, all_of: AllOf, limit: int) -> None:
    script = LIMITED.replace("SPEECH", inspect.getsource(speech).replace("-> Sound", ""))
    arguments = [sys.executable, "-c", script, str(folder), str(limit)]
    done = subprocess.run(arguments, cwd=ROOT, capture_output=True, text=True)
    assert done.stderr == ""
    lines = done.stdout.splitlines()
    if limit < 100_001:  # larger files are only begun more often
        assert "a file there may not grow so large" in lines[0]
        assert lines[1] == "sound can be kept on the disk again: what memory held is on it now"
    (left,) = leftovers(folder)
    assert np.array_equal(all_of(left), speech(0, 31 * SECOND))
    assert left.about == {"visit": "v1"}


def test_a_file_where_the_folder_should_be(
    folder: Path, begin: Begin, speech: Speech, all_of: AllOf
) -> None:
    folder.write_text("in the way")
    spool = begin()
    write(spool, speech, 0, 3)
    assert spool.trouble() == (
        f"sound cannot be kept in {folder}: it is no folder; move that file away; "
        "the last 10 minutes of sound are kept in memory only"
    )
    spool.note({"visit": "v2"})
    spool.done_before(1.25)
    assert folder.read_text() == "in the way"
    folder.unlink()
    write(spool, speech, 3, 5)
    assert spool.trouble() == "sound can be kept on the disk again: what memory held is on it now"
    spool.close(clean=False)
    (left,) = leftovers(folder)
    assert left.about == {"visit": "v2"}
    assert left.start_s == 1.25
    assert np.array_equal(all_of(left), speech(20_000, 60_000))


def test_a_disk_that_becomes_read_only(
    small_disk: Path, begin: Begin, speech: Speech, all_of: AllOf
) -> None:
    def remount(how: str) -> None:
        subprocess.run(["mount", "-o", f"remount,{how}", str(small_disk)], check=True)

    remount("ro")
    spool = begin(small_disk / "spool")
    write(spool, speech, 0, 2)
    assert "cannot be written; check its permissions" in str(spool.trouble())
    remount("rw")
    write(spool, speech, 2, 4)
    assert spool.trouble() == "sound can be kept on the disk again: what memory held is on it now"
    spool.close(clean=False)
    remount("ro")
    assert leftovers(small_disk / "spool") == []  # could not be removed after: it stays for later
    remount("rw")
    (left,) = leftovers(small_disk / "spool")
    assert np.array_equal(all_of(left), speech(0, 4 * SECOND))


def test_a_folder_that_vanishes(folder: Path, begin: Begin, speech: Speech, all_of: AllOf) -> None:
    """The sound in it is gone with it, but not what comes after."""
    spool = begin()
    write(spool, speech, 0, 12)
    for path in sorted(folder.rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() else path.unlink()
    folder.rmdir()
    write(spool, speech, 12, 15)
    spool.done_before(12.5)
    spool.close(clean=False)
    (left,) = leftovers(folder)
    assert left.about == {"visit": "v1", "limb": None}
    assert np.array_equal(all_of(left), speech(200_000, 40_000))


def test_memory_for_hours_of_listening(folder: Path, begin: Begin, speech: Speech) -> None:
    spool = begin()
    block = speech(0, SECOND)
    tracemalloc.start()
    most_kept = 0
    for second in range(1, 4 * 3600 + 1):
        spool.write(block)
        if second % 7 == 0:
            spool.done_before(second - 3)
        if second % 600 == 0:
            most_kept = max(most_kept, used(folder))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert spool.trouble() is None
    assert peak < 5_000_000  # of 460 MB of sound; rubbish of other tests is in it
    assert most_kept < 3 * 10 * SECOND * 2  # seconds to be dealt with, to the file's end
    spool.close()
    assert list(folder.iterdir()) == []


def test_memory_while_the_disk_takes_nothing(
    folder: Path, begin: Begin, speech: Speech, all_of: AllOf, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(writing, "MEMORY_S", 30.0)
    folder.write_text("in the way")
    spool = begin()
    write(spool, speech, 0, 20)
    assert str(spool.trouble()).endswith("minutes of sound are kept in memory only")
    tracemalloc.start()
    write(spool, speech, 20, 120)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 30 * SECOND * 2 + 500_000
    assert str(spool.trouble()).endswith("the oldest sound is being lost")
    assert spool.trouble() is None
    folder.unlink()
    write(spool, speech, 120, 122)
    line = str(spool.trouble())
    assert spool.trouble() is None
    spool.close(clean=False)
    (left,) = leftovers(folder)
    start = round(left.start_s * SECOND)
    assert 90 <= left.start_s <= 91  # tried again at once or within a second
    assert line == (
        "sound can be kept on the disk again: what memory held is on it now, "
        f"but {left.start_s:.0f} s of sound were lost before"
    )
    assert np.array_equal(all_of(left), speech(start, 122 * SECOND - start))


def test_the_disk_is_waited_for_in_another_thread(
    folder: Path, begin: Begin, speech: Speech, monkeypatch: pytest.MonkeyPatch
) -> None:
    synced: dict[int, int] = {}
    real = os.fsync

    def fsync(handle: int) -> None:
        real(handle)
        synced[os.fstat(handle).st_ino] = threading.get_ident()

    monkeypatch.setattr(os, "fsync", fsync)
    monkeypatch.setattr(writing, "SYNC_S", 0.01)
    spool = begin()
    write(spool, speech, 0, 25)
    spool.done_before(12)
    spool.note({"visit": "v2"})
    (run,) = (each for each in folder.iterdir() if each.is_dir())
    deadline = time.monotonic() + 20
    expected = ["000000160000.pcm", "000000320000.pcm", "about-000002.json", "position"]
    while sorted(os.listdir(run)) != expected or _unsynced(run, synced):
        assert time.monotonic() < deadline
        time.sleep(0.005)
    assert run.stat().st_ino in synced
    assert threading.get_ident() not in synced.values()
    assert sorted(os.listdir(run)) == expected


def _unsynced(run: Path, synced: dict[int, int]) -> set[int]:
    """Files of which the disk has not been waited for; one may go while they are listed."""
    found = set()
    for each in run.iterdir():
        with suppress(FileNotFoundError):
            found.add(each.stat().st_ino)
    return found - set(synced)


def test_a_disk_that_does_not_confirm(
    begin: Begin, speech: Speech, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fsync(handle: int) -> None:
        raise OSError(5, "Input/output error")

    spool = begin()
    write(spool, speech, 0, 1)
    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", fsync)
        spool._sync()
    assert "a power cut might lose it" in str(spool.trouble())
    assert spool.trouble() is None
    spool._sync()
    assert spool.trouble() == "the disk confirms again that it keeps the sound"
