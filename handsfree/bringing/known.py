"""Recordings that are heard once, whichever command hears them: each makes its visits once."""

import hashlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from handsfree.bringing.digest import digest
from handsfree.errors import LogError
from handsfree.log import Log
from handsfree.log.joining import Recording
from handsfree.recording import Line
from handsfree.spool.layout import claim, let_go
from handsfree.transcribe import kept_lines

_ID_SHOWN = 8


@dataclass(frozen=True)
class ToHear:
    """Files to be heard one after the other as one recording, and what the log has of that.

    `digest` is of all together; None where the log cannot tell (a pipe, or heard anew).
    `up_to_s` is how far it was heard, in seconds.
    """

    files: tuple[str, ...] = ()
    digest: str | None = None
    visits: tuple[str, ...] = ()
    up_to_s: float = 0.0
    _digests: tuple[str, ...] = ()

    def done(self, log: Log) -> None:
        """Keep that all of it was heard, and which visits each file became."""
        whole = log.recording(self.digest) if self.digest is not None else None
        for each, file in zip(self._digests, self.files, strict=False):
            log.take_recording(each, Path(file).name)
            log.recording_became(each, whole.visits if whole is not None else (), done=True)


@contextmanager
def to_hear(
    log: Log, files: Sequence[str], tell: Callable[[str], None], show: Callable[[Line], None]
) -> Iterator[ToHear]:
    """Tell and show of the files what the log has already; the rest is to be heard.

    Nobody else hears that meanwhile. Raises UnreadableSound and LogError.
    """
    if not all(Path(file).is_file() for file in files):
        yield ToHear(tuple(files))
        return
    new: dict[str, str] = {}
    for file in files:
        new[file], _ = digest(Path(file))
        known = log.recording(new[file])
        if known is not None and known.done_at is not None:
            del new[file]
            tell(_taken_before(log, Path(file).name, known))
            for line in kept_lines(file, log, known.visits):
                show(line)
    if not new:
        yield ToHear()
        return
    whole = _digest_of_all(list(new.values()))
    with heard_here(log, whole):
        known = log.recording(whole)
        visits = known.visits if known is not None else ()
        ends = [u.end_s or 0.0 for each in visits for u in log.utterances(each)]
        yield ToHear(tuple(new), whole, visits, max(ends, default=0.0), tuple(new.values()))


def _digest_of_all(digests: Sequence[str]) -> str:
    if len(digests) == 1:
        return digests[0]
    return hashlib.sha256("".join(digests).encode()).hexdigest()


def _taken_before(log: Log, name: str, known: Recording) -> str:
    """The line that says which visit holds a recording, and how to hear it anew."""
    began = [log.visit(each) for each in known.visits]
    visits = " and ".join(f"visit {v.id[:_ID_SHOWN]} of {v.day}" for v in began)
    return (
        f"{name}: was taken before, {visits or 'no words in it'}; "
        "--again hears it anew, into another visit"
    )


@contextmanager
def heard_here(log: Log, digest: str) -> Iterator[None]:
    """Nobody else hears this recording into the log meanwhile: both would go on in one visit.

    Raises LogError where somebody does.
    """
    path = log.path.with_name(f"{log.path.name}.{digest[:16]}.lock")
    try:
        lock = claim(path)
    except OSError as error:
        raise LogError(f"log {log.path}: {error.strerror}") from error
    if lock is None:
        raise LogError(
            f"log {log.path}: another 'handsfree' is hearing this recording; wait for it to end"
        )
    try:
        yield
    finally:
        let_go(lock, path)
