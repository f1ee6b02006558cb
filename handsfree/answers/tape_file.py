"""What a Tape has recorded, as a sound file."""

from pathlib import Path

import numpy as np
import soundfile

from handsfree.answers.output import Tape
from handsfree.answers.tones import ANSWER_RATE
from handsfree.errors import HandsfreeError


def write_tape(tape: Tape, path: Path) -> None:
    """Write it as WAV or FLAC, by the name's ending. Raises HandsfreeError in one line."""
    starts = [(round(start_s * ANSWER_RATE), sound) for start_s, sound in tape.played]
    whole = np.zeros(max((at + len(sound) for at, sound in starts), default=0), np.float32)
    for at, sound in starts:
        whole[at : at + len(sound)] += sound
    try:
        soundfile.write(path, whole, ANSWER_RATE)
    except (OSError, RuntimeError, TypeError, ValueError) as error:
        raise HandsfreeError(f"the answers cannot be written to {path}: {error}") from error
