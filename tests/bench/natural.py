"""How well natural speech is heard: what people say in their own words. Prints; asserts nothing.

    python tests/bench/natural.py --cache FOLDER [--noise FOLDER] [--shared FOLDER]
        [--people FOLDER] [--count 90] [--tuning 60] [--conditions 4] [--neural-only]
        [--strict N] [--print-only]

Sounds are those of natural_material.py; what the listeners return is kept in FOLDER as noisy.py
keeps it, so that weighing is judged again in seconds. Printed per condition: right in every detail
(the entries of the typed words; what only keeps words as they were said is not compared), wrong
but doubtful, wrong and sure, unclear; alarms that give their caution; talk that becomes a note.
`--people` names a folder with chatter/, read/ and talk/: real speech that is no note. `--strict N`
hears N held-out sentences of the grammar instead, as noisy.py does, and prints what becomes of
them with and without reading natural speech.
"""

import argparse
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Sequence
from pathlib import Path

import natural_material as natural
import noisy_evidence as kept
import noisy_material as material
import noisy_table as table
from noisy_evidence import Ears, Evidence
from noisy_material import HELD_OUT, TUNING, Job, Shed

from handsfree.dialogue.dialogue import Dialogue
from handsfree.engines.apart import Apart
from handsfree.engines.base import Clip, Hearing
from handsfree.engines.neural import NeuralListener
from handsfree.engines.own_way import entries_of
from handsfree.engines.pocketsphinx import PocketSphinxListener
from handsfree.grammar import Grammar, load
from handsfree.grammar.grammar import Reading
from handsfree.grammar.meaning import Meaning
from handsfree.language.understand import Understanding

NOTES, ALARMS, TALK = ("note", "alarm"), ("alarm",), ("talk",)
ENGINES = ("pocketsphinx", "neural")


class Silent:
    """In PocketSphinx's place where the neural listener is measured alone: it takes most time."""

    name = "pocketsphinx"

    def hear(self, clip: Clip) -> Hearing:
        return Hearing(self.name, (), float("-inf"), False)

    def score(self, clip: Clip, sentences: Sequence[str]) -> tuple[float, ...]:
        return (float("-inf"),) * len(sentences)


def main() -> None:
    options = _options()
    grammar = load()
    understanding = Understanding(grammar)
    jobs = _strict_jobs(grammar, options) if options.strict else _jobs(understanding, options)
    options.cache.mkdir(parents=True, exist_ok=True)
    alone = "-neural" if options.neural_only else ""
    path = options.cache / f"natural{alone}-{kept.fingerprint()}.jsonl"
    known = {e.key: e for e in kept.read_cache(path)}
    if not options.print_only:
        hear_all(jobs, known, path, grammar, options.neural_only)
    evidence = [known[job.key] for job in jobs if job.key in known]
    print(f"{len(evidence)} of {len(jobs)} sounds heard; evidence in {path}")
    if options.strict:
        print_strict(evidence, grammar)
        return
    engines = ("neural",) if options.neural_only else ENGINES
    print_all(evidence, table.again(engines, grammar), understanding)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--cache", type=Path, required=True)
    parser.add_argument("--noise", type=Path, help="folder of real noises")
    parser.add_argument("--shared", type=Path, help="folder with said.jsonl")
    parser.add_argument("--people", type=Path, help="folder with recordings of real people")
    parser.add_argument("--count", type=int, default=90, help="held-out utterances")
    parser.add_argument("--tuning", type=int, default=60, help="utterances to fit to")
    parser.add_argument("--talk", type=int, default=40, help="real people's clips, each part")
    parser.add_argument("--conditions", type=int, default=4, help="the first so many")
    parser.add_argument("--strict", type=int, default=0, metavar="N")
    parser.add_argument("--neural-only", action="store_true", help="without PocketSphinx")
    parser.add_argument("--print-only", action="store_true")
    return parser.parse_args()


def _jobs(understanding: Understanding, options: argparse.Namespace) -> list[Job]:
    shed = Shed(options.noise)
    jobs: list[Job] = []
    for part, count in ((HELD_OUT, options.count), (TUNING, options.tuning)):
        jobs += natural.jobs(understanding, shed, part, NOTES, count, options.shared)
        jobs += natural.jobs(understanding, shed, part, TALK, count // 6, options.shared)
    jobs += natural.jobs(understanding, shed, HELD_OUT, ALARMS, options.count // 4, options.shared)
    if options.people is not None:
        for part in (HELD_OUT, TUNING):
            jobs += natural.people_jobs(options.people, shed, part, options.talk)
    order = {material.condition_name(*c): at for at, c in enumerate(natural.CONDITIONS)}
    jobs = [job for job in jobs if order[job.condition] < options.conditions]
    return sorted(jobs, key=lambda job: order[job.condition])


def _strict_jobs(grammar: Grammar, options: argparse.Namespace) -> list[Job]:
    made = material.made_jobs(grammar, Shed(options.noise), HELD_OUT, options.strict)
    wanted = material.MADE_CONDITIONS[:8]
    jobs = [job for job in made if (job.noise, job.snr_db) in wanted]
    return sorted(jobs, key=lambda job: wanted.index((job.noise, job.snr_db)))


def print_strict(evidence: Sequence[Evidence], grammar: Grammar) -> None:
    for natural_too in (False, True):
        ear = table.again(ENGINES, grammar)
        ear.natural = natural_too
        print(
            f"\n== sentences of the grammar, {'with' if natural_too else 'without'} natural speech"
        )
        for condition in dict.fromkeys(e.condition for e in evidence):
            here = kept.several(evidence, condition=condition)
            outcomes = Counter(
                table._judged(e, [ear.verdict(clip) for clip in e.clips], grammar).outcome
                for e in here
            )
            print(row(condition, outcomes))


def hear_all(
    jobs: Sequence[Job], known: dict[str, Evidence], path: Path, grammar: Grammar, alone: bool
) -> None:
    """Let the listeners hear what is not known yet; what they give is added to `path`."""
    sphinx: Apart | Silent = Silent()
    if not alone:
        sounds = grammar.pronunciations
        sphinx = Apart("pocketsphinx", PocketSphinxListener, grammar.acceptor, sounds)
    ears = Ears(sphinx, NeuralListener(grammar.acceptor))
    started = time.monotonic()
    wanted = [job for job in jobs if job.key not in known]
    with path.open("a", encoding="utf-8") as file:
        for done, job in enumerate(wanted, 1):
            known[job.key] = kept.gather(job, ears, job.make())
            file.write(kept.as_json(known[job.key]) + "\n")
            file.flush()
            if done % 25 == 0:
                left = (time.monotonic() - started) / done * (len(wanted) - done)
                print(f"{done} of {len(wanted)}, {left / 60:.0f} min left", file=sys.stderr)
    if isinstance(sphinx, Apart):
        sphinx.close()


def print_all(evidence: Sequence[Evidence], ear: table.Again, understanding: Understanding) -> None:
    for part in (HELD_OUT, TUNING):
        print(f"\n== {part}: right, of these sure; wrong, doubtful; wrong, sure; unclear")
        for condition in map(lambda c: material.condition_name(*c), natural.CONDITIONS):
            here = kept.several(evidence, part=part, condition=condition)
            notes = [e for e in here if e.kind == "note"]
            outcomes = Counter(outcome(e, ear, understanding) for e in notes)
            by_voice: dict[str, list[bool]] = defaultdict(list)
            for e in notes:
                by_voice[e.voice].append(outcome(e, ear, understanding).startswith("right"))
            print(row(condition, outcomes), voices(by_voice))
            alarms = [e for e in here if e.kind == "alarm"]
            warned = sum(warns(e, ear, understanding) for e in alarms)
            if alarms:
                print(f"     alarms with their caution {warned} of {len(alarms)}")
            for kind in ("talk", "people"):
                talk = [e for e in here if e.kind == kind]
                if talk:
                    print("     " + taken(kind, talk, ear))


def taken(kind: str, talk: Sequence[Evidence], ear: table.Again) -> str:
    """What of speech that is no note became one."""
    sure = doubtful = 0
    for each in talk:
        for clip in each.clips:
            verdict = ear.verdict(clip)
            if verdict.reading.meaning is not None and not verdict.is_remark:
                sure += table.is_sure(verdict)
                doubtful += not table.is_sure(verdict)
    hours = sum(e.seconds for e in talk) / 3600
    return f"{kind}, {hours:.2f} h: {sure} sure, {doubtful} doubtful"


def row(condition: str, outcomes: Counter[str]) -> str:
    count = max(1, outcomes.total())
    right = outcomes["right"] + outcomes["right, doubtful"]
    wrong = outcomes["sure and wrong"]
    return (
        f"{condition:14} {right} of {outcomes.total()} ({right / count:.0%}), sure "
        f"{outcomes['right']}; {outcomes['wrong, doubtful']}; {wrong} ({wrong / count:.1%}); "
        f"{outcomes['missed']}"
    )


def voices(by_voice: dict[str, list[bool]]) -> str:
    return ", ".join(f"{v} {sum(r)}/{len(r)}" for v, r in sorted(by_voice.items()))


def outcome(evidence: Evidence, ear: table.Again, understanding: Understanding) -> str:
    """As noisy_table.py has it, but what counts are the entries of the typed words."""
    wanted = _compared(understanding.read(evidence.said).meaning)
    verdicts = [ear.verdict(clip) for clip in evidence.clips]
    taken = [v for v in verdicts if v.reading.meaning is not None]
    wrong = [v for v in taken if _compared(v.reading.meaning) != wanted]
    if any(map(table.is_sure, wrong)):
        return "sure and wrong"
    if not taken:
        return "missed"
    if wrong or len(taken) > 1:
        return "wrong, doubtful"
    return "right" if table.is_sure(taken[0]) else "right, doubtful"


def _compared(meaning: Meaning | None) -> Meaning | None:
    return None if meaning is None else entries_of(meaning)


def warns(evidence: Evidence, ear: table.Again, understanding: Understanding) -> bool:
    """Whether what is heard gives every caution that the typed words give."""
    typed = understanding.read(evidence.said)
    wanted = _cautions(ear.grammar, [(typed, 1.0)])
    heard = [ear.verdict(clip) for clip in evidence.clips]
    return wanted <= _cautions(ear.grammar, [(v.reading, v.confidence) for v in heard])


def _cautions(grammar: Grammar, said: Sequence[tuple[Reading, float]]) -> set[str]:
    dialogue = Dialogue(grammar)
    found: set[str] = set()
    for reading, confidence in said:
        turn = dialogue.hear(reading, confidence)
        if turn is not None:
            found |= {notice.code for notice in turn.notices}
    return found


if __name__ == "__main__":
    main()
