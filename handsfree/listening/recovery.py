"""What a session that broke off had heard but not yet written: heard again at the next start."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from handsfree.audio.speech import cut
from handsfree.dialogue.dialogue import Dialogue
from handsfree.dialogue.session import Session
from handsfree.engines.base import Clip
from handsfree.engines.together import Together
from handsfree.errors import LogError
from handsfree.grammar.grammar import Grammar
from handsfree.log import Log, Utterance, Visit
from handsfree.log.joining import Recording
from handsfree.recording import Line, Recorder
from handsfree.spool import Leftover, leftovers
from handsfree.transcribe import heard_in

GO_ON_WITHIN_S = 2 * 3600.0
"""A visit broken off no longer ago than this is gone on with (no source)."""

_SAME_WITHIN_S = 0.3


@dataclass(frozen=True)
class BrokenOff:
    """A visit to go on with; `ahead_s` is where its clock stood."""

    visit: Visit
    ahead_s: float


def spool_folder(log: Path) -> Path:
    """Where the sound that is not in this log yet is kept."""
    return log.with_name(f"{log.name}.spool")


def recover(
    log: Log,
    ears: Together,
    grammar: Grammar,
    tell: Callable[[str], None],
    show: Callable[[Line], None] = lambda line: None,
) -> BrokenOff | None:
    """Hear and write what broken-off sessions left; the visit to go on with, if there is one.

    Each utterance goes into the visit it was said in, unless that visit has it already. The
    sound is removed only when all of it is in the log. Raises LogError where the log refuses,
    or where a recognizer fails EngineError; the sound then stays for the next start. What was
    left of a recording goes into the visits of that, which nobody goes on with here.
    """
    last: BrokenOff | None = None
    for left in leftovers(spool_folder(log.path)):
        recording = _recording_of(log, left)
        if recording is not None and recording.done_at is not None:
            left.remove()
            continue
        visit = _visit_of(log, left)
        tell(f"the last session broke off; hearing its last {left.seconds:.0f} s of sound again")
        count = 0
        for line in _heard_again(left, visit, log, ears, grammar):
            show(line)
            count += 1
        left.remove()
        notes = f"{count} utterance{'s' * (count != 1)}"
        tell(
            f"recovered {notes} of {left.seconds:.0f} s of sound"
            if count
            else "all that was said then is in the log"
        )
        if visit is not None and _digest(left) is None:
            last = BrokenOff(visit, _ahead_s(left) + left.start_s + left.seconds)
    return last if last is not None and _is_recent(log, last.visit) else None


def forget(log: Log, recording: str) -> None:
    """Remove what a session left that heard this recording: now it is heard from its file."""
    for left in leftovers(spool_folder(log.path)):
        if _digest(left) == recording:
            left.remove()


def _digest(left: Leftover) -> str | None:
    found = left.about.get("recording")
    return found if isinstance(found, str) else None


def _recording_of(log: Log, left: Leftover) -> Recording | None:
    digest = _digest(left)
    return None if digest is None else log.recording(digest)


def _visit_of(log: Log, left: Leftover) -> Visit | None:
    try:
        return log.visit(str(left.about["visit"])) if left.about.get("visit") else None
    except LogError:
        return None


def _ahead_s(left: Leftover) -> float:
    return _seconds(left, "ahead_s") or 0.0


def _seconds(left: Leftover, what: str) -> float | None:
    found = left.about.get(what)
    return float(found) if isinstance(found, int | float) else None


def _attention_s(left: Leftover, grammar: Grammar) -> float | None:
    """How long that session stayed awake; None where it never slept.

    Also where it had another attention word than this one: that word would not be heard, and
    what was said after it must not be lost.
    """
    same = left.about.get("attention") == " ".join(grammar.attention)
    return _seconds(left, "attention_s") if same else None


def _heard_again(
    left: Leftover, visit: Visit | None, log: Log, ears: Together, grammar: Grammar
) -> Iterator[Line]:
    session = Session(restating=True, attention_s=_attention_s(left, grammar))
    source = str(left.about.get("source") or "microphone")
    recorder = Recorder(source, log, Dialogue(grammar, session), recording=_digest(left))
    recording = _recording_of(log, left)
    written: Sequence[Utterance] = ()
    if recording is not None:
        recorder.resume(recording.visits)
        written = [u for each in recording.visits for u in log.utterances(each)]
    elif visit is not None:
        recorder.go_on(visit)
        written = log.utterances(visit.id)
    session.state = replace(
        session.state,
        ears_on=left.about.get("ears_on") is not False,
        awake_until_s=_seconds(left, "awake_until_s"),
    )
    last: Line | None = None
    for clip in cut(left.blocks()):
        offset = left.start_s + _ahead_s(left)
        timed = replace(clip, start_s=clip.start_s + offset, end_s=clip.end_s + offset)
        if not _is_there(timed, written):
            verdict = ears.hear(clip)
            last = recorder.take(heard_in(timed, verdict, last)) if verdict.speech else None
            if last is not None:
                yield last
        left.done_before(left.start_s + clip.end_s)


def _is_there(clip: Clip, written: Sequence[Utterance]) -> bool:
    """Whether the log has this utterance: the session was killed between writing and noting it.

    A clip whose beginning was dealt with is cut anew from the middle, so its end decides.
    """
    return any(
        each.end_s is not None
        and (abs(each.end_s - clip.end_s) < _SAME_WITHIN_S or clip.end_s < each.end_s)
        for each in written
    )


def _is_recent(log: Log, visit: Visit) -> bool:
    utterances = log.utterances(visit.id)
    if not utterances or utterances[-1].command in ("horse_done", "next_horse"):
        return False
    then = datetime.fromisoformat(utterances[-1].recorded_at or visit.started_at)
    return (datetime.now(UTC) - then).total_seconds() <= GO_ON_WITHIN_S
