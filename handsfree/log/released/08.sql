
CREATE TABLE conflicts (  -- an entry that two machines judged differently; open while 'heard'
    entry_id TEXT NOT NULL REFERENCES entries (id),
    change TEXT NOT NULL,  -- of the marks that joining made: the same on both machines
    utterance_id TEXT NOT NULL REFERENCES utterances (id),
    text TEXT NOT NULL,
    other TEXT NOT NULL CHECK (json_valid(other)),  -- entries of the version not in force
    at TEXT NOT NULL,
    PRIMARY KEY (entry_id, change)
);
CREATE INDEX conflicts_by_utterance ON conflicts (utterance_id);
CREATE TABLE horse_aliases (  -- ids a horse had on another machine
    id TEXT PRIMARY KEY NOT NULL,
    horse_id TEXT NOT NULL REFERENCES horses (id)
);
CREATE INDEX horse_aliases_by_horse ON horse_aliases (horse_id);
CREATE TABLE horse_facts (  -- what was said of kind, breed and birth where it was changed
    horse_id TEXT NOT NULL REFERENCES horses (id),
    fact TEXT NOT NULL CHECK (fact IN ('kind', 'breed', 'born')),
    value TEXT NOT NULL,
    at TEXT NOT NULL,
    PRIMARY KEY (horse_id, fact, at, value)
);
CREATE TABLE recordings_taken (
    digest TEXT PRIMARY KEY NOT NULL,  -- SHA-256 of the decoded sound and its rate
    name TEXT NOT NULL,
    taken_at TEXT NOT NULL,
    done_at TEXT  -- NULL while it is being heard, or where that was broken off
);
CREATE TABLE recording_visits (
    digest TEXT NOT NULL REFERENCES recordings_taken (digest),
    visit_id TEXT NOT NULL REFERENCES visits (id),
    PRIMARY KEY (digest, visit_id)
);
CREATE INDEX recording_visits_by_visit ON recording_visits (visit_id);

CREATE TRIGGER horse_kind_said AFTER UPDATE OF kind ON horses
WHEN NEW.kind IS NOT OLD.kind AND NEW.kind IS NOT NULL
    AND NEW.kind IS NOT (SELECT value FROM horse_facts
        WHERE horse_id = NEW.id AND fact = 'kind' ORDER BY at DESC, value DESC LIMIT 1)
BEGIN
    INSERT INTO horse_facts SELECT OLD.id, 'kind', OLD.kind, OLD.created
    WHERE OLD.kind IS NOT NULL
        AND NOT EXISTS (SELECT 1 FROM horse_facts WHERE horse_id = OLD.id AND fact = 'kind');
    INSERT OR IGNORE INTO horse_facts VALUES
        (NEW.id, 'kind', NEW.kind, strftime('%Y-%m-%dT%H:%M:%f+00:00', 'now'));
END;

CREATE TRIGGER horse_breed_said AFTER UPDATE OF breed ON horses
WHEN NEW.breed IS NOT OLD.breed AND NEW.breed IS NOT NULL
    AND NEW.breed IS NOT (SELECT value FROM horse_facts
        WHERE horse_id = NEW.id AND fact = 'breed' ORDER BY at DESC, value DESC LIMIT 1)
BEGIN
    INSERT INTO horse_facts SELECT OLD.id, 'breed', OLD.breed, OLD.created
    WHERE OLD.breed IS NOT NULL
        AND NOT EXISTS (SELECT 1 FROM horse_facts WHERE horse_id = OLD.id AND fact = 'breed');
    INSERT OR IGNORE INTO horse_facts VALUES
        (NEW.id, 'breed', NEW.breed, strftime('%Y-%m-%dT%H:%M:%f+00:00', 'now'));
END;

CREATE TRIGGER horse_born_said AFTER UPDATE OF born ON horses
WHEN NEW.born IS NOT OLD.born AND NEW.born IS NOT NULL
    AND NEW.born IS NOT (SELECT value FROM horse_facts
        WHERE horse_id = NEW.id AND fact = 'born' ORDER BY at DESC, value DESC LIMIT 1)
BEGIN
    INSERT INTO horse_facts SELECT OLD.id, 'born', OLD.born, OLD.created
    WHERE OLD.born IS NOT NULL
        AND NOT EXISTS (SELECT 1 FROM horse_facts WHERE horse_id = OLD.id AND fact = 'born');
    INSERT OR IGNORE INTO horse_facts VALUES
        (NEW.id, 'born', NEW.born, strftime('%Y-%m-%dT%H:%M:%f+00:00', 'now'));
END;
DROP VIEW entries_in_force;
DROP VIEW entries_now;

CREATE VIEW entries_now AS
SELECT
    e.id AS id, v.id AS visit_id, h.name AS horse, v.started_at AS visit_started,
    v.source AS source, u.id AS utterance_id, u.seq AS utterance_seq, e.seq AS seq,
    u.start_s AS start_s, u.end_s AS end_s, u.recorded_at AS recorded_at, CASE WHEN e.hearing IS NULL THEN u.heard ELSE json_extract(e.hearing, '$.heard') END AS heard,
    CASE WHEN e.hearing IS NULL THEN u.confidence ELSE json_extract(e.hearing, '$.confidence') END AS confidence, CASE WHEN m.status = 'heard' THEN coalesce((SELECT c.text FROM conflicts AS c
        WHERE c.entry_id = e.id ORDER BY c.at DESC, c.change LIMIT 1), CASE WHEN e.hearing IS NULL THEN u.doubt ELSE json_extract(e.hearing, '$.doubt') END) ELSE CASE WHEN e.hearing IS NULL THEN u.doubt ELSE json_extract(e.hearing, '$.doubt') END END AS doubt, e.kind AS kind, e.limb AS limb,
    json_extract(e.body, '$.term') AS term, json_extract(e.body, '$.zone') AS zone, json_extract(e.body, '$.side') AS side, json_extract(e.body, '$.grade') AS grade, json_extract(e.body, '$.age') AS age, json_extract(e.body, '$.trend') AS trend, json_extract(e.body, '$.below_hairline_mm') AS below_hairline_mm, json_extract(e.body, '$.extent_mm') AS extent_mm, json_extract(e.body, '$.quantity') AS quantity, json_extract(e.body, '$.value') AS value, json_extract(e.body, '$.unit') AS unit, json_extract(e.body, '$.action') AS action, json_extract(e.body, '$.count') AS count, json_extract(e.body, '$.item') AS item, json_extract(e.body, '$.detail') AS detail, json_extract(e.body, '$.weeks') AS weeks, json_extract(e.body, '$.text') AS text,
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

CREATE TRIGGER conflicts_no_update BEFORE UPDATE ON conflicts
BEGIN SELECT RAISE(ABORT, 'conflicts are never changed, only added to'); END;
CREATE TRIGGER conflicts_no_delete BEFORE DELETE ON conflicts
BEGIN SELECT RAISE(ABORT, 'conflicts are never deleted, only marked'); END;
CREATE TRIGGER conflicts_no_replace BEFORE INSERT ON conflicts
WHEN EXISTS (SELECT 1 FROM conflicts WHERE entry_id = NEW.entry_id AND change = NEW.change)
BEGIN SELECT RAISE(ABORT, 'conflicts are never replaced, only added to'); END;
