"""Which recognizers are installed, and making the ones that are asked for."""

import math
import os
from dataclasses import dataclass
from functools import partial
from importlib.util import find_spec
from pathlib import Path

from handsfree.engines.apart import Apart
from handsfree.engines.base import Listener
from handsfree.errors import EngineError
from handsfree.grammar.grammar import Grammar, load
from handsfree.grammar.words import plain_words

LISTENERS = ("pocketsphinx", "neural", "vosk")
TEXT = "text"


@dataclass(frozen=True)
class ModelFolders:
    """Folders the user named; None means the usual places."""

    vosk: Path | None = None
    neural: Path | None = None


def why_not(name: str, folders: ModelFolders) -> str | None:
    """None where this recognizer can be used, else one line saying what is missing."""
    if name == "pocketsphinx":
        return None if find_spec("pocketsphinx") else "not installed (pip install pocketsphinx)"
    if name == "neural":
        from handsfree.engines import neural

        return neural.available(folders.neural)
    if name == "vosk":
        from handsfree.engines.vosk_model import find_model

        if find_spec("vosk") is None:
            return "not installed (pip install vosk)"
        if find_model(folders.vosk) is None:
            return "no Vosk model folder found; 'handsfree model' fetches one"
        return None
    raise EngineError(f"there is no engine '{name}'; there are {', '.join(LISTENERS)} and {TEXT}")


def listeners(
    grammar: Grammar, names: tuple[str, ...], folders: ModelFolders, live: bool = False
) -> tuple[list[Listener], list[str]]:
    """The recognizers named, or all that are installed where none is.

    `live`: somebody waits for the answer, so that what takes long is cut short.
    Returns them with a line for each that was not named and is not there. Raises
    EngineError where a named one cannot be used or none is left.
    """
    wanted = names or LISTENERS
    usable: list[str] = []
    absent: list[str] = []
    for name in dict.fromkeys(wanted):
        reason = why_not(name, folders)
        if reason is None:
            usable.append(name)
        elif names:
            raise EngineError(f"engine {name}: {reason}")
        else:
            absent.append(f"{name}: {reason}")
    if not usable:
        raise EngineError("no recognizer can be used: " + "; ".join(absent))
    apart = len(usable) > 1 and (os.cpu_count() or 1) > 1
    chosen: list[Listener] = []
    for name in usable:
        if name == "pocketsphinx":
            hearable, unsayable = _hearable(grammar)
            if unsayable:
                said = ", ".join(unsayable)
                absent.append(f"pocketsphinx for the horse's name {said} (no known word)")
            chosen.append(_pocketsphinx(hearable, apart, live))
        elif name == "neural":
            chosen.append(_neural(grammar, folders, live))
        else:
            chosen.append(_vosk(grammar, folders))
    return chosen, absent


def _hearable(grammar: Grammar) -> tuple[Grammar, list[str]]:
    """The grammar without the horses whose names PocketSphinx cannot hear, and those names."""
    from handsfree.engines.pocketsphinx import unknown_words

    missing = unknown_words(w for name in grammar.horse_names for w in plain_words(name))
    missing -= set(grammar.pronunciations)
    unsayable = [n for n in grammar.horse_names if missing & set(plain_words(n))]
    if not unsayable:
        return grammar, []
    return load(horse_names=[n for n in grammar.horse_names if n not in unsayable]), unsayable


def _pocketsphinx(grammar: Grammar, apart: bool, live: bool) -> Listener:
    from handsfree.engines.pocketsphinx import SHORT_S, PocketSphinxListener

    make = partial(PocketSphinxListener, raw_up_to_s=SHORT_S if live else math.inf)
    if apart:
        return Apart("pocketsphinx", make, grammar.acceptor, grammar.pronunciations)
    return make(grammar.acceptor, grammar.pronunciations)


def _neural(grammar: Grammar, folders: ModelFolders, live: bool) -> Listener:
    from handsfree.engines.neural import FULL_S, SOON_S, NeuralListener

    patient_s = SOON_S if live else FULL_S
    simple = grammar.simple_acceptor
    return NeuralListener(grammar.acceptor, folders.neural, simple=simple, patient_s=patient_s)


def _vosk(grammar: Grammar, folders: ModelFolders) -> Listener:
    from handsfree.engines.vosk import VoskListener
    from handsfree.engines.vosk_model import find_model

    folder = find_model(folders.vosk)
    assert folder is not None
    return VoskListener(grammar.acceptor, grammar.phrases(), grammar.respellings, folder)
