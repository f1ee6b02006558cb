"""How many sheets a second: a year of many horses, the sheet of each one's latest visit.

    python tests/bench/sheets.py [--horses 400] [--visits 8] [--for owner|vet] [--pdf]

The visits are invented here, word by word as they would be said, and confirmed. Printed: sheets a
second of the real command, the size of the files, and the memory at the worst.
"""

import argparse
import random
import resource
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path

from handsfree.cli.sheet import sheet
from handsfree.dialogue.session import Session
from handsfree.grammar import load
from handsfree.grammar.grammar import Grammar, Reading
from handsfree.log import Log, UtteranceRow
from handsfree.records.entries import to_json

FEET = ("left fore", "right fore", "left hind", "right hind")
FINDINGS = (
    "mild thrush in the frog",
    "outside heel bruise",
    "slight flare inside quarter",
    "quarter crack outside",
    "outside branch worn",
)
TENS = ("eighty", "ninety")
ONES = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def visit(rng: random.Random) -> list[str]:
    """What is said at one visit."""
    said: list[str] = []
    for foot in FEET:
        said += [f"{foot} shoe pulled", "pulled seven nails"]
        said += rng.sample(FINDINGS, rng.choice((0, 0, 1, 2)))
        said.append(f"toe length {rng.choice(TENS)} {rng.choice(ONES)} millimeters")
        said += ["trimmed", f"toe length eighty {rng.choice(ONES)} millimeters", "new shoe"]
        said += ["size four", "drove four nails outside", "drove three nails inside"]
    return [*said, "come back in six weeks"]


def fill(log: Log, horses: int, visits: int, grammar: Grammar) -> None:
    """The log of a year."""
    rng, readings = random.Random(1), dict[str, Reading]()
    for number in range(horses):
        horse = log.add_horse(f"Horse {number}", kind=rng.choice(("heavy", "riding")))
        start = datetime(2025, 11, 1, 9).astimezone() + timedelta(days=rng.randrange(40))
        for at in range(visits):
            day = start + timedelta(days=45 * at)
            id = log.start_visit("typed", horse.id, started_at=day.isoformat()).id
            session = Session()
            made: list[str] = []
            for words in visit(rng):
                if words not in readings:
                    readings[words] = grammar.read(words.split())
                outcome = session.take(readings[words], 1.0)
                row = UtteranceRow(heard=words, status="recorded", confidence=0.95)
                assert outcome is not None
                made += log.append(id, row, [to_json(e) for e in outcome.entries]).entry_ids
            log.confirm(made, by="review")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--horses", type=int, default=400)
    parser.add_argument("--visits", type=int, default=8)
    parser.add_argument("--for", dest="audience", choices=("owner", "vet"), default="owner")
    parser.add_argument("--pdf", action="store_true")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        log_path, into = Path(folder) / "log.db", Path(folder) / "sheets"
        into.mkdir()
        began = time.perf_counter()
        with Log.open(log_path) as log:
            # Nothing here must outlast a power cut, and waiting for the disk takes an hour.
            log._db.execute("PRAGMA synchronous = OFF")
            fill(log, asked.horses, asked.visits, load())
        print(f"log of {asked.horses} horses, {asked.visits} visits each: "
              f"{time.perf_counter() - began:.0f} s to make")  # fmt: skip
        options = ["--all-horses", "--into", str(into), "--log", str(log_path)]
        options += ["--for", asked.audience, *(["--pdf"] if asked.pdf else [])]
        began = time.perf_counter()
        code = sheet.main(options, standalone_mode=False)
        took = time.perf_counter() - began
        sizes = sorted(path.stat().st_size for path in into.iterdir())
        print(
            f"exit code {code}; {len(sizes)} sheets in {took:.1f} s, {len(sizes) / took:.1f} a "
            f"second; {sizes[len(sizes) // 2] / 1000:.0f} kB each (largest {sizes[-1] / 1000:.0f})"
        )
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"memory at the worst: {peak:.0f} MB")


if __name__ == "__main__":
    main()
