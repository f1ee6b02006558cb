"""Recordings into the log: each once, at its time, gone on with where it was broken off."""

import os
import random
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from handsfree.bringing.digest import digest
from handsfree.bringing.files import found
from handsfree.bringing.take import Taker, alone, waiting
from handsfree.errors import LogError, UnreadableSound
from handsfree.log import Log

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
KILLS = 6


@pytest.fixture
def log(tmp_path: Path):
    with Log.open(tmp_path / "log.db") as opened:
        opened.add_horse("Bramble")
        opened.add_horse("Duke")
        yield opened


def everything(log: Log) -> list[tuple]:
    return [
        (
            visit.horse,
            visit.started_at,
            u.seq,
            u.heard,
            u.start_s,
            u.recorded_at,
            [(e.body, e.status) for e in log.entries(visit.id) if e.utterance_id == u.id],
        )
        for visit in reversed(log.visits())
        for u in log.utterances(visit.id)
    ]


def test_a_recording_becomes_a_visit_of_its_time(log, grammar, told_ears, record) -> None:
    path = record("2026-05-14_09-30.wav")
    done = Taker(log, told_ears(grammar), grammar, log.horse("Bramble")).take(
        waiting(log, path, NOW)
    )
    (visit,) = log.visits()
    assert done.visits == (visit.id,)
    assert (done.horses, done.went_on, done.warning) == (("Bramble",), False, None)
    assert (done.utterances, done.entries) == (visit.utterances, visit.entries)
    assert visit.utterances >= 5
    first = log.utterances(visit.id)[0]
    local = datetime.fromisoformat(visit.started_at).astimezone().replace(tzinfo=None)
    assert 0 <= (local - datetime(2026, 5, 14, 9, 30)).total_seconds() < 10
    assert first.recorded_at == visit.started_at
    assert log.sound(first.id)[:4] == b"fLaC"
    assert waiting(log, path, NOW).done


def test_the_same_sound_is_known_under_any_name_and_packing(
    log, grammar, told_ears, record, spoken
) -> None:
    first = record("REC0001.WAV", subtype="PCM_16")
    taker = Taker(log, told_ears(grammar), grammar)
    taker.take(waiting(log, first, NOW))
    assert waiting(log, record("card 2/copy.flac"), NOW).done
    assert waiting(log, record("stereo.wav", np.stack([spoken, spoken], axis=1)), NOW).done
    assert not waiting(log, record("other.wav", spoken[:-1]), NOW).done


def test_horses_named_within(log, grammar, told_ears, record) -> None:
    said = ("horse bramble", "left hind outside heel bruise", "trimmed", "next horse", "horse duke")
    ears = told_ears(grammar, said)
    done = Taker(log, ears, grammar).take(waiting(log, record("x.wav"), NOW))
    assert set(done.horses) <= {"Bramble", "Duke"}
    assert done.horses
    assert len(log.visits()) == len(done.visits) > 1


def test_silence_is_taken_and_makes_no_visit(log, grammar, told_ears, record) -> None:
    path = record("quiet.wav", np.zeros(32000, np.float32))
    done = Taker(log, told_ears(grammar), grammar).take(waiting(log, path, NOW))
    assert (done.visits, done.utterances) == ((), 0)
    assert waiting(log, path, NOW).done
    with pytest.raises(UnreadableSound, match=r"none\.wav: holds no sound"):
        waiting(log, record("none.wav", np.zeros(0, np.float32)), NOW)


def test_what_is_left_is_gone_on_with(log, grammar, told_ears, record) -> None:
    path = record("2026-05-14_09-30.wav")
    whole = told_ears(grammar)
    with Log.open(log.path.with_name("whole.db")) as other:
        other.add_horse("Bramble")
        Taker(other, whole, grammar).take(waiting(other, path, NOW))
        expected = everything(other)

    class Tired(told_ears):
        def hear(self, clip):
            if len(self.heard) == 3:
                raise UnreadableSound("the card was pulled out")
            return super().hear(clip)

    with pytest.raises(UnreadableSound):
        Taker(log, Tired(grammar), grammar).take(waiting(log, path, NOW))
    rest = told_ears(grammar)
    done = Taker(log, rest, grammar).take(waiting(log, path, NOW))
    assert done.went_on
    assert rest.heard == whole.heard[3:]
    assert everything(log) == expected


def test_what_has_a_fault_is_heard_to_its_end_and_not_done(
    log, grammar, told_ears, record, spoken
) -> None:
    """One wrong bit costs one frame, and the recording is told of until it is mended."""
    path = record("2026-05-14_09-30.flac")
    data = bytearray(path.read_bytes())
    data[len(data) // 4] ^= 4
    path.write_bytes(data)
    one = waiting(log, path, NOW)
    assert one.seconds == pytest.approx(20.0)
    ears = told_ears(grammar)
    done = Taker(log, ears, grammar).take(one)
    assert ears.heard[-1] > 15
    assert "s of it are lost" in done.warning
    again = waiting(log, path, NOW)
    assert not again.done
    more = told_ears(grammar)
    assert Taker(log, more, grammar).take(again).utterances == done.utterances
    assert more.heard == []


KILLED = """
import sys, time
from datetime import UTC, datetime
from pathlib import Path
sys.path.insert(0, sys.argv[3])
from conftest import ToldEars
from handsfree.bringing.take import Taker, waiting
from handsfree.grammar import load
from handsfree.log import Log

class Slow(ToldEars):
    def hear(self, clip):
        time.sleep(0.05)
        return super().hear(clip)

grammar = load(horse_names=("Bramble", "Duke"))
said = ("horse bramble", "left hind outside heel bruise", "next horse", "horse duke", "trimmed")
with Log.open(sys.argv[1]) as log:
    one = waiting(log, Path(sys.argv[2]), datetime(2026, 11, 25, 12, tzinfo=UTC))
    print("begun", flush=True)
    if not one.done:
        Taker(log, Slow(grammar, said), grammar).take(one)
"""


def bring(log: Path, recording: Path) -> "subprocess.Popen[str]":
    here = Path(__file__).parent
    return subprocess.Popen(
        [sys.executable, "-c", KILLED, log, recording, here],
        cwd=here.parents[1],
        stdout=subprocess.PIPE,
        text=True,
    )


@pytest.mark.skipif(os.name != "posix", reason="kill -9 is of Unix")
def test_killed_again_and_again_nothing_is_doubled_or_lost(log, record, tmp_path) -> None:
    path = record("2026-05-14_09-30.wav")
    calm = tmp_path / "calm.db"
    for each in (calm, log.path):
        with Log.open(each) as opened:
            opened.add_horse("Bramble")
            opened.add_horse("Duke")
    assert bring(calm, path).wait(120) == 0
    rng = random.Random(7)
    for _ in range(KILLS):
        process = bring(log.path, path)
        assert process.stdout.readline() == "begun\n"
        time.sleep(rng.uniform(0.0, 0.8))
        process.send_signal(signal.SIGKILL)
        process.wait(60)
        process.stdout.close()
    assert bring(log.path, path).wait(120) == 0
    with Log.open(calm) as other:
        assert everything(log) == everything(other)
        assert len(log.visits()) == len(other.visits())
    assert log.check() == []


def test_only_one_at_a_time(log) -> None:
    with (
        alone(log),
        Log.open(log.path) as other,
        pytest.raises(LogError, match="another 'handsfree bring'"),
        alone(other),
    ):
        pass
    with alone(log):
        pass


def test_which_files_are_taken(record, tmp_path: Path) -> None:
    place = record("b/REC0002.WAV").parents[1]
    for name in ("a.flac", "b/c/deep.wave", "notes.txt", "._a.flac", ".trash/x.wav", "v.m4a"):
        (place / name).parent.mkdir(exist_ok=True)
        (place / name).write_bytes(b"")
    (place / "b" / "round").symlink_to(place)
    (place / "z.wav").symlink_to(place / "z.wav")
    listed = list(found([place, place / "a.flac"]))
    names = [str(each.path.relative_to(place)) for each in listed]
    assert names == ["a.flac", "v.m4a", "z.wav", "b/REC0002.WAV", "b/c/deep.wave"]
    assert [each.why_not is None for each in listed] == [True, True, False, True, True]
    assert listed[2].why_not == "is a link that leads round in a circle"


def test_the_digest_is_of_sound_and_rate(record, tmp_path: Path, spoken) -> None:
    import soundfile

    one = digest(record("x.wav", subtype="PCM_16"))
    assert one[1] == pytest.approx(20.0)
    soundfile.write(tmp_path / "y.wav", spoken, 8000, subtype="PCM_16")
    assert digest(tmp_path / "y.wav")[0] != one[0]
