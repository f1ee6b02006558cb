"""Tables that keep account of what was taken out of the log, and when."""

TABLES = """
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
"""

CLASHES = {
    "sounds_thinned": "utterance_id = NEW.utterance_id AND at = NEW.at",
    "erasures": "id = NEW.id",
}
