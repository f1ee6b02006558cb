"""How well, how fast and with how much memory the recognizers hear. Prints; asserts nothing.

    python tests/bench/hearing.py                      demo recordings, per engine and together
    python tests/bench/hearing.py --voices             other made voices (Debian's flite)
    python tests/bench/hearing.py --people FOLDER      recordings of real people
    python tests/bench/hearing.py --speed              real-time factor, memory, first entry
    python tests/bench/hearing.py --hours 3            memory of cutting a recording that long

FOLDER holds `human_words/index.csv` and `chatter/index.csv` (columns file, text) and the sound
files beside them. Voices of the demo (heart, joe, awb) and of --voices (slt, rms) differ. Made
voices flatter every recognizer; the people decide.
"""

import argparse
import csv
import json
import random
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
import soundfile

from handsfree import demo
from handsfree.audio.sources import SoundReader
from handsfree.audio.speech import as_one_clip, cut
from handsfree.dialogue.dialogue import Dialogue
from handsfree.engines.base import SAMPLE_RATE, Clip, Hearing, Listener, PatientListener, Sound
from handsfree.engines.choose import ModelFolders, listeners
from handsfree.engines.together import Together
from handsfree.grammar import load
from handsfree.grammar.acceptor import Acceptor, from_sentences
from handsfree.grammar.words import plain_words
from handsfree.recording import Line, Recorder
from handsfree.records.sureness import unsure
from handsfree.transcribe import heard_in

ENGINES = ("pocketsphinx", "neural")
SETS = (("pocketsphinx",), ("neural",), ENGINES)


class Kept:
    """Asks a listener once for each clip, so that it is measured alone and with others."""

    def __init__(self, listener: Listener) -> None:
        self.listener, self.name, self.seconds = listener, listener.name, 0.0
        self._known: dict[int, Hearing] = {}

    def hear(self, clip: Clip) -> Hearing:
        if id(clip) not in self._known:
            started = time.perf_counter()
            self._known[id(clip)] = self.listener.hear(clip)
            self.seconds += time.perf_counter() - started
        return self._known[id(clip)]

    def hear_quickly(self, clip: Clip) -> Hearing:
        if not isinstance(self.listener, PatientListener):
            return self.hear(clip)
        started = time.perf_counter()
        quick = self.listener.hear_quickly(clip)
        self.seconds += time.perf_counter() - started
        return quick

    def hear_patiently(self, clip: Clip, quick: Hearing) -> Hearing:
        return self.hear(clip)

    def score(self, clip: Clip, texts: Sequence[str]) -> tuple[float, ...]:
        scores: tuple[float, ...] = self.listener.score(clip, texts)  # type: ignore[attr-defined]
        return scores


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--voices", action="store_true")
    parser.add_argument("--people", type=Path)
    parser.add_argument("--speed", action="store_true")
    parser.add_argument("--hours", type=float)
    parser.add_argument("--count", type=int, default=60, help="phrases per voice and condition")
    options = parser.parse_args()
    if options.voices:
        bench_voices(options.count)
    if options.people:
        bench_people(options.people)
    if options.speed:
        bench_speed()
    if options.hours:
        bench_hours(options.hours)
    if not (options.voices or options.people or options.speed or options.hours):
        bench_demo()


# Demo recordings


def bench_demo() -> None:
    place = demo.folder()
    grammar = load(horse_names=[name for name, _ in demo.horses(place)])
    kept = [Kept(each) for each in listeners(grammar, ENGINES, ModelFolders())[0]]
    expected = demo.manifest(place)
    clips = {f: clips_of(place / f) for f in dict.fromkeys(row.file for row in expected)}
    for names in SETS:
        ears = Together([k for k in kept if k.name in names], grammar)
        compared: list[demo.Compared] = []
        for file, here in clips.items():
            lines = through(ears, here, Recorder(file, None, Dialogue(grammar)))
            compared += demo.compare([row for row in expected if row.file == file], lines)
        ears.close()
        report_demo(" + ".join(names), compared)
    spoken = sum(len(clip.raw) for here in clips.values() for clip in here) / SAMPLE_RATE
    for each in kept:
        count = sum(map(len, clips.values()))
        print(
            f"{each.name}: {each.seconds / count:.2f} s an utterance, "
            f"{each.seconds / spoken:.2f} times the length of the speech"
        )


def report_demo(name: str, compared: Sequence[demo.Compared]) -> None:
    notes = [c for c in compared if c.has_entries]
    others = [c for c in compared if not c.has_entries and not c.expected.talk]
    talk = [c for c in compared if c.expected.talk]
    right = sum(c.right for c in notes)
    sure_wrong = [
        c
        for c in notes
        if not c.right and c.line and c.line.outcome.entries and not unsure(c.line.heard.confidence)
    ]
    print(
        f"\n== demo, {name}: {right} of {len(notes)} notes right ({right / len(notes):.1%}), "
        f"{len(sure_wrong)} wrong and called sure; commands and limbs "
        f"{sum(c.right for c in others)} of {len(others)}; talk taken for a note "
        f"{sum(not c.right for c in talk)} of {len(talk)}"
    )
    for c in compared:
        if not c.right:
            heard = (
                f"'{c.line.heard.text}' ({c.line.outcome.status}, {c.line.heard.confidence:.2f})"
                if c.line
                else "nothing"
            )
            print(
                f"   missed: '{c.expected.said}' heard {heard} "
                f"[{c.expected.noise} {c.expected.snr_db} dB]"
            )


def clips_of(path: Path) -> list[Clip]:
    with SoundReader(path) as reader:
        return list(cut(reader))


def through(ears: Together, clips: Iterable[Clip], recorder: Recorder) -> list[Line]:
    lines = []
    for clip in clips:
        verdict = ears.hear(clip)
        line = recorder.take(heard_in(clip, verdict)) if verdict.speech else None
        if line is not None:
            lines.append(line)
    return lines


# Other made voices


def bench_voices(count: int) -> None:
    grammar = load()
    kept = [Kept(each) for each in listeners(grammar, ENGINES, ModelFolders())[0]]
    rng = random.Random(20)
    for voice in ("slt", "rms"):
        phrases = [grammar.generate(rng)[0].words for _ in range(count)]
        for snr_db in (None, 20.0, 10.0):
            clips = [
                (words, as_one_clip([with_noise(speak(voice, words), snr_db)])) for words in phrases
            ]
            for names in SETS:
                ears = Together([k for k in kept if k.name in names], grammar)
                tally = [0, 0, 0]
                for words, clip in clips:
                    verdict = ears.hear(clip)
                    right = verdict.reading.meaning == grammar.read(words).meaning
                    sure = not unsure(verdict.confidence) and verdict.reading.meaning is not None
                    tally[0] += right
                    tally[1] += sure
                    tally[2] += sure and not right
                ears.close()
                noise = "clean" if snr_db is None else f"{snr_db:.0f} dB pink"
                print(
                    f"voice {voice}, {noise}, {' + '.join(names)}: {tally[0]} of {count} right, "
                    f"{tally[1]} called sure, {tally[2]} of those wrong"
                )


def speak(voice: str, words: Sequence[str]) -> Sound:
    with tempfile.NamedTemporaryFile(suffix=".wav") as file:
        subprocess.run(
            ["flite", "-voice", voice, "-t", " ".join(words), "-o", file.name], check=True
        )
        with SoundReader(file.name) as reader:
            return np.concatenate(list(reader))


def with_noise(sound: Sound, snr_db: float | None) -> Sound:
    """Half a second of room around the speech, pink noise (1/f power) over all of it."""
    room = np.zeros(SAMPLE_RATE // 2, np.float32)
    padded = np.concatenate([room, sound, room])
    rng = np.random.default_rng(len(sound))
    spectrum = np.fft.rfft(rng.standard_normal(len(padded)))
    spectrum[1:] /= np.sqrt(np.arange(1, len(spectrum)))
    noise = np.fft.irfft(spectrum, len(padded))
    level = -60.0 if snr_db is None else 10 * np.log10(np.mean(sound**2)) - snr_db
    mixed: Sound = (padded + noise * 10 ** (level / 20) / np.std(noise)).astype(np.float32)
    return mixed


# Real people


def bench_people(folder: Path) -> None:
    words = index(folder / "human_words")
    numbers = [row for row in words if row[0].name.startswith("an4_num")]
    single = [row for row in words if len(row[1]) == 1]
    for title, rows, acceptor in (
        ("number strings", numbers, strings_of({w for _, ws in numbers for w in ws})),
        ("single words", single, from_sentences({ws for _, ws in single})),
    ):
        right: dict[str, int] = {}
        agreed = agreed_right = 0
        made = [make(name, acceptor) for name in ENGINES]
        for path, said in rows:
            clip = as_one_clip([whole(path)])
            heard = []
            for ear in made:
                hearing = ear.hear(clip)
                text = hearing.hypotheses[0].text if hearing.hypotheses else ""
                heard.append(text)
                right[ear.name] = right.get(ear.name, 0) + (text == " ".join(said))
            if heard[0] == heard[1] != "":
                agreed += 1
                agreed_right += heard[0] == " ".join(said)
        print(
            f"real people, {title}, {len(rows)} clips: "
            + ", ".join(f"{name} {n} right" for name, n in right.items())
            + f"; the two agree on {agreed}, {agreed_right} of those right"
        )
    bench_chatter(folder / "chatter")


def bench_chatter(folder: Path) -> None:
    grammar = load()
    kept = [Kept(each) for each in listeners(grammar, ENGINES, ModelFolders())[0]]
    clips = [clip for path, _ in index(folder) for clip in clips_of(path)]
    hours = sum(len(c.raw) for c in clips) / SAMPLE_RATE / 3600
    for names in SETS:
        ears = Together([k for k in kept if k.name in names], grammar)
        verdicts = [ears.hear(clip) for clip in clips]
        taken = [v for v in verdicts if v.reading.meaning is not None]
        sure = [v for v in taken if not unsure(v.confidence)]
        ears.close()
        print(
            f"real people, other talk, {' + '.join(names)}: {len(taken)} of {len(clips)} "
            f"stretches taken for a note ({len(taken) / hours:.0f} an hour), "
            f"{len(sure)} called sure"
        )
        for v in taken[:12]:
            print(f"   {v.confidence:.2f} '{v.heard}' free: '{v.free_text}'")


def index(folder: Path) -> list[tuple[Path, tuple[str, ...]]]:
    with (folder / "index.csv").open(encoding="utf-8") as file:
        return [(folder / r["file"], tuple(plain_words(r["text"]))) for r in csv.DictReader(file)]


def strings_of(vocabulary: set[str]) -> Acceptor:
    """One or more of these words in any order."""
    return Acceptor(0, (dict.fromkeys(vocabulary, 1), dict.fromkeys(vocabulary, 1)), frozenset({1}))


def make(name: str, acceptor: Acceptor) -> Listener:
    if name == "pocketsphinx":
        from handsfree.engines.pocketsphinx import PocketSphinxListener

        return PocketSphinxListener(acceptor, {})
    from handsfree.engines.neural import NeuralListener

    return NeuralListener(acceptor)


def whole(path: Path) -> Sound:
    with SoundReader(path) as reader:
        return np.concatenate(list(reader))


# Speed and memory


def bench_speed() -> None:
    recording = demo.folder() / "heavy_horse.flac"
    seconds = soundfile.info(recording).duration
    for names in SETS:
        engines = [part for name in names for part in ("--engine", name)]
        command = [sys.executable, "-m", "handsfree", "transcribe", "--json", "--no-log"]
        started = time.perf_counter()
        with subprocess.Popen(
            [*command, *engines, str(recording)],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        ) as process:
            first = None
            assert process.stdout is not None
            for line in process.stdout:
                if first is None and json.loads(line)["entries"]:
                    first = time.perf_counter() - started
        took = time.perf_counter() - started
        peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        print(
            f"{' + '.join(names)}: {took:.0f} s for {seconds:.0f} s of recording (real-time factor "
            f"{took / seconds:.2f}), first entry after {first:.1f} s, "
            f"peak memory so far {peak:.0f} MB"
        )


def bench_hours(hours: float) -> None:
    """A recording of so many hours, streamed, denoised and cut; no recognizer is loaded."""
    sound, rate = soundfile.read(demo.folder() / "heavy_horse.flac", dtype="int16")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.wav"
        with soundfile.SoundFile(path, "w", rate, 1, "PCM_16") as file:
            for _ in range(round(hours * 3600 * rate / len(sound))):
                file.write(sound)
        script = (
            "import sys, resource\n"
            "from handsfree.audio.sources import SoundReader\n"
            "from handsfree.audio.speech import cut\n"
            "with SoundReader(sys.argv[1]) as reader:\n"
            "    clips = sum(1 for _ in cut(reader))\n"
            "print(clips, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)"
        )
        started = time.perf_counter()
        done = subprocess.run(
            [sys.executable, "-c", script, str(path)], capture_output=True, text=True, check=True
        )
    clips, peak = done.stdout.split()
    took = time.perf_counter() - started
    print(f"{hours:g} hours cut into {clips} clips in {took:.0f} s, peak memory {peak} MB")


if __name__ == "__main__":
    main()
