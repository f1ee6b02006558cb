"""Sounds of an archive looked at before they go into the log."""

import io

from handsfree.keeping.vouching import Bag

LONGEST_SOUND_S = 900.0
"""Of one utterance; a short FLAC file can unpack to hours of silence (no source)."""


def as_flac(bag: Bag, name: str) -> bytes:
    """A sound of the bag as FLAC; its length is looked at before it is decoded."""
    import soundfile

    data = bag.read(name, 256 << 20)
    try:
        with soundfile.SoundFile(io.BytesIO(data)) as sound:
            if sound.format not in ("FLAC", "WAV", "WAVEX") or sound.channels > 2:
                raise bag.refused(f"{name} is neither FLAC nor WAV")
            if sound.frames > LONGEST_SOUND_S * sound.samplerate or sound.samplerate > 192_000:
                raise bag.refused(f"{name} is longer than {LONGEST_SOUND_S:.0f} s")
            if sound.format == "FLAC":
                return data
            rate, subtype, samples = sound.samplerate, sound.subtype, sound.read(dtype="int32")
            file = io.BytesIO()
            soundfile.write(file, samples, rate, format="FLAC", subtype=subtype)
            return file.getvalue()
    except (soundfile.SoundFileError, ValueError, TypeError, OSError) as error:
        raise bag.refused(f"{name} is no sound: {error}") from error


def samples(flac: bytes) -> bytes:
    """The samples of a FLAC file; none where it is no such file."""
    import soundfile

    try:
        samples, _ = soundfile.read(io.BytesIO(flac), dtype="int32")
    except (soundfile.SoundFileError, ValueError):
        return b""
    return bytes(samples.tobytes())
