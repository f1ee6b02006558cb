"""Whatever a file's header says: sound in bounded memory, or one line that names the file."""

import io
import struct
import tracemalloc
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from handsfree.audio.sources import SoundReader
from handsfree.bringing.times import made
from handsfree.errors import UnreadableSound

MOST_MEMORY = 48 << 20
MOST_BLOCKS = 400
"""Enough to come past any header; a file that promises more is not read to its end here."""


def sound_bytes(kind: str) -> bytes:
    file = io.BytesIO()
    noise = np.random.default_rng(1).normal(0, 0.1, 4000).astype(np.float32)
    soundfile.write(file, noise, 16000, format=kind)
    return file.getvalue()


WAV, FLAC = sound_bytes("WAV"), sound_bytes("FLAC")


def riff(rate: int, channels: int, bits: int, code: int, promised: int, data: bytes) -> bytes:
    width = channels * bits // 8
    form = struct.pack(
        "<HHIIHH", code, channels, rate, (rate * width) & 0xFFFFFFFF, width & 0xFFFF, bits
    )
    head = b"WAVEfmt " + struct.pack("<I", len(form)) + form
    body = head + b"data" + struct.pack("<I", promised) + data
    return b"RIFF" + struct.pack("<I", promised & 0xFFFFFFFF) + body


def read(data: bytes) -> int | None:
    """How many samples came, None where it was refused; checks what must hold of both."""
    tracemalloc.start()
    count, refused = 0, ""
    try:
        with SoundReader(io.BytesIO(data)) as reader:
            for block in islice(reader, MOST_BLOCKS):
                assert block.dtype == np.float32
                assert block.ndim == 1
                assert np.isfinite(block).all()
                assert np.abs(block).max(initial=0) <= 1
                count += len(block)
    except UnreadableSound as error:
        refused = str(error)
    finally:
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    assert peak < MOST_MEMORY
    assert "\n" not in refused
    assert len(refused) < 200
    return None if refused else count


RULES = settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@RULES
@given(st.binary(max_size=300), st.sampled_from([b"", b"RIFF", b"fLaC", b"RIFF\0\0\0\0WAVE"]))
def test_any_bytes(data: bytes, start: bytes) -> None:
    read(start + data)


@RULES
@given(st.sampled_from([WAV, FLAC]), st.integers(0, 8100))
def test_cut_anywhere(data: bytes, length: int) -> None:
    read(data[:length])


@RULES
@given(
    st.sampled_from([WAV, FLAC]),
    st.lists(st.tuples(st.integers(0, 90), st.integers(0, 255)), min_size=1, max_size=6),
)
def test_header_bytes_changed(data: bytes, changes: list[tuple[int, int]]) -> None:
    spoiled = bytearray(data)
    for at, value in changes:
        spoiled[at] = value
    read(bytes(spoiled))


@RULES
@given(
    rate=st.sampled_from([0, 1, 7, 8000, 16000, 192_000, 0x7FFFFFFF, 0xFFFFFFFF]),
    channels=st.sampled_from([0, 1, 2, 255, 1024, 0xFFFF]),
    bits=st.sampled_from([0, 1, 8, 16, 24, 32, 64, 0xFFFF]),
    code=st.sampled_from([0, 1, 2, 3, 6, 7, 0x11, 0x31, 0xFFFE]),
    promised=st.sampled_from([0, 1, 3, 4000, 0x7FFFFFFF, 0xFFFFFFF0, 0xFFFFFFFF]),
    data=st.binary(max_size=5000),
)
@example(1, 1, 16, 1, 4000, b"\1\2" * 200)
@example(0, 1, 16, 1, 4000, b"\1\2" * 200)
@example(0xFFFFFFFF, 1, 16, 1, 4000, b"\1\2" * 200)
@example(16000, 0xFFFF, 16, 1, 0xFFFFFFFF, b"\1\2" * 2000)
def test_headers_that_lie(
    rate: int, channels: int, bits: int, code: int, promised: int, data: bytes
) -> None:
    read(riff(rate, channels, bits, code, promised, data))


def test_a_whole_one_is_read() -> None:
    assert read(WAV) == read(FLAC) == 4000
    assert read(riff(16000, 1, 16, 1, 4000, b"\1\2" * 2000)) == 2000


@pytest.mark.parametrize("rate", [1, 100, 3999, 800_000])
def test_rates_that_no_recorder_has(tmp_path: Path, rate: int) -> None:
    path = tmp_path / "x.wav"
    path.write_bytes(riff(rate, 1, 16, 1, 4000, b"\1\2" * 2000))
    with pytest.raises(UnreadableSound, match=rf"x\.wav: .*{rate}"):
        SoundReader(path)


@RULES
@given(
    st.lists(
        st.tuples(
            st.sampled_from([b"bext", b"iXML", b"junk", b"data"]),
            st.one_of(st.none(), st.integers(0, 0xFFFFFFFF)),
            st.binary(max_size=400),
        ),
        max_size=5,
    )
)
def test_times_of_any_chunks(tmp_path_factory, chunks) -> None:
    body = b"".join(
        kind + struct.pack("<I", len(data) if size is None else size) + data
        for kind, size, data in chunks
    )
    path = tmp_path_factory.getbasetemp() / "chunks.wav"
    path.write_bytes(b"RIFF\0\0\0\0WAVE" + body)
    assert made(path, 1.0, datetime(2100, 1, 1, tzinfo=UTC)).at.tzinfo is not None
