"""Memos of telephones (M4A, 3GP, AMR and the like), which libsndfile does not read.

PyAV unpacks them into a temporary file. The kind of file is told by its first bytes and never
guessed: among what FFmpeg knows are lists of other files, and of addresses in a network.
"""

import tempfile
from collections.abc import Iterator
from typing import IO, Any

import numpy as np
import soundfile

_KINDS = (
    (4, b"ftyp", "mov"),  # M4A, MP4, 3GP
    (0, b"#!AMR", "amr"),
    (0, b"\xff\xf1", "aac"),
    (0, b"\xff\xf9", "aac"),
    (0, b"\x1aE\xdf\xa3", "matroska"),  # also WebM
    (0, b"0&\xb2u\x8ef\xcf\x11", "asf"),  # WMA
)
_LONGEST_PACKET_S = 1.0
"""More silence than this never stands for one packet that cannot be decoded."""

MISSING = (
    "is a memo of a telephone, which needs the package av: pip install av, or convert it to WAV"
)


class NoMemo(Exception):
    """It cannot be unpacked; the text says why, to be put behind the file's name."""


def kind(file: IO[bytes]) -> str | None:
    """What kind of memo a file is, in FFmpeg's words; None where it is none."""
    file.seek(0)
    start = file.read(16)
    return next((name for at, mark, name in _KINDS if start.startswith(mark, at)), None)


def unpacked(file: IO[bytes], kind: str) -> tuple[IO[bytes], float]:
    """The sound of a memo as FLAC (mono, 16 bits, its own rate) in a temporary file.

    Also the seconds that could not be decoded, in whose place silence is. Raises NoMemo, and
    OSError where the disk refuses.
    """
    try:
        import av
    except ImportError:
        raise NoMemo(MISSING) from None
    file.seek(0)
    whole = tempfile.TemporaryFile(prefix="handsfree-")  # noqa: SIM115
    try:
        with av.open(file, format=kind) as memo:
            if not memo.streams.audio:
                raise NoMemo("holds no sound")
            stream = memo.streams.audio[0]
            lost = 0.0
            with soundfile.SoundFile(
                whole, "w", stream.rate, 1, format="FLAC", subtype="PCM_16"
            ) as flac:
                for block in _decoded(av, memo, stream):
                    if isinstance(block, float):
                        lost += block
                        block = np.zeros(int(block * stream.rate), np.int16)
                    flac.write(block)
    except (av.FFmpegError, soundfile.SoundFileError, ValueError) as error:
        whole.close()
        raise NoMemo("is a memo of a telephone that is damaged or not whole") from error
    except BaseException:
        whole.close()
        raise
    whole.seek(0)
    return whole, lost


def _decoded(av: Any, memo: Any, stream: Any) -> Iterator[Any]:
    """The samples, and seconds where there should be some."""
    to_mono = av.AudioResampler(format="s16", layout="mono", rate=stream.rate)
    for packet in memo.demux(stream):
        try:
            frames = packet.decode()
        except av.FFmpegError:
            yield min(_LONGEST_PACKET_S, float((packet.duration or 0) * packet.time_base))
            continue
        for frame in frames:
            for part in to_mono.resample(frame):
                yield part.to_ndarray()[0]
    for part in to_mono.resample(None):
        yield part.to_ndarray()[0]
