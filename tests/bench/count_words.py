"""Counts which words of the trade follow one another; writes handsfree/engines/word_model.npz.

    python tests/bench/natural_sentences.py SENTENCES.jsonl
    python tests/bench/count_words.py SENTENCES.jsonl [--out FILE]

Absolute discounting: D of each that was counted goes to what was never seen after the same words,
shared out as one word less tells. Triples seen once are left out: they say little and are most of
the file. `OTHER` stands for every word of no trade; how often it comes is given, as no sentence
here has one.
"""

import argparse
import json
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

import numpy as np

from handsfree.engines.word_model import BITS, END, FILE, NAME, OTHER, START, WordModel, unit
from handsfree.grammar import load

D = 0.85
WEIGHTS = {"said": 50.0}
"""How often a sentence of a kind is counted (else once). What people say is worth most, and there
is least of it; but it was said once, and that is discounted: D each time it is counted."""

ONCE_IN = 400
"""Of so many words one is of no trade."""

Key = tuple[int, ...]
"""Numbers of units."""

Counted = tuple[Counter[Key], Counter[Key]]
"""How often each comes, and how much of that is taken off."""


def counts(sentences: Iterable[tuple[str, list[str]]]) -> tuple[list[str], list[Counted]]:
    """Units by number; of each, each pair and each triple of them how often it comes.

    `sentences`: kind and words of each.
    """
    units = [START, END, OTHER, NAME]
    number = {name: at for at, name in enumerate(units)}
    found: list[Counted] = [(Counter(), Counter()) for _ in range(3)]
    seen: set[tuple[str, Key]] = set()
    for kind, words in sentences:
        weight = WEIGHTS.get(kind, 1.0)
        row = [0, 0]
        for word in map(unit, words):
            if word not in number:
                number[word] = len(units)
                units.append(word)
            row.append(number[word])
        row.append(1)
        for at in range(2, len(row)):
            for n, (often, off) in enumerate(found):
                key = tuple(row[at - n : at + 1])
                often[key] += weight  # type: ignore[assignment]
                if (kind, key) not in seen:
                    seen.add((kind, key))
                    off[key] += weight * D  # type: ignore[assignment]
    single = found[0][0]
    single[(2,)] = single[(3,)] = int(sum(single.values()) / ONCE_IN)
    return units, found


def reckoned(units: list[str], found: list[Counted]) -> dict[str, np.ndarray]:
    """log P and log of what backing off costs, as word_model.py reads them."""
    single, pairs, triples = found[0][0], found[1], found[2]
    often = Counter({key: n for key, n in triples[0].items() if n > 1})
    every = sum(single.values())
    p1 = np.array([max(single[(at,)], 0.1) / every for at in range(len(units))])
    p2, back1 = _backed(pairs, lambda key: float(p1[key[-1]]))
    p3, back2 = _backed((often, triples[1]), lambda key: _likely2(key[1:], p1, p2, back1))
    two, three = sorted(p2), sorted(p3)
    return {
        "units": np.array(" ".join(units)),
        "single": np.log(p1).astype(np.float16),
        "single_back": _logs([back1.get((at,), 1.0) for at in range(len(units))]),
        "pairs": _steps(two),
        "pair": _logs([p2[key] for key in two]),
        "pair_back": _logs([back2.get(key, 1.0) for key in two]),
        "triples": _steps(three),
        "triple": _logs([p3[key] for key in three]),
    }


def _backed(
    counted: Counted, lower: Callable[[Key], float]
) -> tuple[dict[Key, float], dict[Key, float]]:
    """P of each, discounted and filled up from `lower`; what is left over for backing off."""
    often, off = counted
    all_of: dict[Key, float] = defaultdict(float)
    taken: dict[Key, float] = defaultdict(float)
    for key, n in often.items():
        all_of[key[:-1]] += n
        taken[key[:-1]] += off[key]
    spare = {before: taken[before] / n for before, n in all_of.items()}
    p = {
        key: (n - off[key]) / all_of[key[:-1]] + spare[key[:-1]] * lower(key)
        for key, n in often.items()
    }
    return p, spare


def _likely2(
    key: Key, p1: np.ndarray, p2: Mapping[Key, float], back1: Mapping[Key, float]
) -> float:
    return p2.get(key, back1.get(key[:1], 1.0) * float(p1[key[-1]]))


def _steps(keys: list[Key]) -> np.ndarray:
    """Sorted keys as whole numbers, each less the one before."""
    found = [sum(at << BITS * n for n, at in enumerate(reversed(key))) for key in keys]
    return np.diff(np.array(found, np.int64), prepend=0)


def _logs(values: list[float]) -> np.ndarray:
    return np.asarray(np.log(np.maximum(np.array(values), 1e-9)), np.float16)


def alike(vocabulary: frozenset[str]) -> list[str]:
    """Lines of words that sound the same, of which the trade has one at least."""
    import pocketsphinx

    lines = Path(pocketsphinx.get_model_path("en-us/cmudict-en-us.dict")).read_text("utf-8")
    sounds: dict[str, set[str]] = defaultdict(set)
    for line in lines.splitlines():
        word, _, phones = line.partition(" ")
        if "(" not in word:
            sounds[word.lower()].add(phones)
    for word, ways in load().pronunciations.items():
        sounds[word] |= {" ".join(phones.split()) for phones in ways}
    for word in vocabulary:
        if word not in sounds and word.endswith("'s") and word[:-2] in sounds:
            sounds[word] = {f"{p} {_ending(p)}" for p in sounds[word[:-2]]}
    same: dict[str, set[str]] = defaultdict(set)
    for word, spoken in sounds.items():
        for phones in spoken:
            same[phones].add(word)
    groups = {tuple(sorted(group)) for group in same.values() if len(group) > 1}
    return sorted(" ".join(group) for group in groups if vocabulary & set(group))


def _ending(phones: str) -> str:
    """How "'s" sounds after these."""
    last = phones.split()[-1]
    if last in ("S", "Z", "SH", "ZH", "CH", "JH"):
        return "IH Z"
    return "S" if last in ("P", "T", "K", "F", "TH") else "Z"


def main() -> None:
    ask = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    ask.add_argument("sentences", type=Path)
    ask.add_argument("--out", type=Path, default=FILE)
    args = ask.parse_args()
    rows = [json.loads(line) for line in args.sentences.read_text("utf-8").splitlines()]
    units, found = counts((row["kind"], row["text"].split()) for row in rows)
    parts = reckoned(units, found)
    known = WordModel(parts).vocabulary
    parts["alike"] = np.array("\n".join(alike(known)))
    np.savez_compressed(args.out, **parts)  # type: ignore[arg-type]
    print(
        f"{len(units)} units, {len(parts['pairs'])} pairs, {len(parts['triples'])} triples, "
        f"{args.out.stat().st_size // 1024} KB"
    )


if __name__ == "__main__":
    main()
