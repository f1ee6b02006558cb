"""The folder with a Vosk model: where it is, whether it is whole, and getting one.

No model comes with the program. A folder copied by hand works as well as a fetched one.
"""

import hashlib
import os
import shutil
import stat
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path, PurePosixPath

import platformdirs

from handsfree.engines.vosk_download import download
from handsfree.errors import EngineError

ENVIRONMENT = "HANDSFREE_VOSK_MODEL"
MODEL_NAME = "vosk-model-small-en-us-0.15"
MODEL_URL = f"https://alphacephei.com/vosk/models/{MODEL_NAME}.zip"
MODEL_SHA256 = "30f26242c4eb449f948e42cb302dd7a686cb29a3423a8367f99ff41780942498"
MODEL_BYTES = 41_205_931

MAX_UNPACKED_BYTES = 2 << 30
MAX_FILES = 1000

# A grammar at run time needs the two halves of the decoding graph apart, and the library
# crashes rather than complains when some of these are missing or empty.
_NEEDED = (
    "am/final.mdl",
    "conf/model.conf",
    "conf/mfcc.conf",
    "graph/HCLr.fst",
    "graph/Gr.fst",
    "graph/disambig_tid.int",
)
_NEEDED_WITH_IVECTOR = (
    "ivector/final.ie",
    "ivector/final.mat",
    "ivector/final.dubm",
    "ivector/global_cmvn.stats",
    "ivector/splice.conf",
)

Progress = Callable[[int, int | None], None]
"""Called with the bytes got so far and the bytes there are in all (None if not known)."""


def default_folder() -> Path:
    """Where `fetch` puts the model and `find_model` looks last: "vosk" in the data folder."""
    return Path(platformdirs.user_data_dir("handsfree", appauthor=False)) / "vosk"


def find_model(named: Path | str | None = None) -> Path | None:
    """The model's folder: `named`, else $HANDSFREE_VOSK_MODEL, else the default folder.

    Returns None when neither is given and there is none in the default folder. Raises
    EngineError when the folder that was asked for is not there.
    """
    asked = named if named is not None else os.environ.get(ENVIRONMENT, "").strip() or None
    if asked is not None:
        folder = Path(asked).expanduser()
        if not folder.is_dir():
            raise EngineError(f"Vosk model {folder}: there is no such folder")
        return _inner(folder)
    folder = default_folder()
    return _inner(folder) if folder.is_dir() and any(folder.iterdir()) else None


def _inner(folder: Path) -> Path:
    """The folder itself, or the one folder in it that holds a model (as zip tools leave it)."""
    if (folder / "am").is_dir():
        return folder
    inside = [each for each in sorted(folder.iterdir()) if (each / "am").is_dir()]
    return inside[0] if len(inside) == 1 else folder


def check_model(folder: Path) -> None:
    """Raise EngineError naming what the folder lacks to be a model that takes a grammar."""
    if not folder.is_dir():
        raise EngineError(f"Vosk model {folder}: there is no such folder")
    if (folder / "graph/HCLG.fst").exists():
        raise EngineError(
            f"Vosk model {folder}: its graph is fixed (graph/HCLG.fst) and takes no grammar; "
            "use a small model"
        )
    # Models without speaker adaptation have no such folder at all.
    needed = _NEEDED + (_NEEDED_WITH_IVECTOR if (folder / "ivector").exists() else ())
    lacking = [name for name in needed if not _has_content(folder / name)]
    if lacking:
        raise EngineError(
            f"Vosk model {folder}: missing or empty: {', '.join(lacking)}; fetch or copy it again"
        )
    settings = (folder / "conf/model.conf").read_text(encoding="utf-8", errors="replace")
    if "--endpoint.silence-phones=" not in settings:
        raise EngineError(
            f"Vosk model {folder}: conf/model.conf does not set endpoint.silence-phones; "
            "fetch or copy it again"
        )


def _has_content(path: Path) -> bool:
    return path.is_file() and path.stat().st_size > 0


def fetch(
    dest: Path | None = None,
    url: str = MODEL_URL,
    sha256: str = MODEL_SHA256,
    progress: Progress | None = None,
    timeout_s: float = 30.0,
) -> Path:
    """Download a model, check it, unpack it, and move it into place in one step.

    Returns `dest` (default: `default_folder()`), at once if a whole model is there. What
    an interrupted download got stays beside it and is taken up again by the next call.
    Raises EngineError when offline, when the sum differs, when the archive is unsafe or
    no model, or when the disk refuses; `dest` is then as it was.
    """
    folder = (dest if dest is not None else default_folder()).expanduser().absolute()
    try:
        check_model(folder)
        return folder
    except EngineError:
        _refuse_other_things(folder)
    by_hand = f"or download {url} elsewhere, unpack it and put the folder at {folder}"
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        part = folder.with_name(f"{folder.name}.zip.part")
        download(url, part, by_hand, progress, timeout_s)
        _check_sum(part, sha256, url)
        try:
            _unpack_into_place(part, folder)
        except EngineError:
            part.unlink()
            raise
        part.unlink()
    except OSError as error:
        raise EngineError(f"Vosk model {folder}: cannot be stored: {error.strerror}") from error
    return folder


def _refuse_other_things(folder: Path) -> None:
    """A broken model may be replaced, a folder of the user's own must not be."""
    if not folder.exists() or (folder.is_dir() and not any(folder.iterdir())):
        return
    if not folder.is_dir() or not any((folder / name).is_dir() for name in ("am", "graph")):
        raise EngineError(f"{folder}: holds other things than a model; name another folder")


def _check_sum(archive: Path, sha256: str, url: str) -> None:
    with archive.open("rb") as file:
        found = hashlib.file_digest(file, "sha256").hexdigest()
    if found != sha256.lower():
        archive.unlink()  # else every later call would take up the same wrong file
        raise EngineError(
            f"{url}: not the expected file (SHA-256 {found}, not {sha256}); it was discarded"
        )


def _unpack_into_place(archive: Path, folder: Path) -> None:
    """Unpack beside `folder`, check, then rename: nobody ever sees half a model."""
    with tempfile.TemporaryDirectory(prefix=f".{folder.name}-", dir=folder.parent) as temporary:
        fresh = Path(temporary) / "new"
        unpack(archive, fresh)
        model = _inner(fresh)
        check_model(model)
        if folder.exists():
            folder.rename(Path(temporary) / "old")
        model.rename(folder)


def unpack(archive: Path, into: Path) -> None:
    """Unpack a zip file into the new folder `into`.

    Raises EngineError, before anything is written, for a name that leads out of the
    folder, a link, or a size beyond MAX_UNPACKED_BYTES or MAX_FILES.
    """
    try:
        with zipfile.ZipFile(archive) as zipped:
            members = zipped.infolist()
            for member in members:
                _check_member(member)
            if len(members) > MAX_FILES or sum(m.file_size for m in members) > MAX_UNPACKED_BYTES:
                raise EngineError(f"{archive.name}: the archive is too large to be a model")
            into.mkdir()
            for member in members:
                target = into / member.filename
                if member.is_dir():
                    target.mkdir(parents=True, exist_ok=True)
                    continue
                target.parent.mkdir(parents=True, exist_ok=True)
                # A member never yields more than the size it declares, which is bounded above.
                with zipped.open(member) as source, target.open("xb") as copy:
                    shutil.copyfileobj(source, copy)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError) as error:
        raise EngineError(f"{archive.name}: not a readable zip file: {error}") from error


def _check_member(member: zipfile.ZipInfo) -> None:
    name = member.filename
    path = PurePosixPath(name)
    # Backslash and colon are no separators here, but are on Windows.
    outside = path.is_absolute() or ".." in path.parts or "\\" in name or ":" in name
    kind = stat.S_IFMT(member.external_attr >> 16)
    if outside or not path.parts or kind not in (0, stat.S_IFREG, stat.S_IFDIR):
        raise EngineError(f"the archive has an unsafe entry ({name!r}); nothing was unpacked")
