
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

CREATE TRIGGER notices_no_update BEFORE UPDATE ON notices
BEGIN SELECT RAISE(ABORT, 'notices are never changed, only added to'); END;
CREATE TRIGGER notices_no_delete BEFORE DELETE ON notices
BEGIN SELECT RAISE(ABORT, 'notices are never deleted, only marked'); END;
CREATE TRIGGER notices_no_replace BEFORE INSERT ON notices
WHEN EXISTS (SELECT 1 FROM notices WHERE id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'notices are never replaced, only added to'); END;

CREATE TRIGGER notices_settled_no_update BEFORE UPDATE ON notices_settled
BEGIN SELECT RAISE(ABORT, 'notices_settled are never changed, only added to'); END;
CREATE TRIGGER notices_settled_no_delete BEFORE DELETE ON notices_settled
BEGIN SELECT RAISE(ABORT, 'notices_settled are never deleted, only marked'); END;
CREATE TRIGGER notices_settled_no_replace BEFORE INSERT ON notices_settled
WHEN EXISTS (SELECT 1 FROM notices_settled WHERE notice_id = NEW.notice_id)
BEGIN SELECT RAISE(ABORT, 'notices_settled are never replaced, only added to'); END;
