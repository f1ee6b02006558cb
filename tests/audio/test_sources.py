"""Any recording becomes 16 kHz mono; whatever cannot be read says so in one line."""

import io
import os
import queue
import struct
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pytest
import soundfile

from handsfree.audio.sources import SoundReader, open_sound
from handsfree.engines.base import SAMPLE_RATE, Sound
from handsfree.errors import UnreadableSound


def tone(rate: int, seconds: float = 1.0, hertz: float = 440.0, channels: int = 1) -> Sound:
    wave = 0.5 * np.sin(2 * np.pi * hertz * np.arange(int(rate * seconds)) / rate)
    return np.repeat(wave[:, None], channels, axis=1).astype(np.float32)


def whole(source: object) -> Sound:
    return np.concatenate([np.zeros(0, np.float32), *open_sound(source)])  # type: ignore[arg-type]


def wav_bytes(sound: Sound, rate: int = SAMPLE_RATE) -> bytearray:
    file = io.BytesIO()
    soundfile.write(file, sound, rate, format="WAV", subtype="PCM_16")
    return bytearray(file.getvalue())


class Pipe(io.RawIOBase):
    """A stream that cannot seek, as a pipe."""

    def __init__(self, data: bytes) -> None:
        self._data = io.BytesIO(data)

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        return self._data.readinto(buffer)


@pytest.mark.parametrize(
    ("rate", "channels", "kind"),
    [(8_000, 1, "WAV"), (44_100, 2, "WAV"), (48_000, 1, "FLAC"), (16_000, 1, "FLAC")],
)
def test_any_rate_and_channels(tmp_path: Path, rate: int, channels: int, kind: str) -> None:
    path = tmp_path / "sound"
    soundfile.write(path, tone(rate, channels=channels), rate, format=kind)
    sound = whole(path)
    assert sound.dtype == np.float32
    assert abs(len(sound) - SAMPLE_RATE) <= 1
    expected = tone(SAMPLE_RATE)[: len(sound), 0]
    # The ends of a resampled tone ring.
    assert np.abs(sound - expected)[400:-400].max() < 0.01
    with SoundReader(path) as reader:
        assert reader.duration_s == pytest.approx(1.0)
        assert reader.warning is None


def test_channels_are_averaged(tmp_path: Path) -> None:
    left, right = tone(SAMPLE_RATE), np.zeros((SAMPLE_RATE, 1), np.float32)
    soundfile.write(tmp_path / "x.wav", np.hstack([left, right]), SAMPLE_RATE)
    assert np.abs(whole(tmp_path / "x.wav") - left[:, 0] / 2).max() < 1e-4


def test_odd_samples_are_made_finite(tmp_path: Path) -> None:
    sound = np.array([0.1, np.nan, np.inf, -np.inf, 3.0, 0.2], np.float32)
    soundfile.write(tmp_path / "x.wav", sound, SAMPLE_RATE, subtype="FLOAT")
    assert whole(tmp_path / "x.wav") == pytest.approx([0.1, 0.0, 1.0, -1.0, 1.0, 0.2])


def test_no_samples_is_no_error(tmp_path: Path) -> None:
    (tmp_path / "x.wav").write_bytes(wav_bytes(np.zeros(0, np.float32)))
    assert len(whole(tmp_path / "x.wav")) == 0


def unreadable_files(folder: Path) -> dict[str, str]:
    (folder / "empty.wav").write_bytes(b"")
    (folder / "text.wav").write_text("left hind outside heel bruise\n" * 50)
    (folder / "header.wav").write_bytes(wav_bytes(tone(SAMPLE_RATE))[:30])
    (folder / "folder.wav").mkdir()
    return {
        "missing.wav": "no such file",
        "empty.wav": "empty",
        "text.wav": "not a WAV, FLAC, MP3 or M4A",
        "header.wav": "not a WAV, FLAC, MP3 or M4A",
        "folder.wav": "folder",
    }


@pytest.mark.parametrize(
    "name", ["missing.wav", "empty.wav", "text.wav", "header.wav", "folder.wav"]
)
def test_unreadable(tmp_path: Path, name: str) -> None:
    reason = unreadable_files(tmp_path)[name]
    with pytest.raises(UnreadableSound) as caught:
        whole(tmp_path / name)
    line = str(caught.value)
    assert name in line
    assert reason in line
    assert "\n" not in line


def test_truncated_wav_gives_what_is_there(tmp_path: Path) -> None:
    path = tmp_path / "cut.wav"
    path.write_bytes(wav_bytes(tone(SAMPLE_RATE))[: 44 + 2 * 6000])
    with SoundReader(path) as reader:
        assert sum(len(block) for block in reader) == 6000
        assert "cut.wav" in (reader.warning or "")


def test_truncated_flac_gives_what_is_there(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    full = io.BytesIO()
    sound = (0.1 * rng.standard_normal(4 * SAMPLE_RATE)).astype(np.float32)
    soundfile.write(full, sound, SAMPLE_RATE, format="FLAC")
    path = tmp_path / "cut.flac"
    path.write_bytes(full.getvalue()[: len(full.getvalue()) // 2])
    with SoundReader(path) as reader:
        got = sum(len(block) for block in reader)
        assert SAMPLE_RATE < got < 3 * SAMPLE_RATE
        assert reader.warning is not None


def noise_flac(seconds: int = 20, rate: int = SAMPLE_RATE) -> tuple[Sound, bytearray]:
    sound = 0.1 * np.random.default_rng(1).standard_normal(seconds * rate).astype(np.float32)
    file = io.BytesIO()
    soundfile.write(file, sound, rate, format="FLAC")
    return sound, bytearray(file.getvalue())


def spoil(data: bytearray, how: str) -> None:
    middle = len(data) // 2
    if how == "bit":
        data[middle] ^= 4
    elif how == "first frame":
        data[300] ^= 4
    elif how == "bits":
        for at in range(1, 10):
            data[len(data) * at // 10] ^= 1
    elif how == "zeros":
        data[middle : middle + 65536] = bytes(65536)
    elif how == "missing":
        del data[middle : middle + 65536]


@pytest.mark.parametrize(
    ("how", "most_s"),
    [("bit", 0.6), ("first frame", 0.6), ("bits", 3.0), ("zeros", 3.2), ("missing", 3.2)],
)
@pytest.mark.parametrize("rate", [SAMPLE_RATE, 44_100])
def test_behind_a_fault_in_a_flac_the_sound_goes_on(how: str, most_s: float, rate: int) -> None:
    """A frame is lost for each fault; silence of its length keeps all after it in its time."""
    sound, data = noise_flac(rate=rate)
    spoil(data, how)
    with SoundReader(io.BytesIO(data)) as reader:
        got = np.concatenate(list(reader.as_recorded()))
        assert reader.warning is not None
    assert len(got) == len(sound)
    wrong = np.abs(got - sound) > 1e-3
    assert not got[wrong].any()
    lost_s = float(reader.warning.split(": ")[1].split(" s of it are lost")[0])
    assert 0 < wrong.sum() / rate < lost_s + 0.1 < most_s


def test_a_flac_cut_short_says_by_how_much() -> None:
    sound, data = noise_flac()
    with SoundReader(io.BytesIO(data[: len(data) // 2])) as reader:
        got = np.concatenate(list(reader))
        assert "ends 10.0 s before its header says" in (reader.warning or "")
    assert np.abs(got - sound[: len(got)]).max() < 1e-3


def test_a_flac_without_a_length_is_read_to_its_end() -> None:
    sound, data = noise_flac()
    data[21] &= 0xF0
    data[22:26] = bytes(4)
    with SoundReader(io.BytesIO(data)) as reader:
        assert reader.duration_s is None
        got = np.concatenate(list(reader))
        assert reader.warning is None
    assert 0 <= len(sound) - len(got) < 0.02 * SAMPLE_RATE


@pytest.mark.parametrize("size", [0, 0xFFFFFFFF, 0x7FFFF000])
def test_wav_written_to_a_pipe(size: int, tmp_path: Path) -> None:
    data = wav_bytes(tone(SAMPLE_RATE))
    data[4:8] = data[40:44] = struct.pack("<I", size)
    with SoundReader(Pipe(bytes(data))) as reader:  # type: ignore[arg-type]
        sound = np.concatenate(list(reader))
        assert reader.warning is None
    assert len(sound) == SAMPLE_RATE
    (tmp_path / "x.wav").write_bytes(data)
    assert np.array_equal(whole(tmp_path / "x.wav"), sound)
    assert (tmp_path / "x.wav").read_bytes() == bytes(data)


def test_standard_input(tmp_path: Path) -> None:
    script = (
        "from handsfree.audio.sources import open_sound; "
        "print(sum(len(block) for block in open_sound('-')))"
    )
    run = subprocess.run(
        [sys.executable, "-c", script],
        input=bytes(wav_bytes(tone(8_000), 8_000)),
        capture_output=True,
        check=True,
    )
    assert abs(int(run.stdout) - SAMPLE_RATE) <= 1


def test_a_wav_is_read_as_it_comes_through_a_pipe_that_stays_open() -> None:
    data = wav_bytes(tone(SAMPLE_RATE, 2.0))
    data[4:8] = data[40:44] = struct.pack("<I", 0xFFFFFFFF)
    reading, writing = os.pipe()
    with open(reading, "rb") as out, open(writing, "wb", buffering=0) as into:
        into.write(data)
        got: queue.Queue[Sound] = queue.Queue()

        def read() -> None:
            with SoundReader(out) as reader:
                for block in reader:
                    got.put(block)

        reader = threading.Thread(target=read, daemon=True)
        reader.start()
        blocks = [got.get(timeout=20) for _ in range(8)]
        assert sum(map(len, blocks)) == 2 * SAMPLE_RATE
        into.close()
        reader.join(20)
        assert not reader.is_alive()


@pytest.mark.parametrize("subtype", ["PCM_U8", "PCM_24", "FLOAT", "ULAW", "MS_ADPCM"])
def test_a_pipe_gives_what_the_file_gives(tmp_path: Path, subtype: str) -> None:
    soundfile.write(tmp_path / "x.wav", tone(44_100, channels=2), 44_100, subtype=subtype)
    data = (tmp_path / "x.wav").read_bytes()
    assert np.array_equal(whole(Pipe(data)), whole(tmp_path / "x.wav"))
    with SoundReader(Pipe(data[:-40_000])) as reader:  # type: ignore[arg-type]
        assert 0 < sum(map(len, reader)) < 0.95 * SAMPLE_RATE
        assert "before its header says" in (reader.warning or "")


class Endless(io.RawIOBase):
    """The same bytes for ever; fails where somebody wants to keep them all."""

    def __init__(self, beginning: bytes) -> None:
        self._beginning, self._given = beginning, 0

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        assert self._given < 16 << 20, "all of it is being kept"
        buffer[:] = self._beginning.ljust(len(buffer), b"\0")[: len(buffer)]
        self._given += len(buffer)
        return len(buffer)


@pytest.mark.parametrize("beginning", [b"", b"left hind outside heel bruise\n", b"fLaC"])
def test_what_never_ends_is_refused_before_it_fills_the_disk(
    beginning: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("handsfree.audio.piped.MOST_KEPT_BYTES", 8 << 20, raising=False)
    with pytest.raises(UnreadableSound, match=r"not a WAV, FLAC|more than 8 MB"):
        SoundReader(Endless(beginning))  # type: ignore[arg-type]


def test_memory_does_not_grow_with_the_recording(tmp_path: Path) -> None:
    path = tmp_path / "long.wav"
    with soundfile.SoundFile(path, "w", 44_100, 2, subtype="PCM_16") as file:
        minute = np.zeros((60 * 44_100, 2), np.int16)
        for _ in range(15):
            file.write(minute)
    script = (
        "import resource, sys; from handsfree.audio.sources import open_sound; "
        "blocks = open_sound(sys.argv[1]); next(blocks); "
        "before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss; "
        "seconds = sum(len(block) for block in blocks) / 16000; "
        "print(seconds, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)"
    )
    run = subprocess.run(
        [sys.executable, "-c", script, str(path)], capture_output=True, check=True, text=True
    )
    seconds, grown = map(float, run.stdout.split())
    unit = 1 if sys.platform == "darwin" else 1024
    assert seconds == pytest.approx(900, abs=1)
    assert grown * unit < 20e6, f"the file is {path.stat().st_size} bytes"


def _memo(path: Path, kind: str = "ipod", seconds: float = 3.0) -> Path:
    """A steady note as a telephone records it."""
    av = pytest.importorskip("av")
    note = 0.3 * np.sin(2 * np.pi * 440 * np.arange(int(seconds * 44100)) / 44100)
    with av.open(str(path), "w", format=kind) as made:
        stream = made.add_stream("aac", rate=44100, layout="mono")
        frame = av.AudioFrame.from_ndarray(note[None].astype(np.float32), "fltp", "mono")
        frame.sample_rate = 44100
        for each in (frame, None):
            made.mux(stream.encode(each))
    return path


@pytest.mark.parametrize(
    ("name", "kind"), [("a.m4a", "ipod"), ("a.wav", "ipod"), ("a.3gp", "3gp"), ("a", "adts")]
)
def test_a_memo_of_a_telephone_is_read_whatever_its_name(
    tmp_path: Path, name: str, kind: str
) -> None:
    with SoundReader(_memo(tmp_path / name, kind)) as reader:
        sound = np.concatenate(list(reader))
    assert reader.warning is None
    assert len(sound) / SAMPLE_RATE == pytest.approx(3.0, abs=0.1)
    assert np.sqrt((sound[8000:40000] ** 2).mean()) == pytest.approx(0.3 / np.sqrt(2), rel=0.05)


def test_a_damaged_memo_gives_what_is_there(tmp_path: Path) -> None:
    path = _memo(tmp_path / "a.m4a")
    data = bytearray(path.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 2000] = b"\xff" * 2000
    path.write_bytes(data)
    with SoundReader(path) as reader:
        sound = np.concatenate(list(reader))
    assert len(sound) / SAMPLE_RATE == pytest.approx(3.0, abs=0.2)
    assert reader.warning is not None
    assert "lost to damage; silence is there" in reader.warning
    path.write_bytes(data[: len(data) // 2])
    with pytest.raises(UnreadableSound, match=r"a\.m4a: is a memo .* damaged or not whole"):
        SoundReader(path)


def test_a_memo_without_the_package_says_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a.wav").write_bytes(b"\0\0\0\x20ftypM4A " + bytes(100))
    monkeypatch.setitem(sys.modules, "av", None)
    with pytest.raises(UnreadableSound, match=r"a\.wav: is a memo .* pip install av"):
        SoundReader(tmp_path / "a.wav")


def test_an_mp3_named_wav_is_read(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "a.wav", np.zeros(32000, np.float32), 16000, format="MP3")
    with SoundReader(tmp_path / "a.wav") as reader:
        assert sum(map(len, reader)) / SAMPLE_RATE == pytest.approx(2.0, abs=0.2)


def test_a_header_that_says_less_than_there_is_loses_nothing(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, np.full(32000, 0.25), 16000, subtype="PCM_16")
    whole = bytearray(path.read_bytes())
    whole[4:8] = struct.pack("<I", 36 + 2000)
    whole[40:44] = struct.pack("<I", 2000)
    path.write_bytes(whole)
    with SoundReader(path) as reader:
        assert sum(map(len, reader)) == 32000
    assert reader.warning == f"{path}: holds more than its header says; read all of it"
    # Other chunks behind the sound are none.
    path.write_bytes(whole[:2044] + b"LIST" + struct.pack("<I", 400) + bytes(400))
    with SoundReader(path) as reader:
        assert sum(map(len, reader)) == 1000
    assert reader.warning is None
