"""The tables of the log, as an ordered list of migrations.

Each migration brings the file from the version before it to its own (its place in
the list, counted from 1) inside one transaction. A released migration is never edited:
later changes go into a new one at the end.
"""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from sqlite_utils import Database

from handsfree.log import (
    browse_schema,
    find_schema,
    joining_schema,
    keeping_schema,
    relisten_schema,
)

APPLICATION_ID = 0x48664C67
"""Written to the file's header (letters HfLg) to tell a log from other SQLite files."""

_TABLES = """
CREATE TABLE horses (
    id TEXT PRIMARY KEY NOT NULL,
    name TEXT NOT NULL,
    name_key TEXT NOT NULL UNIQUE,  -- the name folded, since NOCASE folds ASCII only
    kind TEXT CHECK (kind IN ('heavy', 'riding')),
    created TEXT NOT NULL
);
CREATE TABLE visits (
    id TEXT PRIMARY KEY NOT NULL,
    horse_id TEXT REFERENCES horses (id),
    started_at TEXT NOT NULL,
    source TEXT NOT NULL,
    note TEXT
);
CREATE INDEX visits_by_time ON visits (started_at);
CREATE INDEX visits_by_horse ON visits (horse_id);
CREATE TABLE utterances (
    id TEXT PRIMARY KEY NOT NULL,
    visit_id TEXT NOT NULL REFERENCES visits (id),
    seq INTEGER NOT NULL,
    start_s REAL,
    end_s REAL,
    recorded_at TEXT NOT NULL,
    heard TEXT NOT NULL,
    status TEXT NOT NULL CHECK (status IN ('recorded', 'command', 'unclear')),
    confidence REAL CHECK (confidence BETWEEN 0 AND 1),
    command TEXT,
    limb TEXT CHECK (limb IN ('LF', 'RF', 'LH', 'RH')),
    engines TEXT NOT NULL CHECK (json_valid(engines)),
    alternatives TEXT NOT NULL CHECK (json_valid(alternatives)),
    free_text TEXT,
    doubt TEXT,
    UNIQUE (visit_id, seq)
);
CREATE TABLE sounds (
    utterance_id TEXT PRIMARY KEY NOT NULL REFERENCES utterances (id),
    flac BLOB NOT NULL
);
CREATE TABLE entries (
    id TEXT PRIMARY KEY NOT NULL,
    utterance_id TEXT NOT NULL REFERENCES utterances (id),
    seq INTEGER NOT NULL,
    kind TEXT NOT NULL,
    limb TEXT CHECK (limb IN ('LF', 'RF', 'LH', 'RH')),
    body TEXT NOT NULL CHECK (json_valid(body)),
    replaces TEXT REFERENCES entries (id),
    created_at TEXT NOT NULL,
    origin TEXT NOT NULL CHECK (origin IN ('heard', 'corrected')),
    UNIQUE (utterance_id, seq)
);
CREATE INDEX entries_by_replaced ON entries (replaces);
CREATE TABLE marks (
    entry_id TEXT NOT NULL REFERENCES entries (id),
    seq INTEGER NOT NULL,
    status TEXT NOT NULL CHECK (status IN ('heard', 'confirmed', 'corrected', 'struck')),
    at TEXT NOT NULL,
    "by" TEXT NOT NULL,
    reason TEXT,
    utterance_id TEXT REFERENCES utterances (id),
    change TEXT NOT NULL,
    undoes TEXT,
    PRIMARY KEY (entry_id, seq)
);
CREATE INDEX marks_by_change ON marks (change);
CREATE INDEX marks_by_undone ON marks (undoes);
"""

# INSERT OR REPLACE removes the old row without its delete trigger unless the connection
# turns recursive triggers on, so a clash of keys is refused before the insert.
_APPEND_ONLY = """
CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table}
BEGIN SELECT RAISE(ABORT, '{table} are never changed, only added to'); END;
CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table}
BEGIN SELECT RAISE(ABORT, '{table} are never deleted, only marked'); END;
CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table}
WHEN EXISTS (SELECT 1 FROM {table} WHERE {clash})
BEGIN SELECT RAISE(ABORT, '{table} are never replaced, only added to'); END;
"""

_CLASHES = {
    "utterances": "id = NEW.id OR (visit_id = NEW.visit_id AND seq = NEW.seq)",
    "entries": "id = NEW.id OR (utterance_id = NEW.utterance_id AND seq = NEW.seq)",
    "marks": "entry_id = NEW.entry_id AND seq = NEW.seq",
}

_BODY_KEYS = (
    *("term", "zone", "side", "grade", "age", "trend", "below_hairline_mm", "extent_mm"),
    *("quantity", "value", "unit", "action", "count", "item", "detail", "weeks", "text"),
)

_VIEWS = f"""
CREATE VIEW entries_now AS
SELECT
    e.id AS id, v.id AS visit_id, h.name AS horse, v.started_at AS visit_started,
    v.source AS source, u.id AS utterance_id, u.seq AS utterance_seq, e.seq AS seq,
    u.start_s AS start_s, u.end_s AS end_s, u.recorded_at AS recorded_at, u.heard AS heard,
    u.confidence AS confidence, u.doubt AS doubt, e.kind AS kind, e.limb AS limb,
    {", ".join(f"json_extract(e.body, '$.{key}') AS {key}" for key in _BODY_KEYS)},
    json_extract(e.body, '$.scale_grade.scale') AS scale,
    json_extract(e.body, '$.scale_grade.value') AS scale_value,
    m.status AS status, m.at AS status_at, m."by" AS status_by, m.reason AS reason,
    e.origin AS origin, e.replaces AS replaces, e.created_at AS created_at, e.body AS body
FROM entries AS e
JOIN utterances AS u ON u.id = e.utterance_id
JOIN visits AS v ON v.id = u.visit_id
LEFT JOIN horses AS h ON h.id = v.horse_id
JOIN marks AS m ON m.entry_id = e.id
    AND m.seq = (SELECT max(seq) FROM marks WHERE entry_id = e.id);
CREATE VIEW entries_in_force AS
SELECT * FROM entries_now WHERE status IN ('heard', 'confirmed');
"""

_NOTICES = """
CREATE TABLE notices (
    id TEXT PRIMARY KEY NOT NULL,
    visit_id TEXT NOT NULL REFERENCES visits (id),
    utterance_id TEXT REFERENCES utterances (id),
    entry_id TEXT REFERENCES entries (id),  -- the entry that called for it, if one did
    kind TEXT NOT NULL CHECK (kind IN ('caution', 'nails', 'device')),
    code TEXT NOT NULL,
    limb TEXT CHECK (limb IN ('LF', 'RF', 'LH', 'RH')),
    text TEXT NOT NULL,
    source TEXT,
    at TEXT NOT NULL
);
CREATE INDEX notices_by_visit ON notices (visit_id);
CREATE TABLE notices_settled (
    notice_id TEXT PRIMARY KEY NOT NULL REFERENCES notices (id),
    utterance_id TEXT REFERENCES utterances (id),
    at TEXT NOT NULL
);
CREATE VIEW notices_open AS
SELECT n.*, v.horse_id AS horse_id FROM notices AS n JOIN visits AS v ON v.id = n.visit_id
WHERE NOT EXISTS (SELECT 1 FROM notices_settled AS s WHERE s.notice_id = n.id)
  AND (n.entry_id IS NULL OR n.entry_id IN (SELECT id FROM entries_in_force));
"""

_NOTICE_CLASHES = {"notices": "id = NEW.id", "notices_settled": "notice_id = NEW.notice_id"}

_REVIEW = """
CREATE TABLE utterance_marks (
    utterance_id TEXT NOT NULL REFERENCES utterances (id),
    seq INTEGER NOT NULL,
    status TEXT NOT NULL CHECK (status IN ('passed', 'open')),  -- passed: it holds no note
    at TEXT NOT NULL,
    "by" TEXT NOT NULL,
    reason TEXT,
    change TEXT NOT NULL,
    undoes TEXT,
    marks_before INTEGER NOT NULL,  -- rowid of the last mark before it: order across both tables
    PRIMARY KEY (utterance_id, seq)
);
CREATE INDEX utterance_marks_by_change ON utterance_marks (change);
CREATE INDEX utterance_marks_by_undone ON utterance_marks (undoes);
CREATE TABLE lessons (
    seq INTEGER PRIMARY KEY,
    heard TEXT NOT NULL,
    meant TEXT NOT NULL,
    utterance_id TEXT NOT NULL REFERENCES utterances (id),
    change TEXT NOT NULL,  -- of the correction that taught it; does not count once undone
    at TEXT NOT NULL,
    "by" TEXT NOT NULL
);
CREATE INDEX lessons_by_words ON lessons (heard, meant);
CREATE INDEX lessons_by_utterance ON lessons (utterance_id);
CREATE TABLE lessons_forgotten (
    seq INTEGER PRIMARY KEY,
    heard TEXT NOT NULL,
    meant TEXT NOT NULL,
    up_to INTEGER NOT NULL,  -- the last lesson that is forgotten; later ones count again
    at TEXT NOT NULL,
    "by" TEXT NOT NULL
);
CREATE INDEX lessons_forgotten_by_words ON lessons_forgotten (heard, meant);
CREATE VIEW lessons_now AS
SELECT l.heard AS heard, l.meant AS meant, count(*) AS times, max(l.at) AS last_at
FROM lessons AS l
WHERE NOT EXISTS (SELECT 1 FROM marks AS m WHERE m.undoes = l.change)
  AND NOT EXISTS (  -- a later correction of the same utterance knows better
      SELECT 1 FROM lessons AS k WHERE k.utterance_id = l.utterance_id AND k.seq > l.seq
        AND NOT EXISTS (SELECT 1 FROM marks AS m WHERE m.undoes = k.change))
  AND l.seq > (SELECT coalesce(max(f.up_to), 0) FROM lessons_forgotten AS f
               WHERE f.heard = l.heard AND f.meant = l.meant)
GROUP BY l.heard, l.meant;
DROP VIEW notices_open;
CREATE VIEW notices_open AS
SELECT n.*, v.horse_id AS horse_id FROM notices AS n JOIN visits AS v ON v.id = n.visit_id
WHERE NOT EXISTS (SELECT 1 FROM notices_settled AS s WHERE s.notice_id = n.id)
  AND (n.entry_id IS NULL
       OR EXISTS (SELECT 1 FROM entries_in_force AS e WHERE e.id = n.entry_id));
"""
# The view asks after each notice's own entry: a list of all entries in force would be made
# from the whole log.

_REVIEW_CLASHES = {
    "utterance_marks": "utterance_id = NEW.utterance_id AND seq = NEW.seq",
    "lessons": "seq = NEW.seq",
    "lessons_forgotten": "seq = NEW.seq",
}

_HORSE_FACTS = """
ALTER TABLE horses ADD COLUMN breed TEXT;
ALTER TABLE horses ADD COLUMN born TEXT;  -- YYYY, or YYYY-MM-DD where the day is known
"""

MIGRATIONS: tuple[str, ...] = (
    _TABLES
    + "".join(_APPEND_ONLY.format(table=t, clash=clash) for t, clash in _CLASHES.items())
    + f"PRAGMA application_id = {APPLICATION_ID};",
    _VIEWS,
    _NOTICES
    + "".join(_APPEND_ONLY.format(table=t, clash=clash) for t, clash in _NOTICE_CLASHES.items()),
    _REVIEW
    + "".join(_APPEND_ONLY.format(table=t, clash=clash) for t, clash in _REVIEW_CLASHES.items()),
    _HORSE_FACTS,
    relisten_schema.own_hearing(_VIEWS),
    keeping_schema.TABLES
    + "".join(
        _APPEND_ONLY.format(table=t, clash=clash) for t, clash in keeping_schema.CLASHES.items()
    ),
    joining_schema.joined(_VIEWS)
    + "".join(
        _APPEND_ONLY.format(table=t, clash=clash) for t, clash in joining_schema.CLASHES.items()
    ),
    find_schema.FINDABLE,
    browse_schema.BROWSE,
    # What was heard of a horse's name that is no horse's of the log; '' where nothing was.
    "ALTER TABLE visits ADD COLUMN horse_said TEXT;",
    # How far the clock was from UTC where the visit was, as +02:00; NULL where that is not known.
    "ALTER TABLE visits ADD COLUMN zone TEXT;",
)
"""MIGRATIONS[n] brings version n to version n + 1."""


@contextmanager
def transaction(db: Database) -> Iterator[None]:
    """All or nothing, holding the only write lock from the start.

    A deferred transaction could read, wait, and then be refused because another process
    wrote in between; an immediate one waits its turn (the connection's busy timeout).
    """
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        db.commit()
    except BaseException:
        db.rollback()
        raise


def version(db: Database) -> int:
    """The file's schema version, 0 for a new file."""
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def is_foreign(db: Database) -> bool:
    """Whether this is the SQLite file of some other program."""
    tables = db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    marked = db.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID
    return bool(not marked and (tables or version(db)))


def migrate(db: Database, migrations: Sequence[str] = MIGRATIONS) -> int:
    """Bring the file to the newest version and return how many steps that took.

    Raises sqlite3.Error when a step fails; the file then stays at the step before it.
    """
    steps = 0
    while version(db) < len(migrations):
        with transaction(db):
            # Read again under the lock: another process may have taken the step.
            at = version(db)
            if at >= len(migrations):
                break
            db.executescript(migrations[at])
            broken = db.execute("PRAGMA foreign_key_check").fetchone()
            if broken:
                raise sqlite3.IntegrityError(f"migration {at + 1} breaks a reference: {broken}")
            db.execute(f"PRAGMA user_version = {at + 1}")
        steps += 1
    return steps
