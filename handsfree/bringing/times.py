"""When a recording was made: from what is in the file, else its name, else the file system.

Layouts: "bext" chunk as in EBU Tech 3285 (Broadcast Wave Format): date (10 characters) at
byte 320, time of day (8) at byte 330, both by the recorder's own clock; "iXML" chunk: the same
two as text between tags.
"""

import re
import struct
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import IO

BEXT = "the recording's own header"
NAME = "the file's name"
DAY = "the day in the file's name, the time of day unknown"
CHANGED = "when the file was last changed, less its length"

_OLDEST = 1995
"""Years before this come from clocks that were never set (common practice, no source)."""

_MOST_CHUNKS = 1000
_MOST_XML = 1 << 16

_STAMP = re.compile(
    r"(?<!\d)(?P<year>20\d\d)[-_. ]?(?P<month>\d\d)[-_. ]?(?P<day>\d\d)"
    r"(?:[-_. T]*(?:at[-_ ])?(?P<hour>\d\d)[-_.:h ]?(?P<minute>\d\d)"
    r"(?:[-_.:m ]?(?P<second>\d\d))?)?"
    r"(?!\d)",
    re.ASCII,
)
_DATE = re.compile(rb"(\d{4})\D(\d\d)\D(\d\d)")
_TIME = re.compile(rb"(\d\d)\D(\d\d)\D(\d\d)")


@dataclass(frozen=True)
class Made:
    """When a recording began (with the offset of this place), and what says so."""

    at: datetime
    by: str


def made(path: Path, duration_s: float | None, latest: datetime) -> Made:
    """When the recording at `path` began; `latest` is the last moment to be believed.

    Clocks of recorders stand at their first day until they are set: such dates, and days to
    come, are passed over. Raises OSError where the file cannot be read.
    """
    with path.open("rb") as file:
        found = _believed(_in_header(file), latest)
    if found is not None:
        return Made(found.astimezone(), BEXT)
    named = in_name(path.name)
    if named is not None:
        at, whole = named
        if _believed(at, latest) is not None:
            return Made(at.astimezone(), NAME if whole else DAY)
    changed = datetime.fromtimestamp(path.stat().st_mtime, UTC).astimezone()
    return Made(changed - timedelta(seconds=duration_s or 0.0), CHANGED)


def in_name(name: str) -> tuple[datetime, bool] | None:
    """The day in a file's name, and the time of day if it is there too (else noon, False)."""
    for found in _STAMP.finditer(name):
        parts = {key: int(value) for key, value in found.groupdict().items() if value}
        whole = "hour" in parts
        try:
            return datetime(**({"hour": 12} | parts)), whole  # type: ignore[arg-type]
        except ValueError:
            continue
    return None


def _believed(at: datetime | None, latest: datetime) -> datetime | None:
    if at is None or at.year < _OLDEST or (at.month, at.day, at.year) == (1, 1, 2000):
        return None
    return at if at.astimezone() <= latest + timedelta(days=1) else None


def _in_header(file: IO[bytes]) -> datetime | None:
    chunks = _chunks(file)
    bext = chunks.get(b"bext", b"")
    xml = chunks.get(b"iXML", b"")
    day = _DATE.match(bext[320:330]) or _tagged(xml, b"DATE", _DATE)
    time = _TIME.match(bext[330:338]) or _tagged(xml, b"TIME", _TIME)
    if day is None or time is None:
        return None
    (year, month, date), (hour, minute, second) = (map(int, m.groups()) for m in (day, time))
    try:
        return datetime(year, month, date, hour, minute, second)
    except ValueError:
        return None


def _tagged(xml: bytes, name: bytes, form: re.Pattern[bytes]) -> re.Match[bytes] | None:
    at = xml.find(b"<BWF_ORIGINATION_" + name + b">")
    return form.match(xml, at + len(name) + 18) if at >= 0 else None


def _chunks(file: IO[bytes]) -> dict[bytes, bytes]:
    """The beginnings of a WAV's chunks that may say when it was made."""
    start = file.read(12)
    if start[:4] not in (b"RIFF", b"RF64") or start[8:] != b"WAVE":
        return {}
    size = file.seek(0, 2)
    found: dict[bytes, bytes] = {}
    at = 12
    for _ in range(_MOST_CHUNKS):
        file.seek(at)
        head = file.read(8)
        if len(head) < 8 or at >= size:
            break
        kind, length = struct.unpack("<4sI", head)
        if kind in (b"bext", b"iXML"):
            found[kind] = file.read(min(length, _MOST_XML))
        at += 8 + length + length % 2
    return found
