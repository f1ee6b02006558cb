"""What the listeners returned for each sound of noisy.py, kept as JSON lines.

One line per job: everything each listener gave for every clip cut from it, so that weighing and
confidence can be changed and judged again in seconds. The file's name holds a checksum of the
grammar and of the listeners' sources: older evidence is never mixed with newer.
"""

import json
import math
import time
import zlib
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from noisy_material import Job

from handsfree.audio.speech import cut
from handsfree.engines import whisper_loading
from handsfree.engines.base import (
    SAMPLE_RATE,
    Clip,
    Dictated,
    HeardWord,
    Hearing,
    Hypothesis,
    ScoringListener,
    Sound,
)
from handsfree.engines.neural import NeuralListener
from handsfree.grammar import Grammar
from handsfree.grammar.acceptor import Acceptor

ROOT = Path(__file__).parents[2]
SOURCES = ("grammar/*.jsgf", "grammar/words.csv", "grammar/pronunciations.dict")
LISTENERS = ("pocketsphinx", "neural", "hardening", "whisper_*", "dictation", "word_model")
TAUGHT = (
    "handsfree/engines/hardened.npz",
    "handsfree/engines/word_model.npz",
    "handsfree/audio/speech.py",
    "handsfree/audio/activity.py",
)


def fingerprint() -> str:
    """Changes with whatever may change what a listener returns."""
    paths = [p for pattern in SOURCES for p in sorted(ROOT.glob(pattern))]
    paths += [ROOT / name for name in TAUGHT]
    paths += [p for n in LISTENERS for p in sorted(ROOT.glob(f"handsfree/engines/{n}.py"))]
    return f"{zlib.crc32(b''.join(p.read_bytes() for p in paths)):08x}"


@dataclass(frozen=True)
class ClipEvidence:
    """One clip of a job. Seconds of sound, dB of estimated speech over noise in it.

    `quick` and `patient` are the neural listener's two answers (`patient` None where none was
    asked for). Where the best sentences of the two differ, `sphinx_of` and `neural_of` hold what
    each listener makes of the sentences of both.
    """

    seconds: float
    sphinx: Hearing
    quick: Hearing
    patient: Hearing | None
    sphinx_of: dict[str, float]
    neural_of: dict[str, float]
    room: dict[str, float]


@dataclass(frozen=True)
class Evidence:
    """One job and what was heard in it; `bare` and `free` are the baselines' words, if asked."""

    key: str
    part: str
    kind: str
    voice: str
    condition: str
    said: tuple[str, ...]
    seconds: float
    clips: tuple[ClipEvidence, ...]
    took: dict[str, float]
    bare: str | None = None
    free: str | None = None


def room(clip: Clip) -> dict[str, float]:
    """Levels of a clip in dB: what the denoiser kept over what it took, and how much it took."""
    if clip.clean is None:
        return {}
    kept = float(np.mean(clip.clean.astype(np.float64) ** 2)) + 1e-12
    taken = float(np.mean((clip.raw.astype(np.float64) - clip.clean) ** 2)) + 1e-12
    whole = float(np.mean(clip.raw.astype(np.float64) ** 2)) + 1e-12
    return {
        "snr_db": 10 * math.log10(kept / taken),
        "removed_db": 10 * math.log10(whole / kept),
        "level_db": 10 * math.log10(whole),
    }


class Ears:
    """Both listeners for one set of sentences, and the means to score one's by the other."""

    def __init__(self, sphinx: ScoringListener, neural: NeuralListener) -> None:
        self.sphinx, self.neural = sphinx, neural
        self.took = {"pocketsphinx": 0.0, "neural": 0.0, "cross": 0.0}
        self._pool = ThreadPoolExecutor(1)

    def hear(self, clip: Clip) -> ClipEvidence:
        """Everything there is to know of one clip; the two hear at the same time, as always."""
        asked = self._pool.submit(self._timed_sphinx, clip)
        t1 = time.perf_counter()
        quick = self.neural.hear_quickly(clip)
        patient = self.neural.hear_patiently(clip, quick) if quick.again else None
        self.took["neural"] += time.perf_counter() - t1
        sphinx = asked.result()
        t2 = time.perf_counter()
        sphinx_of, neural_of = self._cross(clip, sphinx, patient or quick)
        self.took["cross"] += time.perf_counter() - t2
        return ClipEvidence(
            len(clip.raw) / SAMPLE_RATE,
            sphinx,
            quick,
            patient,
            sphinx_of,
            neural_of,
            room(clip),
        )

    def _timed_sphinx(self, clip: Clip) -> Hearing:
        started = time.perf_counter()
        hearing: Hearing = self.sphinx.hear(clip)
        self.took["pocketsphinx"] += time.perf_counter() - started
        return hearing

    def _cross(
        self, clip: Clip, sphinx: Hearing, neural: Hearing
    ) -> tuple[dict[str, float], dict[str, float]]:
        """What is asked for only where the first answers differ and somebody accepts one."""
        both = bool(sphinx.hypotheses and neural.hypotheses)
        if not both or not (sphinx.accepted or neural.accepted):
            return {}, {}
        if sphinx.hypotheses[0].text == neural.hypotheses[0].text:
            return {}, {}
        asked = list(dict.fromkeys(h.text for h in (*sphinx.hypotheses, *neural.hypotheses[:3])))
        return (
            dict(zip(asked, self.sphinx.score(clip, asked), strict=True)),
            dict(zip(asked, self.neural.score(clip, asked), strict=True)),
        )


def gather(job: Job, ears: Ears, sound: Sound) -> Evidence:
    before = dict(ears.took)
    clips = tuple(ears.hear(clip) for clip in cut(blocks(sound)))
    took = {name: ears.took[name] - before[name] for name in before}
    seconds = len(sound) / SAMPLE_RATE
    return Evidence(
        job.key, job.part, job.kind, job.voice, job.condition, job.said, seconds, clips, took
    )


def blocks(sound: Sound) -> Iterator[Sound]:
    step = SAMPLE_RATE // 4
    for at in range(0, len(sound), step):
        yield sound[at : at + step]


# Baselines


class Bare:
    """PocketSphinx as it comes, with the same sentences, on the sound as it is."""

    def __init__(self, acceptor: Acceptor, grammar: Grammar) -> None:
        import pocketsphinx

        self._decoder: Any = pocketsphinx.Decoder(lm=None, loglevel="FATAL")
        for word, variants in grammar.pronunciations.items():
            for phones in variants:
                if self._decoder.lookup_word(word) is None:
                    self._decoder.add_word(word, " ".join(phones.split()), False)
        final = len(acceptor.arcs)
        arcs: list[Any] = []
        for state, moves in enumerate(acceptor.arcs):
            weight = 1.0 / max(1, len(moves) + (state in acceptor.finals))
            arcs += [(state, target, weight, word) for word, target in moves.items()]
            if state in acceptor.finals:
                arcs.append((state, final, weight))
        self._decoder.add_fsg("all", self._decoder.create_fsg("all", acceptor.start, final, arcs))
        self._decoder.activate_search("all")

    def hear(self, sound: Sound) -> str:
        self._decoder.start_utt()
        pcm = (np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes()
        self._decoder.process_raw(pcm, full_utt=True)
        self._decoder.end_utt()
        found = self._decoder.hyp()
        return found.hypstr if found is not None else ""


FREE_PROMPT = (
    "hoof care notes, spelled out in lower case words, near fore medial sheared heel, "
    "nineteen and a half millimeters"
)


def free_words(sound: Sound) -> str:
    """Whisper's own free dictation (as it comes, beam 5, 30 s) with a prompt in trade spelling."""
    import ctranslate2

    from handsfree.engines.whisper_features import log_mel

    model = whisper_loading.load(harden=False)
    features = log_mel(sound, model.bands, 30.0)[:, :3000]
    opening = model.tokens.opening(FREE_PROMPT, 200)
    found = model.encoder.generate(
        ctranslate2.StorageView.from_array(np.ascontiguousarray(features)[None]),
        [opening],
        beam_size=5,
        max_length=len(opening) + 50,
    )
    return model.tokens.text(tuple(found[0].sequences_ids[0]))


# JSON


def as_json(evidence: Evidence) -> str:
    return json.dumps(asdict(evidence))


def from_json(line: str) -> Evidence:
    row = json.loads(line)
    clips = tuple(
        ClipEvidence(
            c["seconds"],
            _hearing(c["sphinx"]),
            _hearing(c["quick"]),
            _hearing(c["patient"]) if c["patient"] else None,
            c["sphinx_of"],
            c["neural_of"],
            c["room"],
        )
        for c in row.pop("clips")
    )
    return Evidence(**{**row, "said": tuple(row["said"]), "clips": clips})


def _hearing(row: dict[str, Any]) -> Hearing:
    hypotheses = tuple(
        Hypothesis(tuple(HeardWord(**word) for word in h["words"]), h["score"])
        for h in row["hypotheses"]
    )
    dictated = tuple(
        Dictated(**{**each, "words": tuple(each["words"])}) for each in row.get("dictated", ())
    )
    return Hearing(**{**row, "hypotheses": hypotheses, "dictated": dictated})


def read_cache(path: Path) -> list[Evidence]:
    """The last line for each job counts; a line cut short by a kill is left out."""
    found: dict[str, Evidence] = {}
    if path.is_file():
        for line in path.read_text(encoding="utf-8").splitlines():
            try:
                evidence = from_json(line)
            except (json.JSONDecodeError, KeyError, TypeError):
                continue
            found[evidence.key] = evidence
    return list(found.values())


def cache_file(folder: Path) -> Path:
    """Where evidence of the listeners as they are now is kept; a file given is taken as it is."""
    if folder.is_file():
        return folder
    return folder / f"evidence-{fingerprint()}.jsonl"


def several(many: Iterable[Evidence], **wanted: str | Sequence[str]) -> list[Evidence]:
    """Those whose fields are as wanted (one value, or one of several)."""
    return [
        e
        for e in many
        if all(
            getattr(e, name) == value if isinstance(value, str) else getattr(e, name) in value
            for name, value in wanted.items()
        )
    ]
