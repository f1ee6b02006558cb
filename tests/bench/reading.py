"""How long an utterance of natural speech takes to be read.

    python tests/bench/reading.py FILE...

Files of JSON Lines with the key "text" (as in tests/language/said), or of plain lines. Each
utterance is read once before the clock runs, so that what is made only once does not count.
"""

import argparse
import json
import statistics
import time
from pathlib import Path

from handsfree.grammar import load
from handsfree.grammar.words import plain_words
from handsfree.language.understand import Understanding

TIMES = 5


def utterances(path: Path) -> list[list[str]]:
    """The words of each utterance of a file."""
    texts = []
    for line in path.read_text(encoding="utf-8").splitlines():
        if line.startswith("{"):
            line = json.loads(line).get("text", "")
        texts.append(plain_words(line))
    return [words for words in texts if words]


def milliseconds(understanding: Understanding, words: list[str]) -> float:
    """The median time of reading these words."""
    understanding.read(words)
    taken = []
    for _ in range(TIMES):
        began = time.perf_counter()
        understanding.read(words)
        taken.append(1000 * (time.perf_counter() - began))
    return statistics.median(taken)


def main() -> None:
    """Print a line for each file, and the slowest utterance of all."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE")
    files: list[Path] = parser.parse_args().files
    began = time.perf_counter()
    understanding = Understanding(load())
    understanding.read(["lamness"])
    print(f"made ready in {time.perf_counter() - began:.2f} s")
    slowest = (0.0, "")
    for path in files:
        each = [(milliseconds(understanding, words), " ".join(words)) for words in utterances(path)]
        times = sorted(taken for taken, _ in each)
        if not times:
            print(f"{path}: no utterances")
            continue
        p95 = times[min(len(times) - 1, int(0.95 * len(times)))]
        print(
            f"{path}: {len(times)} utterances, median {statistics.median(times):.2f} ms, "
            f"95% within {p95:.2f} ms, at most {times[-1]:.2f} ms"
        )
        slowest = max(slowest, max(each))
    print(f"slowest: {slowest[0]:.2f} ms: {slowest[1]}")


if __name__ == "__main__":
    main()
