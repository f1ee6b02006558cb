"""Files written whole or not at all."""

import os
import tempfile
from pathlib import Path

from handsfree.errors import HandsfreeError


def write(path: Path, text: str, force: bool = False) -> None:
    """Write a file whole or not at all; one that is there only with `force`.

    Raises HandsfreeError, one line naming the file.
    """
    kept = None
    try:
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", dir=path.parent, prefix=f".{path.name}.", delete=False
        ) as file:
            kept = Path(file.name)
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        kept.chmod(0o644)
        if force:
            os.replace(kept, path)
        else:
            os.link(kept, path)  # fails where the name is taken, even just now
            kept.unlink()
        kept = None
    except FileExistsError:
        raise HandsfreeError(f"{path} is there already; --force writes over it") from None
    except OSError as error:
        raise HandsfreeError(f"{path} cannot be written: {error.strerror}") from None
    finally:
        if kept is not None:
            kept.unlink(missing_ok=True)
