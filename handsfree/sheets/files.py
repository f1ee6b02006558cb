"""Files written whole or not at all, and names for them that every system takes."""

import os
import re
import tempfile
import unicodedata
from collections.abc import Collection, Iterator
from contextlib import contextmanager, suppress
from datetime import date
from pathlib import Path
from typing import IO

from handsfree.errors import ExitCode, HandsfreeError

LONGEST_NAME_BYTES = 150
"""Of a file's name in UTF-8. Most systems take 255; copies on memory sticks and in mail less."""

_RESERVED = frozenset(
    {"CON", "PRN", "AUX", "NUL"}
    | {f"{port}{n}" for port in ("COM", "LPT") for n in "0123456789¹²³"}
)
_KEPT = frozenset("LMN")
"""Letters, marks and digits of any script (Unicode categories); all else becomes a hyphen."""


class FileRefused(HandsfreeError):
    """A file cannot be written, or is there already; the line names it and says what to do."""

    exit_code = ExitCode.USAGE


def write_new(path: Path, data: bytes | str, force: bool = False) -> None:
    """Write a file that is either there as a whole or not at all; text as UTF-8.

    Raises FileRefused as `new_file` does.
    """
    with new_file(path, force) as file:
        file.write(data if isinstance(data, bytes) else utf8(data))


@contextmanager
def new_file(path: Path, force: bool = False) -> Iterator[IO[bytes]]:
    """A file to write to, which gets its name once all of it is on the disk.

    It is readable by the user alone unless it takes the place of one that is not. Raises
    FileRefused where there is one of this name already and not `force`, where its folder is
    missing, where the name is that of a folder or a device, and where the disk refuses; what
    was there before is then as it was.
    """
    with _told_plainly(path):
        # What a link names is written, so that the link stays one.
        target = _target(path)
        mode = _check(path, target, force)
        handle, name = tempfile.mkstemp(prefix=".handsfree-", suffix=".part", dir=target.parent)
        part = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                yield file
                file.flush()
                os.fsync(file.fileno())
            if mode is not None:
                part.chmod(mode)
            _give_name(part, target, force)
        except BaseException:
            with suppress(OSError):
                part.unlink()
            raise
        _sync_folder(target.parent)


def _target(path: Path) -> Path:
    try:
        return path.resolve()
    except (ValueError, RuntimeError) as error:  # a NUL in the name; links in a circle
        raise FileRefused(f"{_shown(path)}: cannot be written: {error}") from error


def _check(path: Path, target: Path, force: bool) -> int | None:
    """Refuse what cannot be written; the mode of the file that is to be replaced."""
    if not target.parent.is_dir():
        raise FileRefused(f"{_shown(path)}: its folder is not there; make it first")
    if not os.path.lexists(target):
        return None
    if target.is_dir():
        raise FileRefused(f"{_shown(path)}: is a folder; name a file in it")
    if not target.is_file():
        raise FileRefused(f"{_shown(path)}: is no ordinary file; name another")
    if not force:
        raise FileExistsError
    return target.stat().st_mode & 0o777


def _give_name(part: Path, target: Path, force: bool) -> None:
    if force:
        os.replace(part, target)
        return
    try:
        # A link refuses a name that is taken, also one taken since it was looked at.
        os.link(part, target)
    except FileExistsError:
        raise
    except OSError:  # a disk without links, as most memory sticks are
        if os.path.lexists(target):
            raise FileExistsError from None
        os.replace(part, target)
        return
    part.unlink()


@contextmanager
def _told_plainly(path: Path) -> Iterator[None]:
    try:
        yield
    except FileExistsError:
        raise FileRefused(
            f"{_shown(path)}: is there already; name another file, or say --force to replace it"
        ) from None
    except OSError as error:
        reason = error.strerror or error
        raise FileRefused(f"{_shown(path)}: cannot be written: {reason}") from error


def _sync_folder(folder: Path) -> None:
    if os.name != "posix":
        return
    with suppress(OSError):  # some file systems cannot; the file itself is safe already
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _shown(path: Path) -> str:
    return printable(str(path))


def utf8(text: str) -> bytes:
    """The text in UTF-8; halves of characters (as in undecodable names) become U+FFFD."""
    whole = text.encode("utf-16-le", "surrogatepass").decode("utf-16-le", "replace")
    return whole.encode("utf-8")


_STEERING = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069\u2028\u2029\ufeff]")


def printable(text: str, keep: str = "") -> str:
    """The text with U+FFFD for whatever steers a screen or turns the direction of writing.

    `keep`: control characters that may stay (such as a line feed). Joiners stay: words of some
    scripts need them.
    """
    return "".join(
        "\N{REPLACEMENT CHARACTER}"
        if (unicodedata.category(c) in ("Cc", "Cs") and c not in keep) or _STEERING.match(c)
        else c
        for c in text
    )


def file_name(name: str, day: date | None, ending: str, taken: Collection[str] = ()) -> str:
    """A file's name made of a horse's name and a day: "Bramble-2026-11-25.html".

    Letters and digits of any script stay, all else becomes a hyphen. `taken` are names that
    are used already (upper and lower case alike): a number is put behind one of them.
    """
    of_day = f"-{day.isoformat()}" if day else ""
    kept = "".join(
        c if unicodedata.category(c)[0] in _KEPT else "-"
        for c in unicodedata.normalize("NFC", name)
    )
    words = re.sub("-+", "-", kept).strip("-") or "horse"
    if not of_day and words.upper() in _RESERVED:
        words = f"{words}-horse"
    used = {unicodedata.normalize("NFC", each).casefold() for each in taken}
    number = 1
    while True:
        end = f"{of_day}{f'-{number}' if number > 1 else ''}{ending}"
        whole = _cut(words, LONGEST_NAME_BYTES - len(end.encode())) + end
        if whole.casefold() not in used:
            return whole
        number += 1


def _cut(text: str, most_bytes: int) -> str:
    """The beginning of a text that takes so many bytes; no half character at its end."""
    return text.encode()[:most_bytes].decode("utf-8", "ignore").rstrip("-")
