"""A loudspeaker or headset through PortAudio, which may be missing, unplugged and come back."""

import contextlib
import queue
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from handsfree.answers.choice import choose_output
from handsfree.answers.playlist import Backlog, Playlist, make_piece, playable
from handsfree.audio.devices import NoMicrophone, load_portaudio, one_line, quiet_stderr
from handsfree.engines.base import Sound

RETRY_S = 3.0
"""How long after a failure the device is tried again, s."""

LIBRARY_RETRY_S = 60.0
"""The same where the library PortAudio is missing: looking for it starts other programs."""

CHECK_S = 0.5
"""How often a device that should be playing is looked at, s."""

STALL_S = 4.0
"""A device that took no sound for so long is gone: unplugging gives no other sign, s.

A PulseAudio output that had slept took up to 1.7 s to begin (measured).
"""

LATENCY_S = 0.15
"""What is buffered in the device, s: a busy recognizer must not tear gaps into an answer.

Measured with PulseAudio 16 behind ALSA: 0.08 ran away in underruns in most runs, 0.12 never.
"""

_CONSEQUENCE = "answers are silent until then"


class Speaker:
    """An `Output` on a device of this machine.

    `device` is a number, (part of) a name, or None for the one the system would take. It is
    opened by the first `play`, in the background, at its own rate. Where it cannot be opened
    or stops taking sound, `trouble` says so once, what is played meanwhile is dropped, and
    it is tried again every `retry_s`. Nothing here raises for want of a device.

    `load` gives the module sounddevice (tests give a stand-in). `rescan` is called before
    each new try: PortAudio lists the devices once, and only starting it anew shows one that
    was plugged in later. It must not do so under an open microphone; without it the list
    stays as it was until somebody starts PortAudio anew inside `set_aside`.
    """

    def __init__(
        self,
        device: str | None = None,
        *,
        load: Callable[[], Any] = load_portaudio,
        rescan: Callable[[], None] | None = None,
        retry_s: float = RETRY_S,
        check_s: float = CHECK_S,
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        self._device, self._load, self._rescan, self._now = device, load, rescan, now
        self._retry_s, self._check_s = retry_s, check_s
        self._lock = threading.Lock()
        self._todo: queue.Queue[tuple[int, Sound] | _Aside | None] = queue.Queue()
        self._worker: threading.Thread | None = None
        self._closed = False
        self._given = 0
        self._keep_from = 0
        self._dropped = -1
        self._playlist: Playlist | None = None
        self._stream: Any = None
        self._backlog = Backlog()
        self._line: str | None = None
        self._failing = False
        self._next_try_s = float("-inf")
        self._seen_frames, self._seen_s = 0, 0.0

    def play(self, sound: Sound) -> None:
        """Queue a sound (see Output)."""
        clean = playable(sound)
        with self._lock:
            if self._closed:
                return
            self._todo.put((self._given, clean))
            self._given += 1
            self._start_worker()

    def stop(self) -> None:
        """Drop what is queued and playing (see Output)."""
        with self._lock:
            self._keep_from = self._given
            if self._playlist is not None:
                self._playlist.keep_from = self._given

    @property
    def playing(self) -> bool:
        """Whether a sound is playing or queued (see Output)."""
        with self._lock:
            done = self._playlist.done if self._playlist is not None else -1
            return max(done + 1, self._dropped + 1, self._keep_from) < self._given

    def reference(self, samples: int) -> Sound:
        """What went out (see Output)."""
        playlist = self._playlist
        fresh = playlist.drain() if playlist is not None else np.zeros(0, np.float32)
        return self._backlog.take(fresh, samples)

    def trouble(self) -> str | None:
        """One line, once (see Output)."""
        with self._lock:
            line, self._line = self._line, None
            return line

    def close(self) -> None:
        """Stop at once and let go of the device (see Output)."""
        with self._lock:
            self._closed = True
            self._keep_from = self._given
            worker, self._worker = self._worker, None
        if worker is not None:
            self._todo.put(None)
            worker.join()

    @contextlib.contextmanager
    def set_aside(self) -> Iterator[None]:
        """Hold no stream meanwhile, so that PortAudio may be stopped and started again.

        What is playing is lost; afterwards the device is opened at once, without a word.
        """
        aside = _Aside(threading.Event(), threading.Event())
        with self._lock:
            if not self._closed:
                self._todo.put(aside)
                self._start_worker()
            else:
                aside.free.set()
        # A device that hangs must not hold up the others for ever.
        aside.free.wait(STALL_S + self._check_s)
        try:
            yield
        finally:
            aside.over.set()

    def _start_worker(self) -> None:
        if self._worker is None:
            self._worker = threading.Thread(target=self._work, name="speaker", daemon=True)
            self._worker.start()

    # From here on everything runs in the worker's thread: some sound systems want to be
    # opened, used and closed in the same one.

    def _work(self) -> None:
        while not self._closed:
            item: tuple[int, Sound] | _Aside | None = None
            with contextlib.suppress(queue.Empty):
                item = self._todo.get(timeout=self._check_s)
            if isinstance(item, _Aside):
                self._let_go()
                item.free.set()
                while not (item.over.wait(self._check_s) or self._closed):
                    pass
                self._next_try_s = float("-inf")
            if self._closed:
                break
            # Opened for the first sound, kept open from then on.
            if self._given:
                self._look_after()
            if isinstance(item, tuple):
                self._hand_over(*item)
        self._let_go()
        while not self._todo.empty():
            item = self._todo.get()
            if isinstance(item, _Aside):
                item.free.set()

    def _hand_over(self, number: int, sound: Sound) -> None:
        playlist = self._playlist
        if playlist is None or number < self._keep_from:
            with self._lock:
                self._dropped = number
            return
        playlist.add(make_piece(number, sound, playlist.rate))

    def _look_after(self) -> None:
        """Open what is not open and find out whether what is open still lives."""
        if self._stream is None:
            if self._now() >= self._next_try_s:
                self._try()
            return
        try:
            alive = bool(self._stream.active)
        except Exception:
            alive = False
        frames = self._playlist.frames if self._playlist is not None else 0
        if frames != self._seen_frames:
            self._seen_frames, self._seen_s = frames, self._now()
        elif self._now() - self._seen_s > STALL_S:
            alive = False
        if not alive:
            self._let_go()
            self._fail("the loudspeaker is gone: plug it in or switch it on", self._retry_s)

    def _try(self) -> None:
        try:
            if self._failing and self._rescan is not None:
                self._rescan()
            self._open()
        except NoMicrophone as error:
            self._fail(str(error), LIBRARY_RETRY_S)
            return
        except Exception as error:
            # PortAudio's own error, ValueError, OSError, and whatever a driver's wrapper has.
            self._let_go()
            self._fail(one_line(error) or type(error).__name__, self._retry_s)
            return
        if self._failing:
            self._say("the loudspeaker is there again")
        self._failing = False

    def _open(self) -> None:
        sound = self._load()
        with quiet_stderr():
            index = choose_output(sound, self._device)
            about = sound.query_devices(index)
            rate = round(about["default_samplerate"])
            # Both sides of a headset; one alone leaves the answer in the deaf ear.
            channels = min(2, int(about["max_output_channels"]))
            playlist = Playlist(rate)

            def callback(outdata: Any, frames: int, at: object, status: object) -> None:
                block = np.frombuffer(outdata, np.float32).reshape(frames, channels)
                playlist.render(block)

            self._stream = sound.RawOutputStream(
                samplerate=rate,
                device=index,
                channels=channels,
                dtype="float32",
                latency=LATENCY_S,
                callback=callback,
            )
            with self._lock:
                playlist.keep_from = self._keep_from
                self._playlist = playlist
            self._seen_frames, self._seen_s = 0, self._now()
            self._stream.start()

    def _let_go(self) -> None:
        stream, self._stream = self._stream, None
        if stream is not None:
            # Whatever a dead device answers, it is gone.
            with contextlib.suppress(Exception), quiet_stderr():
                stream.abort()
            with contextlib.suppress(Exception), quiet_stderr():
                stream.close()
        with self._lock:
            if self._playlist is not None:
                # All that was handed over is lost with it.
                self._dropped = max(self._dropped, self._playlist.last_added)
                self._playlist = None

    def _fail(self, reason: str, wait_s: float) -> None:
        if not self._failing:
            self._say(f"{reason}; {_CONSEQUENCE}")
        self._failing = True
        self._next_try_s = self._now() + wait_s

    def _say(self, line: str) -> None:
        with self._lock:
            self._line = line


@dataclass(frozen=True)
class _Aside:
    """A wish that the device be let go (`free` is set then) until `over` is set."""

    free: threading.Event
    over: threading.Event
