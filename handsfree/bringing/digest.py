"""What tells one recording from another: its sound, whatever its file is called or packed as."""

import hashlib
from pathlib import Path

import numpy as np

from handsfree.audio.sources import SoundReader


def digest(path: Path) -> tuple[str, float]:
    """SHA-256 of the decoded sound with its rate, and how many seconds it is.

    The same for WAV and FLAC of the same samples. Raises UnreadableSound.
    """
    with SoundReader(path) as reader:
        made = hashlib.sha256(str(reader.rate).encode())
        count = 0
        for block in reader.as_recorded():
            made.update(np.asarray(block, "<f4").tobytes())
            count += len(block)
        return made.hexdigest(), count / reader.rate
