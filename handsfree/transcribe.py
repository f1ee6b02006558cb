"""Recordings and typed words through the whole chain, one line at a time."""

import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future
from pathlib import Path
from typing import TextIO

from handsfree.audio.sources import SoundReader
from handsfree.audio.speech import cut, to_flac
from handsfree.dialogue.session import Outcome
from handsfree.dialogue.turn import Turn
from handsfree.engines.base import Clip
from handsfree.engines.together import Alternative, Together, Verdict, as_remark
from handsfree.errors import UnreadableSound
from handsfree.grammar.grammar import Grammar, Reading
from handsfree.grammar.lessons import AS_CORRECTED, ONCE_CORRECTED
from handsfree.grammar.words import plain_words
from handsfree.language.known import entry_of
from handsfree.language.understand import Understanding
from handsfree.log import Log, Utterance
from handsfree.recording import Heard, Line, Recorder
from handsfree.records.checking import BY_THIS_VERSION, Unreadable
from handsfree.records.commands import Command

STANDARD_INPUT = "-"

Progress = Callable[[float, float | None], None]
"""Called with the seconds done and the seconds there are (None if unknown)."""


def sound_lines(
    file: str,
    ears: Together,
    recorder: Recorder,
    progress: Progress | None = None,
    warn: Callable[[str], None] | None = None,
    after: Utterance | None = None,
) -> Iterator[Line]:
    """Transcribe one recording (`-`: WAV on standard input), keeping each line first.

    What was said up to the end of `after` is in the log already and is not heard again.
    Raises UnreadableSound. Noise without speech gives no line.
    """
    source = sys.stdin.buffer if file == STANDARD_INPUT else Path(file)
    last: Line | None = None
    with SoundReader(source) as reader:
        for clip in cut(reader):
            if progress is not None:
                progress(clip.end_s, reader.duration_s)
            if after is not None and clip.start_s <= (after.start_s or 0.0):
                continue
            verdict = ears.hear(clip)
            last = recorder.take(heard_in(clip, verdict, last)) if verdict.speech else None
            if last is not None:
                yield last
        if reader.warning and warn is not None:
            warn(reader.warning)


def heard_in(clip: Clip, verdict: Verdict, last: Line | None = None) -> Heard:
    """What was decided about a clip, with its sound; `last` is the line before it.

    A remark goes on to the end of the utterance, even where that was too long for one clip.
    """
    if clip.goes_on and last is not None and last.outcome.command == "remark":
        verdict = as_remark(verdict)
    return Heard(
        verdict.heard,
        verdict.reading,
        verdict.confidence,
        clip.start_s,
        clip.end_s,
        verdict.engines,
        verdict.alternatives,
        verdict.free_text,
        verdict.doubt,
        to_flac(clip.raw),
    )


def kept_lines(file: str, log: Log, visits: Sequence[str]) -> Iterator[Line]:
    """The lines that a recording became before, from its visits, with what a person made of them.

    What was taken back by voice is there, as it was when it was said.
    """
    for visit in visits:
        entries = log.entries(visit)
        about = log.visit(visit)
        said_name = None if about.horse else about.horse_said
        of = {entry.id: entry.utterance_id for entry in entries}
        for said in log.utterances(visit):
            own = [e for e in entries if e.utterance_id == said.id]
            shown = [e for e in own if e.in_force or e.status_by == "voice"]
            noted = [entry_of(e.body) for e in shown]
            readable = tuple(e for e in noted if not isinstance(e, Unreadable))
            unread = f"a note of it {BY_THIS_VERSION}" if len(readable) < len(noted) else None
            outcome = Outcome(
                said.status,
                Command(said.command) if said.command else None,
                said.limb,
                readable,
                strikes=said.command == "strike",
                replaces=any(e.replaces and of.get(e.replaces) != said.id for e in shown),
                horse=about.horse if said.command == Command.HORSE else None,
                horse_said=said_name if said.command == Command.HORSE else None,
            )
            heard = Heard(
                said.heard,
                Reading(()),
                said.confidence or 0.0,
                said.start_s or 0.0,
                said.end_s or 0.0,
                said.engines,
                tuple(Alternative(**each) for each in said.alternatives),
                said.free_text,
                "; ".join(filter(None, (said.doubt, unread))) or None,
            )
            written: Future[str] = Future()
            written.set_result(said.id)
            turn = Turn(0, outcome, horse=about.horse, horse_said=said_name)
            yield Line(file, heard, turn, written)


def typed_lines(file: str, grammar: Grammar, recorder: Recorder) -> Iterator[Line]:
    """Read typed words, one utterance a line (`-`: standard input).

    Raises UnreadableSound for a file that is missing or no text.
    """
    try:
        if file == STANDARD_INPUT:
            yield from _typed(sys.stdin, grammar, recorder)
        else:
            with Path(file).open(encoding="utf-8") as stream:
                yield from _typed(stream, grammar, recorder)
    except OSError as error:
        raise UnreadableSound(f"{file}: cannot be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise UnreadableSound(f"{file}: is no text in UTF-8") from None


def _typed(stream: TextIO, grammar: Grammar, recorder: Recorder) -> Iterator[Line]:
    understanding = Understanding(grammar)
    for text in stream:
        words = plain_words(text)
        if not words:
            continue
        reading = understanding.read(words)
        confidence = max(0.0, 1.0 - reading.bend) if reading.meaning else 0.1
        shown = " ".join(words)
        taught = AS_CORRECTED if reading.by_lesson else ONCE_CORRECTED if reading.taught else None
        doubt = taught or reading.doubt
        line = recorder.take(Heard(shown, reading, confidence, 0.0, 0.0, ("text",), doubt=doubt))
        if line is not None:
            yield line
