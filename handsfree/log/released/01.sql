
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

CREATE TRIGGER utterances_no_update BEFORE UPDATE ON utterances
BEGIN SELECT RAISE(ABORT, 'utterances are never changed, only added to'); END;
CREATE TRIGGER utterances_no_delete BEFORE DELETE ON utterances
BEGIN SELECT RAISE(ABORT, 'utterances are never deleted, only marked'); END;
CREATE TRIGGER utterances_no_replace BEFORE INSERT ON utterances
WHEN EXISTS (SELECT 1 FROM utterances WHERE id = NEW.id OR (visit_id = NEW.visit_id AND seq = NEW.seq))
BEGIN SELECT RAISE(ABORT, 'utterances are never replaced, only added to'); END;

CREATE TRIGGER entries_no_update BEFORE UPDATE ON entries
BEGIN SELECT RAISE(ABORT, 'entries are never changed, only added to'); END;
CREATE TRIGGER entries_no_delete BEFORE DELETE ON entries
BEGIN SELECT RAISE(ABORT, 'entries are never deleted, only marked'); END;
CREATE TRIGGER entries_no_replace BEFORE INSERT ON entries
WHEN EXISTS (SELECT 1 FROM entries WHERE id = NEW.id OR (utterance_id = NEW.utterance_id AND seq = NEW.seq))
BEGIN SELECT RAISE(ABORT, 'entries are never replaced, only added to'); END;

CREATE TRIGGER marks_no_update BEFORE UPDATE ON marks
BEGIN SELECT RAISE(ABORT, 'marks are never changed, only added to'); END;
CREATE TRIGGER marks_no_delete BEFORE DELETE ON marks
BEGIN SELECT RAISE(ABORT, 'marks are never deleted, only marked'); END;
CREATE TRIGGER marks_no_replace BEFORE INSERT ON marks
WHEN EXISTS (SELECT 1 FROM marks WHERE entry_id = NEW.entry_id AND seq = NEW.seq)
BEGIN SELECT RAISE(ABORT, 'marks are never replaced, only added to'); END;
PRAGMA application_id = 1214663783;