"""The phrases as they are read: from a microphone one after another, or from recordings."""

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from handsfree.audio.live import IDLE_S, Source, Trouble
from handsfree.audio.sources import SoundReader
from handsfree.audio.speech import cut
from handsfree.engines.base import SAMPLE_RATE, Clip, Sound
from handsfree.errors import UnreadableSound
from handsfree.voice.phrases import Phrase

WAIT_S = 12.0
"""How long a phrase is waited for, here and in `handsfree mic`."""
TIMES = 3
"""So often a phrase that nobody read is asked for before it is passed over."""
_SOUNDS = (".wav", ".flac", ".ogg", ".aiff", ".aif", ".w64", ".caf")
_NUMBERED = re.compile(r"0*(\d{1,3})(-again)?")


def never() -> bool:
    """Nobody asks to read anything again."""
    return False


@dataclass
class Reader:
    """Asks for one phrase after another and takes the clip that follows each.

    `is_speech` tells a phrase from a cough or a door. `back` says, once for each time it is
    asked for, that the phrase before shall be read again.
    """

    source: Source
    phrases: Sequence[Phrase]
    show: Callable[[str], None]
    is_speech: Callable[[Clip], bool]
    back: Callable[[], bool] = never
    clips: list[Clip | None] = field(default_factory=list, init=False)
    """One for each phrase so far; None for what was passed over."""
    _now_s: float = 0.0
    _since_s: float = 0.0
    _heard_s: float = 0.0
    """Length of the sound so far, by which clips count; pauses of the microphone are not in it."""
    _shown_s: float = 0.0
    _times: int = 0

    def run(self) -> list[Clip | None]:
        """Ask and listen; returns when all were asked for or the sound ends."""
        self._ask()
        for clip in cut(self._blocks()):
            # What was said before the phrase stood there is not the phrase.
            if self._left and clip.end_s > self._shown_s and self.is_speech(clip):
                self.show("taken")
                self._next(clip)
        return self.clips + [None] * (len(self.phrases) - len(self.clips))

    @property
    def _left(self) -> int:
        return len(self.phrases) - len(self.clips)

    def _blocks(self) -> Iterator[Sound]:
        while self._left:
            part = self.source.read()
            if part is None:
                return
            if isinstance(part, Trouble):
                self.show(part.line)
                continue
            self._now_s += len(part) / SAMPLE_RATE if len(part) else IDLE_S
            if len(part):
                self._heard_s += len(part) / SAMPLE_RATE
                yield part
            if self.back() and self.clips:
                self.clips.pop()
                self._times = 0
                self._ask()
            elif self._left and self.source.live and self._now_s - self._since_s > WAIT_S:
                self._not_caught()

    def _not_caught(self) -> None:
        self._times += 1
        if self._times < TIMES:
            self.show("nothing was caught; read it again")
            self._ask()
        else:
            self.show("passed over")
            self._next(None)

    def _next(self, clip: Clip | None) -> None:
        self.clips.append(clip)
        self._times = 0
        self._ask()

    def _ask(self) -> None:
        self._since_s, self._shown_s = self._now_s, self._heard_s
        if self._left:
            at = len(self.clips)
            self.show(f"Read ({at + 1} of {len(self.phrases)}):   {self.phrases[at].text}")


@dataclass(frozen=True)
class Recordings:
    """A folder's recordings by the number of the phrase; `again` are second readings."""

    first: dict[int, Path]
    again: dict[int, Path]


def find_recordings(folder: Path, count: int) -> Recordings:
    """The recordings named by the number of a phrase: 7.wav or 07.flac, and 07-again.wav.

    Other files are left alone. Raises UnreadableSound where the folder cannot be read, has none,
    or two for the same phrase.
    """
    found = Recordings({}, {})
    try:
        paths = sorted(folder.iterdir())
    except OSError as error:
        raise UnreadableSound(f"{folder}: cannot be read: {error.strerror}") from error
    for path in paths:
        named = _NUMBERED.fullmatch(path.stem)
        if named is None or path.suffix.lower() not in _SOUNDS:
            continue
        number, into = int(named[1]), found.again if named[2] else found.first
        if not 1 <= number <= count:
            raise UnreadableSound(f"{path}: there is no phrase {number}; they are 1 to {count}")
        if number in into:
            raise UnreadableSound(f"{path}: phrase {number} is in {into[number].name} already")
        into[number] = path
    if not found.first:
        raise UnreadableSound(
            f"{folder}: holds no recording named by a phrase's number (01.wav to {count}.wav; "
            "'handsfree voice --phrases' lists them)"
        )
    return found


def clip_of(path: Path) -> Clip | None:
    """The reading in a recording, cut as a microphone's sound is; the longest where there are
    several, None where there is none. Raises UnreadableSound."""
    with SoundReader(path) as reader:
        clips = list(cut(reader))
    return max(clips, key=lambda clip: len(clip.raw), default=None)
