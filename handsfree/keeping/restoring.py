"""A backup put in the place of the log, never over newer notes without asking."""

import os
import shutil
import sqlite3
from contextlib import closing, suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from sqlite_utils import Database

from handsfree.errors import LogError
from handsfree.keeping.copying import connect, count_rows, unfit, wrong_with
from handsfree.keeping.placing import placed, same, shown, sync
from handsfree.log import files, journal, local_time, reach

_SHOWN = {
    "horses": "horses",
    "visits": "visits",
    "utterances": "utterances",
    "entries": "entries",
    "marks": "judgements of entries",
    "utterance_marks": "utterances looked over",
    "sounds": "sounds",
    "lessons": "lessons",
    "notices": "notices",
    "sounds_thinned": "records of thinned sound",
    "erasures": "records of erasing",
}


@dataclass(frozen=True)
class Restorable:
    """What restoring would do.

    `lost`: table → rows of the log that the backup lacks or has otherwise; `damaged`: the log
    could not be compared; `rows` are those of the backup.
    """

    backup: Path
    rows: dict[str, int]
    lost: dict[str, int] = field(default_factory=dict)
    latest_lost: str | None = None
    damaged: str | None = None

    @property
    def loses(self) -> bool:
        """Whether anything would be gone from the log."""
        return bool(self.lost) or self.damaged is not None

    @property
    def why(self) -> str:
        """What would be gone, in words."""
        if self.damaged is not None:
            return f"what the log holds cannot be compared, for it is damaged ({self.damaged})"
        parts = [f"{n} {_SHOWN.get(t, t.replace('_', ' '))}" for t, n in self.lost.items()]
        latest = (
            f", the latest of {local_time(self.latest_lost):%Y-%m-%d %H:%M}"
            if self.latest_lost
            else ""
        )
        return f"the log holds what the backup does not: {', '.join(parts)}{latest}"


def look(backup: Path, log: Path) -> Restorable:
    """What restoring this backup would do to the log. Raises LogError for a bad backup."""
    if same(log, backup):
        raise LogError(f"log {shown(backup)}: is the log itself; name a backup")
    wrong = wrong_with(backup)
    if wrong:
        raise LogError(f"backup {shown(backup)}: is not whole: {wrong[0]}")
    with closing(connect(backup)) as conn:
        rows = count_rows(conn)
    if not os.path.exists(log) or log.stat().st_size == 0:
        return Restorable(backup, rows)
    bad = wrong_with(log)
    if bad:
        return Restorable(backup, rows, damaged=bad[0])
    with closing(connect(log)) as conn, files.told_plainly(log):
        conn.execute("PRAGMA query_only = OFF")  # for attaching; the file itself is read-only
        conn.execute("ATTACH ? AS backup", [f"{backup.resolve().as_uri()}?mode=ro"])
        lost, latest = _not_in_backup(conn)
    return Restorable(backup, rows, lost, latest)


def _not_in_backup(conn: sqlite3.Connection) -> tuple[dict[str, int], str | None]:
    db = Database(conn, execute_plugins=False)
    there = {row[0] for row in conn.execute("SELECT name FROM backup.sqlite_master")}
    lost: dict[str, int] = {}
    latest: list[str] = []
    for table in reach.related(db):
        name = reach.quoted(table)
        columns = {c["name"]: c["type"] for c in db.query(f"PRAGMA main.table_info({name})")}
        if table not in there:
            count = conn.execute(f"SELECT count(*) FROM main.{name}").fetchone()[0]
        else:
            had = [row[1] for row in conn.execute(f"PRAGMA backup.table_info({name})")]
            # A sound never changes, so that its length will do.
            both = ", ".join(
                f"length({q})" if columns[c] == "BLOB" else q
                for c in columns
                if c in had and (q := reach.quoted(c))
            )
            newer = f"SELECT {both} FROM main.{name} EXCEPT SELECT {both} FROM backup.{name}"
            count = conn.execute(f"SELECT count(*) FROM ({newer})").fetchone()[0]
            for at in ("at", "recorded_at", "created_at"):
                if count and at in columns and at in had:
                    found = conn.execute(f"SELECT max({reach.quoted(at)}) FROM ({newer})")
                    latest.append(str(found.fetchone()[0]))
        if count:
            lost[table] = count
    return lost, max(latest, default=None)


def restore(backup: Path, log: Path, at: datetime, lose: bool = False) -> Path | None:
    """Put the backup in the place of the log; returns where the log that was there is now.

    Raises LogError where something would be gone and not `lose`, where the log is open in
    another program, and where the disk refuses; the log is then as it was. The old log is
    always kept, beside the new one. `at`: the time in its new name.
    """
    log = files.whole_path(log)
    if same(log, backup):
        raise LogError(f"log {shown(backup)}: is the log itself; name a backup")
    with (
        closing(connect(backup)) as source,
        files.told_plainly(log),
        placed(log, force=True) as part,
    ):
        files.copy_into(source, part)
        wrong = wrong_with(part, count_rows(source))
        if wrong:
            raise LogError(f"backup {shown(backup)}: is not whole: {wrong[0]}")
        why = unfit(part)
        if why:
            raise LogError(f"backup {shown(backup)}: is no log to work with: {why}")
        if os.path.exists(log):
            _let_go(log)
        # Only now can nobody add to it any more.
        found = look(backup, log)
        if found.loses and not lose:
            raise LogError(
                f"log {shown(log)}: not restored, for {found.why}; --lose-newer does it all the "
                "same, and keeps the log of now beside it"
            )
        kept = None
        if any(os.path.lexists(each) for each in (log, *_companions(log))):
            kept = files.free_name(log, f"replaced-{at:%Y-%m-%d-%H%M%S}")
            _keep(log, kept)
    return kept


def _companions(log: Path) -> list[Path]:
    """Journals that may lie beside a log."""
    return [Path(f"{log}{end}") for end in ("-wal", "-shm", "-journal")]


def _let_go(log: Path) -> None:
    """Bring the journal into the log's file, which works only while nobody else has it open.

    A log too damaged for that keeps its journal, and so does one that has the journal of another.
    """
    try:
        journal.check(log)
        with closing(sqlite3.connect(f"{log.as_uri()}?mode=rw", uri=True, timeout=1)) as conn:
            free = conn.execute("PRAGMA journal_mode = DELETE").fetchone()[0] != "wal"
    except journal.JournalMisfit:
        return
    except sqlite3.Error as error:
        free = "locked" not in str(error)
    if not free:
        raise LogError(
            f"log {shown(log)}: is open in another program (listen, review?); close it first"
        )


def _keep(log: Path, kept: Path) -> None:
    """Give the old log another name; the place of the log is never empty meanwhile."""
    for beside, theirs in zip(_companions(log), _companions(kept), strict=True):
        if beside.exists():  # only a damaged log has any left, or one that had another's
            os.replace(beside, theirs)
    if not log.exists():
        return
    try:
        os.link(log, kept)
    except OSError:  # a disk without links
        shutil.copy2(log, kept)
        with suppress(OSError):
            sync(kept)
