"""Which recognizers are installed, and making the ones that are asked for."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from importlib.util import find_spec
from pathlib import Path

from handsfree.engines.apart import Apart
from handsfree.engines.base import Listener
from handsfree.engines.speaker import NO_WARP
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
    # On one core too: live, an answer may go out while PocketSphinx still searches, and the next
    # clip must not meet it in the same decoder.
    apart = len(usable) > 1
    chosen: list[Listener] = []
    for name in usable:
        if name == "pocketsphinx":
            hearable, unheard = _hearable(grammar)
            if hearable.attention != grammar.attention and len(usable) == 1:
                raise EngineError(
                    f"engine pocketsphinx does not know the attention word "
                    f"'{' '.join(grammar.attention)}'; choose another, or listen with neural too"
                )
            absent += [f"pocketsphinx for {what} (no known word)" for what in unheard]
            chosen.append(_pocketsphinx(hearable, warp, live, apart))
        elif name == "neural":
            chosen.append(_neural(grammar, folders, live))
        else:
            chosen.append(_vosk(grammar, folders))
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
    missing = unknown_words([*named, *grammar.attention]) - set(grammar.pronunciations)
    unsayable = [n for n in grammar.horse_names if missing & set(plain_words(n))]
    call = " ".join(grammar.attention)
    unheard = []
    if unsayable:
        known = [n for n in grammar.horse_names if n not in unsayable]
        grammar = load(horse_names=known).with_attention(call or None)
        unheard.append(f"the horse's name {', '.join(unsayable)}")
    if missing & set(grammar.attention):
        grammar = grammar.with_attention(None)
        unheard.append(f"the attention word {call}")
    return grammar, unheard


def pocketsphinx_for(grammar: Grammar, warp: float, live: bool, apart: bool = False) -> Listener:
    """PocketSphinx with its filters warped, `apart` in a process of its own."""
    return _pocketsphinx(_hearable(grammar)[0], warp, live, apart)


def _pocketsphinx(hearable: Grammar, warp: float, live: bool, apart: bool) -> Listener:
    from handsfree.engines.pocketsphinx import SHORT_S, PocketSphinxListener

    make = partial(PocketSphinxListener, raw_up_to_s=SHORT_S if live else math.inf, warp=warp)
    if apart:
        return Apart("pocketsphinx", make, hearable.acceptor, hearable.pronunciations)
    return make(hearable.acceptor, hearable.pronunciations)


def _neural(grammar: Grammar, folders: ModelFolders, live: bool) -> Listener:
    from handsfree.engines.neural import FULL_S, SOON_S, NeuralListener

    patient_s = SOON_S if live else FULL_S
    return NeuralListener(grammar.acceptor, folders.neural, patient_s=patient_s)


def _vosk(grammar: Grammar, folders: ModelFolders) -> Listener:
    from handsfree.engines.vosk import VoskListener
    from handsfree.engines.vosk_model import find_model

    folder = find_model(folders.vosk)
    assert folder is not None
    return VoskListener(grammar.acceptor, grammar.phrases(), grammar.respellings, folder)
