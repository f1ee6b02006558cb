"""The clean sounds that harden.py teaches with: made voices, and real people's tuning half.

Held out from it: the voices kal16, ked and rms, every phrase of noisy_material.py, the reporting
half of the real speakers and of the real noises. The made voices say sentences of the grammar
and, so that hearing does not bend towards these, words drawn from a general dictionary.
"""

import random
import subprocess
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import harden_moulds
import harden_throats
import noisy_material as material
import numpy as np
import soundfile

from handsfree.engines import whisper_loading
from handsfree.engines.base import SAMPLE_RATE, Sound
from handsfree.grammar import Grammar

VOICES = {
    "awb": 960,
    "slt": 960,
    "joe": 860,
    "heart": 220,
    "espeak": 850,
    "throats": 900,
    "moulded": 4700,
}
"""Clips of each made voice."""

SALAD = 0.3
"""Share of a made voice's clips that hold words of no grammar."""
OFTEN_SAID = 4000
"""Words that are one of the first so many tokens (byte pairs, most frequent first) are common."""
MOULDED_FROM = ("slt", "awb", "joe", "espeak")

ESPEAK = ("en-us", "en-gb", "en-gb-x-rp", "en-gb-scotland", "en-029", "en-gb-x-gbcwmd")
ESPEAK_THROATS = ("", "+m2", "+m3", "+m7", "+f2", "+f3", "+f4")

LONGEST_S = 4.6


@dataclass(frozen=True)
class Clean:
    """One sound at 16 kHz; `words` are None where nobody wrote them down."""

    words: tuple[str, ...] | None
    sound: Sound


def clean_sounds(
    grammar: Grammar, people: Path | None, share: float
) -> Iterator[tuple[str, Iterator[Clean]]]:
    """By voice, `share` of all its sounds there are; each voice draws its own, always the same."""
    taken = {
        phrase
        for part, count in ((material.TUNING, 200), (material.HELD_OUT, 100))
        for phrase in material.phrases(grammar, part, count)
    }
    for voice, count in VOICES.items():
        if not _usable(voice):
            print(f"skipped: the voice {voice} is not installed")
            continue
        yield voice, _made(voice, round(count * share), grammar, taken)
    if people is not None:
        yield "people", _people(people, random.Random("people"), share)


def _usable(voice: str) -> bool:
    if voice == "throats":
        return harden_throats.usable()
    if voice == "moulded":
        return harden_moulds.usable()
    return voice == "espeak" or material.usable(voice)


def _made(voice: str, count: int, grammar: Grammar, taken: set[tuple[str, ...]]) -> Iterator[Clean]:
    rng = random.Random(voice)
    for _ in range(count):
        salad = rng.random() < SALAD
        words = _salad(rng) if salad else _phrase(grammar, rng, taken)
        sound = _speak(voice, " ".join(words), rng)
        if len(sound) <= LONGEST_S * SAMPLE_RATE:
            yield Clean(words, _edged(sound, rng))


def _phrase(grammar: Grammar, rng: random.Random, taken: set[tuple[str, ...]]) -> tuple[str, ...]:
    while True:
        rule = "utterance-one" if rng.random() < 0.6 else "said"
        words = tuple(grammar.generate(rng, rule)[0].words)
        if words not in taken and len(words) <= 11:
            return words


@cache
def _dictionary() -> tuple[str, ...]:
    import pocketsphinx

    lines = Path(pocketsphinx.get_model_path("en-us/cmudict-en-us.dict")).read_text("utf-8")
    words = (line.split(" ", 1)[0] for line in lines.splitlines())
    return tuple(word for word in words if word.isalpha() and 2 < len(word) < 10)


@cache
def _common() -> tuple[str, ...]:
    """Words said often; without them free dictation is drawn towards the trade's."""
    spelled = whisper_loading.load(harden=False).tokens.word
    short = ("i", "a", "he", "we", "it", "is", "in", "on", "to", "me", "my", "no", "so", "up")
    written = ((word, spelled(word)) for word in (*short, *_dictionary()))
    return tuple(word for word, (first, *more) in written if first < OFTEN_SAID and not more)


def _salad(rng: random.Random) -> tuple[str, ...]:
    """Common words and rare ones, half and half."""
    return tuple(
        rng.choice(_common() if rng.random() < 0.5 else _dictionary())
        for _ in range(rng.randint(1, 8))
    )


def _speak(voice: str, text: str, rng: random.Random) -> Sound:
    if voice == "espeak":
        name = rng.choice(ESPEAK) + rng.choice(ESPEAK_THROATS)
        with tempfile.NamedTemporaryFile(suffix=".wav") as file:
            command = ["espeak-ng", "-v", name, "-s", str(rng.randint(125, 190)), "-w", file.name]
            subprocess.run([*command, text], check=True, stderr=subprocess.DEVNULL)
            sound, rate = soundfile.read(file.name, dtype="float32")
        return material.levelled(material.resampled(sound, rate))
    if voice == "throats":
        spoken = harden_throats.speak(text, rng)
        return material.levelled(material.resampled(spoken, harden_throats.RATE))
    if voice == "moulded":
        base = _speak(rng.choice(MOULDED_FROM), text, rng)
        return material.levelled(harden_moulds.moulded(base, rng))
    sound = material.speak(voice, text)
    material.speak.cache_clear()
    return _stretched(sound, rng, 0.08)


def _stretched(sound: Sound, rng: random.Random, most: float) -> Sound:
    """Played up to `most` slower or faster: another throat, another pace."""
    rate = round(SAMPLE_RATE * (1 + rng.uniform(-most, most)))
    return material.resampled(sound, rate)


def _edged(sound: Sound, rng: random.Random) -> Sound:
    lead, tail = (np.zeros(int(rng.uniform(0.1, 0.5) * SAMPLE_RATE), np.float32) for _ in "ab")
    return np.concatenate([lead, sound, tail])


def _people(folder: Path, rng: random.Random, share: float) -> Iterator[Clean]:
    for part, times in (("human_words", 4), ("chatter", 5)):
        for path, words, speaker in material.rows(folder / part):
            if material.half(speaker) != material.TUNING:
                continue
            whole = material.levelled(material.whole(path))
            for _ in range(max(1, round(times * share))):
                sound = _stretched(whole, rng, 0.1)
                most = int(LONGEST_S * SAMPLE_RATE)
                if len(sound) <= most:
                    yield Clean(words or None, _edged(sound, rng))
                else:
                    at = rng.randrange(len(sound) - most)
                    yield Clean(None, sound[at : at + most])
