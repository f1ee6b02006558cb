"""A session that is killed: the next start has everything that was said."""

import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
import soundfile

from handsfree.listening.recovery import recover, spool_folder
from handsfree.log import Log
from handsfree.spool import Spool, leftovers

PHRASES = ("left hind", "thrush in the frog", "toe length four inches", "foot down")

LISTEN = """
import sys
from pathlib import Path
from handsfree.answers.output import Tape
from handsfree.audio.live import Replay
from handsfree.engines.choose import ModelFolders, listeners
from handsfree.engines.together import Together
from handsfree.grammar import load
from handsfree.listening.loop import Listening
from handsfree.listening.mouth import Mouth
from handsfree.listening.recovery import spool_folder
from handsfree.log import Log
from handsfree.recording import Recorder
from handsfree.dialogue.session import Session
from handsfree.spool import Spool
from handsfree.dialogue.dialogue import Dialogue

class Screen:
    def line(self, line): print(line.heard.text, flush=True)
    def trouble(self, text): print("trouble", text, flush=True)
    def block(self, sound, at_s): pass

grammar = load(horse_names=["Lantern"])
ears = Together(listeners(grammar, ["pocketsphinx"], ModelFolders())[0], grammar)
with Log.open(sys.argv[1]) as log:
    recorder = Recorder("microphone", log, Dialogue(grammar, Session(restating=True)), patient=True)
    tape = Tape()
    Listening(
        Replay([sys.argv[2]], 2.0), ears, recorder, Mouth(tape), Screen(),
        Spool.create(spool_folder(log.path), {}), pass_time=tape.advance,
    ).run()
"""


@pytest.fixture(scope="module")
def recording(speak: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("killed") / "visit.wav"
    soundfile.write(path, speak(*PHRASES), 16_000)
    return path


@pytest.mark.parametrize("more_s", [0.0, 0.25, 0.5, 0.75])
def test_a_killed_session_is_made_whole_at_the_next_start(
    ears: Any, grammar: Any, recording: Path, tmp_path: Path, more_s: float
) -> None:
    """Killed at different moments after the second answer, at twice the pace of life."""
    path = tmp_path / "log.db"
    process = subprocess.Popen(
        [sys.executable, "-c", LISTEN, path, recording], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert [process.stdout.readline().strip() for _ in range(2)] == list(PHRASES[:2])
    time.sleep(more_s)
    process.kill()
    process.wait()
    told: list[str] = []
    with Log.open(path) as log:
        broken_off = recover(log, ears, grammar, told.append)
        visit = log.visits()[0].id
        heard = [u.heard for u in log.utterances(visit)]
        # What had not been "spoken" by then never was, and the last words may have been cut
        # short by the kill; all before is there, once.
        whole = heard[:2] + heard[2:-1]
        assert whole == list(PHRASES[: len(whole)])
        assert 2 <= len(heard) <= len(PHRASES)
        assert {u.limb for u in log.utterances(visit)} == {"LH"}
        assert broken_off is not None
        assert broken_off.visit.id == visit
    assert any("broke off" in line for line in told)
    assert leftovers(spool_folder(path)) == []


def test_a_clean_start_recovers_nothing_and_says_nothing(ears: Any, grammar: Any, log: Log) -> None:
    told: list[str] = []
    assert recover(log, ears, grammar, told.append) is None
    assert told == []


def test_what_was_said_before_any_visit_gets_one(
    ears: Any, grammar: Any, log: Log, speak: Any
) -> None:
    spool = Spool.create(spool_folder(log.path), {"visit": None})
    spool.write(speak("left hind", "thrush in the frog"))
    spool.close(clean=False)
    recover(log, ears, grammar, lambda line: None)
    assert [u.heard for u in log.utterances(log.visits()[0].id)] == list(PHRASES[:2])


def test_with_the_ears_off_the_sound_stays_unheard(
    ears: Any, grammar: Any, log: Log, speak: Any
) -> None:
    spool = Spool.create(spool_folder(log.path), {"ears_on": False})
    spool.write(speak("left hind", "thrush in the frog"))
    spool.close(clean=False)
    recover(log, ears, grammar, lambda line: None)
    assert log.visits() == []


def left_of_a_recording(log: Log, sound: Any) -> None:
    spool = Spool.create(spool_folder(log.path), {"recording": "d" * 64, "source": "visit.wav"})
    spool.write(sound)
    spool.close(clean=False)


def test_what_was_left_of_a_recording_goes_into_its_visit(
    ears: Any, grammar: Any, log: Log, speak: Any
) -> None:
    """The same recording then goes on behind it; what is listened to next is another visit."""
    left_of_a_recording(log, speak("left hind", "thrush in the frog"))
    assert recover(log, ears, grammar, lambda line: None) is None
    known = log.recording("d" * 64)
    assert known is not None
    (visit,) = log.visits()
    assert (known.visits, known.name, known.done_at) == ((visit.id,), "visit.wav", None)
    assert [u.heard for u in log.utterances(visit.id)] == list(PHRASES[:2])
    # Left again, of the same sound: all of it is there.
    left_of_a_recording(log, speak("left hind", "thrush in the frog", "foot down"))
    recover(log, ears, grammar, lambda line: None)
    (visit,) = log.visits()
    assert [u.heard for u in log.utterances(visit.id)] == [*PHRASES[:2], "foot down"]


def test_what_was_left_of_a_recording_that_is_done_is_not_heard_again(
    ears: Any, grammar: Any, log: Log, speak: Any
) -> None:
    log.take_recording("d" * 64, "visit.wav")
    log.recording_became("d" * 64, [], done=True)
    left_of_a_recording(log, speak("left hind"))
    told: list[str] = []
    recover(log, ears, grammar, told.append)
    assert (told, log.visits()) == ([], [])
    assert leftovers(spool_folder(log.path)) == []
