"""How fast the live loop answers, and what it costs. Prints figures; nothing is asserted.

    python tests/bench/listening.py --delay --silence --hours 4

--delay    from the end of speech to the answer, at the pace of life, on the demo recordings
--silence  share of one core while nobody speaks, at the pace of life
--hours N  memory over N simulated hours with an utterance every 45 s (faster than life)
"""

import argparse
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from handsfree import demo
from handsfree.answers.output import Tape
from handsfree.answers.voice import PiperSpeech
from handsfree.audio.live import Replay, Source, Trouble, in_blocks
from handsfree.audio.sources import open_sound
from handsfree.audio.speech import CutSettings
from handsfree.dialogue.dialogue import Dialogue
from handsfree.dialogue.session import Session
from handsfree.engines.base import SAMPLE_RATE, Sound
from handsfree.engines.choose import ModelFolders, listeners
from handsfree.engines.together import Together
from handsfree.grammar import Grammar, load
from handsfree.listening.loop import Listening
from handsfree.listening.mouth import Mouth
from handsfree.log import Log
from handsfree.recording import Line, Recorder
from handsfree.spool import Spool
from handsfree.visit.answer import Tone

CUT = CutSettings()


class Paced:
    """Notes when each block was given, by the clock of the wall."""

    def __init__(self, inner: Source) -> None:
        self._inner = inner
        self.name, self.live = inner.name, inner.live
        self.samples = 0
        self.given: list[tuple[int, float]] = []

    def read(self) -> Sound | Trouble | None:
        part = self._inner.read()
        if isinstance(part, np.ndarray):
            self.samples += len(part)
            self.given.append((self.samples, time.monotonic()))
        return part

    def close(self) -> None:
        self._inner.close()

    def when(self, at_s: float) -> float:
        """The moment at which the sound up to `at_s` had been spoken."""
        wanted = round(at_s * SAMPLE_RATE)
        return next(at for samples, at in self.given if samples >= wanted)


class Watched:
    """A screen that remembers when lines came; answers come right after them."""

    def __init__(self) -> None:
        self.lines: list[tuple[float, str, float]] = []
        """End in the stream (s), what was heard, and the moment it was decided."""

    def line(self, line: Line) -> None:
        self.lines.append((line.heard.end_s, line.heard.text, time.monotonic()))

    def trouble(self, text: str) -> None:
        print("  trouble:", text)

    def block(self, sound: Sound, at_s: float) -> None:
        pass


class Forgetful(Tape):
    """A recording output that keeps nothing of what is over, as a loudspeaker."""

    def advance(self, seconds: float) -> None:
        super().advance(seconds)
        if len(self.played) > 4:
            del self.played[:-4]


def session(
    source: Source, ears: Together, grammar: Grammar, log: Log, folder: Path, live: bool
) -> tuple[Listening, Watched, list[float]]:
    """A session as `handsfree listen` makes it, on a recording output."""
    tape, seen, tones = Forgetful(), Watched(), []

    def told(at_s: float, tone: Tone | None, say: Sequence[str]) -> None:
        if tone is not None:
            tones.append(time.monotonic())

    recorder = Recorder("bench", log, Dialogue(grammar, Session(restating=True)), patient=True)
    mouth = Mouth(tape, PiperSpeech(), wait=not live, told=told)
    spool = Spool.create(folder, {})
    return (
        Listening(source, ears, recorder, mouth, seen, spool, pass_time=tape.advance),
        seen,
        tones,
    )


def delay(ears: Together, grammar: Grammar, log: Log, folder: Path) -> None:
    """From the end of speech to the answer, over the demo recordings at the pace of life."""
    place = demo.folder()
    files = sorted({str(place / each.file) for each in demo.manifest(place)})
    source = Paced(Replay(files, 1.0))
    listening, seen, _ = session(source, ears, grammar, log, folder, live=True)
    listening.run()
    late = sorted(
        (
            (at - source.when(end_s - CUT.pad_after_s) - CUT.end_pause_s, text)
            for end_s, text, at in seen.lines
        ),
        reverse=True,
    )
    delays = [seconds for seconds, _ in late]
    delays.sort()
    p95 = delays[round(0.95 * (len(delays) - 1))]
    print(
        f"end of speech to answer, {len(delays)} utterances: {CUT.end_pause_s:.2f} s of pause + "
        f"median {statistics.median(delays):.2f} s, 95th percentile {p95:.2f} s, "
        f"longest {delays[-1]:.2f} s"
    )
    for seconds, text in late[:8]:
        print(f"    {seconds:.2f} s  {text}")


class Quiet:
    """Hiss of a quiet shed at the pace of life."""

    name, live = "hiss", True

    def __init__(self, seconds: float) -> None:
        rng = np.random.default_rng(1)
        hiss = (3e-4 * rng.standard_normal(SAMPLE_RATE * 10)).astype(np.float32)
        self._blocks = in_blocks(hiss for _ in range(round(seconds / 10)))
        self._next = time.monotonic()

    def read(self) -> Sound | Trouble | None:
        block = next(self._blocks, None)
        if block is not None:
            self._next += len(block) / SAMPLE_RATE
            time.sleep(max(0.0, self._next - time.monotonic()))
        return block

    def close(self) -> None:
        pass


def silence(ears: Together, grammar: Grammar, log: Log, folder: Path, seconds: float = 60) -> None:
    """Share of one core while nobody speaks."""
    listening, seen, _ = session(Quiet(seconds), ears, grammar, log, folder, live=True)
    before, wall = _cpu_s(), time.monotonic()
    listening.run()
    share = (_cpu_s() - before) / (time.monotonic() - wall)
    print(f"silence for {seconds:.0f} s: {share:.1%} of one core, {len(seen.lines)} utterances")


class Sparse:
    """Hours of a quiet shed with one utterance of the demo every so often, as fast as read."""

    name, live = "simulated hours", False

    def __init__(self, hours: float, every_s: float = 45.0) -> None:
        self.hours = hours
        self._blocks = in_blocks(self._sound(hours, every_s))
        self.samples = 0
        self.memory: list[tuple[float, int]] = []

    @staticmethod
    def _sound(hours: float, every_s: float) -> Iterator[Sound]:
        place = demo.folder()
        sounds = {
            each.file: np.concatenate(list(open_sound(place / each.file)))
            for each in demo.manifest(place)
        }
        said = [u for u in demo.manifest(place) if u.said and not u.talk]
        # The longest first: they need most memory, and what is kept of that is there at once.
        said.sort(key=lambda u: u.start_s - u.end_s)
        rng = np.random.default_rng(2)
        hiss = (3e-4 * rng.standard_normal(round(every_s * SAMPLE_RATE))).astype(np.float32)
        for number in range(round(hours * 3600 / every_s)):
            each = said[number % len(said)]
            start, end = (round(s * SAMPLE_RATE) for s in (each.start_s, each.end_s))
            clip = sounds[each.file][start:end]
            block = hiss.copy()
            block[SAMPLE_RATE : SAMPLE_RATE + len(clip)] += clip
            yield block

    def read(self) -> Sound | Trouble | None:
        block = next(self._blocks, None)
        if block is not None:
            before = self.samples // (600 * SAMPLE_RATE)
            self.samples += len(block)
            if self.samples // (600 * SAMPLE_RATE) > before:
                self.memory.append((self.samples / SAMPLE_RATE / 3600, _memory_mb()))
        return block

    def close(self) -> None:
        pass


def hours(ears: Together, grammar: Grammar, log: Log, folder: Path, count: float) -> None:
    """Resident memory every ten minutes of the session's clock."""
    source = Sparse(count)
    listening, seen, _ = session(source, ears, grammar, log, folder, live=False)
    started = time.monotonic()
    listening.run()
    took = time.monotonic() - started
    print(f"{count:g} simulated hours in {took:.0f} s, {len(seen.lines)} utterances")
    print("    hours: MB  " + "  ".join(f"{h:.1f}: {mb}" for h, mb in source.memory[::2]))
    settled = [mb for h, mb in source.memory if h >= min(0.5, count / 4)]
    if settled:
        print(
            f"    after the first half hour: {min(settled)} to {max(settled)} MB "
            f"(+{max(settled) / settled[0] - 1:.1%})"
        )


def _cpu_s() -> float:
    """CPU seconds of this process and its living children (the recognizer apart)."""
    total = time.process_time()
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text().rsplit(")", 1)[1].split()
        except OSError:
            continue
        if int(fields[1]) == os.getpid():
            total += (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    return total


def _memory_mb() -> int:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") // 1_000_000


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--delay", action="store_true")
    parser.add_argument("--silence", action="store_true")
    parser.add_argument("--hours", type=float, default=0.0)
    chosen = parser.parse_args()
    if not sys.platform.startswith("linux"):
        sys.exit("this script reads CPU time and memory from /proc: Linux only")
    with tempfile.TemporaryDirectory() as temporary:
        place = Path(temporary)
        with Log.open(place / "log.db") as log:
            for name, kind in demo.horses(demo.folder()):
                log.add_horse(name, kind)
            grammar = load(horse_names=log.horse_names())
            usable = listeners(grammar, (), ModelFolders(), live=True)[0]
            ears = Together(usable, grammar, live=True)
            try:
                if chosen.delay:
                    delay(ears, grammar, log, place / "spool")
                if chosen.silence:
                    silence(ears, grammar, log, place / "spool")
                if chosen.hours:
                    hours(ears, grammar, log, place / "spool", chosen.hours)
            finally:
                ears.close()


if __name__ == "__main__":
    main()
