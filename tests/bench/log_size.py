"""How the log behaves as it grows: finding, opening a visit, writing an utterance, size.

    python tests/bench/log_size.py [--entries 10000 100000 1000000] [--folder FOLDER]

Makes logs of so many entries (visits of about 25, a horse for every 60 visits, findings,
measures, nails, work, shoes, remarks, commands and what was unclear; without sound) through
the real tables and triggers, and prints a table. Times are of calls on an open log, the
file in the system's cache; the start of the command itself (loading Python) is printed last.
"""

import argparse
import json
import random
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from handsfree.grammar.grammar import Grammar, load
from handsfree.log import Log, UtteranceRow
from handsfree.records.entries import to_json

PER_VISIT = 25
VISITS_PER_HORSE = 60
LAST_DAY = date(2026, 11, 25)
LIMBS = {"LF": "left fore", "RF": "right fore", "LH": "left hind", "RH": "right hind"}
QUESTIONS = (
    "brushing near hind since spring",
    "bruise last 6 weeks",
    "toe length over 5 inches",
    "toe length over 3 1/2 inches",
    "toe length between 82 and 84 mm left fore",
    "{horse} thrush worse",
    "{horse}",
    "doubtful",
    "struck",
    "severe",
    "nail bind 2025",
    "between march and june 2025 crack",
    "severe thrush in the frog off hind",
    "canker both fronts",
    "kicks",
    "medial sheared heels worse {horse}",
    "abscess below the hairline over 30 mm",
    "unclear last 3 visits",
    "hoof angle under 44 degrees off fore since 2024",
    "pulled more than 7 nails left hind {horse} last year",
)


@dataclass(frozen=True)
class Said:
    """A sentence and the entries it makes."""

    heard: str
    limb: str
    entries: tuple[tuple[str, str | None, str], ...]
    """Kind, limb and body of each."""


class Talk:
    """Says what a farrier says, from the grammar itself."""

    def __init__(self, grammar: Grammar, seed: int = 1) -> None:
        self._grammar, self._rng = grammar, random.Random(seed)
        self._known: dict[tuple[str, str], Said] = {}
        self._findings = [
            " ".join(grammar.generate(self._rng, "finding")[0].words) for _ in range(3000)
        ]
        self._others = [
            " ".join(grammar.generate(self._rng, rule)[0].words)
            for rule in ("shoe", "work", "nails", "plan")
            for _ in range(300)
        ]
        self._free = (
            "mind the off hind he kicks when the flies are about|owner was late again and paid "
            "cash|the grass is very wet this week|stood well today for once|the mare next door "
            "upset him|gate needs mending mind the dog|new groom did not know his name|wants "
            "leather pads for the show in august|coming sound after the long rest"
        ).split("|")

    def one(self) -> tuple[str, Said | str]:
        """What kind of utterance comes next, and what is said."""
        rng = self._rng
        limb = rng.choice(list(LIMBS))
        dice = rng.random()
        if dice < 0.04:
            return "unclear", f"{rng.choice(self._free)} {rng.choice(self._findings)}"
        if dice < 0.1:
            return "command", LIMBS[limb]
        if dice < 0.13:
            text = f"{rng.choice(self._free)} {rng.choice(self._free)}"
            body = {"kind": "remark", "limb": None, "text": text}
            entry = ("remark", None, json.dumps(body))
            return "recorded", Said(f"remark {text}", limb, (entry,))
        if dice < 0.3:
            sentence = rng.choice(self._findings)
        elif dice < 0.6:
            sentence = rng.choice(self._others)
        else:
            sentence = self._measured()
        return "recorded", self._said(sentence, limb)

    def _measured(self) -> str:
        rng, number = self._rng, self._grammar.number_words
        what, least, most, unit = rng.choice(
            (
                ("toe length", 72, 122, "millimeters"),
                ("hoof angle", 43, 60, "degrees"),
                ("heel angle", 38, 58, "degrees"),
                ("inside heel length", 24, 60, "millimeters"),
                ("frog width", 35, 80, "millimeters"),
                ("sole depth", 6, 20, "millimeters"),
            )
        )
        if what == "toe length" and rng.random() < 0.5:
            part = rng.choice(["", " and a quarter", " and a half", " and three eighths"])
            return f"{what} {number(rng.randint(3, 4))[0]}{part} inches"
        # Most measures lie about the middle.
        value = round(rng.triangular(least, most))
        return f"{what} {' '.join(number(value))} {unit}"

    def _said(self, sentence: str, limb: str) -> Said:
        if (sentence, limb) not in self._known:
            entries = []
            for statement in self._grammar.meanings(sentence.split())[0].statements:
                for each in statement.limbs or (limb,):
                    body = to_json(statement.entry) | {"limb": each}
                    entries.append((statement.entry.kind, each, json.dumps(body)))
            self._known[sentence, limb] = Said(sentence, limb, tuple(entries))
        return self._known[sentence, limb]


def make_log(path: Path, entries: int, talk: Talk) -> None:
    """Write straight into the tables (a transaction for each utterance would take hours).

    It gets its name once it is whole: half a log would give figures of half a log.
    """
    part = path.with_suffix(".part")
    part.unlink(missing_ok=True)
    _fill(part, entries, talk)
    part.replace(path)


def _fill(path: Path, entries: int, talk: Talk) -> None:
    visits = -(-entries // PER_VISIT)
    rng = random.Random(2)
    with Log.open(path) as log:
        horses = [
            log.add_horse(f"Horse {n:04d}", rng.choice(["heavy", "riding"])).id
            for n in range(max(visits // VISITS_PER_HORSE, 3))
        ]
        conn = log._db.conn
        # Ids are random: with the small usual cache most of the time would go into pages
        # read again, and nothing here has to outlive a power cut.
        conn.execute("PRAGMA cache_size = -1500000")
        conn.execute("PRAGMA synchronous = OFF")
        conn.execute("PRAGMA wal_autocheckpoint = 50000")
        end = datetime(LAST_DAY.year, LAST_DAY.month, LAST_DAY.day, 15, tzinfo=UTC)
        done, number = 0, 0
        conn.execute("BEGIN")
        while done < entries:
            # Twenty years up to the last day.
            begun = end - timedelta(days=7305 * (1 - done / entries), seconds=rng.randint(0, 9999))
            done += add_visit(conn, rng, talk, rng.choice(horses), begun)
            number += 1
            if number % 400 == 0:
                conn.commit()
                conn.execute("BEGIN")
        conn.commit()
        conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def add_visit(
    conn: sqlite3.Connection, rng: random.Random, talk: Talk, horse: str, begun: datetime
) -> int:
    """Write a visit of about PER_VISIT entries to this horse; returns how many it has."""
    visit, at, made, seq = _id(rng), begun.isoformat(timespec="milliseconds"), 0, 0
    conn.execute(
        "INSERT INTO visits (id, horse_id, started_at, source) VALUES (?,?,?,'microphone')",
        [visit, horse, at],
    )
    target = rng.randint(PER_VISIT - 10, PER_VISIT + 10)
    while made < target:
        status, said = talk.one()
        utterance, seq = _id(rng), seq + 1
        sure = rng.random() > 0.06
        heard = said if isinstance(said, str) else said.heard
        conn.execute(
            "INSERT INTO utterances VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)",
            [
                *(utterance, visit, seq, 20.0 * seq, 20.0 * seq + 2, at, heard, status),
                *(0.97 if sure else 0.6, None, None if isinstance(said, str) else said.limb),
                *('["pocketsphinx","neural"]', "[]", None),
                None if sure else "neural heard it differently",
            ],
        )
        for place, (kind, limb, body) in enumerate(() if isinstance(said, str) else said.entries):
            entry = _id(rng)
            conn.execute(
                "INSERT INTO entries (id, utterance_id, seq, kind, limb, body, replaces, "
                "created_at, origin) VALUES (?,?,?,?,?,?,NULL,?,'heard')",
                [entry, utterance, place + 1, kind, limb, body, at],
            )
            marks = ["heard"]
            if rng.random() < 0.3:
                marks.append("struck" if rng.random() < 0.03 else "confirmed")
            for n, mark in enumerate(marks, 1):
                conn.execute(
                    "INSERT INTO marks VALUES (?,?,?,?,'voice',NULL,?,?,NULL)",
                    [entry, n, mark, at, utterance, _id(rng)],
                )
            made += 1
    return made


def _id(rng: random.Random) -> str:
    return f"{rng.getrandbits(128):032x}"


def times(runs: int, job: Callable[[], object]) -> list[float]:
    """Milliseconds of each run."""
    taken = []
    for _ in range(runs):
        began = time.perf_counter()
        job()
        taken.append(1000 * (time.perf_counter() - began))
    return taken


def figures(path: Path, entries: int, grammar: Grammar, told: bool) -> Iterator[tuple[str, float]]:
    """Name and figure, one after the other."""
    from handsfree.finding import ask, understand

    with Log.open(path) as log:
        size = path.stat().st_size
        count = log._db.execute("SELECT count(*) FROM entries").fetchone()[0]
        yield "bytes per entry", size / count
        names = log.horse_names()
        horse = names[len(names) // 2]
        by_question: dict[str, list[float]] = {}
        for text in QUESTIONS:
            asked = text.format(horse=horse.lower())

            def find(asked: str = asked) -> object:
                question = understand(asked, grammar, log, LAST_DAY).question
                return ask(log, question, limit=20)

            find()
            by_question[asked] = times(7, find)
        every = sorted(t for taken in by_question.values() for t in taken)
        yield "find, median ms", statistics.median(every)
        yield "find, p95 ms", every[int(0.95 * len(every))]
        if told:
            for asked, taken in by_question.items():
                print(f"    {statistics.median(taken):7.1f} ms  {asked}")
        ids = [row[0] for row in log._db.execute("SELECT id FROM visits ORDER BY id LIMIT 40")]
        yield (
            "open a visit, median ms",
            statistics.median(
                t
                for each in ids
                for t in times(
                    1,
                    lambda each=each: (  # type: ignore[misc]
                        log.visit(each),
                        log.utterances(each),
                        log.entries(each, in_force=True),
                        log.notices(each),
                    ),
                )
            ),
        )
        visit = log.start_visit("microphone", log.horses()[0].id).id
        body = to_json(grammar.meanings("outside heel bruise".split())[0].statements[0].entry)
        row = UtteranceRow(heard="outside heel bruise", status="recorded", confidence=0.97)
        written = sorted(times(400, lambda: log.append(visit, row, [body | {"limb": "LH"}])))
        yield "insert, median ms", statistics.median(written)
        yield "insert, p95 ms", written[int(0.95 * len(written))]
        yield "insert, slowest of 400 ms", written[-1]


def main() -> None:
    """Make the logs, measure and print."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--entries", type=int, nargs="+", default=[10_000, 100_000, 1_000_000])
    options.add_argument("--folder", type=Path, help="Keep the logs here, and use those there.")
    chosen = options.parse_args()
    grammar = load()
    table: dict[str, list[float]] = {}
    with tempfile.TemporaryDirectory(prefix="handsfree-bench-") as temporary:
        folder = chosen.folder or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        for entries in chosen.entries:
            path = folder / f"log-{entries}.db"
            began = time.perf_counter()
            if not path.exists():
                make_log(path, entries, Talk(grammar))
                took = time.perf_counter() - began
                print(f"{entries:,} entries: made in {took:.0f} s", flush=True)
            last = entries == chosen.entries[-1]
            for name, figure in figures(path, entries, grammar, told=last):
                table.setdefault(name, []).append(figure)
        print(f"\n{'':28}" + "".join(f"{n:>14,}" for n in chosen.entries))
        for name, row in table.items():
            print(f"{name:28}" + "".join(f"{figure:14.1f}" for figure in row))
        command = [sys.executable, "-m", "handsfree", "find", "thrush", "--log", str(path)]
        whole = times(5, lambda: subprocess.run(command, capture_output=True, check=True))
        print(f"\nthe whole command, median: {statistics.median(whole):.0f} ms")


if __name__ == "__main__":
    main()
