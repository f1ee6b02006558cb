"""What the packaged Whisper model was taught of noise and of the trade, put into its weights.

`hardened.npz` holds the changes that `tests/bench/harden.py` and `harden_trade.py` learnt, as
float16: a whole one under the variable's name, a low-rank one as NAME:up (outputs, rank) and
NAME:down (rank, inputs), whose product is added. They belong to one model.bin
(`whisper_model.PACKAGE_SHA256`) and to no other.
The encoder's go into a model.bin that CTranslate2 reads, the decoder's to our own decoder.
"""

import math
import re
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from handsfree.engines.whisper_model import (
    EMBEDDINGS,
    Variable,
    Weights,
    opened,
    variables,
    written,
)
from handsfree.errors import EngineError

CHANGES = Path(__file__).with_name("hardened.npz")

FLOATS = {0: "<f4", 4: "<f2"}
"""CTranslate2's numbers of the element types that changes can be added to."""

ENCODER = "encoder/"
"""What the names of its variables start with; the other changes are the decoder's."""

TOKENS = 128
"""That the decoder which is not used has."""

_LATER_LAYER = re.compile(r"decoder/layer_[1-9]")

Changes = Mapping[str, NDArray[Any]]


def read_changes(file: Path = CHANGES) -> Changes:
    """The changes by variable, float32. Raises EngineError where the file is damaged."""
    try:
        with np.load(file, allow_pickle=False) as parts:
            found = {name: parts[name].astype(np.float32) for name in parts.files}
    except (OSError, ValueError, EOFError, zipfile.BadZipFile) as error:
        raise EngineError(f"{file} cannot be read: {error}: reinstall handsfree") from error
    changes: dict[str, NDArray[Any]] = {}
    for name, value in found.items():
        variable, _, part = name.partition(":")
        if part == "up":
            changes[variable] = value @ found[f"{variable}:down"]
        elif not part:
            changes[variable] = value
    return changes


def hardened(file: Path, changes: Changes) -> bytes:
    """A model.bin to listen with: the encoder of `file` with the changes added, as it is stored.

    The program has a decoder of its own. CTranslate2 takes no model without one, so the first
    layer of it stays, for the tokens of `few_tokens`: a quarter of the memory.
    Raises EngineError where the model lacks a variable, or it is of another size or no float.
    """
    with file.open("rb") as stream:
        size = file.stat().st_size
        places = {each.name: each for each in variables(stream, size)}
        for name, change in changes.items():
            place = places.get(name)
            if place is None or place.kind not in FLOATS or math.prod(place.shape) != change.size:
                raise EngineError(f"{CHANGES.name} does not belong to {file}: {name} differs")
        stream.seek(0)
        opening = opened(stream)
        heard = {name: change for name, change in changes.items() if name.startswith(ENCODER)}
        kept = [_cut(each) for each in places.values() if not _LATER_LAYER.match(each.name)]
        return written(opening, [(each, _changed(stream, each, heard)) for each in kept])


def with_changes(weights: Weights, changes: Changes) -> Weights:
    """The decoder's `weights` with their changes added, as they are stored.

    Whether they belong to it, `hardened` has looked at.
    """
    return {
        name: (value + changes[name].reshape(value.shape).astype(value.dtype))
        if name in changes
        else value
        for name, value in weights.items()
    }


def few_tokens(vocabulary: str) -> str:
    """Lines of vocabulary.txt for the cut model: the special ones but times, and some others."""
    lines = vocabulary.splitlines()
    special = [line for line in lines if line.startswith("<|") and not line[2:3].isdigit()]
    return "\n".join([*lines[: TOKENS - len(special)], *special]) + "\n"


def _cut(place: Variable) -> Variable:
    if place.name != EMBEDDINGS:
        return place
    rows, width = place.shape
    return place._replace(shape=(TOKENS, width), length=place.length // rows * TOKENS)


def _changed(stream: BinaryIO, place: Variable, changes: Changes) -> bytes:
    stream.seek(place.at)
    data = stream.read(place.length)
    if place.name not in changes:
        return data
    values: NDArray[Any] = np.frombuffer(data, FLOATS[place.kind])
    return bytes((values + changes[place.name].reshape(-1).astype(values.dtype)).data)
