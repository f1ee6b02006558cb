"""The sounds of natural.py: what people say in their own words, by made voices never taught.

Utterances are drawn by a seed from the invented speakers m to q of `tests/language/said/` and,
where its folder is named, from `../shared/natural/`; nothing was taught or counted by them
(natural_sentences.py). Left out is what is not surely read when it is typed: that measures the
reader, not the ears. Held-out voices: kal16 of flite, ked of festival, and where harden_throats.py
can speak, mixtures of its voices that are drawn for the utterance ("mixed"; other mixtures of the
same five voices are taught).
"""

import json
import random
import zlib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import harden_throats
import noisy_material as material
from natural_sentences import SAID
from noisy_material import HELD_OUT, TUNING, Job, Shed

from handsfree.engines.base import Sound
from handsfree.grammar.grammar import Reading
from handsfree.language.reader import SURE_TO
from handsfree.language.understand import Understanding

MEASURED_ON = "mnopq"
TUNED_ON = "jkl"
"""Taught as text, so that only voices and noise are new: for fitting, never for figures."""
VOICES = {HELD_OUT: ("kal16", "mixed", "ked"), TUNING: ("rms", "slt", "rms", "awb")}
"""In turn. slt and awb are taught, rms never was; the held-out ones nothing was chosen with."""
CONDITIONS: tuple[tuple[str, float | None], ...] = (
    ("clean", None),
    ("rasp", 10.0),
    ("steady", 10.0),
    ("real", 5.0),
)
PEOPLE_IN = (*CONDITIONS[:3], ("real", 5.0))
LONGEST = 20
"""Words; longer ones are seldom one breath."""


def rows(part: str, shared: Path | None) -> list[dict[str, str]]:
    """Text, kind (note, alarm, talk) and speaker of all there is to draw from."""
    letters = MEASURED_ON if part == HELD_OUT else TUNED_ON
    files = [SAID / f"said_{letter}.jsonl" for letter in letters]
    if shared is not None and part == HELD_OUT:
        files.append(shared / "said.jsonl")
    return [json.loads(line) for f in files for line in f.read_text("utf-8").splitlines()]


def draw(
    understanding: Understanding, part: str, kinds: tuple[str, ...], count: int, shared: Path | None
) -> Iterator[tuple[tuple[str, ...], Reading]]:
    """So many utterances of these kinds, each with what it means typed."""
    if count <= 0:
        return
    found = [row for row in rows(part, shared) if row["kind"] in kinds]
    random.Random(f"{part} {' '.join(kinds)}").shuffle(found)
    for row in found:
        words = tuple(row["text"].split())
        reading = understanding.read(words)
        sure = reading.meaning is not None and reading.bend <= SURE_TO and not reading.doubt
        if len(words) <= LONGEST and (sure or "talk" in kinds):
            yield words, reading
            count -= 1
            if not count:
                return


@cache
def speak(voice: str, text: str) -> Sound:
    """Made speech at 16 kHz."""
    if voice != "mixed":
        return material.speak(voice, text)
    rng = random.Random(f"held out {text}")
    spoken = harden_throats.speak(text, rng)
    return material.levelled(material.resampled(spoken, harden_throats.RATE))


def usable(voice: str) -> bool:
    return harden_throats.usable() if voice == "mixed" else material.usable(voice)


def jobs(
    understanding: Understanding,
    shed: Shed,
    part: str,
    kinds: tuple[str, ...],
    count: int,
    shared: Path | None,
) -> list[Job]:
    """Every utterance in every condition, the voices in turn."""
    voices = [voice for voice in VOICES[part] if usable(voice)]
    for absent in set(VOICES[part]) - set(voices):
        print(f"skipped: the voice {absent} is not installed")
    made = []
    for index, (words, _) in enumerate(draw(understanding, part, kinds, count, shared)):
        for noise, snr_db in CONDITIONS:
            if noise == "real" and not shed.files:
                continue
            voice = voices[index % len(voices)]
            name = material.condition_name(noise, snr_db)
            key = f"natural/{part}/{name}/{voice}/{'-'.join(words)}"
            made.append(_job(shed, key, part, kinds[0], voice, noise, snr_db, words, index))
    return made


def _job(
    shed: Shed,
    key: str,
    part: str,
    kind: str,
    voice: str,
    noise: str,
    snr_db: float | None,
    words: tuple[str, ...],
    index: int,
) -> Job:
    def make() -> Sound:
        speech = material.padded(speak(voice, " ".join(words)))
        return shed.mixed(speech, noise, snr_db, part, index, zlib.crc32(key.encode()))

    return Job(key, part, kind, voice, noise, snr_db, words, make)


def people_jobs(folder: Path, shed: Shed, part: str, count: int) -> list[Job]:
    """Real people's speech that is no note, clean and under three noises in turn."""
    files = [
        path
        for name in ("read", "chatter", "talk")
        for path, _, speaker in material.rows(folder / name)
        if material.half(speaker) == part
    ]
    random.Random(part).shuffle(files)
    made = []
    for index, path in enumerate(files[:count]):
        noise, snr_db = PEOPLE_IN[index % len(PEOPLE_IN)]
        if noise == "real" and not shed.files:
            continue
        key = f"natural/{part}/people/{noise}/{path.name}"
        made.append(_stretch(shed, key, part, noise, snr_db, path, index))
    return made


def _stretch(
    shed: Shed, key: str, part: str, noise: str, snr_db: float | None, path: Path, index: int
) -> Job:
    def make() -> Sound:
        speech = material.padded(material.levelled(material.whole(path)))
        return shed.mixed(speech, noise, snr_db, part, index, zlib.crc32(key.encode()))

    return Job(key, part, "people", "people", noise, snr_db, (), make)


__all__ = ["CONDITIONS", "HELD_OUT", "TUNING", "draw", "jobs"]
