"""A bag whose files lie open, and whether its checksums vouch for all of them (RFC 8493)."""

import hashlib
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from handsfree.errors import ExitCode, HandsfreeError
from handsfree.keeping.placing import shown
from handsfree.sheets.files import printable

_HASHES = ("sha256", "sha512")
"""What a manifest may be made with; md5 and sha1 can be forged."""


class ArchiveRefused(HandsfreeError):
    """An archive is not taken: the line says which, what is wrong and where."""

    exit_code = ExitCode.UNREADABLE


@dataclass(frozen=True)
class Bag:
    """An opened bag that is as it should be: name in it → the file with the same content."""

    source: Path
    files: dict[str, Path]

    def read(self, name: str, most: int) -> bytes:
        """The content of a file in it. Raises ArchiveRefused where it is missing or too long."""
        path = self.files.get(name)
        if path is None:
            raise self.refused(f"lacks {name}")
        if path.stat().st_size > most:
            raise self.refused(f"{name} has more than {most:,} bytes")
        return path.read_bytes()

    def refused(self, why: str) -> ArchiveRefused:
        """The error that says so of this bag."""
        return refused(self.source, why)


def refused(source: Path, why: str) -> ArchiveRefused:
    """The error that says why an archive is not taken."""
    return ArchiveRefused(f"archive {shown(source)}: {printable(why)}")


def check(bag: Bag) -> None:
    """Raise ArchiveRefused, naming the file, where anything is missing, too much or changed."""
    about = _text(bag, "bagit.txt")
    version = re.match(r"\ufeff?BagIt-Version:\s*(\d+\.\d+)\s*$", about, re.MULTILINE)
    if version is None or version[1] not in ("0.97", "1.0"):
        raise bag.refused("is no bag of a known version (bagit.txt says otherwise)")
    if not re.search(r"^Tag-File-Character-Encoding:\s*UTF-8\s*$", about, re.M | re.I):
        raise bag.refused("has tag files in another encoding than UTF-8")
    if "fetch.txt" in bag.files:
        raise bag.refused("is not whole: parts of it would have to be fetched (fetch.txt)")
    payload = {name for name in bag.files if name.startswith("data/")}
    tags = {
        name
        for name in bag.files
        if not name.startswith("data/") and not name.startswith("tagmanifest-")
    }
    if not _vouched(bag, "manifest", payload, whole=True):
        raise bag.refused("has no manifest made with sha256 or sha512")
    if not _vouched(bag, "tagmanifest", tags, whole=False):
        raise bag.refused("has no tagmanifest made with sha256 or sha512")


def _vouched(bag: Bag, kind: str, names: set[str], whole: bool) -> bool:
    found = False
    for method in _HASHES:
        manifest = f"{kind}-{method}.txt"
        if manifest not in bag.files:
            continue
        found = True
        listed = dict(_lines(bag, manifest))
        missing = sorted(listed.keys() - names)
        if missing:
            raise bag.refused(f"{missing[0]} is missing ({manifest} names it)")
        extra = sorted(names - listed.keys()) if whole else []
        if extra:
            raise bag.refused(f"{extra[0]} is not in {manifest}")
        for name, digest in listed.items():
            with bag.files[name].open("rb") as file:
                if hashlib.file_digest(file, method).hexdigest() != digest:
                    raise bag.refused(f"{name} is not what its checksum says ({manifest})")
    return found


def _lines(bag: Bag, manifest: str) -> Iterator[tuple[str, str]]:
    seen: set[str] = set()
    for line in re.split("\r\n|\n|\r", _text(bag, manifest)):
        if not line.strip():
            continue
        parts = re.fullmatch(r"([0-9A-Fa-f]+)[ \t]+\*?(.+)", line)
        if parts is None:
            raise bag.refused(f"{manifest} has a line that is none: {line[:60]!r}")
        name = re.sub("%(0A|0D|25)", lambda m: chr(int(m[1], 16)), parts[2], flags=re.I)
        name = unicodedata.normalize("NFC", name)
        if name in seen:
            raise bag.refused(f"{manifest} names {name} twice")
        seen.add(name)
        yield name, parts[1].lower()


def _text(bag: Bag, name: str) -> str:
    try:
        return bag.read(name, 256 << 20).decode("utf-8")
    except UnicodeDecodeError as error:
        raise bag.refused(f"{name} is not in UTF-8") from error
