"""Fits handsfree/engines/confidence.toml to the evidence of noisy.py, and shows how well it holds.

    python tests/bench/fit_confidence.py [--cache FOLDER] [--natural FILE] [--write] [--compare]

Only tuning voices, tuning phrases and the tuning half of the real speakers are fitted to; of the
rest only the reliability is printed: of the answers at a confidence, how many are right. One
logistic sum for each case, by SciPy, with weights pulled towards 0 (ridge) and the sign of those
features held of which it is known (better fit or more agreement never makes it less sure).
`--natural` names what natural.py kept: the case of what is said in one's own words is fitted to
its tuning part. A case whose evidence is not named stays as it is. `--write` puts the file in
place; without it the file is printed only. `--compare` fits again without one feature or one way
of hearing at a time, and prints what that does to the figures.
"""

import argparse
import math
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import noisy_evidence as kept
import noisy_table as table
import numpy as np
from noisy_evidence import Evidence
from noisy_material import HELD_OUT, TUNING
from scipy.optimize import minimize

from handsfree.engines import confidence
from handsfree.engines.own_way import CASE, entries_of
from handsfree.engines.together import AGREE, DIFFER, LONE, NEURAL, SPHINX
from handsfree.grammar import Grammar, load
from handsfree.grammar.meaning import Meaning

RIDGE = 1.0
"""Pull on standardized weights; from a look at 0.1 to 10 on the tuning part: hardly matters."""
UP, DOWN, EITHER = (0.0, None), (None, 0.0), (None, None)
NEURAL_FEATURES = {"fit_neural": UP, "lead": UP, "written": UP, "unread": DOWN}
COMMON = {"bend": DOWN, "words": EITHER, "snr_db": UP, "pace": EITHER}
FEATURES: dict[str, dict[str, tuple[float | None, float | None]]] = {
    AGREE: {**NEURAL_FEATURES, "fit_sphinx": UP, **COMMON},
    DIFFER: {
        "neural_of": UP,
        "neural_lead": UP,
        "pocketsphinx_of": UP,
        "pocketsphinx_lead": UP,
        "neural_first": UP,
        "pocketsphinx_first": UP,
        "neural_heard": UP,
        "pocketsphinx_heard": UP,
        "neural_accepted": UP,
        "pocketsphinx_accepted": UP,
        "written": UP,
        "unread": DOWN,
        **COMMON,
    },
    f"{LONE}-{NEURAL}": {**NEURAL_FEATURES, **COMMON},
    f"{LONE}-{SPHINX}": {"fit_sphinx": UP, **COMMON},
}
WRITTEN_FEATURES: dict[str, tuple[float | None, float | None]] = {
    "share": UP,
    "fit_written": UP,
    "said": UP,
    "over_strict": UP,
    "echoed": UP,
    "freely": UP,
    "bend": DOWN,
    "words": EITHER,
    "pace": EITHER,
    "snr_db": UP,
}
BOUNDS = {
    "share": (-4.0, 4.0),
    "fit_written": (-2.0, 0.5),
    "said": (-9.0, -1.0),
    "over_strict": (-1.0, 4.0),
    "neural_of": (-6.0, 2.0),
    "neural_lead": (-3.0, 3.0),
    "pocketsphinx_of": (-4.0, 4.0),
    "pocketsphinx_lead": (-3.0, 3.0),
    "fit_neural": (-6.0, 0.5),
    "fit_sphinx": (-3.0, 4.0),
    "lead": (-3.0, 3.0),
    "unread": (0.0, 8.0),
    "bend": (0.0, 1.0),
    "words": (1.0, 12.0),
    "snr_db": (-10.0, 20.0),
    "pace": (0.5, 4.0),
}


@dataclass(frozen=True)
class Sample:
    """One answer that was on offer, and whether it was right; `best` where it was the surest."""

    part: str
    kind: str
    known: Mapping[str, float | None]
    right: bool
    best: bool
    given: float


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--cache", type=Path)
    parser.add_argument("--natural", type=Path)
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--compare", action="store_true")
    options = parser.parse_args()
    grammar = load()
    cases = dict(confidence.load().cases)
    evidence: list[Evidence] = []
    if options.cache is not None:
        evidence = kept.read_cache(kept.cache_file(options.cache))
        readers = table.grammars(evidence, grammar)
        cases |= fit_all(evidence, readers, FEATURES).cases
    natural = kept.read_cache(options.natural) if options.natural else []
    if natural:
        samples = [s for s in written(natural, grammar) if s.part == TUNING]
        cases[CASE] = fitted(samples, WRITTEN_FEATURES)
    fit = confidence.Confidence(cases)
    text = HEADER + "".join("\n" + as_toml(case, each) for case, each in fit.cases.items())
    print(text)
    if options.write:
        confidence.FILE.write_text(text, encoding="utf-8")
    if natural:
        reliability({CASE: written(natural, grammar, fit)})
    if evidence:
        reliability(gather(evidence, readers, fit))
    if evidence and options.compare:
        compare(evidence, readers)


Signs = Mapping[str, Mapping[str, tuple[float | None, float | None]]]


def written(
    evidence: Sequence[Evidence], grammar: Grammar, by: confidence.Confidence | None = None
) -> list[Sample]:
    """What each clip was likeliest to say in its own words, and whether it did."""
    ear = table.again((NEURAL,), grammar, by)
    samples = []
    for each in evidence:
        meant = ear.read_naturally(each.said).meaning if each.said and each.kind != "talk" else None
        for clip in each.clips:
            found = ear.own_ways([clip.sphinx, clip.quick], table.room_of(clip))[:1]
            for way in found:
                said = way.reading.meaning
                right = meant is not None and said is not None and _same(meant, said)
                given = by.of(CASE, way.known) if by else 0.0
                samples.append(Sample(each.part, each.kind, way.known, right, True, given))
    return samples


def _same(one: Meaning, other: Meaning) -> bool:
    return entries_of(one) == entries_of(other)


def fit_all(
    evidence: Sequence[Evidence], readers: dict[str, object], signs: Signs
) -> confidence.Confidence:
    """Every case fitted to the tuning part."""
    samples = gather([e for e in evidence if e.part == TUNING], readers)
    return confidence.Confidence({case: fitted(samples[case], signs[case]) for case in signs})


def compare(evidence: Sequence[Evidence], readers: dict[str, object]) -> None:
    """What every way of knowing more is worth, for both listeners together."""
    ways: list[tuple[str, Sequence[Evidence], tuple[str, ...]]] = [("everything", evidence, ())]
    ways.append(("no scores of each other's sentences", [unscored(e) for e in evidence], ()))
    for name in ("snr_db", "pace", "words", "written", "unread", "lead"):
        ways.append((f"without {name}", evidence, (name,)))
    for name in ("accepted", "heard", "first", "lead", "of"):
        both = (f"neural_{name}", f"pocketsphinx_{name}")
        ways.append((f"without {both[0]} and {both[1]}", evidence, both))
    for title, some, left in ways:
        signs = {
            case: {name: sign for name, sign in of.items() if name not in left}
            for case, of in FEATURES.items()
        }
        fit = fit_all(some, readers, signs)
        judged = table.judge(some, table.SETS[-1], readers, fit)
        for part in (TUNING, HELD_OUT):
            here = [one for one in judged if one.evidence.part == part]
            said = Counter(one.outcome for one in here if one.evidence.said)
            count = sum(said.values())
            right = said["right"] + said["right, doubtful"]
            print(
                f"{title:52} {part:8} of {count} right {right / count:.1%}, sure and right "
                f"{said['right'] / count:.1%}, sure and wrong {said['sure and wrong'] / count:.1%}"
                f"; of talk sure {sum(one.sure for one in here)}, "
                f"doubtful {sum(one.doubtful for one in here)}"
            )


def unscored(evidence: Evidence) -> Evidence:
    """The evidence as it would be if neither listener scored the other's sentences."""
    clips = tuple(replace(clip, sphinx_of={}, neural_of={}) for clip in evidence.clips)
    return replace(evidence, clips=clips)


HEADER = """\
# How sure a hearing is: log odds = base + sum of weight x (value - typical), each value kept
# within low..high; lowest and highest bound the probability. Read by confidence.py.
#
# Written by `python tests/bench/fit_confidence.py --cache FOLDER --write`, fitted to the tuning
# part of what tests/bench/noisy.py made (tuning voices, half of the real speakers and of their
# talk, all noises); tests/bench/RESULTS.md tells how it holds on what it was not fitted to.
#
# agree: two listeners heard the same. differ: one of the sentences they heard, where they differ.
# alone-...: one listener only.
# fit_neural, fit_sphinx   the sentence against decoding free of the grammar (natural log a token
#                          or a frame)
# lead                     how far the neural listener's next other sentence is behind
# neural_of, ..._lead      the listener's score of this sentence; how far before any other's
# neural_first, ...        it is the listener's own best (1 or 0)
# neural_heard, ...        it is among the listener's own best (1 or 0)
# neural_accepted, ...     the listener took the sound for some sentence (1 or 0)
# written, unread          free dictation came to the same (1 or 0); by how many words it differs
# bend, words, pace        how far words were bent, their number, words a second
# snr_db                   speech over noise as the denoiser parts them
#
# written: what was said in one's own words (engines/own_way.py), the likeliest meaning of what the
# neural listener wrote freely. Fitted by `--natural FILE` to the tuning part of natural.py.
# share                    of all it wrote (natural log of the odds)
# fit_written, over_strict how well that fits, against decoding free of all words, and against the
#                          best sentence of the grammar (natural log a token)
# said                     how likely the words are without the sound (natural log a word)
# echoed                   a sentence of the grammar that was heard means the same (1 or 0)
# freely                   the share of its words that decoding free of all words has too
# bend                     how unsure the reader is of it
"""


def gather(
    evidence: Sequence[Evidence],
    readers: dict[str, object],
    by: confidence.Confidence | None = None,
) -> dict[str, list[Sample]]:
    """Every answer on offer in all the evidence, by case; how sure it is as `by` has it."""
    samples: dict[str, list[Sample]] = defaultdict(list)
    for names in table.SETS:
        ears = {kind: table.again(names, reader, by) for kind, reader in readers.items()}
        for each in evidence:
            ear = ears[each.kind]
            meant = ear.grammar.read(each.said).meaning if each.said else None
            for clip in each.clips:
                if ear.verdict(clip).is_remark:
                    continue
                sure = [ear._sureness(c) for c in ear.offered]
                for c, given in zip(ear.offered, sure, strict=True):
                    right = meant is not None and c.vote.meaning == meant
                    best = given == max(sure)
                    samples[c.case].append(
                        Sample(each.part, each.kind, c.known, right, best, given)
                    )
        for ear in ears.values():
            ear.close()
    return samples


def fitted(
    samples: Sequence[Sample], signs: Mapping[str, tuple[float | None, float | None]]
) -> confidence.Case:
    """The case whose weights explain these samples best."""
    names = list(signs)
    columns = []
    for name in names:
        low, high = BOUNDS.get(name, (0.0, 1.0))
        values = np.array([_value(s.known.get(name)) for s in samples])
        columns.append(np.clip(values, low, high))
    raw = np.array(columns).T
    typical = np.nanmean(raw, axis=0)
    spread = np.nanstd(raw, axis=0)
    spread[~(spread > 1e-6)] = np.inf
    x = np.nan_to_num((raw - typical) / spread)
    y = np.array([s.right for s in samples], float)
    start = np.zeros(len(names) + 1)
    start[0] = math.log((y.sum() + 1) / (len(y) - y.sum() + 1))

    def loss(w: np.ndarray) -> tuple[float, np.ndarray]:
        z = x @ w[1:] + w[0]
        p = 1 / (1 + np.exp(-np.clip(z, -40, 40)))
        cost = np.sum(np.logaddexp(0, z) - y * z) + RIDGE / 2 * np.sum(w[1:] ** 2)
        pull = np.concatenate([[0.0], RIDGE * w[1:]])
        return cost, np.concatenate([[np.sum(p - y)], x.T @ (p - y)]) + pull

    found = minimize(
        loss, start, jac=True, method="L-BFGS-B", bounds=[EITHER, *(signs[n] for n in names)]
    ).x
    features = {
        name: confidence.Feature(
            weight=round(float(w / s), 4),
            typical=round(float(t), 3),
            low=BOUNDS.get(name, (0.0, 1.0))[0],
            high=BOUNDS.get(name, (0.0, 1.0))[1],
        )
        for name, w, s, t in zip(names, found[1:], spread, typical, strict=True)
        if abs(w / s) > 1e-3
    }
    # No surer than so many samples can tell (rule of succession), no less sure either.
    unsure = 1 / (len(y) + 2)
    return confidence.Case(
        round(float(found[0]), 3), round(unsure, 4), round(1 - unsure, 4), features
    )


def _value(value: float | None) -> float:
    return math.nan if value is None else value


def as_toml(case: str, fit: confidence.Case) -> str:
    lines = [f"[{case}]", f"base = {fit.base}", f"lowest = {fit.lowest}"]
    lines.append(f"highest = {fit.highest}")
    for name, f in fit.features.items():
        lines.append(
            f"{name} = {{ weight = {f.weight}, typical = {f.typical}, "
            f"low = {f.low}, high = {f.high} }}"
        )
    return "\n".join(lines) + "\n"


BINS = (0.0, 0.3, 0.6, 0.8, 0.9, 0.95, 0.98, 1.01)


def reliability(samples: Mapping[str, Sequence[Sample]]) -> None:
    """Of the answers chosen, by their confidence: how many there were, and the share right."""
    every = {"both listeners": (AGREE, DIFFER), **{case: (case,) for case in (*FEATURES, CASE)}}
    titles = {title: cases for title, cases in every.items() if any(c in samples for c in cases)}
    for title, cases in titles.items():
        for part in (TUNING, HELD_OUT):
            print(f"\n== reliability, {title}, {part}: confidence, answers, mean, right")
            chosen = [
                s for case in cases for s in samples.get(case, ()) if s.best and s.part == part
            ]
            for low, high in pairwise(BINS):
                here = [s for s in chosen if low <= s.given < high]
                if here:
                    mean = sum(s.given for s in here) / len(here)
                    share = sum(s.right for s in here) / len(here)
                    print(
                        f"   {low:.2f}-{min(high, 1):.2f}  {len(here):4}  {mean:.3f}  {share:.3f}"
                    )
            if chosen:
                brier = sum((s.given - s.right) ** 2 for s in chosen) / len(chosen)
                print(f"   Brier score {brier:.4f} of {len(chosen)}")


if __name__ == "__main__":
    main()
