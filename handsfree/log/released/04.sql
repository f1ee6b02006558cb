
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

CREATE TRIGGER utterance_marks_no_update BEFORE UPDATE ON utterance_marks
BEGIN SELECT RAISE(ABORT, 'utterance_marks are never changed, only added to'); END;
CREATE TRIGGER utterance_marks_no_delete BEFORE DELETE ON utterance_marks
BEGIN SELECT RAISE(ABORT, 'utterance_marks are never deleted, only marked'); END;
CREATE TRIGGER utterance_marks_no_replace BEFORE INSERT ON utterance_marks
WHEN EXISTS (SELECT 1 FROM utterance_marks WHERE utterance_id = NEW.utterance_id AND seq = NEW.seq)
BEGIN SELECT RAISE(ABORT, 'utterance_marks are never replaced, only added to'); END;

CREATE TRIGGER lessons_no_update BEFORE UPDATE ON lessons
BEGIN SELECT RAISE(ABORT, 'lessons are never changed, only added to'); END;
CREATE TRIGGER lessons_no_delete BEFORE DELETE ON lessons
BEGIN SELECT RAISE(ABORT, 'lessons are never deleted, only marked'); END;
CREATE TRIGGER lessons_no_replace BEFORE INSERT ON lessons
WHEN EXISTS (SELECT 1 FROM lessons WHERE seq = NEW.seq)
BEGIN SELECT RAISE(ABORT, 'lessons are never replaced, only added to'); END;

CREATE TRIGGER lessons_forgotten_no_update BEFORE UPDATE ON lessons_forgotten
BEGIN SELECT RAISE(ABORT, 'lessons_forgotten are never changed, only added to'); END;
CREATE TRIGGER lessons_forgotten_no_delete BEFORE DELETE ON lessons_forgotten
BEGIN SELECT RAISE(ABORT, 'lessons_forgotten are never deleted, only marked'); END;
CREATE TRIGGER lessons_forgotten_no_replace BEFORE INSERT ON lessons_forgotten
WHEN EXISTS (SELECT 1 FROM lessons_forgotten WHERE seq = NEW.seq)
BEGIN SELECT RAISE(ABORT, 'lessons_forgotten are never replaced, only added to'); END;
