"""Which recognizers are installed, and making the ones that are asked for."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from importlib.util import find_spec
from pathlib import Path

from handsfree.engines.apart import Apart
from handsfree.engines.base import Listener
from handsfree.engines.speaker import NO_WARP
from handsfree.errors import EngineError
from handsfree.grammar.grammar import Grammar, load
from handsfree.grammar.words import plain_words

TEXT = "text"


@dataclass(frozen=True)
class ModelFolders:
    """Folders the user named; None means the usual places."""

    vosk: Path | None = None
    neural: Path | None = None


@dataclass(frozen=True)
class Setting:
    """What a recognizer is made for; the fields are those of `listeners`.

    `apart`: in a process of its own, if it holds Python's lock while it searches.
    """

    grammar: Grammar
    folders: ModelFolders
    live: bool
    warp: float
    apart: bool


@dataclass(frozen=True)
class Recognizer:
    """One kind of recognizer: `missing` is one line where it cannot be used, `make` makes it."""

    missing: Callable[[ModelFolders], str | None]
    make: Callable[[Setting], Listener]


def why_not(name: str, folders: ModelFolders) -> str | None:
    """None where this recognizer can be used, else one line saying what is missing."""
    if name not in RECOGNIZERS:
        known = ", ".join(RECOGNIZERS)
        raise EngineError(f"there is no engine '{name}'; there are {known} and {TEXT}")
    return RECOGNIZERS[name].missing(folders)


def listeners(
    grammar: Grammar,
    names: tuple[str, ...],
    folders: ModelFolders,
    live: bool = False,
    warp: float = NO_WARP,
) -> tuple[list[Listener], list[str]]:
    """The recognizers named, or all that are installed where none is.

    `live`: somebody waits for the answer, so that what takes long is cut short. `warp` fits
    PocketSphinx to a speaker's throat (speaker.py).
    Returns them with a line for each that was not named and is not there. Raises
    EngineError where a named one cannot be used or none is left.
    """
    wanted = names or tuple(RECOGNIZERS)
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
    # On one core too: live, an answer may go out while PocketSphinx still searches, and the next
    # clip must not meet it in the same decoder.
    apart = len(usable) > 1
    setting = Setting(grammar, folders, live, warp, apart)
    chosen: list[Listener] = []
    for name in usable:
        hearable = grammar
        if name == POCKETSPHINX:
            hearable, unheard = _hearable(grammar)
            if hearable.attention != grammar.attention and len(usable) == 1:
                raise EngineError(
                    f"engine pocketsphinx does not know the attention word "
                    f"'{' '.join(grammar.attention)}'; choose another, or listen with neural too"
                )
            absent += [f"pocketsphinx for {what} (no known word)" for what in unheard]
        chosen.append(RECOGNIZERS[name].make(replace(setting, grammar=hearable)))
    return chosen, absent


def in_words(chosen: Sequence[Listener], absent: Sequence[str]) -> str:
    """Who listens, and who does not and why, in one line."""
    names = " and ".join(ear.name for ear in chosen)
    return "; not ".join((f"listening with {names}", *absent))


def _hearable(grammar: Grammar) -> tuple[Grammar, list[str]]:
    """The grammar without horses' names and an attention word that PocketSphinx cannot hear, and
    what that leaves out, in words."""
    from handsfree.engines.pocketsphinx import unknown_words

    named = [word for name in grammar.horse_names for word in plain_words(name)]
    own = grammar.synonyms
    missing = unknown_words([*named, *own.vocabulary, *grammar.attention])
    missing -= set(grammar.pronunciations)
    unsayable = [n for n in grammar.horse_names if missing & set(plain_words(n))]
    call = " ".join(grammar.attention)
    unheard = []
    if unsayable:
        known = [n for n in grammar.horse_names if n not in unsayable]
        grammar = load(horse_names=known).with_synonyms(own).with_attention(call or None)
        unheard.append(f"the horse's name {', '.join(unsayable)}")
    if strange := [phrase for phrase in own.means if missing & set(phrase)]:
        grammar = grammar.with_synonyms(own.without(strange))
        unheard.append(f"your own word {', '.join(map(' '.join, strange))}")
    if missing & set(grammar.attention):
        grammar = grammar.with_attention(None)
        unheard.append(f"the attention word {call}")
    return grammar, unheard


def pocketsphinx_for(grammar: Grammar, warp: float, live: bool, apart: bool = False) -> Listener:
    """PocketSphinx with its filters warped, `apart` in a process of its own."""
    hearable = _hearable(grammar)[0]
    return _pocketsphinx(Setting(hearable, ModelFolders(), live, warp, apart))


def _no_pocketsphinx(_: ModelFolders) -> str | None:
    return None if find_spec("pocketsphinx") else "not installed (pip install pocketsphinx)"


def _pocketsphinx(on: Setting) -> Listener:
    from handsfree.engines.pocketsphinx import SHORT_S, PocketSphinxListener

    raw_up_to_s = SHORT_S if on.live else math.inf
    make = partial(PocketSphinxListener, raw_up_to_s=raw_up_to_s, warp=on.warp)
    if on.apart:
        return Apart(POCKETSPHINX, make, on.grammar.acceptor, on.grammar.pronunciations)
    return make(on.grammar.acceptor, on.grammar.pronunciations)


def _no_neural(folders: ModelFolders) -> str | None:
    from handsfree.engines import neural

    return neural.available(folders.neural)


def _neural(on: Setting) -> Listener:
    from handsfree.engines.neural import FULL_S, SOON_S, NeuralListener

    patient_s = SOON_S if on.live else FULL_S
    return NeuralListener(on.grammar.acceptor, on.folders.neural, patient_s=patient_s)


def _no_vosk(folders: ModelFolders) -> str | None:
    from handsfree.engines.vosk_model import find_model

    if find_spec("vosk") is None:
        return "not installed (pip install vosk)"
    if find_model(folders.vosk) is None:
        return "no Vosk model folder found; 'handsfree model' fetches one"
    return None


def _vosk(on: Setting) -> Listener:
    from handsfree.engines.vosk import VoskListener
    from handsfree.engines.vosk_model import find_model

    folder = find_model(on.folders.vosk)
    assert folder is not None
    grammar = on.grammar
    return VoskListener(grammar.acceptor, grammar.phrases(), grammar.respellings, folder)


POCKETSPHINX = "pocketsphinx"
RECOGNIZERS = {
    POCKETSPHINX: Recognizer(_no_pocketsphinx, _pocketsphinx),
    "neural": Recognizer(_no_neural, _neural),
    "vosk": Recognizer(_no_vosk, _vosk),
}
"""Every recognizer by its name, in the order in which they are asked."""

LISTENERS = tuple(RECOGNIZERS)
