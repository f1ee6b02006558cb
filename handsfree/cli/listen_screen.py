"""What a listening session shows to anyone near the screen. Nobody has to look."""

import json
import time
from collections.abc import Sequence
from contextlib import ExitStack
from types import TracebackType
from typing import Self

import click
import numpy as np
from rich.console import Console
from rich.live import Live
from rich.text import Text

from handsfree.cli.screen import clock, safe
from handsfree.cli.transcribe import line_text
from handsfree.engines.base import Sound
from handsfree.grammar.grammar import Grammar
from handsfree.grammar.wording import Wording
from handsfree.recording import Line, Recorder
from handsfree.visit.answer import Tone

REFRESH_S = 0.25
LOWEST_DB, BAR = -60.0, 20


class Printed:
    """Lines as they come: utterances on standard output, all else on standard error."""

    def __init__(self, grammar: Grammar, out: Console, err: Console, as_json: bool) -> None:
        self._wording, self._as_json = Wording(grammar), as_json
        self._out, self._err = out, err

    def line(self, line: Line) -> None:
        """An utterance, and whether it is safe in the log."""
        if self._as_json:
            click.echo(json.dumps(line.as_json()))
            return
        safe_in_log = line.written is None or line.written.done()
        note = "" if safe_in_log else "  -- not in the log yet"
        self._out.print(line_text(line, self._wording) + note, soft_wrap=True)

    def told(self, at_s: float, tone: Tone | None, say: Sequence[str]) -> None:
        """An answer as it goes out."""
        if not self._as_json:
            words = f'says "{" / ".join(say)}"' if say else f"tone: {tone}"
            self._out.print(f"{clock(at_s):>6}      {safe(words)}", style="dim", soft_wrap=True)

    def trouble(self, text: str) -> None:
        """One line about the session itself."""
        self._err.print(safe(text), soft_wrap=True)

    def block(self, sound: Sound, at_s: float) -> None:
        """Lines show no level."""


class LivePicture:
    """Printed lines, and below them on a terminal one line that shows the state and the level."""

    def __init__(
        self, printed: Printed, recorder: Recorder, console: Console, hidden: bool = False
    ) -> None:
        self._printed, self._recorder = printed, recorder
        self._shown = console.is_terminal and not hidden
        self._live = Live(console=console, auto_refresh=False, transient=True)
        self._stack = ExitStack()
        self._next, self._peak = 0.0, 0.0

    def __enter__(self) -> Self:
        if self._shown:
            self._stack.enter_context(self._live)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stack.close()

    def line(self, line: Line) -> None:
        """See Printed."""
        self._printed.line(line)

    def trouble(self, text: str) -> None:
        """See Printed."""
        self._printed.trouble(text)

    def block(self, sound: Sound, at_s: float) -> None:
        """Follow the level; draw it a few times a second."""
        if not self._shown or not len(sound):
            return
        self._peak = max(self._peak, float(np.abs(sound).max()))
        now = time.monotonic()
        if now >= self._next:
            self._next = now + REFRESH_S
            self._live.update(Text(self._status(at_s)), refresh=True)
            self._peak = 0.0

    def _status(self, at_s: float) -> str:
        session = self._recorder.dialogue.session
        state = session.state
        parts = [state.horse or "horse not named", " ".join(state.limbs) or "no limb"]
        if state.up is not None:
            parts.append(f"foot up {clock(at_s - state.up_since_s)}")
        hears = "asleep" if session.asleep(at_s) else "ears on"
        parts.append(hears if state.ears_on else "EARS OFF")
        waits = len(self._recorder.waiting)
        if waits:
            parts.append(f"{waits} waiting for the log")
        db = 20 * np.log10(self._peak + 1e-9)
        filled = round(BAR * float(np.clip(1 - db / LOWEST_DB, 0, 1)))
        return f"{safe(' | '.join(parts))} | level {'#' * filled}{'.' * (BAR - filled)}"
