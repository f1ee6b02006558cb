"""One recording into the log: as `handsfree transcribe` does, at the time it was made, once."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from handsfree.audio.sources import SoundReader
from handsfree.audio.speech import cut
from handsfree.bringing.digest import digest
from handsfree.bringing.times import Made, made
from handsfree.engines.together import Together
from handsfree.errors import LogError, UnreadableSound
from handsfree.grammar.grammar import Grammar
from handsfree.log import Horse, Log, Visit
from handsfree.log.joining import Recording
from handsfree.log.rows import zone_of
from handsfree.recording import Heard, Line, Recorder
from handsfree.session import Session
from handsfree.transcribe import heard_in
from handsfree.visit.dialogue import Dialogue
from handsfree.visit.turn import Turn

Progress = Callable[[float], None]
"""Called with the seconds of the recording that are done."""


@dataclass(frozen=True)
class Waiting:
    """A recording that can be read; `known` where the log has its sound already."""

    path: Path
    digest: str
    seconds: float
    made: Made
    known: Recording | None

    @property
    def done(self) -> bool:
        """Whether all of it was taken before."""
        return self.known is not None and self.known.done_at is not None


@dataclass(frozen=True)
class Taken:
    """What a recording became. `went_on`: it had been broken off before."""

    waiting: Waiting
    visits: tuple[str, ...]
    horses: tuple[str, ...]
    utterances: int
    entries: int
    unclear: int
    went_on: bool
    warning: str | None


@contextmanager
def alone(log: Log) -> Iterator[None]:
    """Nobody else brings recordings into this log meanwhile: both would go on in one visit.

    Raises LogError where somebody does.
    """
    lock = FileLock(f"{log.path}.bringing", mode=0o600)
    try:
        lock.acquire(timeout=0)
    except Timeout:
        raise LogError(
            f"log {log.path}: another 'handsfree bring' is at it; wait for it to end"
        ) from None
    except OSError as error:
        raise LogError(f"log {log.path}: {error.strerror}") from None
    try:
        yield
    finally:
        lock.release()


def waiting(log: Log, path: Path, latest: datetime) -> Waiting:
    """Read a recording through and see whether the log has it. Raises UnreadableSound."""
    found, seconds = digest(path)
    if not seconds:
        raise UnreadableSound(f"{path}: holds no sound")
    try:
        when = made(path, seconds, latest)
    except OSError as error:
        raise UnreadableSound(f"{path}: cannot be read: {error.strerror}") from None
    return Waiting(path, found, seconds, when, log.recording(found))


class Taker:
    """Takes recordings into a log with these ears."""

    def __init__(
        self,
        log: Log,
        ears: Together,
        grammar: Grammar,
        horse: Horse | None = None,
        attention_s: float | None = None,
    ) -> None:
        self._log, self._ears, self._grammar, self._horse = log, ears, grammar, horse
        self._attention_s = attention_s

    def take(self, one: Waiting, progress: Progress | None = None) -> Taken:
        """Take a recording, or what is left of it; each utterance is kept before the next.

        Raises UnreadableSound and LogError; what was kept until then stays, and the next
        time it goes on from there.
        """
        self._log.take_recording(one.digest, one.path.name)
        before = list(one.known.visits) if one.known else []
        session = Session(attention_s=self._attention_s)
        recorder = _AtItsTime(self._log, one, Dialogue(self._grammar, session), self._horse)
        done_s = recorder.resume(before)
        if done_s is not None and self._attention_s is not None:
            session.state = replace(session.state, awake_until_s=done_s + self._attention_s)
        last: Line | None = None
        with SoundReader(one.path) as reader:
            for clip in cut(reader):
                if done_s is None or clip.start_s > done_s:
                    verdict = self._ears.hear(clip)
                    if verdict.speech:
                        last = recorder.take(heard_in(clip, verdict, last)) or last
                if progress is not None:
                    progress(clip.end_s)
            warning = reader.warning
        self._log.recording_became(one.digest, [], done=True)
        return self._told(one, bool(before), warning)

    def _told(self, one: Waiting, went_on: bool, warning: str | None) -> Taken:
        known = self._log.recording(one.digest)
        visits = known.visits if known else ()
        utterances = [u for each in visits for u in self._log.utterances(each)]
        horses = [self._log.visit(each).horse for each in visits]
        return Taken(
            one,
            visits,
            tuple(dict.fromkeys(name for name in horses if name)),
            len(utterances),
            sum(len(self._log.entries(each, in_force=True)) for each in visits),
            sum(u.status == "unclear" for u in utterances),
            went_on,
            warning,
        )


class _AtItsTime(Recorder):
    """Writes into visits of a recording: all is as old as the recording."""

    def __init__(self, log: Log, one: Waiting, dialogue: Dialogue, horse: Horse | None) -> None:
        self._of = _Visits(log, one)
        super().__init__(one.path.name, self._of, dialogue, horse)

    def resume(self, visits: list[str]) -> float | None:
        """Go on in the last of these visits; returns how far it had come, in seconds."""
        utterances = [u for each in visits for u in self._of.utterances(each)]
        # Who had said "next horse" begins another visit with what follows.
        if visits and not (utterances and utterances[-1].command == "next_horse"):
            self.go_on(self._of.visit(visits[-1]))
        return max((u.start_s or 0.0 for u in utterances), default=None)

    def _keep(self, heard: Heard, turn: Turn, at: str) -> str:
        self._of.offset_s = heard.start_s
        return super()._keep(heard, turn, self._of.now)


class _Visits(Log):
    """The same log; visits that are begun belong to a recording, and begin when it did."""

    def __init__(self, log: Log, one: Waiting) -> None:
        super().__init__(log._db, log.path, log._busy_s)
        self._one = one
        self.offset_s = 0.0

    @property
    def now(self) -> str:
        """The moment of the recording that is being heard, as the log keeps it."""
        at = self._one.made.at + timedelta(seconds=self.offset_s)
        return at.astimezone(UTC).isoformat(timespec="milliseconds")

    def start_visit(
        self,
        source: str,
        horse_id: str | None = None,
        *_: Any,
        horse_said: str | None = None,
        **__: Any,
    ) -> Visit:
        """Begin a visit of the recording."""
        zone = zone_of(self._one.made.at)
        return self.visit(
            self.start_recorded_visit(
                self._one.digest, source, horse_id, self.now, horse_said, zone
            )
        )
