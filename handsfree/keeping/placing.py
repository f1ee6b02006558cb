"""Files and folders that get their name only once all of them is on the disk."""

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from handsfree.sheets.files import FileRefused, printable


def shown(path: Path | str) -> str:
    """A path as it may be printed."""
    return printable(str(path))


def same(one: Path, other: Path) -> bool:
    """Whether both name one file that is there."""
    try:
        return os.path.samefile(one, other)
    except OSError:
        return False


def sync(path: Path) -> None:
    """Wait until the disk has the file (or the folder's list of names)."""
    if not path.is_dir():
        with path.open("rb+") as file:
            os.fsync(file.fileno())
    elif os.name == "posix":
        with suppress(OSError):  # some file systems sync no folders; the file is safe already
            handle = os.open(path, os.O_RDONLY)
            try:
                os.fsync(handle)
            finally:
                os.close(handle)


@contextmanager
def placed(target: Path, force: bool = False, folder: bool = False) -> Iterator[Path]:
    """A path to make a file or folder at; on leaving, it gets the name `target` in one step.

    It is for the owner only. Raises FileRefused where something has that name already (and, for
    a file, not `force`), where the folder above is missing, or the disk refuses; nothing is
    left behind then.
    """
    try:
        parent = target.parent
        if not parent.is_dir():
            raise FileRefused(f"{shown(target)}: its folder is not there; make it first")
        _check(target, force, folder)
        room = Path(tempfile.mkdtemp(prefix=".handsfree-", suffix=".part", dir=parent))
        try:
            part = room / "whole"
            if folder:
                part.mkdir(mode=0o700)
            yield part
            if not folder:
                part.chmod(0o600)
                sync(part)
            _check(target, force, folder)
            _name(part, target, force)
            sync(parent)
        finally:
            shutil.rmtree(room, ignore_errors=True)
    except OSError as error:
        raise FileRefused(
            f"{shown(target)}: cannot be written: {error.strerror or error}"
        ) from error


def _check(target: Path, force: bool, folder: bool) -> None:
    if not os.path.lexists(target):
        return
    if target.is_dir():
        raise FileRefused(f"{shown(target)}: is a folder that is there already; name another")
    if folder or not force:
        hint = "" if folder else ", or say --force to replace it"
        raise FileRefused(f"{shown(target)}: is there already; name another{hint}")
    if not target.is_file():
        raise FileRefused(f"{shown(target)}: is no ordinary file; name another")


def _name(part: Path, target: Path, force: bool) -> None:
    if force or part.is_dir():
        os.replace(part, target)
        return
    try:
        os.link(part, target)  # refuses a name that was taken meanwhile
    except FileExistsError:
        raise FileRefused(f"{shown(target)}: is there already; name another") from None
    except OSError:  # a disk without links, as most memory sticks are
        os.replace(part, target)
