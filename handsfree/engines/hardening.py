"""What the encoder of the packaged Whisper model was taught of noise, put into its weights.

`hardened.npz` holds the changes that `tests/bench/harden.py` learnt, as float16: a whole one under
the variable's name, a low-rank one as NAME:up (outputs, rank) and NAME:down (rank, inputs), whose
product is added. They belong to one model.bin (`whisper_model.PACKAGE_SHA256`) and to no other.
"""

import io
import math
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handsfree.engines.whisper_model import variables
from handsfree.errors import EngineError

CHANGES = Path(__file__).with_name("hardened.npz")

FLOATS = {0: "<f4", 4: "<f2"}
"""CTranslate2's numbers of the element types that changes can be added to."""

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
    """The bytes of model.bin with the changes added, in the type they are stored in.

    Raises EngineError where the model lacks a variable, or it is of another size or no float.
    """
    data = bytearray(file.read_bytes())
    places = {each.name: each for each in variables(io.BytesIO(data), len(data))}
    for name, change in changes.items():
        place = places.get(name)
        kind = FLOATS.get(place.kind) if place else None
        if place is None or kind is None or math.prod(place.shape) != change.size:
            raise EngineError(f"{CHANGES.name} does not belong to {file}: {name} differs")
        values = np.frombuffer(data, kind, change.size, place.at)
        values += change.reshape(-1).astype(kind)
    return bytes(data)
