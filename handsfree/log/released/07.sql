
CREATE TABLE sounds_thinned (
    utterance_id TEXT NOT NULL REFERENCES utterances (id),
    at TEXT NOT NULL,
    "by" TEXT NOT NULL,
    reason TEXT NOT NULL,
    bytes INTEGER NOT NULL,
    PRIMARY KEY (utterance_id, at)
);
CREATE TABLE erasures (  -- says that something was erased, and nothing of what it was
    id TEXT PRIMARY KEY NOT NULL,
    at TEXT NOT NULL,
    "by" TEXT NOT NULL,
    salt TEXT NOT NULL,
    horse_hash TEXT NOT NULL,  -- SHA-256 of salt and the horse's id, both as text
    counts TEXT NOT NULL CHECK (json_valid(counts))
);

CREATE TRIGGER sounds_thinned_no_update BEFORE UPDATE ON sounds_thinned
BEGIN SELECT RAISE(ABORT, 'sounds_thinned are never changed, only added to'); END;
CREATE TRIGGER sounds_thinned_no_delete BEFORE DELETE ON sounds_thinned
BEGIN SELECT RAISE(ABORT, 'sounds_thinned are never deleted, only marked'); END;
CREATE TRIGGER sounds_thinned_no_replace BEFORE INSERT ON sounds_thinned
WHEN EXISTS (SELECT 1 FROM sounds_thinned WHERE utterance_id = NEW.utterance_id AND at = NEW.at)
BEGIN SELECT RAISE(ABORT, 'sounds_thinned are never replaced, only added to'); END;

CREATE TRIGGER erasures_no_update BEFORE UPDATE ON erasures
BEGIN SELECT RAISE(ABORT, 'erasures are never changed, only added to'); END;
CREATE TRIGGER erasures_no_delete BEFORE DELETE ON erasures
BEGIN SELECT RAISE(ABORT, 'erasures are never deleted, only marked'); END;
CREATE TRIGGER erasures_no_replace BEFORE INSERT ON erasures
WHEN EXISTS (SELECT 1 FROM erasures WHERE id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'erasures are never replaced, only added to'); END;
