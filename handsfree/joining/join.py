"""Two logs into one: the union by ids, and what the machines differ about as a question."""

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from sqlite_utils import Database

from handsfree.errors import LogError
from handsfree.joining import disputes, histories
from handsfree.joining.horses import FactDiffers, join_horses
from handsfree.joining.rows import Columns, Row, add, differing, in_turn, there
from handsfree.joining.taught import join_lessons
from handsfree.log import Log, fit, local_day
from handsfree.log.rows import EntryBody

MERGED = (
    *("horses", "visits", "utterances", "sounds", "entries", "marks", "utterance_marks"),
    *("notices", "notices_settled", "lessons", "lessons_forgotten", "conflicts"),
    *("horse_aliases", "horse_facts", "sounds_thinned", "recordings_taken", "recording_visits"),
)
"""Tables that are taken over."""

LEFT = ("erasures", "findable", "words_said")
"""Tables that are not: what was erased there is not erased here by joining, and what serves
finding is kept in step by triggers."""


@dataclass(frozen=True)
class Disputed:
    """An utterance that the machines differ about: `stands` is asked about, or is it `other`?"""

    visit_id: str
    utterance_id: str
    horse: str | None
    day: date
    heard: str
    text: str
    stands: tuple[EntryBody, ...]
    other: tuple[EntryBody, ...]


@dataclass(frozen=True)
class Joined:
    """What came, or would come. `new` counts rows by table; `renamed_visits` were named for
    two different horses (visit, horse taken); `left_out` horses were erased here before."""

    new: dict[str, int]
    horses_added: tuple[str, ...]
    horses_joined: tuple[str, ...]
    facts: tuple[FactDiffers, ...]
    renamed_visits: tuple[tuple[str, str], ...]
    left_out: int
    disputed: tuple[Disputed, ...]

    @property
    def nothing(self) -> bool:
        """Whether ours held all of it already."""
        return not (any(self.new.values()) or self.horses_joined or self.facts)


def join(log: Log, other: Path, look: bool = False) -> Joined:
    """Take over all that the log at `other` has and this one has not; with `look` only say what.

    The other file is only read. What both have stays once; histories are put in order of
    time; what was judged differently on both is 'heard' again with a doubt, and the review
    offers both versions. Doing it again changes nothing. All or nothing. Raises LogError.
    """
    try:
        return taken_over(log, other, keep=not look)
    except fit.Unfit as error:
        raise LogError(f"log {other}: {error}; nothing was taken") from None


def taken_over(
    log: Log,
    other: Path,
    keep: bool = True,
    ask: Callable[[Database], None] | None = None,
    even_erased: bool = False,
) -> Joined:
    """Join as `join` does; raises fit.Unfit, without the other's name, for what no log can hold.

    `ask` sees both logs (main, other) before anything is written and raises where a person
    must be asked first; `even_erased`: horses come too that were erased from this log.
    """
    with log.joining(other, keep) as db:
        if ask is not None:
            ask(db)
        # Each erasure is kept as a salted hash, so that ids can only be asked after.
        ids = [] if even_erased else db.execute("SELECT id FROM other.horses").fetchall()
        return _Join(db, [str(i) for (i,) in ids if log.was_erased(i)]).run()


class _Join:
    def __init__(self, db: Database, erased: list[str]) -> None:
        self._db, self._erased = db, erased
        self._columns = Columns(db)
        self._new: dict[str, int] = {}

    def run(self) -> Joined:
        db = self._db
        for table, may_differ in _SAME.items():
            found = differing(db, table, may_differ, self._columns)
            if found is not None:
                raise fit.Unfit(
                    f"has different {table} under an id that this log has too ({found[:40]}): "
                    "one of the two is damaged"
                )
        horses = join_horses(db, self._columns, self._erased)
        self._new["horses"] = len(horses.added)
        self._new["horse_facts"] = horses.changed
        renamed = self._visits()
        self._utterances()
        self._entries()
        histories.list_new(db)
        histories.check(db, self._columns)
        judged = disputes.find(db)
        self._new["marks"] = histories.join_marks(db, self._columns)
        self._new["utterance_marks"] = histories.join_passes(db, self._columns)
        self._rest()
        self._new["lessons"], self._new["lessons_forgotten"] = join_lessons(db, self._columns)
        disputes.write(db, judged)
        return Joined(
            self._new,
            tuple(horses.added),
            tuple(horses.joined),
            tuple(horses.differ),
            tuple(renamed),
            len(horses.left_out),
            tuple(self._disputed(judged)),
        )

    def _listed(self, name: str, sql: str) -> None:
        """Rows are listed before any is written, so that none is met twice."""
        self._db.execute(f"CREATE TEMP TABLE {name} (id TEXT PRIMARY KEY)")
        self._db.execute(f"INSERT INTO temp.{name} {sql}")

    def _visits(self) -> list[tuple[str, str]]:
        db = self._db
        self._listed(
            "new_visits",
            """SELECT id FROM other.visits WHERE id NOT IN (SELECT id FROM main.visits)
            AND (horse_id IS NULL OR horse_id IN (SELECT id FROM temp.horse_map))""",
        )
        rows = there(
            db,
            """SELECT v.*, h.ours AS ours FROM temp.new_visits AS n
            JOIN other.visits AS v ON v.id = n.id LEFT JOIN temp.horse_map AS h
            ON h.id = v.horse_id ORDER BY v.rowid""",
        )
        mapped = [row | {"horse_id": row["ours"]} for row in rows]
        self._new["visits"] = add(db, self._columns, "visits", mapped)
        renamed: list[tuple[str, str]] = []
        differ = there(
            db,
            """SELECT m.id AS id, m.horse_id AS here, h.ours AS there FROM other.visits AS v
            JOIN main.visits AS m ON m.id = v.id JOIN temp.horse_map AS h ON h.id = v.horse_id
            WHERE m.horse_id IS NOT h.ours""",
        )
        for row in list(differ):
            taken = min(each for each in (row["here"], row["there"]) if each)
            db.execute("UPDATE main.visits SET horse_id = ? WHERE id = ?", [taken, row["id"]])
            if row["here"]:
                renamed.append((row["id"], taken))
        return renamed

    def _utterances(self) -> None:
        db = self._db
        # Words said into a visit that stays but moved to an erased horse were erased with it.
        self._listed(
            "new_utterances",
            """SELECT u.id FROM other.utterances AS u WHERE u.id NOT IN
                (SELECT id FROM main.utterances) AND u.visit_id IN (SELECT id FROM main.visits)
            AND NOT EXISTS (SELECT 1 FROM other.entries AS e JOIN other.entries AS c
                ON c.replaces = e.id JOIN other.utterances AS w ON w.id = c.utterance_id
                WHERE e.utterance_id = u.id AND w.visit_id NOT IN (SELECT id FROM main.visits))""",
        )
        rows = there(
            db,
            """SELECT u.* FROM temp.new_utterances AS n JOIN other.utterances AS u ON u.id = n.id
            ORDER BY u.visit_id, u.seq""",
        )
        seqs = in_turn(rows, "visit_id", self._last("utterances", "visit_id"))
        self._new["utterances"] = add(db, self._columns, "utterances", seqs)
        self._listed(
            "new_sounds",
            """SELECT utterance_id FROM other.sounds WHERE utterance_id IN
                (SELECT id FROM main.utterances)
            AND utterance_id NOT IN (SELECT utterance_id FROM main.sounds)
            AND utterance_id NOT IN (SELECT utterance_id FROM main.sounds_thinned)""",
        )
        sounds = there(
            db,
            """SELECT s.* FROM temp.new_sounds AS n JOIN other.sounds AS s
            ON s.utterance_id = n.id""",
        )
        self._new["sounds"] = add(db, self._columns, "sounds", sounds)

    def _last(self, table: str, owner: str) -> Callable[[str], int]:
        sql = f"SELECT coalesce(max(seq), 0) FROM main.{table} WHERE {owner} = ?"
        return lambda of: int(self._db.execute(sql, [of]).fetchone()[0])

    def _entries(self) -> None:
        db = self._db
        self._listed(
            "new_entries",
            """SELECT id FROM other.entries WHERE id NOT IN (SELECT id FROM main.entries)
            AND utterance_id IN (SELECT id FROM main.utterances)""",
        )
        rows = there(
            db,
            """SELECT e.*, e.replaces IN (SELECT id FROM main.entries
                UNION ALL SELECT id FROM temp.new_entries) AS there
            FROM temp.new_entries AS n JOIN other.entries AS e ON e.id = n.id
            ORDER BY e.utterance_id, e.seq""",
        )
        kept = (row if row["there"] else row | {"replaces": None} for row in rows)
        seqs = in_turn(kept, "utterance_id", self._last("entries", "utterance_id"))
        self._new["entries"] = add(db, self._columns, "entries", seqs)

    def _rest(self) -> None:
        """What hangs on rows that are there by now."""
        for table, (key, needs) in _HANGING.items():
            keys = " AND ".join(f"m.{k} = o.{k}" for k in key)
            ours = " AND ".join(
                f"(o.{column} IS NULL OR o.{column} IN (SELECT {of} FROM main.{parent}))"
                for column, parent, of in needs
            )
            rows = there(
                self._db,
                f"SELECT o.* FROM other.{table} AS o WHERE {ours or 1} AND NOT EXISTS "
                f"(SELECT 1 FROM main.{table} AS m WHERE {keys}) ORDER BY o.rowid",
            )
            self._new[table] = add(self._db, self._columns, table, list(rows))
        self._db.execute(
            """UPDATE main.recordings_taken AS m SET done_at =
                (SELECT o.done_at FROM other.recordings_taken AS o WHERE o.digest = m.digest)
            WHERE m.done_at IS NULL
              AND m.digest IN (SELECT digest FROM other.recordings_taken)"""
        )

    def _disputed(self, judged: list[disputes.Judged]) -> Iterator[Disputed]:
        for each in judged:
            if not each.verdict.disputed:
                continue
            row: Row = next(
                there(
                    self._db,
                    """SELECT v.id AS visit, h.name AS horse, v.started_at AS at, v.zone AS zone,
                        u.heard AS heard
                    FROM main.utterances AS u JOIN main.visits AS v ON v.id = u.visit_id
                    LEFT JOIN main.horses AS h ON h.id = v.horse_id WHERE u.id = ?""",
                    [each.utterance_id],
                )
            )
            body = "SELECT body FROM main.entries WHERE id = ?"
            stands = [self._db.execute(body, [i]).fetchone()[0] for i in each.verdict.disputed]
            yield Disputed(
                row["visit"],
                each.utterance_id,
                row["horse"],
                local_day(row["at"], row["zone"]),
                row["heard"],
                each.verdict.text,
                tuple(json.loads(text) for text in stands),
                tuple(json.loads(text) for text in each.verdict.other),
            )


_SAME = {
    "visits": ("horse_id", "horse_said", "zone"),
    "utterances": ("seq",),
    "entries": ("seq", "replaces"),
    "notices": ("utterance_id", "entry_id"),
}
"""Tables whose rows never change, and the columns that may differ all the same.

A log that took a visit over while it was of an older format has not its newer columns.
"""

_UTTERANCE = ("utterance_id", "utterances", "id")

_HANGING: dict[str, tuple[tuple[str, ...], tuple[tuple[str, str, str], ...]]] = {
    "notices": (("id",), (("visit_id", "visits", "id"), _UTTERANCE, ("entry_id", "entries", "id"))),
    "notices_settled": (("notice_id",), (("notice_id", "notices", "id"), _UTTERANCE)),
    "conflicts": (("entry_id", "change"), (("entry_id", "entries", "id"), _UTTERANCE)),
    "sounds_thinned": (("utterance_id", "at"), (_UTTERANCE,)),
    "recordings_taken": (("digest",), ()),
    "recording_visits": (
        ("digest", "visit_id"),
        (("visit_id", "visits", "id"), ("digest", "recordings_taken", "digest")),
    ),
}
"""Table → its key, and the columns that must name a row of ours (column, table, its key)."""
