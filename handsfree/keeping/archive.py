"""An archive: a bag with everything of one horse or of all, readable without this program.

    bagit.txt, bag-info.txt, manifest-sha256.txt, tagmanifest-sha256.txt
    data/index.html                   the list of visits, for a browser
    data/archive.json                 what it is, its version, and the horses in it
    data/more.json                    lessons that were forgotten
    data/Bramble/horse.json           the horse's own rows
    data/Bramble/2026-05-14-1a2b3c4d/ one visit:
        visit.html                    as it was said, with sound
        visit.json                    every row of every table that belongs to it
        0001.flac                     the sound of utterance 1

Rows are as in the log's tables (DEVELOPERS.md), by table; "_row" is the order in which they
were written. Ids are the log's own, so that they are the same wherever it is taken in.
"""

import base64
import io
import json
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from handsfree import __version__
from handsfree.grammar.grammar import Grammar, load
from handsfree.keeping import page
from handsfree.keeping.bag import BagWriter, new_bag
from handsfree.log import Horse, Log, Visit, reach, schema
from handsfree.log.reach import Reach, quoted
from handsfree.sheets.files import file_name

FORMAT = "handsfree archive"
VERSION = 1
UNNAMED = "without-a-horse"
_APART = ("sounds",)
"""Kept as files."""


@dataclass(frozen=True)
class Archived:
    """An archive that was written."""

    path: Path
    horses: int
    visits: int
    utterances: int
    sounds: int
    files: int
    bytes: int


@dataclass
class _Counted:
    visits: int = 0
    utterances: int = 0
    sounds: int = 0


def write(
    log: Log,
    target: Path,
    at: datetime,
    horse: Horse | None = None,
    *,
    wav: bool = False,
    force: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> Archived:
    """Write an archive of one horse, or of all, as it is at this moment.

    `at` is the time it is dated with; `wav`: sound as WAV instead of FLAC; `progress` gets how
    many visits are done, and of how many. Raises FileRefused and LogError.
    """
    counted, grammar = _Counted(), load()
    with log.snapshot() as db, new_bag(target, force) as bag:
        horses = [horse] if horse else log.horses()
        visits = list(reversed(log.visits(horse=horse.name if horse else None)))
        folders: dict[str | None, str] = {}
        for each in horses:
            # Windows knows no difference between "con.x" and the console, nor of case.
            folders[each.id] = file_name(each.name, None, "", (UNNAMED, *folders.values()))
            bag.add(f"{folders[each.id]}/horse.json", _json({"rows": _of_horse(db, each.id)}))
        folders[None] = UNNAMED
        found, listed = Reach(db), list[page.Listed]()
        order = {each.id: place for place, each in enumerate(horses)}
        visits.sort(key=lambda visit: order.get(visit.horse_id or "", len(order)))
        for done, visit in enumerate(visits, 1):
            day = visit.day.isoformat()
            folder = f"{folders[visit.horse_id]}/{day}-{visit.id[:8]}"
            said = _visit(db, log, bag, visit, folder, wav, grammar, counted, found)
            name = visit.whose
            listed.append(page.Listed(name, day, f"{folder}/visit.html", said))
            if progress is not None:
                progress(done, len(visits))
        bag.add("more.json", _json({"rows": _forgotten(db, horse is None)}))
        bag.add("archive.json", _json(_about(db, horses, folders, at, wav)))
        title = f"Notes on {horse.name}" if horse else "All notes"
        about = f"Archive of {at:%Y-%m-%d}, {len(visits)} visits."
        bag.add("index.html", page.index(title, about, listed))
        bag.finish(_bag_info(horse, at), at)
        files, size = bag.payload_files, bag.payload_bytes
    return Archived(
        *(target, len(horses), counted.visits, counted.utterances, counted.sounds, files, size)
    )


def _about(
    db: Database, horses: list[Horse], folders: dict[str | None, str], at: datetime, wav: bool
) -> dict[str, Any]:
    return {
        "format": FORMAT,
        "version": VERSION,
        "log_version": schema.version(db),
        "program": f"handsfree {__version__}",
        "made": at.isoformat(timespec="seconds"),
        "sound": "wav" if wav else "flac",
        "horses": [{"id": h.id, "name": h.name, "folder": folders[h.id]} for h in horses],
    }


def _bag_info(horse: Horse | None, at: datetime) -> dict[str, str]:
    return {
        "Bag-Software-Agent": f"handsfree {__version__}",
        "External-Description": f"Voice notes on {horse.name if horse else 'all horses'}",
        "External-Identifier": f"handsfree-{at:%Y%m%dT%H%M%S}",
    }


def _json(value: object) -> bytes:
    return (json.dumps(value, ensure_ascii=False, allow_nan=False, indent=1) + "\n").encode()


def _rows(db: Database, found: Reach) -> dict[str, list[dict[str, Any]]]:
    counts = found.counts()
    return {
        table: [
            {key: _plain(value) for key, value in row.items()}
            for row in db.query(
                f"SELECT rowid AS _row, * FROM {quoted(table)} WHERE {found.within(table)} "
                "ORDER BY rowid"
            )
        ]
        for table in reach.tables(db)
        if table in counts and table not in _APART
    }


def _plain(value: Any) -> Any:
    if isinstance(value, bytes):
        return {"base64": base64.b64encode(value).decode()}
    return value


def _of_horse(db: Database, horse_id: str) -> dict[str, list[dict[str, Any]]]:
    """The rows of a horse that belong to none of its visits."""
    found = Reach(db, but=("visits",))
    found.begin("horses", [horse_id])
    return _rows(db, found)


def _forgotten(db: Database, every: bool) -> dict[str, list[dict[str, Any]]]:
    """Lessons forgotten; they belong to no horse, so they go only with all of them."""
    sql = "SELECT rowid AS _row, * FROM lessons_forgotten ORDER BY seq"
    return {"lessons_forgotten": list(db.query(sql)) if every else []}


def _visit(
    db: Database,
    log: Log,
    bag: BagWriter,
    visit: Visit,
    folder: str,
    wav: bool,
    grammar: Grammar,
    counted: _Counted,
    found: Reach,
) -> int:
    found.clear()
    found.begin("visits", [visit.id])
    found.add_shared(alone=False)
    said = log.utterances(visit.id)
    sounds: dict[str, str] = {}
    number = {each.id: each.seq for each in said}
    for each, flac in _sounds(log, [u.id for u in said if u.has_sound]):
        name = f"{number[each]:04d}.{'wav' if wav else 'flac'}"
        bag.add(f"{folder}/{name}", to_wav(flac) if wav else flac)
        sounds[each] = name
    about = {"id": visit.id, "horse": visit.horse, "rows": _rows(db, found), "sounds": sounds}
    bag.add(f"{folder}/visit.json", _json(about))
    entries, notices = log.entries(visit.id), log.notices(visit.id, settled=True)
    shown = page.visit_page(visit, said, entries, notices, sounds, grammar)
    bag.add(f"{folder}/visit.html", shown)
    counted.visits += 1
    counted.utterances += len(said)
    counted.sounds += len(sounds)
    return len(said)


def _sounds(log: Log, utterance_ids: list[str]) -> Iterator[tuple[str, bytes]]:
    for each in utterance_ids:
        flac = log.sound(each)
        if flac is not None:
            yield each, flac


def to_wav(flac: bytes) -> bytes:
    """The same samples as a WAV file."""
    import soundfile

    with closing(io.BytesIO()) as file:
        with soundfile.SoundFile(io.BytesIO(flac)) as sound:
            rate, subtype, samples = sound.samplerate, sound.subtype, sound.read(dtype="int32")
        soundfile.write(file, samples, rate, format="WAV", subtype=subtype)
        return file.getvalue()
