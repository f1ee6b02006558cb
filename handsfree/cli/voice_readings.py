"""Where the readings of a voice set-up come from: the microphone and the screen, or a folder."""

import os
import select
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import closing
from pathlib import Path
from typing import Protocol

from rich.console import Console
from rich.panel import Panel
from rich.text import Text

from handsfree.audio.devices import c_libraries_silenced
from handsfree.audio.microphone import Microphone
from handsfree.cli.screen import safe
from handsfree.engines.base import Clip
from handsfree.errors import UnreadableSound
from handsfree.voice.measure import Measure
from handsfree.voice.phrases import Phrase
from handsfree.voice.readings import Reader, Recordings, clip_of, never


class Readings(Protocol):
    """Where readings come from; clips by the number of the phrase, of those that were read."""

    def first(self, phrases: Sequence[Phrase]) -> dict[int, Clip]:
        """Each phrase once."""
        ...

    def again(self, phrases: Sequence[Phrase]) -> dict[int, Clip]:
        """These once more."""
        ...


class Recorded:
    """Readings from a folder; one that cannot be read or holds no speech is told of."""

    def __init__(self, found: Recordings, tell: Callable[[str], None]) -> None:
        self._found, self._tell = found, tell

    def first(self, phrases: Sequence[Phrase]) -> dict[int, Clip]:
        """The readings named by a number alone."""
        return self._clips(self._found.first, phrases)

    def again(self, phrases: Sequence[Phrase]) -> dict[int, Clip]:
        """The readings named as second ones."""
        return self._clips(self._found.again, phrases)

    def _clips(self, paths: Mapping[int, Path], phrases: Sequence[Phrase]) -> dict[int, Clip]:
        clips: dict[int, Clip] = {}
        for number in (phrase.number for phrase in phrases if phrase.number in paths):
            try:
                clip = clip_of(paths[number])
            except UnreadableSound as error:
                self._tell(str(error))
                continue
            if clip is None:
                self._tell(f"{paths[number].name}: no speech was found")
            else:
                clips[number] = clip
        return clips


class Spoken:
    """Readings from the microphone, asked for on the screen."""

    def __init__(self, measure: Measure, device: str | None, out: Console) -> None:
        self._measure, self._device, self._out = measure, device, out

    def first(self, phrases: Sequence[Phrase]) -> dict[int, Clip]:
        """Ask for each phrase."""
        self._show("Read each phrase in one breath, as you would say it under the horse.")
        return self._read(phrases)

    def again(self, phrases: Sequence[Phrase]) -> dict[int, Clip]:
        """Ask for these once more."""
        if not phrases:
            return {}
        self._show("What was not understood is read once more: the same each time can be learnt.")
        return self._read(phrases)

    def _read(self, phrases: Sequence[Phrase]) -> dict[int, Clip]:
        back = never
        if sys.stdin.isatty():
            back = enter_pressed
            self._show("Enter: read the last one again. Ctrl-C: stop, and change nothing.")
        with c_libraries_silenced(), closing(Microphone(self._device)) as source:
            clips = Reader(source, phrases, self._show, self._measure.is_speech, back).run()
        return {p.number: clip for p, clip in zip(phrases, clips, strict=True) if clip is not None}

    def _show(self, text: str) -> None:
        if self._out.is_terminal and text.startswith("Read ("):
            shown = Text(safe(text), style="bold")
            self._out.print(Panel(shown, padding=(1, 4), expand=False))
        else:
            self._out.print(safe(text), soft_wrap=True)


def enter_pressed() -> bool:
    """Whether Enter was pressed since this was asked last; never waits."""
    if sys.platform == "win32":
        import msvcrt

        pressed = False
        while msvcrt.kbhit():
            pressed |= msvcrt.getwch() in "\r\n"
        return pressed
    ready, _, _ = select.select([sys.stdin], [], [], 0)
    return bool(ready) and b"\n" in os.read(sys.stdin.fileno(), 1024)
