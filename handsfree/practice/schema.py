"""The tables of the practice's store, as an ordered list of migrations (see log/schema.py).

All is in a schema of its own, `handsfree`; nothing else on the server is touched. A released
migration is never edited: later changes go into a new one at the end.
"""

_TABLES = """
CREATE TABLE handsfree.horses (
    id text PRIMARY KEY,
    name text NOT NULL,
    kind text
);
CREATE TABLE handsfree.visits (
    id text PRIMARY KEY,
    horse_id text REFERENCES handsfree.horses (id),
    started_at timestamptz NOT NULL
);
CREATE INDEX visits_by_horse ON handsfree.visits (horse_id, started_at);
CREATE TABLE handsfree.entries (
    id text PRIMARY KEY,
    visit_id text NOT NULL REFERENCES handsfree.visits (id),
    utterance_id text NOT NULL,
    limb text,
    kind text NOT NULL,
    body jsonb NOT NULL,
    heard text NOT NULL,
    said_at timestamptz NOT NULL,
    replaces text,
    status text NOT NULL,
    status_at timestamptz NOT NULL,
    status_by text NOT NULL,
    first_sent timestamptz NOT NULL DEFAULT now()
);
CREATE INDEX entries_by_visit ON handsfree.entries (visit_id);
COMMENT ON COLUMN handsfree.entries.status IS
    'confirmed counts; struck, corrected or heard: it was confirmed once and does not count now';
CREATE VIEW handsfree.entries_confirmed AS
SELECT e.id, h.name AS horse, v.started_at AS visit_started, e.limb, e.kind, e.body, e.heard,
    e.said_at, e.status_at AS confirmed_at, e.status_by AS confirmed_by, e.visit_id, v.horse_id
FROM handsfree.entries AS e
JOIN handsfree.visits AS v ON v.id = e.visit_id
LEFT JOIN handsfree.horses AS h ON h.id = v.horse_id
WHERE e.status = 'confirmed';
"""

MIGRATIONS: tuple[str, ...] = (_TABLES,)
"""MIGRATIONS[n] brings version n to version n + 1."""

BEGIN = """
CREATE SCHEMA IF NOT EXISTS handsfree;
CREATE TABLE IF NOT EXISTS handsfree.version (
    number integer NOT NULL,
    at timestamptz NOT NULL DEFAULT now()
);
"""
"""What holds the versions themselves; the highest number is the store's."""
