"""When a recording was made, and what says so."""

import os
import struct
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from handsfree.bringing.times import BEXT, CHANGED, DAY, NAME, in_name, made

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)


def wave(path: Path, *chunks: tuple[bytes, bytes]) -> Path:
    body = b"WAVE" + b"".join(kind + struct.pack("<I", len(data)) + data for kind, data in chunks)
    path.write_bytes(b"RIFF" + struct.pack("<I", len(body)) + body)
    os.utime(path, (1_780_000_000, 1_780_000_000))
    return path


def bext(day: bytes, time: bytes) -> tuple[bytes, bytes]:
    """EBU Tech 3285: description 256, originator 32, its reference 32, date 10, time 8."""
    return b"bext", bytes(320) + day + time + bytes(264)


@pytest.mark.parametrize("apart", [(b"-", b":"), (b"_", b"-"), (b".", b".")])
def test_the_header_comes_first(tmp_path: Path, apart: tuple[bytes, bytes]) -> None:
    day, time = apart[0].join([b"2026", b"05", b"14"]), apart[1].join([b"09", b"30", b"05"])
    found = made(wave(tmp_path / "2025-01-02_03-04.wav", bext(day, time)), 1.0, NOW)
    assert (found.at.replace(tzinfo=None), found.by) == (datetime(2026, 5, 14, 9, 30, 5), BEXT)


def test_ixml_says_it_too(tmp_path: Path) -> None:
    xml = (
        b"<BWFXML><BEXT><BWF_ORIGINATION_DATE>2026-05-14</BWF_ORIGINATION_DATE>"
        b"<BWF_ORIGINATION_TIME>09:30:00</BWF_ORIGINATION_TIME></BEXT></BWFXML>"
    )
    found = made(wave(tmp_path / "x.wav", (b"data", b"1234"), (b"iXML", xml)), 1.0, NOW)
    assert (found.at.replace(tzinfo=None), found.by) == (datetime(2026, 5, 14, 9, 30), BEXT)


@pytest.mark.parametrize(
    "day", [b"2000-01-01", b"1980-01-01", b"2126-05-14", b"2026-13-45", b"0" * 10]
)
def test_a_clock_that_was_never_set_is_passed_over(tmp_path: Path, day: bytes) -> None:
    path = wave(tmp_path / "2026-05-14_09-30-59.wav", bext(day, b"00:00:00"))
    found = made(path, 1.0, NOW)
    assert (found.at.replace(tzinfo=None), found.by) == (datetime(2026, 5, 14, 9, 30, 59), NAME)


@pytest.mark.parametrize(
    ("name", "at"),
    [
        ("2026-05-14_09-30.wav", datetime(2026, 5, 14, 9, 30)),
        ("2026-05-14_09-30 Duke.wav", datetime(2026, 5, 14, 9, 30)),
        ("Recording 2026-05-14 at 09.30.15.wav", datetime(2026, 5, 14, 9, 30, 15)),
        ("20260514_093015.wav", datetime(2026, 5, 14, 9, 30, 15)),
        ("R20260514-093015.WAV", datetime(2026, 5, 14, 9, 30, 15)),
        ("VOICE_20260514T0930.flac", datetime(2026, 5, 14, 9, 30)),
        ("0001 2026.05.14 9h.wav", None),
        ("2026-13-45_09-30.wav", None),
        ("REC0001.WAV", None),
        ("12345678901234567890.wav", None),
        ("call +44 20 1234 5678.wav", None),
    ],
)
def test_names(name: str, at: datetime | None) -> None:
    found = in_name(name)
    if at is None:
        assert found is None or found[1] is False
    else:
        assert found == (at, True)


def test_a_day_alone_is_said_to_be_one(tmp_path: Path) -> None:
    found = made(wave(tmp_path / "2026-05-14 Duke.wav"), 1.0, NOW)
    assert (found.at.replace(tzinfo=None), found.by) == (datetime(2026, 5, 14, 12), DAY)


def test_the_last_resort_is_the_file_system(tmp_path: Path) -> None:
    found = made(wave(tmp_path / "REC0001.WAV"), 90.0, NOW)
    ended = datetime.fromtimestamp(1_780_000_000, UTC)
    assert (found.at, found.by) == (ended - timedelta(seconds=90), CHANGED)
