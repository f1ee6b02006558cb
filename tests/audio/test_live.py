"""Replayed and scripted sound behaves as a microphone does."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from handsfree.audio.live import BLOCK, IDLE_S, Replay, Scripted, Source, Trouble
from handsfree.engines.base import SAMPLE_RATE
from handsfree.errors import UnreadableSound


class Time:
    """A clock that only sleeping moves."""

    def __init__(self) -> None:
        self.s = 100.0

    def now(self) -> float:
        return self.s

    def sleep(self, seconds: float) -> None:
        assert 0 < seconds <= IDLE_S
        self.s += seconds


def ramp(path: Path, seconds: float, start: float = 0.0) -> np.ndarray:
    sound = np.linspace(start, start + 0.4, round(seconds * SAMPLE_RATE), dtype=np.float32)
    soundfile.write(path, sound, SAMPLE_RATE, subtype="FLOAT")
    return sound


def everything(source: Source) -> list[Any]:
    parts = []
    while (part := source.read()) is not None:
        parts.append(part)
    return parts


def test_files_come_whole_and_in_order(tmp_path: Path) -> None:
    first = ramp(tmp_path / "a.wav", 1.0)
    second = ramp(tmp_path / "b.wav", 0.5, 0.5)
    source = Replay([tmp_path / "a.wav", tmp_path / "b.wav"], speed=0)
    assert not source.live
    blocks = [source.read()]
    assert source.name.endswith("a.wav")
    blocks += everything(source)
    assert source.name.endswith("b.wav")
    assert np.array_equal(np.concatenate(blocks), np.concatenate([first, second]))
    assert {len(b) for b in blocks} <= {BLOCK, len(first) % BLOCK, len(second) % BLOCK}
    source.close()
    assert source.read() is None


@pytest.mark.parametrize("speed", [1.0, 4.0])
def test_blocks_come_when_they_would_have_been_spoken(tmp_path: Path, speed: float) -> None:
    sound, time = ramp(tmp_path / "a.wav", 2.0), Time()
    source = Replay([tmp_path / "a.wav"], speed, time.now, time.sleep)
    given = 0
    while (block := source.read()) is not None:
        assert isinstance(block, np.ndarray)
        given += len(block)
        assert (time.s - 100) * speed == pytest.approx(given / SAMPLE_RATE)
    assert given == len(sound)


def test_a_late_reader_is_not_kept_waiting(tmp_path: Path) -> None:
    ramp(tmp_path / "a.wav", 2.0)
    time = Time()
    source = Replay([tmp_path / "a.wav"], 1.0, time.now, time.sleep)
    source.read()
    time.s += 1.0
    late = time.s
    for _ in range(30):
        source.read()
    assert time.s == late


def test_slow_replay_gives_empty_blocks_so_that_time_goes_on(tmp_path: Path) -> None:
    ramp(tmp_path / "a.wav", 0.06)
    time = Time()
    source = Replay([tmp_path / "a.wav"], 0.04, time.now, time.sleep)
    assert [len(b) for b in everything(source)] == [0, 0, BLOCK, 0, 0, BLOCK]


def test_a_damaged_end_is_told_after_what_is_there(tmp_path: Path) -> None:
    ramp(tmp_path / "a.wav", 1.0)
    whole = (tmp_path / "a.wav").read_bytes()
    (tmp_path / "a.wav").write_bytes(whole[: len(whole) // 2])
    parts = everything(Replay([tmp_path / "a.wav"], speed=0))
    assert isinstance(parts[-1], Trouble)
    assert parts[-1].kind == "ended-early"
    assert "a.wav" in parts[-1].line
    assert sum(map(len, parts[:-1])) / SAMPLE_RATE == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize("content", [None, b"", b"this is no sound\n" * 99])
def test_what_cannot_be_read_shows_at_opening(tmp_path: Path, content: bytes | None) -> None:
    ramp(tmp_path / "good.wav", 0.1)
    if content is not None:
        (tmp_path / "bad.wav").write_bytes(content)
    with pytest.raises(UnreadableSound, match=r"bad\.wav"):
        Replay([tmp_path / "good.wav", tmp_path / "bad.wav"])


def test_damage_in_the_first_block_shows_at_opening(tmp_path: Path) -> None:
    noise = np.random.default_rng(1).normal(0, 0.1, SAMPLE_RATE)
    soundfile.write(tmp_path / "bad.flac", noise, SAMPLE_RATE)
    data = bytearray((tmp_path / "bad.flac").read_bytes())
    data[200:] = bytes(len(data) - 200)
    (tmp_path / "bad.flac").write_bytes(data)
    with pytest.raises(UnreadableSound, match="damaged"):
        Replay([tmp_path / "bad.flac"])


@pytest.mark.parametrize("speed", [-1.0, float("nan"), float("inf")])
def test_impossible_speeds(tmp_path: Path, speed: float) -> None:
    ramp(tmp_path / "a.wav", 0.1)
    with pytest.raises(ValueError, match="replayed"):
        Replay([tmp_path / "a.wav"], speed)


def test_no_file_at_all() -> None:
    with pytest.raises(ValueError, match="no file"):
        Replay([])


def test_the_script_does_as_told() -> None:
    sound = np.ones(BLOCK + 10, np.float32)
    passed: list[float] = []
    gone = Trouble("gone", "the microphone is gone")
    source = Scripted([sound, gone, 0.5, OSError("broken")], passes=passed.append)
    assert len(source.read()) == BLOCK  # type: ignore[arg-type]
    assert len(source.read()) == 10  # type: ignore[arg-type]
    assert source.read() is gone
    assert [len(source.read()) for _ in range(2)] == [0, 0]  # type: ignore[arg-type]
    assert sum(passed) == pytest.approx(len(sound) / SAMPLE_RATE + 0.5)
    with pytest.raises(OSError, match="broken"):
        source.read()
    assert source.read() is None
    source.close()
    assert source.closed
