"""RNNoise: takes steady and bursty noise out of speech and tells how likely speech is.

J.-M. Valin, "A Hybrid DSP/Deep Learning Approach to Real-Time Full-Band Speech
Enhancement", MMSP 2018. The network works on 10 ms frames at 48 kHz.
"""

import ctypes
import importlib.util
import sys
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
import soxr
from numpy.typing import NDArray

from handsfree.engines.base import SAMPLE_RATE, Sound
from handsfree.errors import EngineError

FRAME_S = 0.01
FRAME = int(SAMPLE_RATE * FRAME_S)
"""Samples at 16 kHz for which there is one speech probability."""

_NET_RATE = 48_000
_NET_FRAME = 480
_NET_DELAY = 2 * _NET_FRAME
"""Samples the output lags behind the input at 48 kHz (found by cross-correlation)."""
_FULL_SCALE = 32768.0
_LIBRARY = {"darwin": "librnnoise.dylib", "win32": "rnnoise.dll"}.get(sys.platform, "librnnoise.so")
_PACKAGE = "pyrnnoise"


@dataclass(frozen=True)
class Denoised:
    """A stretch of sound, its denoised twin and the speech probability of each 10 ms.

    `raw` and `clean` have the same length, FRAME x len(speech) samples at 16 kHz
    (the last stretch of a recording may end inside a frame).
    """

    raw: Sound
    clean: Sound
    speech: NDArray[np.float32]


@cache
def _library_path() -> Path | None:
    """The shared library inside the wheel; the package itself pulls in a heavy tree."""
    spec = importlib.util.find_spec(_PACKAGE)
    folders = spec.submodule_search_locations if spec is not None else None
    paths = [Path(folder) / _LIBRARY for folder in folders or ()]
    return next((path for path in paths if path.is_file()), None)


@cache
def _load() -> ctypes.CDLL:
    path = _library_path()
    if path is None:
        raise EngineError(f"no denoiser: install it with `pip install --no-deps {_PACKAGE}`")
    try:
        library = ctypes.CDLL(str(path))
        library.rnnoise_create.argtypes = [ctypes.c_void_p]
        library.rnnoise_create.restype = ctypes.c_void_p
        library.rnnoise_destroy.argtypes = [ctypes.c_void_p]
        library.rnnoise_destroy.restype = None
        library.rnnoise_process_frame.argtypes = [ctypes.c_void_p] * 3
        library.rnnoise_process_frame.restype = ctypes.c_float
        library.rnnoise_get_frame_size.restype = ctypes.c_int
        frame = library.rnnoise_get_frame_size()
    except (OSError, AttributeError) as error:
        raise EngineError(f"the denoiser {path} cannot be loaded: {error}") from error
    if frame != _NET_FRAME:
        raise EngineError(f"the denoiser {path} works on {frame} samples, not {_NET_FRAME}")
    return library


def available() -> str | None:
    """None when the denoiser can be used, else the reason in one line."""
    try:
        _load()
    except EngineError as error:
        return str(error)
    return None


class Denoiser:
    """One stream through RNNoise; feed blocks of any length, then finish.

    Use as a context manager: leaving it frees the network's state. Raises EngineError
    when the library is not installed or cannot be loaded.
    """

    def __init__(self) -> None:
        self._state: int | None = None
        self._library = _load()
        self._state = self._library.rnnoise_create(None)
        if not self._state:
            raise EngineError("the denoiser could not be started (out of memory?)")
        self._up = soxr.ResampleStream(SAMPLE_RATE, _NET_RATE, 1, dtype="float32")
        self._down = soxr.ResampleStream(_NET_RATE, SAMPLE_RATE, 1, dtype="float32")
        self._raw: Sound = np.zeros(0, np.float32)
        self._clean: Sound = np.zeros(0, np.float32)
        self._net_in = np.zeros(0, np.float32)
        self._speech: list[float] = []
        self._to_skip = _NET_DELAY

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def __del__(self) -> None:
        self.close()

    def close(self) -> None:
        """Free the network's state; safe to call twice."""
        if self._state:
            self._library.rnnoise_destroy(self._state)
            self._state = None

    def feed(self, block: Sound) -> Denoised:
        """Take 16 kHz sound; give whatever is complete by now (perhaps nothing)."""
        self._raw = np.concatenate([self._raw, block])
        self._advance(self._up.resample_chunk(np.ascontiguousarray(block, np.float32)), last=False)
        ready = min(len(self._raw), len(self._clean)) // FRAME
        return self._take(min(ready, len(self._speech)) * FRAME)

    def finish(self) -> Denoised:
        """End the stream; give the rest. Nothing can be fed afterwards."""
        tail = self._up.resample_chunk(np.zeros(0, np.float32), last=True)
        flush = np.zeros(_NET_DELAY + _NET_FRAME, np.float32)
        self._advance(np.concatenate([tail, flush]), last=True)
        short = len(self._raw) - len(self._clean)
        if short > 0:
            self._clean = np.concatenate([self._clean, np.zeros(short, np.float32)])
        return self._take(len(self._raw))

    def _advance(self, fresh: Sound, last: bool) -> None:
        net_in = np.concatenate([self._net_in, fresh])
        used = len(net_in) // _NET_FRAME * _NET_FRAME
        self._net_in = net_in[used:]
        net_out = self._network(net_in[:used])
        skip = min(self._to_skip, len(net_out))
        self._to_skip -= skip
        clean = self._down.resample_chunk(net_out[skip:], last=last)
        self._clean = np.concatenate([self._clean, clean])

    def _network(self, sound: Sound) -> Sound:
        scaled = sound * np.float32(_FULL_SCALE)
        out = np.empty_like(scaled)
        step = _NET_FRAME * scaled.itemsize
        source, target = scaled.ctypes.data, out.ctypes.data
        for offset in range(0, scaled.nbytes, step):
            probability = self._library.rnnoise_process_frame(
                self._state, target + offset, source + offset
            )
            self._speech.append(probability)
        out /= np.float32(_FULL_SCALE)
        return out

    def _take(self, count: int) -> Denoised:
        frames = -(-count // FRAME)
        taken = Denoised(
            self._raw[:count],
            np.clip(self._clean[:count], -1.0, 1.0),
            np.array(self._speech[:frames], np.float32),
        )
        self._raw, self._clean = self._raw[count:], self._clean[count:]
        del self._speech[:frames]
        return taken
