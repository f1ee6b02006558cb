import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from handsfree.engines.base import Sound
from handsfree.spool import Leftover, Spool

ABOUT = {"visit": "v1", "limb": None}


def speech(start: int, count: int) -> Sound:
    """Sound that tells every place from every other near it, exact in 16 bits."""
    number = np.arange(start, start + count, dtype=np.int64)
    return (((number * 40503) ^ (number >> 9)) % 65536 - 32768).astype(np.float32) / 32768


def all_of(left: Leftover) -> Sound:
    return np.concatenate([np.zeros(0, np.float32), *left.blocks()])


@pytest.fixture(name="speech", scope="session")
def _speech() -> Callable[[int, int], Sound]:
    return speech


@pytest.fixture(name="all_of", scope="session")
def _all_of() -> Callable[[Leftover], Sound]:
    return all_of


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "log.db.spool"


@pytest.fixture
def begin(folder: Path) -> Iterator[Callable[..., Spool]]:
    """Begin a run; whatever is still open at the end is closed."""
    begun: list[Spool] = []

    def create(where: Path = folder, about: object = ABOUT) -> Spool:
        begun.append(Spool.create(where, about))
        return begun[-1]

    yield create
    for each in begun:
        each.close(clean=False)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 1 MiB of its own, 32 s of sound."""
    where = tmp_path / "disk"
    where.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(where)]
    try:
        subprocess.run(command, check=True, capture_output=True)
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("mounting a small disk needs Linux and the superuser")
    yield where
    subprocess.run(["umount", "--lazy", str(where)], check=True)
