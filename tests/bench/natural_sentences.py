"""Sentences of the trade as people say them, to count words in and to speak.

    python tests/bench/natural_sentences.py OUT.jsonl [--natural 30000] [--grammar 15000]
        [--said 1] [--english 0] [--seed 1]

Frames of its own are filled with what the reader's tables hold (`grammar/said/`): every way to
say a thing is as likely as every other, so that no word is left out. Besides: the grammar's own
sentences, and what the invented speakers a to l of `tests/language/said/` say; m to q
and everything in `../shared/natural/` are for measuring and never used. `--english` adds plain
English of no trade.
"""

import argparse
import json
import random
import re
import tomllib
from collections import defaultdict
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

from handsfree.grammar import load
from handsfree.grammar.grammar import folder
from handsfree.language.tables import Tables, read_tables

SAID = Path(__file__).parents[1] / "language" / "said"
LEARNT_FROM = "abcdefghijkl"
LONGEST = 22

FRAMES = Path(__file__).with_name("natural_frames.toml")
SHORTEST_OF = {"limb": 8, "relative": 4}
"""Feet have hundreds of names, and are nearly always called by the short ones."""


@cache
def frames() -> dict[str, Any]:
    """The frames, and what stands in them."""
    return tomllib.loads(FRAMES.read_text(encoding="utf-8"))


def ways(text: str) -> list[str]:
    return text.replace("\n", "").split("|")


def alternatives(raw: dict[str, str]) -> dict[str, list[str]]:
    return {name: ways(options) for name, options in raw.items()}


class Natural:
    """Draws sentences from FRAMES and the reader's tables."""

    def __init__(self, tables: Tables, rng: random.Random) -> None:
        self._rng = rng
        self._frames = ways(frames()["frames"])
        self._slots = alternatives(frames()["slots"])
        held: dict[str, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
        for phrase, concepts in tables.phrases.items():
            for concept in concepts:
                held[concept.kind][concept.id].append(" ".join(phrase))
        for phrase, id in tables.commands.items():
            held["command"][id].append(" ".join(phrase))
        self._held = {kind: list(ids.values()) for kind, ids in held.items()}

    def sentence(self) -> str:
        """Words with "'s" and the like joined to those before them."""
        return joined(self._filled(self._rng.choice(self._frames)))

    def _filled(self, frame: str) -> str:
        return re.sub(r"\{(\w+)\}", lambda m: self._one(m[1]), frame)

    def _one(self, name: str) -> str:
        if name in self._slots:
            return self._filled(self._rng.choice(self._slots[name]))
        phrases = self._rng.choice(self._held[name])
        # Of some the shortest: what is said in many words is said seldom.
        return min(self._rng.choices(phrases, k=SHORTEST_OF.get(name, 2)), key=len)


def joined(text: str) -> str:
    """One space between words, none before "'s"."""
    return re.sub(r" ('(?:s|d|ve|re|ll|m)\b)", r"\1", " ".join(text.split()))


def plain(rng: random.Random) -> Iterator[str]:
    """Sentences of no trade."""
    slots = alternatives(frames()["plain"])

    def fill(name: str) -> str:
        return re.sub(r"\{(\w+)\}", lambda m: fill(m[1]), rng.choice(slots[name]))

    while True:
        yield fill("top")


def said_before(speakers: str) -> list[str]:
    """What these of the invented speakers say."""
    files = [SAID / f"said_{letter}.jsonl" for letter in speakers]
    return [json.loads(line)["text"] for f in files for line in f.read_text("utf-8").splitlines()]


def sentences(
    natural: int, grammar: int, said: int, english: int, seed: int, speakers: str = LEARNT_FROM
) -> Iterator[tuple[str, str]]:
    """Kind and text of each sentence."""
    rng = random.Random(seed)
    draw = Natural(read_tables(folder() / "said"), rng)
    for _ in range(natural):
        text = draw.sentence()
        if "<" not in text and len(text.split()) <= LONGEST:
            yield "natural", text
    own = load()
    for _ in range(grammar):
        rule = "utterance-one" if rng.random() < 0.6 else "said"
        words = own.generate(rng, rule)[0].words
        if len(words) <= 14:
            yield "grammar", " ".join(words)
    for text in said_before(speakers) * said:
        yield "said", text
    for text, _ in zip(plain(rng), range(english), strict=False):
        yield "english", text


def main() -> None:
    ask = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    ask.add_argument("out", type=Path)
    ask.add_argument("--natural", type=int, default=30_000)
    ask.add_argument("--grammar", type=int, default=15_000)
    ask.add_argument("--said", type=int, default=1)
    ask.add_argument("--english", type=int, default=0)
    ask.add_argument("--speakers", default=LEARNT_FROM, help="abcdefghi while fitting to j to l")
    ask.add_argument("--seed", type=int, default=1)
    args = ask.parse_args()
    counts = (args.natural, args.grammar, args.said, args.english)
    found = sentences(*counts, args.seed, args.speakers)
    rows = [{"kind": kind, "text": text} for kind, text in found]
    args.out.write_text("".join(json.dumps(row) + "\n" for row in rows), "utf-8")
    print(f"{len(rows)} sentences")


if __name__ == "__main__":
    main()
