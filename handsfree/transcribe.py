"""Recordings and typed words through the whole chain, one line at a time."""

import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TextIO

from handsfree.audio.sources import SoundReader
from handsfree.audio.speech import cut, to_flac
from handsfree.engines.base import Clip
from handsfree.engines.together import Together, Verdict, as_remark
from handsfree.errors import UnreadableSound
from handsfree.grammar.grammar import Grammar
from handsfree.grammar.lessons import AS_CORRECTED, ONCE_CORRECTED
from handsfree.grammar.words import plain_words
from handsfree.language.understand import Understanding
from handsfree.recording import Heard, Line, Recorder

STANDARD_INPUT = "-"

Progress = Callable[[float, float | None], None]
"""Called with the seconds done and the seconds there are (None if unknown)."""


def sound_lines(
    file: str,
    ears: Together,
    recorder: Recorder,
    progress: Progress | None = None,
    warn: Callable[[str], None] | None = None,
) -> Iterator[Line]:
    """Transcribe one recording (`-`: WAV on standard input), keeping each line first.

    Raises UnreadableSound. Noise without speech gives no line.
    """
    source = sys.stdin.buffer if file == STANDARD_INPUT else Path(file)
    last: Line | None = None
    with SoundReader(source) as reader:
        for clip in cut(reader):
            verdict = ears.hear(clip)
            if progress is not None:
                progress(clip.end_s, reader.duration_s)
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
