"""One recording into the log: as `handsfree transcribe` does, at the time it was made, once."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from filelock import FileLock, Timeout

from handsfree.bringing.digest import digest
from handsfree.bringing.known import heard_here
from handsfree.bringing.times import Made, made
from handsfree.dialogue.dialogue import Dialogue
from handsfree.dialogue.session import Session
from handsfree.dialogue.turn import Turn
from handsfree.engines.together import Together
from handsfree.errors import LogError, UnreadableSound
from handsfree.grammar.grammar import Grammar
from handsfree.log import Horse, Log
from handsfree.log.joining import Recording
from handsfree.log.rows import zone_of
from handsfree.recording import Heard, Recorder
from handsfree.transcribe import sound_lines

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
        with heard_here(self._log, one.digest):
            return self._take(one, progress)

    def _take(self, one: Waiting, progress: Progress | None) -> Taken:
        self._log.take_recording(one.digest, one.path.name)
        known = self._log.recording(one.digest)
        before = known.visits if known is not None else ()
        session = Session(attention_s=self._attention_s)
        recorder = _AtItsTime(self._log, one, Dialogue(self._grammar, session), self._horse)
        warnings: list[str] = []
        for _ in sound_lines(
            str(one.path),
            self._ears,
            recorder,
            None if progress is None else lambda done, _: progress(done),
            warnings.append,
            recorder.resume(before),
        ):
            pass
        warning = warnings[0] if warnings else None
        # What has a warning is told of at every bringing, until it is mended or taken away.
        self._log.recording_became(one.digest, [], done=warning is None)
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
        super().__init__(one.path.name, log, dialogue, horse, recording=one.digest)
        self._made = one.made

    def _zone(self) -> str:
        return zone_of(self._made.at)

    def _keep(self, heard: Heard, turn: Turn, at: str) -> str:
        said = (self._made.at + timedelta(seconds=heard.start_s)).astimezone(UTC)
        return super()._keep(heard, turn, said.isoformat(timespec="milliseconds"))
