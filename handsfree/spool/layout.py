"""What a spool looks like on the disk, so that any program can read it.

    <log>.spool/
        20261125T081500123456-1f0a.lock     held by the process that listens
        20261125T081500123456-1f0a/         one listening run, named by its beginning (UTC)
            000000000000.pcm                sound from sample 0 on, about 10 s
            000000160000.pcm                from sample 160 000 on
            about-000003.json               what the run is about, the highest number counts
            position                        the first sample not dealt with, with a checksum

Sound is 16-bit signed little-endian mono PCM at 16 kHz without a header, so that a file cut
anywhere is still whole up to its last full sample
(`ffmpeg -f s16le -ar 16000 -ac 1 -i 000000000000.pcm x.wav` makes it a WAV file). Full scale
1.0 is 32768, as in libsndfile. The lock is beside the run's folder because Windows neither
renames nor removes a folder with an open file in it.
"""

import json
import os
import re
import secrets
import zlib
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from errno import ENOSYS
from pathlib import Path
from typing import Any

import numpy as np
from filelock import BaseFileLock, FileLock, Timeout

from handsfree.engines.base import SAMPLE_RATE, Sound

SAMPLE_BYTES = 2
FULL_SCALE = 32768.0
POSITION = "position"
LOCK_SUFFIX = ".lock"
PART_SUFFIX = ".part"
_RUN = re.compile(r"\d{8}T\d{12}-[0-9a-f]+")
_SEGMENT = re.compile(r"(\d{12})\.pcm")
_ABOUT = re.compile(r"about-(\d{6,})\.json(\.part)?")
_MOST_JSON_BYTES = 1 << 20


def to_bytes(sound: Sound) -> bytes:
    """The sound as PCM; what is over full scale is cut off, what is no number is silence."""
    flat = np.nan_to_num(np.asarray(sound, np.float32).reshape(-1), posinf=1.0, neginf=-1.0)
    data: bytes = np.clip(np.rint(flat * FULL_SCALE), -32768, 32767).astype("<i2").tobytes()
    return data


def to_sound(data: bytes) -> Sound:
    """PCM as sound, shape (n,); a torn last sample is left out."""
    whole = len(data) // SAMPLE_BYTES * SAMPLE_BYTES
    return np.frombuffer(data[:whole], "<i2").astype(np.float32) / np.float32(FULL_SCALE)


@dataclass(frozen=True, order=True)
class Segment:
    """A file of sound; `start` and `end` count samples from the beginning of the run."""

    start: int
    end: int
    path: Path


def segment_path(run: Path, start: int) -> Path:
    """The file whose first sample is number `start`."""
    return run / f"{start:012d}.pcm"


def segments(run: Path) -> list[Segment]:
    """The files of sound in a run's folder with at least one whole sample, in order."""
    found = []
    for path in _files(run):
        name = _SEGMENT.fullmatch(path.name)
        if name is None:
            continue
        with suppress(OSError):
            samples = path.stat().st_size // SAMPLE_BYTES
            if samples:
                found.append(Segment(int(name[1]), int(name[1]) + samples, path))
    return sorted(found)


def _files(folder: Path) -> list[Path]:
    """The ordinary files in a folder, by name; none where it cannot be read."""
    try:
        return sorted(p for p in folder.iterdir() if p.is_file() and not p.is_symlink())
    except OSError:
        return []


def new_run(folder: Path) -> Path:
    """A name for a run that begins now; sorting by name sorts by time."""
    return folder / f"{datetime.now(UTC):%Y%m%dT%H%M%S%f}-{secrets.token_hex(4)}"


def is_run(path: Path) -> bool:
    """Whether it is the folder of a run: by its name, or by the sound in it."""
    if path.is_symlink() or not path.is_dir():
        return False
    return bool(_RUN.fullmatch(path.name) or segments(path))


def lock_path(run: Path) -> Path:
    """The lock that the process with this run holds."""
    return run.with_name(run.name + LOCK_SUFFIX)


def is_lock_alone(path: Path) -> bool:
    """Whether it is the lock of a run whose folder is gone."""
    if path.suffix != LOCK_SUFFIX or not _RUN.fullmatch(path.stem) or not path.is_file():
        return False
    return not path.with_suffix("").exists()


def claim(path: Path) -> BaseFileLock | None:
    """Hold the lock, or None where a living process (this one too) does.

    The system gives it back however its process ends. Raises OSError where the file cannot
    be made or the file system knows no locks.
    """
    # Made in one thread and given back in another.
    lock = FileLock(path, mode=0o600, thread_local=False)
    try:
        lock.acquire(timeout=0)
    except Timeout:
        return None
    except NotImplementedError as error:
        raise OSError(ENOSYS, "files cannot be locked there", str(path)) from error
    return lock


def let_go(lock: BaseFileLock, path: Path) -> None:
    """Give the lock back and remove its file."""
    # Windows removes no open file, elsewhere it is safest while the lock is held.
    with suppress(OSError):
        path.unlink()
    with suppress(OSError):
        lock.release()
    with suppress(OSError):
        path.unlink()


def make_folder(folder: Path) -> None:
    """Make the folder and the missing ones above it, each for the owner only."""
    for each in reversed([folder, *folder.parents]):
        if not each.is_dir():
            each.mkdir(mode=0o700, exist_ok=True)


def private(path: str, flags: int) -> int:
    """An opener for `open` that makes files for the owner only."""
    return os.open(path, flags, 0o600)


def write_position(run: Path, sample: int) -> None:
    """Keep the number of the first sample not dealt with. Raises OSError."""
    number = f"{sample:012d}"
    text = f"{number} {zlib.crc32(number.encode()):08x}\n"
    # Overwritten in place: that needs no room on a full disk, and as its length never
    # changes a kill finds the old line or the new one.
    handle = os.open(run / POSITION, os.O_WRONLY | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o600)
    try:
        os.write(handle, text.encode())
    finally:
        os.close(handle)


def read_position(run: Path) -> int:
    """The number of the first sample not dealt with; 0 where it is not known."""
    try:
        with (run / POSITION).open("rb") as file:
            number, check = file.read(64).decode("ascii").split()
        return int(number) if int(check, 16) == zlib.crc32(number.encode()) else 0
    except (OSError, ValueError):
        return 0


def write_about(run: Path, number: int, about: Mapping[str, Any]) -> Path:
    """Write description number `number`; older ones stay until this one is safe. OSError."""
    path = run / f"about-{number:06d}.json"
    part = Path(f"{path}{PART_SUFFIX}")
    whole = {"encoding": "s16le mono", "rate_hz": SAMPLE_RATE, "about": dict(about)}
    try:
        with open(part, "w", encoding="utf-8", opener=private) as file:
            file.write(json.dumps(whole, default=str, indent=1))
        part.replace(path)
    except OSError:
        with suppress(OSError):
            part.unlink()
        raise
    return path


def read_about(run: Path) -> dict[str, Any]:
    """The newest description that can be read; empty where there is none."""
    numbered = [(int(m[1]), p) for p in _files(run) if (m := _ABOUT.fullmatch(p.name)) and not m[2]]
    for _, path in sorted(numbered, reverse=True):
        try:
            if path.stat().st_size > _MOST_JSON_BYTES:
                continue
            whole = json.loads(path.read_text("utf-8"))
        except (OSError, ValueError, RecursionError):
            continue
        if isinstance(whole, dict) and isinstance(whole.get("about"), dict):
            return dict(whole["about"])
    return {}


def older_abouts(run: Path, than: Path) -> Iterable[Path]:
    """The descriptions that `than` replaces."""
    return [p for p in _files(run) if _ABOUT.fullmatch(p.name) and p.name < than.name]


def remove_run(run: Path) -> None:
    """Remove the files of a run and its folder; files that are not ours stay, and it then."""
    for path in _files(run):
        if path.name == POSITION or _SEGMENT.fullmatch(path.name) or _ABOUT.fullmatch(path.name):
            with suppress(OSError):
                path.unlink()
    with suppress(OSError):
        run.rmdir()


def to_disk(path: Path) -> None:
    """Wait until a file or the list of a folder is on the disk. Raises OSError.

    One that is gone needs nothing. On macOS the disk's own cache may still hold it.
    """
    if path.is_dir():
        if os.name != "posix":
            return  # Windows neither has nor needs it
        flags = os.O_RDONLY
    else:
        flags = os.O_RDWR | getattr(os, "O_BINARY", 0)
    try:
        handle = os.open(path, flags)
    except FileNotFoundError:
        return
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
