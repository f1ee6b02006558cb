"""The microphone: sound through PortAudio that outlives overflows, unplugging and silence."""

import queue
import threading
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, nullcontext, suppress
from typing import Any

import numpy as np

from handsfree.audio.capture import GONE_AFTER_S, Capture, Clock, Item, RealClock
from handsfree.audio.devices import (
    Device,
    NoMicrophone,
    SeveralMicrophones,
    choose,
    devices,
    load_portaudio,
    quiet_stderr,
)
from handsfree.audio.live import IDLE_S, Trouble
from handsfree.engines.base import Sound

RETRY_S = 2.0
OTHER_AFTER_S = 20.0
"""How long the default microphone is waited for before another default is taken for it."""
STUCK_AFTER_S = 10.0
ZEROS_S = 2.0
ZEROS_LONGEST_S = 60.0
OVERFLOW_EVERY_S = 10.0


def _worker() -> Callable[[Callable[[], None]], None]:
    """Runs jobs one after another in one thread that does not keep the program alive.

    Windows' sound systems want to be started, used and stopped in the same thread.
    """
    jobs: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()

    def work() -> None:
        while True:
            jobs.get()()

    threading.Thread(target=work, name="microphone", daemon=True).start()
    return jobs.put


class Microphone:
    """A Source on a sound input; see handsfree.audio.live.Source.

    `device` is a number or a part of a name, None for the system's default. Raises
    NoMicrophone where PortAudio is missing, the name is unknown or the device cannot be
    opened; with `wait` the last two are Trouble and it keeps trying. A reader that is late
    finds up to two minutes of sound waiting. `around_restart` makes a context in which
    PortAudio is stopped and started again for the whole process (the only way to see new
    devices): streams that others have open must be closed in it.

    `sound` (the module sounddevice), `clock` and `start` (runs a job elsewhere) are for tests.
    """

    live = True

    def __init__(
        self,
        device: str | None = None,
        wait: bool = False,
        around_restart: Callable[[], AbstractContextManager[None]] = nullcontext,
        sound: Any = None,
        clock: Clock | None = None,
        start: Callable[[Callable[[], None]], None] | None = None,
    ) -> None:
        self._sound = sound or load_portaudio()
        self._clock = clock or RealClock()
        self._wanted, self._around_restart, self._start = device, around_restart, start
        self._due: deque[Sound | Trouble] = deque()
        self._lock = threading.Lock()
        self._closed = False
        self._opened: queue.SimpleQueue[Capture | None] = queue.SimpleQueue()
        self._capture: Capture | None = None
        self._known: Device | None = None
        self._heard_until = self._clock.now()
        self._gone = False
        self._trying_since: float | None = None
        self._next_try = 0.0
        self._told_stuck = False
        self._zeros_s, self._zeros_limit_s, self._told_zeros = 0.0, ZEROS_S, False
        self._lost, self._lost_s, self._next_overflow = 0, 0.0, 0.0
        self.name = "microphone"
        self.rate: int | None = None
        """The device's own sampling rate, Hz; None before it was first opened."""
        try:
            self._use(Capture(self._sound, choose(devices(self._sound), device), self._clock))
        except SeveralMicrophones:
            raise
        except NoMicrophone as error:
            if not wait:
                raise
            self._lose(f"{error}; waiting for it")

    def read(self) -> Sound | Trouble | None:
        """The next block, Trouble, an empty block after IDLE_S, None once closed."""
        until = self._clock.now() + IDLE_S
        nothing: queue.SimpleQueue[Item] = queue.SimpleQueue()
        while not self._due:
            if self._closed:
                return None
            inbox = self._capture.inbox if self._capture else nothing
            item = self._clock.get(inbox, max(0.0, until - self._clock.now()))
            if item is not None:
                self._take(item)
                continue
            self._watch()
            if not self._due:
                return np.zeros(0, np.float32)
        return self._due.popleft()

    def close(self) -> None:
        """Stop listening; safe to call twice."""
        with self._lock:
            self._closed = True
        self._due.clear()
        captures = [self._capture, *_emptied(self._opened)]
        self._capture = None
        for capture in captures:
            if capture is not None:
                capture.close()

    def _use(self, capture: Capture) -> None:
        self._capture, self._known = capture, capture.device
        self.rate, self.name = capture.rate, f"microphone {capture.device.name}"

    def _take(self, item: Item) -> None:
        assert self._capture is not None
        arrived, data, missed = item
        block, length_s, zeros = self._capture.decode(data)
        if self._gone:
            self._gone, self._told_stuck = False, False
            gap_s = max(0.0, arrived - length_s - self._heard_until)
            self._due.append(Trouble("back", f"the {self.name} is back", gap_s))
        self._heard_until = arrived
        lost = self._capture.lost.take(arrived, length_s, missed)
        if lost is not None:
            self._lost, self._lost_s = self._lost + lost[0], self._lost_s + lost[1]
        if self._lost and arrived >= self._next_overflow:
            self._next_overflow = arrived + OVERFLOW_EVERY_S
            times = "once" if self._lost == 1 else f"{self._lost} times"
            line = f"sound was lost {times} ({self._lost_s:.1f} s): the machine may be too busy"
            self._due.append(Trouble("overflow", line, self._lost_s))
            self._lost, self._lost_s = 0, 0.0
        self._mind_zeros(zeros, length_s)
        if len(block):
            self._due.append(block)

    def _mind_zeros(self, zeros: bool, length_s: float) -> None:
        """Tell of exact silence; less readily each time it ended, as gating headsets make it."""
        if not zeros:
            if self._told_zeros:
                self._zeros_limit_s = min(2 * self._zeros_limit_s, ZEROS_LONGEST_S)
            self._zeros_s, self._told_zeros = 0.0, False
            return
        self._zeros_s += length_s
        if self._zeros_s >= self._zeros_limit_s and not self._told_zeros:
            self._told_zeros = True
            line = (
                f"only silence comes from the {self.name}: allow the terminal to use the "
                "microphone (macOS: System Settings, Privacy) or unmute it"
            )
            self._due.append(Trouble("zeros", line))

    def _watch(self) -> None:
        """Nothing came: notice a dead stream, and try to open it again from time to time."""
        now = self._clock.now()
        if self._capture is not None:
            if now - self._capture.last <= GONE_AFTER_S or not self._capture.inbox.empty():
                return
            self._lose("the microphone is gone; nothing is heard until it is plugged in again")
        if self._trying_since is None:
            if now >= self._next_try:
                self._try_again(now)
            return
        for capture in _emptied(self._opened):
            self._trying_since, self._next_try = None, now + RETRY_S
            if capture is not None:
                self._use(capture)
        trying_s = 0.0 if self._trying_since is None else now - self._trying_since
        if trying_s > STUCK_AFTER_S and not self._told_stuck:
            self._told_stuck = True
            line = "the sound system does not answer; start handsfree again if it stays so"
            self._due.append(Trouble("gone", line))

    def _lose(self, line: str) -> None:
        if self._capture is not None and not self._gone:
            rest = self._capture.rest()
            if len(rest):
                self._due.append(rest)
        if not self._gone:
            self._gone = True
            self._due.append(Trouble("gone", line))

    def _try_again(self, now: float) -> None:
        """Have the stream closed and opened anew elsewhere: any of it may take seconds."""
        old, self._capture = self._capture, None
        self._trying_since = now
        other = self._wanted is None and now - self._heard_until >= OTHER_AFTER_S

        def job() -> None:
            capture: Capture | None = None
            # Whatever goes wrong, the next try must come.
            with suppress(Exception):
                if old is not None:
                    old.close()
                self._restart()
                capture = Capture(self._sound, self._find(other), self._clock)
            with self._lock:
                if not self._closed:
                    self._opened.put(capture)
                    return
            if capture is not None:
                capture.close()

        if self._start is None:
            self._start = _worker()
        self._start(job)

    def _restart(self) -> None:
        with self._around_restart():
            # The way its maintainer names (spatialaudio/python-sounddevice, issue 125).
            with suppress(self._sound.PortAudioError):
                self._sound._terminate()
            with quiet_stderr():
                self._sound._initialize()

    def _find(self, other: bool) -> Device:
        """The device that was lost, by its name as numbers change; else as at the start."""
        found = devices(self._sound)
        known = self._known
        if known is not None:
            same = [d for d in found if (d.name, d.host) == (known.name, known.host)]
            if same:
                return same[0]
            if not other:
                raise NoMicrophone(f"the microphone '{known.name}' is not there")
        return choose(found, self._wanted)


def _emptied(results: "queue.SimpleQueue[Capture | None]") -> Iterator[Capture | None]:
    while not results.empty():
        yield results.get()
