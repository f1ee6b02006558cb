"""One short sound for each thing the program has to say at once.

No two share rhythm, contour of pitch and timbre: in noise one of the three gets lost, and
a cheap headset takes part of the timbre. Every tone has at least four partials between 500
and 3500 Hz. Auditory danger signals are to have their strongest components within 500 to
2500 Hz (ISO 7731:2003), and alarm pulses at least four within 300 to 4000 Hz (IEC
60601-1-8); above that, hearing worn by noise goes first. The melodies are ours.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from handsfree.engines.base import Sound
from handsfree.visit.answer import Tone

__all__ = ["ANSWER_RATE", "DESCRIPTIONS", "Tone", "sound_of"]

ANSWER_RATE = 22_050
"""Hz; every sound the program answers with has this rate."""

PEAK = 0.5
"""Greatest sample of every tone, of full scale 1: loud, with room for speech (our choice)."""

BAND_HZ = (500.0, 3500.0)
"""Partials outside are left out."""


DESCRIPTIONS: Mapping[Tone, str] = MappingProxyType(
    {
        Tone.FINDING: "one short middle note: a finding was taken",
        Tone.NUMBER: "two quick notes, the second higher: a number was taken",
        Tone.COMMAND: "three quick ticks going down: a command was carried out",
        Tone.UNCLEAR: "one low buzz that sinks: not understood, say it again",
        Tone.QUESTION: "a short low note, then one that slides up: an answer is wanted",
        Tone.TROUBLE: "high, low, high, low, harsh: a device, the disk or the log is in trouble",
        Tone.REMINDER: "the same bell twice: a reminder follows in words",
        Tone.CAUTION: "a howl that rises and sinks: stop, a warning follows in words",
        Tone.READY: "four bright steps upwards: it listens",
    }
)
"""What each tone sounds like and means, one line of plain English each."""


@dataclass(frozen=True)
class Note:
    """One note: from `start_hz` to `end_hz` in `length_s`, after a rest of `rest_s`.

    `partials` are (multiple of the pitch, strength). `decay` is how fast it dies away, in
    1/s (0: held). `flutter_hz` beats the loudness at that rate, down to a fifth.
    """

    start_hz: float
    length_s: float
    partials: tuple[tuple[float, float], ...]
    end_hz: float | None = None
    rest_s: float = 0.0
    decay: float = 0.0
    flutter_hz: float = 0.0


# Timbres. Strong partials high up for the ticks, a stretched series for the bell, clashing
# neighbours for the harsh one: what is known of reed, bell and horn; the figures are ours.
_ROUND = ((1, 1.0), (2, 0.7), (3, 0.4), (4, 0.25))
_HOLLOW = ((1, 1.0), (1.5, 0.3), (2, 0.4), (2.5, 0.3))
_TICK = ((1, 0.5), (2, 1.0), (2.7, 0.7), (3.4, 0.5))
_BUZZ = ((1, 0.9), (2, 1.0), (3, 0.9), (4, 0.8), (5, 0.7), (6, 0.6))
_REED = ((1, 0.6), (2, 0.3), (3, 1.0), (4, 0.2), (5, 0.5))
_HARSH = ((1, 1.0), (1.06, 1.0), (2, 0.6), (2.12, 0.6))
_BELL = ((1, 1.0), (1.19, 0.5), (1.71, 0.5), (2.0, 0.5), (2.74, 0.4))
_WAIL = ((1, 1.0), (1.5, 0.5), (2, 0.8), (2.5, 0.4))
_BRIGHT = ((1, 1.0), (1.25, 0.4), (1.5, 0.6), (2, 0.5))

_EDGE_S = 0.008
"""Attack and release of each note (raised cosine): shorter ones click, common practice."""

_MELODIES: Mapping[Tone, tuple[Note, ...]] = MappingProxyType(
    {
        Tone.FINDING: (Note(660, 0.15, _ROUND),),
        Tone.NUMBER: (Note(830, 0.07, _HOLLOW), Note(1245, 0.085, _HOLLOW, rest_s=0.04)),
        Tone.COMMAND: (
            Note(1000, 0.045, _TICK),
            Note(850, 0.045, _TICK, rest_s=0.03),
            Note(720, 0.045, _TICK, rest_s=0.03),
        ),
        Tone.UNCLEAR: (Note(570, 0.48, _BUZZ, end_hz=505, flutter_hz=27),),
        Tone.QUESTION: (
            Note(540, 0.12, _REED),
            Note(560, 0.38, _REED, end_hz=1130, rest_s=0.06),
        ),
        Tone.TROUBLE: (
            Note(1480, 0.125, _HARSH),
            Note(930, 0.125, _HARSH, rest_s=0.02),
            Note(1480, 0.125, _HARSH, rest_s=0.02),
            Note(930, 0.125, _HARSH, rest_s=0.02),
        ),
        Tone.REMINDER: (
            Note(1110, 0.26, _BELL, decay=11),
            Note(1110, 0.26, _BELL, decay=11, rest_s=0.06),
        ),
        Tone.CAUTION: (
            Note(640, 0.28, _WAIL, end_hz=1250),
            Note(1250, 0.28, _WAIL, end_hz=640, rest_s=0.01),
        ),
        Tone.READY: (
            Note(784, 0.1, _BRIGHT, rest_s=0.0),
            Note(988, 0.1, _BRIGHT, rest_s=0.02),
            Note(1319, 0.1, _BRIGHT, rest_s=0.02),
            Note(1568, 0.2, _BRIGHT, rest_s=0.02, decay=6),
        ),
    }
)


@cache
def sound_of(tone: Tone) -> Sound:
    """The tone as sound: shape (n,), ANSWER_RATE, peak PEAK. Made once and read-only."""
    parts = []
    for note in _MELODIES[tone]:
        parts += [np.zeros(round(note.rest_s * ANSWER_RATE)), _sung(note)]
    sound = np.concatenate(parts)
    out: Sound = (sound * (PEAK / np.max(np.abs(sound)))).astype(np.float32)
    out.flags.writeable = False
    return out


def _sung(note: Note) -> NDArray[np.float64]:
    count = round(note.length_s * ANSWER_RATE)
    time_s = np.arange(count) / ANSWER_RATE
    end_hz = note.end_hz if note.end_hz is not None else note.start_hz
    # A slide even to the ear: the pitch grows by the same ratio in each moment.
    pitch = note.start_hz * (end_hz / note.start_hz) ** (time_s / note.length_s)
    phase = 2 * np.pi * np.cumsum(pitch) / ANSWER_RATE
    sound = np.zeros(count)
    low, high = BAND_HZ
    for multiple, strength in note.partials:
        if pitch.min() * multiple >= low and pitch.max() * multiple <= high:
            sound += strength * np.sin(multiple * phase)
    if note.flutter_hz:
        sound *= 0.6 - 0.4 * np.cos(2 * np.pi * note.flutter_hz * time_s)
    edge = round(_EDGE_S * ANSWER_RATE)
    rise = 0.5 - 0.5 * np.cos(np.pi * np.arange(edge) / edge)
    loudness = np.exp(-note.decay * time_s)
    loudness[:edge] *= rise
    loudness[-edge:] *= rise[::-1]
    return np.asarray(sound * loudness)
