"""Everything in the log as a table (CSV, RFC 4180) and as JSON, piece by piece.

Nothing is held but the list of visits and one visit at a time, so that a log of many years
goes through a small machine.
"""

import csv
import io
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, fields
from decimal import Decimal
from typing import Any

from handsfree.language.known import entry_of
from handsfree.log import Horse, Log, Visit
from handsfree.log.rows import Entry
from handsfree.records.checking import Unreadable
from handsfree.records.entries import KINDS
from handsfree.records.sureness import unsure
from handsfree.sheets.files import printable

Cell = str | int | float | bool | Decimal | None

FORMAT = "handsfree log"
VERSION = 1
BOM = "\ufeff".encode()
"""Tells a spreadsheet that a file is in UTF-8."""

_STEERS_A_SHEET = ("=", "+", "-", "@", "\t", "\r", "\n")
"""Text that begins so is taken for a formula by spreadsheets (OWASP, "CSV Injection")."""


def _keys() -> tuple[str, ...]:
    """Every key of every kind of entry, once, in the order of the contract."""
    keys = dict.fromkeys(f.name for kind in KINDS.values() for f in fields(kind))
    del keys["limb"]
    split = {"scale_grade": ("scale", "scale_value")}
    return tuple(name for key in keys for name in split.get(key, (key,)))


KEYS = _keys()
COLUMNS = (
    *("visit_day", "visit", "horse", "limb", "kind"),
    *KEYS,
    *("status", "confidence", "doubtful", "doubt", "heard", "said_at_s"),
    *("entry", "utterance", "origin", "replaces"),
    "unreadable",
)


def is_doubtful(entry: Entry) -> bool:
    """Whether a stored entry is to be confirmed still: not surely heard, and nobody said so."""
    return entry.status != "confirmed" and unsure(entry.confidence, entry.doubt)


def row(visit: Visit, entry: Entry) -> dict[str, Cell]:
    """One entry as a row: every column, None where a thing was not said.

    Of one that this version cannot read the last column has all there is of it, as JSON.
    """
    read = entry_of(entry.body)
    body = {} if isinstance(read, Unreadable) else dict(entry.body)
    grade = body.pop("scale_grade", None) or {}
    about: dict[str, Cell] = {
        "visit_day": visit.day.isoformat(),
        "visit": visit.id,
        "horse": visit.horse,
        "limb": entry.limb,
        "kind": entry.kind,
        "scale": grade.get("scale"),
        "scale_value": grade.get("value"),
        "status": entry.status,
        "confidence": entry.confidence,
        "doubtful": "yes" if is_doubtful(entry) else "no",
        "doubt": entry.doubt,
        "heard": entry.heard,
        "said_at_s": entry.start_s,
        "entry": entry.id,
        "utterance": entry.utterance_id,
        "origin": entry.origin,
        "replaces": entry.replaces,
        "unreadable": read.body if isinstance(read, Unreadable) else None,
    }
    return {column: about[column] if column in about else body.get(column) for column in COLUMNS}


def unreadable(entry: Entry) -> dict[str, str]:
    """For JSON: why this version cannot read an entry; nothing where it can."""
    read = entry_of(entry.body)
    return {"unreadable": read.why} if isinstance(read, Unreadable) else {}


def rows(log: Log, horse: Horse | None = None, every: bool = False) -> Iterator[dict[str, Cell]]:
    """One row for each entry in force, horse by horse, oldest visit first.

    `every`: also those struck or corrected, with that status. Visits to a horse that was never
    named come last. Raises LogError where the log refuses.
    """
    for visit in _visits(log, horse, [horse] if horse else log.horses()):
        for entry in log.entries(visit.id, in_force=not every):
            yield row(visit, entry)


def _visits(log: Log, horse: Horse | None, horses: Sequence[Horse]) -> list[Visit]:
    """The visits in the order of the horses, oldest first."""
    found: list[Visit] = list(log.visits(horse=horse.name if horse else None))
    found.reverse()
    order = {each.id: place for place, each in enumerate(horses)}
    return sorted(found, key=lambda visit: order.get(visit.horse_id or "", len(order)))


def guarded(cell: Cell) -> Cell:
    """A cell that no spreadsheet runs: text that begins like a formula gets an apostrophe.

    Numbers stay numbers, also negative ones. Control characters but line ends and tabs
    become U+FFFD.
    """
    if not isinstance(cell, str):
        return cell
    text = printable(cell, keep="\t\r\n")
    return f"'{text}" if text.startswith(_STEERS_A_SHEET) else text


def csv_lines(
    columns: Sequence[str], table: Iterable[dict[str, Cell]], bom: bool = False
) -> Iterator[bytes]:
    """The table as CSV: one piece for the heading and for each row (RFC 4180, UTF-8).

    `bom`: with the mark by which some spreadsheets tell UTF-8.
    """
    piece = io.StringIO(newline="")
    writer = csv.writer(piece, lineterminator="\r\n")
    writer.writerow(columns)
    heading = piece.getvalue().encode()
    yield BOM + heading if bom else heading
    for one in table:
        piece.seek(0)
        piece.truncate()
        writer.writerow([guarded(one.get(column)) for column in columns])
        yield piece.getvalue().encode()


def json_pieces(log: Log, horse: Horse | None = None, every: bool = False) -> Iterator[bytes]:
    """The whole log, or all of one horse, as one JSON text, a visit at a time.

    {"format", "version", "horses": [{name, kind, breed, born, …, "visits": [{…, "utterances",
    "entries", "notices"}]}], "visits_without_a_horse": […]}. Each entry has its body, its marks
    (who judged it, when) and whether it is doubtful; `every`: also those struck or corrected,
    and notices that are settled. Escaped to ASCII. Raises LogError where the log refuses.
    """
    yield _bytes({"format": FORMAT, "version": VERSION})[:-1] + b',\n"horses": ['
    horses = [horse] if horse else log.horses()
    visits = iter(_visits(log, horse, horses))
    waiting = next(visits, None)
    for place, each in enumerate(horses):
        yield (b",\n" if place else b"\n") + _bytes(vars(each))[:-1] + b', "visits": ['
        first = True
        while waiting is not None and waiting.horse_id == each.id:
            yield (b"\n" if first else b",\n") + _bytes(_visit(log, waiting, every))
            waiting, first = next(visits, None), False
        yield b"]}"
    yield b'],\n"visits_without_a_horse": ['
    first = True
    while waiting is not None:
        yield (b"\n" if first else b",\n") + _bytes(_visit(log, waiting, every))
        waiting, first = next(visits, None), False
    yield b"]}\n"


def _visit(log: Log, visit: Visit, every: bool) -> dict[str, Any]:
    passed = log.passed(visit.id)
    about = ("id", "started_at", "source", "note")
    return {
        **{key: getattr(visit, key) for key in about},
        "day": visit.day.isoformat(),
        "utterances": [
            {**asdict(each), "passed": each.id in passed} for each in log.utterances(visit.id)
        ],
        "entries": [
            {
                **asdict(each),
                "doubtful": is_doubtful(each),
                **unreadable(each),
                "marks": [asdict(mark) for mark in log.history(each.id)],
            }
            for each in log.entries(visit.id, in_force=not every)
        ],
        "notices": [asdict(each) for each in log.notices(visit.id, settled=every)],
    }


def _bytes(value: object) -> bytes:
    return json.dumps(value, ensure_ascii=True, allow_nan=False).encode()
