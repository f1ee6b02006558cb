"""A second opinion on what was read, learned from labelled utterances. Pure.

For each thing that a note may tell, the words and their concepts give the odds that they tell it
(logistic regression; `tests/bench/fit_second_look.py` fits it and prints what it finds). It adds
nothing and takes nothing away: where what was read is unlikely, or something likely was not read,
a person has to look.
"""

import gzip
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from itertools import pairwise
from pathlib import Path

from handsfree.grammar.meaning import Statement
from handsfree.language.spans import Span
from handsfree.records.entries import to_json

FILE = Path(__file__).with_name("second_look.json.gz")
UNLIKELY, LIKELY = 0.05, 0.95
"""Below the one nothing is told surely; above the other it is missed."""

NAMES = ("term", "action", "item", "quantity")
SLOTS = ("zone", "side", "age", "trend")
WITHOUT_MEANING = frozenset({"moving", "talk"})


def features(words: Sequence[str], spans: Sequence[Span]) -> set[str]:
    """What is looked at: words, pairs of words, concepts, and pairs of neighbours."""
    padded = ["^", *words, "$"]
    found = set(padded[1:-1]) | {f"{a} {b}" for a, b in pairwise(padded)}
    names = ["^"]
    for span in spans:
        told = sorted({f"{c.kind}={c.id}" for c in span.concepts if c.kind not in WITHOUT_MEANING})
        found |= {f"<{each}>" for each in told}
        amount = f"#{span.amount.unit or ''}" if span.amount else ""
        names.append("|".join(told) or amount or (span.text if span.known else "?"))
    names.append("$")
    return found | {f"{a}>{b}" for a, b in pairwise(names)}


def things(bodies: Iterable[Mapping[str, object]]) -> set[str]:
    """What the JSON bodies of entries tell: each thing by its name, and its slots."""
    found: set[str] = set()
    for body in bodies:
        name = next((body[key] for key in NAMES if body.get(key)), "")
        found.add(f"{body['kind']} {name}" + (" denied" if body.get("denied") else ""))
        found |= {f"{slot} {body[slot]}" for slot in SLOTS if body.get(slot)}
    return found


@cache
def _weights() -> tuple[dict[str, float], dict[str, list[tuple[str, float]]]]:
    """The bias of each thing, and feature → its weights for things."""
    data = json.loads(gzip.decompress(FILE.read_bytes()))
    by_feature: dict[str, list[tuple[str, float]]] = {}
    for thing, weights in data["weights"].items():
        for feature, weight in weights.items():
            by_feature.setdefault(feature, []).append((thing, weight))
    return data["bias"], by_feature


def odds(looked_at: Iterable[str]) -> dict[str, float]:
    """Thing → the probability that it is told."""
    bias, by_feature = _weights()
    sums = dict(bias)
    for feature in looked_at:
        for thing, weight in by_feature.get(feature, ()):
            sums[thing] += weight
    return {thing: 1 / (1 + math.exp(-total)) for thing, total in sums.items()}


def surprises(
    words: Sequence[str], spans: Sequence[Span], statements: Sequence[Statement]
) -> list[str]:
    """What of the statements is unlikely and what likely is missing, by the words."""
    told = things(to_json(statement.entry) for statement in statements)
    likely = odds(features(words, spans))
    return sorted(
        thing
        for thing, probability in likely.items()
        if (thing in told and probability < UNLIKELY)
        or (thing not in told and probability > LIKELY)
    )
