"""Which files of folders are recordings."""

import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

TAKEN = frozenset(
    {".wav", ".wave", ".flac", ".mp3", ".m4a", ".aac", ".amr", ".3gp", ".3ga", ".ogg", ".oga"}
    | {".opus", ".wma", ".caf"}
)


@dataclass(frozen=True)
class Found:
    """A file to be taken; `why_not` where it cannot be."""

    path: Path
    why_not: str | None = None


def found(named: Iterable[Path]) -> Iterator[Found]:
    """The recordings among files and folders (with the folders in them), in order of name.

    A file that is named itself is taken whatever it is called; of folders what is no sound,
    and what begins with a dot, is passed over.
    """
    seen: set[Path] = set()
    for path in named:
        for each in _below(path) if path.is_dir() else [Found(path)]:
            try:
                real = each.path.resolve()
            except RuntimeError:
                real, each = each.path, Found(each.path, "is a link that leads round in a circle")
            if real not in seen:
                seen.add(real)
                yield each


def _below(folder: Path) -> Iterator[Found]:
    # Links to folders are not followed: they can lead round in a circle.
    for at, folders, names in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(names):
            path = Path(at) / name
            kind = path.suffix.lower()
            if not name.startswith(".") and kind in TAKEN:
                yield Found(path)
