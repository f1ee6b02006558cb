"""Finding in the log: what `handsfree.log.find_schema` keeps, asked newest first."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from sqlite_utils import Database

from handsfree.log.find_schema import PLACES, SLOTS, TOKENS
from handsfree.log.opened import OpenedLog
from handsfree.log.rows import body_of, local_day

FEW = 3000
"""So many measures in a range are sorted by time; of more, the newest are looked through."""


@dataclass(frozen=True)
class Criteria:
    """What must be so of an entry, or of an utterance without entries.

    `words` is a full-text expression (see `all_of`), `since` and `until` moments (ISO 8601; the
    visit began then or later, and earlier), `least` and `most` (both inclusive) of one of the
    `quantities`: mm, degrees, kg, counts and grades, as the index has them.
    """

    states: tuple[str, ...]
    words: str | None = None
    since: str | None = None
    until: str | None = None
    quantities: tuple[str, ...] = ()
    least: float | None = None
    most: float | None = None


@dataclass(frozen=True)
class FoundEntry:
    """An entry that was asked for, with its state in the index."""

    id: str
    state: str
    body: dict[str, Any]


@dataclass(frozen=True)
class FoundUtterance:
    """An utterance with those of its entries that were asked for; none: it has no entry.

    `state` is of the utterance where it has no entries. `before` and `after` are what was
    heard next to it in the visit.
    """

    id: str
    visit_id: str
    visit_started: str
    visit_zone: str | None
    horse: str | None
    seq: int
    heard: str
    free_text: str | None
    limb: str | None
    start_s: float | None
    confidence: float | None
    doubt: str | None
    has_sound: bool
    state: str | None
    entries: tuple[FoundEntry, ...]
    before: str | None
    after: str | None

    @property
    def day(self) -> date:
        """The day of its visit."""
        return local_day(self.visit_started, self.visit_zone)


@dataclass(frozen=True)
class Found:
    """Utterances, the newest visit first and in the order said; `more` were left out.

    `at_least`: the left-out ones were not counted to the end.
    """

    utterances: tuple[FoundUtterance, ...]
    more: int
    at_least: bool


class FindableLog(OpenedLog):
    """The part of the log that is asked by words, days and measures."""

    def find(self, criteria: Criteria, limit: int | None = 20, count: int = 500) -> Found:
        """The newest utterances that fit, at most `limit`, and how many more there are.

        No more than about `count` of the others are counted.
        """
        with self._reading() as db:
            return find(db, criteria, limit, count)

    def said_so(self, beginning: str, most: int = 50) -> list[str]:
        """Words of the log that begin so (ASCII letters small), in alphabetical order."""
        with self._reading() as db:
            return said_so(db, beginning, most)

    def words_said(self) -> list[str]:
        """All words of what was said, small letters."""
        with self._reading() as db:
            return [row[0] for row in db.execute("SELECT word FROM words_said")]

    def is_said(self, words: Sequence[str]) -> bool:
        """Whether all these words of the index are in something that was said."""
        with self._reading() as db:
            sql = "SELECT 1 FROM findable_words WHERE findable_words MATCH ? LIMIT 1"
            return db.execute(sql, [any_of([words])]).fetchone() is not None

    def visit_before(self, moment: str, number: int, horse_id: str | None) -> str | None:
        """When the visit began that is the `number`-th last before a moment; None: no such.

        Where there are fewer visits, the first one.
        """
        with self._reading() as db:
            return visit_before(db, moment, number, horse_id)

    def index_words(self, text: str) -> tuple[str, ...]:
        """The words the index makes of a text."""
        with self._reading() as db:
            return index_words(db, text)


def any_of(alternatives: Iterable[Sequence[str]]) -> str:
    """A full-text expression: all words of one of the alternatives."""
    each = (" AND ".join('"' + w.replace('"', '""') + '"' for w in words) for words in alternatives)
    return "(" + " OR ".join(f"({words})" for words in each) + ")"


def all_of(expressions: Iterable[str]) -> str | None:
    """All of these expressions; None where there is none."""
    return " AND ".join(expressions) or None


def find(db: Database, criteria: Criteria, limit: int | None, count: int) -> Found:
    """See FindableLog.find."""
    most = None if limit is None else limit + count
    rows = _places(db, criteria, most)
    groups: dict[str, list[tuple[str | None, str]]] = {}
    for _, entry, utterance, state in rows:
        groups.setdefault(utterance, []).append((entry, state))
    shown = list(groups)[:limit]
    return Found(
        _ordered(_utterance(db, each, groups[each]) for each in shown),
        len(groups) - len(shown),
        most is not None and len(rows) >= most,
    )


def _ordered(found: Iterable[FoundUtterance]) -> tuple[FoundUtterance, ...]:
    visits: dict[str, list[FoundUtterance]] = {}
    for each in found:
        visits.setdefault(each.visit_id, []).append(each)
    return tuple(u for of in visits.values() for u in sorted(of, key=lambda u: u.seq))


_COLUMNS = "f.place, f.entry, coalesce(f.utterance, e.utterance_id), f.state"
_ENTRIES = "LEFT JOIN entries AS e ON e.id = f.entry"


def _places(
    db: Database, criteria: Criteria, most: int | None
) -> list[tuple[int, str | None, str, str]]:
    """Place, entry, utterance and state of what fits, the newest first."""
    limit = -1 if most is None else most
    words = criteria.words
    if criteria.quantities:
        few = None if words else _few_measures(db, criteria)
        if few is not None:
            sql = f"""SELECT {_COLUMNS} FROM findable AS f {_ENTRIES}
                WHERE f.place IN ({",".join(map(str, few))}) ORDER BY f.place DESC LIMIT {limit}"""
            return list(db.execute(sql).fetchall())
        # So many: of all the log only the measures of this kind are looked through.
        words = all_of([*([words] if words else []), any_of(_as_words(criteria.quantities))])
    where, values = _conditions(criteria)
    if words is not None:
        bounds = where.replace("f.place", "w.rowid")
        sql = f"""SELECT {_COLUMNS} FROM findable_words AS w
            CROSS JOIN findable AS f ON f.place = w.rowid {_ENTRIES}
            WHERE findable_words MATCH :words AND {bounds}
            ORDER BY w.rowid DESC LIMIT {limit}"""
        return list(db.execute(sql, values | {"words": words}).fetchall())
    # The index has each state in order of time; of several the newest are merged.
    each = " UNION ALL ".join(
        f"""SELECT * FROM (SELECT f.place, f.entry, f.utterance, f.state FROM findable AS f
            WHERE f.state = '{state}' AND {where} ORDER BY f.place DESC LIMIT {limit})"""
        for state in criteria.states
    )
    sql = f"""SELECT {_COLUMNS} FROM (SELECT * FROM ({each}) ORDER BY place DESC LIMIT {limit})
        AS f {_ENTRIES} ORDER BY f.place DESC"""
    return list(db.execute(sql, values).fetchall())


def _as_words(quantities: Sequence[str]) -> list[tuple[str]]:
    """What the index has in the words of entries with such a number."""
    kinds = {"nails": "nails", "below_hairline": "finding", "extent": "finding"}
    return [
        (f"{SLOTS['kind']}{kinds[each]}" if each in kinds else f"{SLOTS['quantity']}{each}",)
        for each in quantities
    ]


def _conditions(criteria: Criteria) -> tuple[str, dict[str, Any]]:
    states = ", ".join(f"'{state}'" for state in criteria.states)
    where, values = [f"f.state IN ({states})"], dict[str, Any]()
    for name, moment, sign in (("since", criteria.since, ">="), ("until", criteria.until, "<")):
        if moment is not None:
            where.append(f"f.place {sign} :{name}")
            values[name] = _place_of(moment)
    if criteria.quantities:
        names = [f":q{n}" for n in range(len(criteria.quantities))]
        where.append(f"f.quantity IN ({', '.join(names)})")
        values |= {f"q{n}": quantity for n, quantity in enumerate(criteria.quantities)}
        where.append("f.amount IS NOT NULL")
    if criteria.least is not None:
        where.append("f.amount >= :least")
        values["least"] = criteria.least
    if criteria.most is not None:
        where.append("f.amount <= :most")
        values["most"] = criteria.most
    return " AND ".join(where), values


def _place_of(moment: str) -> int:
    return int(datetime.fromisoformat(moment).astimezone(UTC).timestamp()) * PLACES


def _few_measures(db: Database, criteria: Criteria) -> list[int] | None:
    """Places of all measures in the range, None where they are many."""
    where, values = _conditions(criteria)
    sql = f"SELECT f.place FROM findable AS f INDEXED BY findable_by_amount WHERE {where} LIMIT ?"
    sql = sql.replace("LIMIT ?", f"LIMIT {FEW + 1}")
    places = [row[0] for row in db.execute(sql, values)]
    return None if len(places) > FEW else places


_UTTERANCE = """
SELECT u.id AS id, u.visit_id AS visit_id, v.started_at AS visit_started,
    v.zone AS visit_zone, h.name AS horse,
    u.seq AS seq, u.heard AS heard, u.free_text AS free_text, u.limb AS limb,
    u.start_s AS start_s, u.confidence AS confidence, u.doubt AS doubt,
    EXISTS (SELECT 1 FROM sounds AS s WHERE s.utterance_id = u.id) AS has_sound,
    (SELECT heard FROM utterances AS b WHERE b.visit_id = u.visit_id AND b.seq = u.seq - 1)
        AS before,
    (SELECT heard FROM utterances AS a WHERE a.visit_id = u.visit_id AND a.seq = u.seq + 1)
        AS after
FROM utterances AS u JOIN visits AS v ON v.id = u.visit_id
LEFT JOIN horses AS h ON h.id = v.horse_id WHERE u.id = ?"""


def _utterance(
    db: Database, utterance_id: str, found: Sequence[tuple[str | None, str]]
) -> FoundUtterance:
    row = next(db.query(_UTTERANCE, [utterance_id]))
    entries: list[FoundEntry] = []
    state = None
    for entry_id, its_state in reversed(found):
        if entry_id is None:
            state = its_state
            continue
        sql = "SELECT body, hearing FROM entries WHERE id = ?"
        body, hearing = db.execute(sql, [entry_id]).fetchone()
        entries.append(FoundEntry(entry_id, its_state, body_of(body)))
        if hearing is not None:
            # A later hearing of the same sound has words and doubts of its own.
            own = json.loads(hearing)
            row |= {k: own.get(k) for k in ("heard", "confidence", "doubt") if k in own}
    return FoundUtterance(
        **row | {"has_sound": bool(row["has_sound"])}, state=state, entries=tuple(entries)
    )


def said_so(db: Database, beginning: str, most: int) -> list[str]:
    """See FindableLog.said_so."""
    sql = "SELECT word FROM words_said WHERE word >= ? AND word < ? || char(0x10FFFF) LIMIT ?"
    return [str(row[0]) for row in db.execute(sql, [beginning, beginning, most])]


def visit_before(db: Database, moment: str, number: int, horse_id: str | None) -> str | None:
    """See FindableLog.visit_before."""
    of = "" if horse_id is None else "AND horse_id = :horse"
    sql = f"""SELECT min(started_at) FROM (SELECT started_at FROM visits
        WHERE started_at < :moment {of} ORDER BY started_at DESC LIMIT :number)"""
    at = datetime.fromisoformat(moment).astimezone(UTC).isoformat(timespec="milliseconds")
    values = {"moment": at, "number": number, "horse": horse_id}
    found = db.execute(sql, values).fetchone()[0]
    return None if found is None else str(found)


def index_words(db: Database, text: str) -> tuple[str, ...]:
    """See FindableLog.index_words. A scratch table of the connection's own is asked."""
    db.execute(
        f'CREATE VIRTUAL TABLE IF NOT EXISTS temp.one_text USING fts5 (t, tokenize="{TOKENS}")'
    )
    db.execute("CREATE VIRTUAL TABLE IF NOT EXISTS temp.its_words USING fts5vocab (one_text, row)")
    db.execute("DELETE FROM temp.one_text")
    db.execute("INSERT INTO temp.one_text (t) VALUES (?)", [text])
    words = tuple(str(row[0]) for row in db.execute("SELECT term FROM temp.its_words"))
    db.conn.rollback()
    return words
