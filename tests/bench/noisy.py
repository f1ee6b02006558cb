"""How well notes are heard in noise, and what talk does. Prints; asserts nothing.

    python tests/bench/noisy.py --cache FOLDER [--noise FOLDER] [--people FOLDER] [--quick]

makes sounds by seeds (noisy_material.py says which, with which voices and halves of speakers),
lets the listeners hear them, keeps everything they returned in FOLDER (noisy_evidence.py) and
prints, per condition and engine: notes right in every detail, wrong but marked doubtful, wrong
and called sure, missed; false records per hour of talk; time and memory. A second run hears only
what is not in FOLDER yet, so that weighing (handsfree/engines/together.py) and confidence (refit
by fit_confidence.py) are judged again in seconds. `--baselines N` adds, for the first N held-out
phrases in five conditions, bare PocketSphinx with the same sentences and Whisper's free dictation
through the same parser. `--noise` and `--people` name folders with index.csv (human_words/ and
chatter/ for people); without them those parts are skipped.
"""

import argparse
import resource
import sys
import time
from dataclasses import replace
from pathlib import Path

import noisy_evidence as kept
import noisy_material as material
from noisy_evidence import Bare, Ears, Evidence
from noisy_material import HELD_OUT, TUNING, Job, Shed

from handsfree.engines.apart import Apart
from handsfree.engines.neural import NeuralListener
from handsfree.engines.pocketsphinx import PocketSphinxListener
from handsfree.grammar import Grammar, load
from handsfree.grammar.acceptor import Acceptor, from_sentences

ASKED = 8
"""The first so many conditions of made speech are those that figures are asked for."""
BASELINE_CONDITIONS = ("clean", "steady 10 dB", "rasp 10 dB", "steady 5 dB", "real 5 dB")


def main() -> None:
    options = _options()
    grammar = load()
    shed = Shed(options.noise)
    jobs = _jobs(grammar, shed, options)
    options.cache.mkdir(parents=True, exist_ok=True)
    path = kept.cache_file(options.cache)
    known = {e.key: e for e in kept.read_cache(path)}
    if not options.print_only:
        _hear_all(jobs, known, path, grammar, options)
    evidence = [known[job.key] for job in jobs if job.key in known]
    print(f"{len(evidence)} of {len(jobs)} sounds heard; evidence in {path}")
    from noisy_table import print_all

    print_all(evidence, grammar)
    used = [
        resource.getrusage(who).ru_maxrss
        for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    ]
    if not options.print_only:
        print(
            f"memory at most: this process {used[0] // 1024} MB, PocketSphinx {used[1] // 1024} MB"
        )


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--cache", type=Path, required=True, help="where evidence is kept")
    parser.add_argument("--noise", type=Path, help="folder of real noises")
    parser.add_argument("--people", type=Path, help="folder of recordings of real people")
    parser.add_argument("--held-out", type=int, default=36, help="held-out phrases")
    parser.add_argument("--tuning", type=int, default=24, help="phrases to tune on")
    parser.add_argument("--baselines", type=int, default=0, help="phrases for the baselines")
    parser.add_argument("--quick", action="store_true", help="a tenth of everything")
    parser.add_argument("--print-only", action="store_true", help="hear nothing, judge the cache")
    return parser.parse_args()


def _jobs(grammar: Grammar, shed: Shed, options: argparse.Namespace) -> list[Job]:
    """All sounds: those the figures asked for rest on first, so that a run cut short has them."""
    share = 10 if options.quick else 1
    if not shed.files:
        print("skipped: real noises (no --noise FOLDER)")
    jobs = [
        job
        for part, count in ((HELD_OUT, options.held_out), (TUNING, options.tuning))
        for job in material.made_jobs(grammar, shed, part, max(2, count // share))
    ]
    if options.people is None:
        print("skipped: real people (no --people FOLDER)")
    else:
        jobs += material.people_jobs(options.people, shed)[::share]
        jobs += material.talk_jobs(options.people, shed)[::share]
    jobs += material.noise_jobs(shed)[::share]
    return sorted(jobs, key=_order)


def _order(job: Job) -> int:
    """Noises first that are asked about, then clean people and clean talk, then all the rest."""
    conditions = {
        "made": material.MADE_CONDITIONS,
        "talk": material.TALK_CONDITIONS,
        "noise": (("alone", None),),
    }.get(job.kind, material.PEOPLE_CONDITIONS)
    at = conditions.index((job.noise, job.snr_db))
    first = {"numbers": 10, "words": 10, "talk": 12, "noise": 14}.get(job.kind, 0)
    if job.kind == "made":
        return at if at < ASKED else at + 20
    return first + at + (14 if at else 0)


def _hear_all(
    jobs: list[Job],
    known: dict[str, Evidence],
    path: Path,
    grammar: Grammar,
    options: argparse.Namespace,
) -> None:
    ears = _all_ears(jobs, grammar)
    bare = Bare(grammar.acceptor, grammar) if options.baselines else None
    free_of = [
        job.key
        for condition in BASELINE_CONDITIONS
        for job in [
            j for j in jobs if j.part == HELD_OUT and j.kind == "made" and j.condition == condition
        ][: options.baselines]
    ]
    started, done = time.monotonic(), 0
    with path.open("a", encoding="utf-8") as file:
        for at, job in enumerate(jobs):
            wants = bare is not None and job.key in free_of
            before = known.get(job.key)
            if before is not None and not (wants and before.bare is None):
                continue
            sound = job.make()
            listening = ears[job.kind if job.kind in ears else "made"]
            evidence = before or kept.gather(job, listening, sound)
            if wants and bare is not None:
                t0 = time.perf_counter()
                words = bare.hear(sound)
                t1 = time.perf_counter()
                free = kept.free_words(sound)
                took = {**evidence.took, "bare": t1 - t0, "free": time.perf_counter() - t1}
                evidence = replace(evidence, bare=words, free=free, took=took)
            known[job.key] = evidence
            file.write(kept.as_json(evidence) + "\n")
            file.flush()
            done += 1
            if done % 50 == 0:
                each = (time.monotonic() - started) / done
                left = each * sum(j.key not in known for j in jobs[at:])
                print(
                    f"{at + 1} of {len(jobs)}, {left / 60:.0f} min left",
                    file=sys.stderr,
                    flush=True,
                )
    sphinx = ears["made"].sphinx
    if isinstance(sphinx, Apart):
        sphinx.close()


def _all_ears(jobs: list[Job], grammar: Grammar) -> dict[str, Ears]:
    """Listeners for the grammar ("made") and, small ones, for the words of the real people."""
    apart = Apart("pocketsphinx", PocketSphinxListener, grammar.acceptor, grammar.pronunciations)
    neural = NeuralListener(grammar.acceptor)
    ears = {"made": Ears(apart, neural)}
    numbers = {w for job in jobs if job.kind == "numbers" for w in job.said}
    words = {job.said for job in jobs if job.kind == "words"}
    if numbers and words:
        for kind, acceptor in (("numbers", strings_of(numbers)), ("words", from_sentences(words))):
            ears[kind] = Ears(PocketSphinxListener(acceptor, {}), NeuralListener(acceptor))
    return ears


def strings_of(vocabulary: set[str]) -> Acceptor:
    """One or more of these words in any order."""
    moves = dict.fromkeys(vocabulary, 1)
    return Acceptor(0, (moves, moves), frozenset({1}))


if __name__ == "__main__":
    main()
