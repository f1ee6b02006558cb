
CREATE TABLE findable (
    place INTEGER PRIMARY KEY,
    entry TEXT UNIQUE,      -- one of the two: id of an entry,
    utterance TEXT UNIQUE,  -- or of an utterance without entries when it was heard
    state TEXT NOT NULL,    -- sure doubtful confirmed struck corrected; unclear passed command
    quantity TEXT,
    amount REAL             -- mm, degrees, kg; a count; a grade
);
CREATE VIRTUAL TABLE findable_words USING fts5 (
    words, content='', columnsize=0, detail=none, tokenize="unicode61 remove_diacritics 2 tokenchars '_'"
);
CREATE TABLE words_said (word TEXT PRIMARY KEY NOT NULL) WITHOUT ROWID;
CREATE VIEW entry_words AS
SELECT e.id AS entry, u.id AS utterance, v.id AS visit, coalesce(CASE WHEN e.hearing IS NULL THEN u.heard ELSE json_extract(e.hearing, '$.heard') END, '') || coalesce(' ' || u.free_text, '') || coalesce(' k_' || e.kind, '') || coalesce(' l_' || e.limb, '') || coalesce(' h_' || v.horse_id, '') || CASE e.kind WHEN 'finding' THEN coalesce(' t_' || json_extract(e.body, '$.term'), '') || coalesce(' z_' || json_extract(e.body, '$.zone'), '') || coalesce(' s_' || json_extract(e.body, '$.side'), '') || coalesce(' g_' || json_extract(e.body, '$.grade'), '') || coalesce(' a_' || json_extract(e.body, '$.age'), '') || coalesce(' r_' || json_extract(e.body, '$.trend'), '') || coalesce(' q_' || json_extract(e.body, '$.scale_grade.scale'), '') WHEN 'measurement' THEN coalesce(' q_' || json_extract(e.body, '$.quantity'), '') || coalesce(' s_' || json_extract(e.body, '$.side'), '') WHEN 'nails' THEN coalesce(' n_' || json_extract(e.body, '$.action'), '') || coalesce(' s_' || json_extract(e.body, '$.side'), '') WHEN 'shoe' THEN coalesce(' i_' || json_extract(e.body, '$.item'), '') || coalesce(' d_' || replace(json_extract(e.body, '$.detail'), ' ', ' d_'), '') WHEN 'work' THEN coalesce(' w_' || json_extract(e.body, '$.action'), '') WHEN 'plan' THEN coalesce(' p_' || json_extract(e.body, '$.action'), '') || coalesce(' d_' || replace(json_extract(e.body, '$.text'), ' ', ' d_'), '') WHEN 'remark' THEN coalesce(' d_' || replace(json_extract(e.body, '$.text'), ' ', ' d_'), '') ELSE '' END AS words
FROM entries AS e JOIN utterances AS u ON u.id = e.utterance_id JOIN visits AS v
    ON v.id = u.visit_id;
CREATE VIEW utterance_words AS
SELECT u.id AS utterance, v.id AS visit, u.heard || coalesce(' ' || u.free_text, '') || coalesce(' l_' || u.limb, '') || coalesce(' h_' || v.horse_id, '') || coalesce(' d_' || replace(u.heard, ' ', ' d_'), '') || coalesce(' d_' || replace(u.free_text, ' ', ' d_'), '') AS words
FROM utterances AS u JOIN visits AS v ON v.id = u.visit_id;

INSERT INTO findable (place, entry, utterance, state, quantity, amount)
SELECT base + row_number() OVER (PARTITION BY base ORDER BY visit, u_seq, e_seq) - 1,
    entry, utterance, state, quantity, amount
FROM (
    SELECT coalesce(CAST(strftime('%s', v.started_at) AS INTEGER), 0) * 4194304 AS base, v.rowid AS visit, u.seq AS u_seq, e.seq AS e_seq, e.id AS entry,
        NULL AS utterance, coalesce((SELECT CASE WHEN sm.status <> 'heard' THEN sm.status
        WHEN CASE WHEN se.hearing IS NULL THEN (su.doubt IS NOT NULL OR coalesce(su.confidence < 0.8, 0)) ELSE (json_extract(se.hearing, '$.doubt') IS NOT NULL OR coalesce(json_extract(se.hearing, '$.confidence') < 0.8, 0)) END THEN 'doubtful'
        WHEN EXISTS (SELECT 1 FROM conflicts WHERE entry_id = se.id) THEN 'doubtful'
        ELSE 'sure' END
    FROM entries AS se JOIN utterances AS su ON su.id = se.utterance_id
    JOIN marks AS sm ON sm.entry_id = se.id
    WHERE se.id = e.id ORDER BY sm.seq DESC LIMIT 1), 'sure') AS state,
        CASE e.kind WHEN 'measurement' THEN json_extract(e.body, '$.quantity') WHEN 'nails' THEN 'nails'
    WHEN 'finding' THEN CASE WHEN json_extract(e.body, '$.below_hairline_mm') IS NOT NULL THEN 'below_hairline'
        WHEN json_extract(e.body, '$.extent_mm') IS NOT NULL THEN 'extent' ELSE json_extract(e.body, '$.scale_grade.scale') END END AS quantity, CASE e.kind WHEN 'measurement' THEN json_extract(e.body, '$.value') * CASE json_extract(e.body, '$.unit') WHEN 'mm' THEN 1.0 WHEN 'cm' THEN 10.0 WHEN 'in' THEN 25.4
    WHEN 'deg' THEN 1.0 WHEN 'kg' THEN 1.0 WHEN 'lb' THEN 0.45359237 END
    WHEN 'nails' THEN json_extract(e.body, '$.count')
    WHEN 'finding' THEN coalesce(json_extract(e.body, '$.below_hairline_mm'), json_extract(e.body, '$.extent_mm'), json_extract(e.body, '$.scale_grade.value')) END AS amount
    FROM entries AS e JOIN utterances AS u ON u.id = e.utterance_id
    JOIN visits AS v ON v.id = u.visit_id
    UNION ALL
    SELECT coalesce(CAST(strftime('%s', v.started_at) AS INTEGER), 0) * 4194304, v.rowid, u.seq, 0, NULL, u.id,
        CASE u.status WHEN 'unclear' THEN coalesce((SELECT CASE status WHEN 'passed' THEN 'passed' ELSE 'unclear' END
    FROM utterance_marks WHERE utterance_id = u.id ORDER BY seq DESC LIMIT 1), 'unclear')
            ELSE u.status END, NULL, NULL
    FROM utterances AS u JOIN visits AS v ON v.id = u.visit_id WHERE u.status <> 'recorded'
);
INSERT INTO findable_words (rowid, words)
SELECT f.place, CASE WHEN f.entry IS NULL
    THEN (SELECT words FROM utterance_words AS w WHERE w.utterance = f.utterance)
    ELSE (SELECT words FROM entry_words AS w WHERE w.entry = f.entry) END
FROM findable AS f ORDER BY f.place;
INSERT INTO words_said (word) SELECT DISTINCT j.value
    FROM (SELECT '[' || replace(json_quote(replace(replace(replace(replace(replace(replace(replace(replace(replace(replace(replace(lower(u.heard || ' ' || coalesce(u.free_text, '')), ',', ' '), '.', ' '), ';', ' '), ':', ' '), '!', ' '), '?', ' '), '(', ' '), ')', ' '), '"', ' '), '''', ' '), '-', ' ')), ' ', '","') || ']' AS l FROM utterances AS u LIMIT -1 OFFSET 0) AS t, json_each(CASE WHEN json_valid(t.l) THEN t.l ELSE '[]' END) AS j
    WHERE length(j.value) BETWEEN 2 AND 40 AND j.value NOT GLOB '*[^a-z0-9]*'
      AND NOT EXISTS (SELECT 1 FROM words_said AS s WHERE s.word = j.value);
CREATE INDEX findable_by_state ON findable (state, place);
CREATE INDEX findable_by_amount ON findable (quantity, amount, place) WHERE amount IS NOT NULL;

CREATE TRIGGER entries_findable AFTER INSERT ON entries
BEGIN
    INSERT INTO findable (place, entry, state, quantity, amount)
    SELECT (SELECT coalesce((SELECT max(place) + 1 FROM findable
    WHERE place >= b.base AND place < b.base + 4194304), b.base)
    FROM (SELECT coalesce(CAST(strftime('%s', v.started_at) AS INTEGER), 0) * 4194304 AS base) AS b), e.id, CASE WHEN CASE WHEN e.hearing IS NULL THEN (u.doubt IS NOT NULL OR coalesce(u.confidence < 0.8, 0)) ELSE (json_extract(e.hearing, '$.doubt') IS NOT NULL OR coalesce(json_extract(e.hearing, '$.confidence') < 0.8, 0)) END THEN 'doubtful' ELSE 'sure' END,
        CASE e.kind WHEN 'measurement' THEN json_extract(e.body, '$.quantity') WHEN 'nails' THEN 'nails'
    WHEN 'finding' THEN CASE WHEN json_extract(e.body, '$.below_hairline_mm') IS NOT NULL THEN 'below_hairline'
        WHEN json_extract(e.body, '$.extent_mm') IS NOT NULL THEN 'extent' ELSE json_extract(e.body, '$.scale_grade.scale') END END, CASE e.kind WHEN 'measurement' THEN json_extract(e.body, '$.value') * CASE json_extract(e.body, '$.unit') WHEN 'mm' THEN 1.0 WHEN 'cm' THEN 10.0 WHEN 'in' THEN 25.4
    WHEN 'deg' THEN 1.0 WHEN 'kg' THEN 1.0 WHEN 'lb' THEN 0.45359237 END
    WHEN 'nails' THEN json_extract(e.body, '$.count')
    WHEN 'finding' THEN coalesce(json_extract(e.body, '$.below_hairline_mm'), json_extract(e.body, '$.extent_mm'), json_extract(e.body, '$.scale_grade.value')) END
    FROM entries AS e JOIN utterances AS u ON u.id = e.utterance_id
    JOIN visits AS v ON v.id = u.visit_id WHERE e.id = NEW.id;
    INSERT INTO findable_words (rowid, words)
    SELECT f.place, w.words FROM entry_words AS w JOIN findable AS f ON f.entry = w.entry
    WHERE w.entry = NEW.id;
END;
CREATE TRIGGER utterances_findable AFTER INSERT ON utterances WHEN NEW.status <> 'recorded'
BEGIN
    INSERT INTO findable (place, utterance, state)
    SELECT (SELECT coalesce((SELECT max(place) + 1 FROM findable
    WHERE place >= b.base AND place < b.base + 4194304), b.base)
    FROM (SELECT coalesce(CAST(strftime('%s', v.started_at) AS INTEGER), 0) * 4194304 AS base) AS b), NEW.id, NEW.status FROM visits AS v WHERE v.id = NEW.visit_id;
    INSERT INTO findable_words (rowid, words)
    SELECT f.place, w.words FROM utterance_words AS w JOIN findable AS f ON f.utterance = w.utterance
    WHERE w.utterance = NEW.id;
END;
CREATE TRIGGER utterances_words_learnt AFTER INSERT ON utterances
BEGIN
    INSERT INTO words_said (word) SELECT DISTINCT j.value
    FROM (SELECT '[' || replace(json_quote(replace(replace(replace(replace(replace(replace(replace(replace(replace(replace(replace(lower(NEW.heard || ' ' || coalesce(NEW.free_text, '')), ',', ' '), '.', ' '), ';', ' '), ':', ' '), '!', ' '), '?', ' '), '(', ' '), ')', ' '), '"', ' '), '''', ' '), '-', ' ')), ' ', '","') || ']' AS l LIMIT -1 OFFSET 0) AS t, json_each(CASE WHEN json_valid(t.l) THEN t.l ELSE '[]' END) AS j
    WHERE length(j.value) BETWEEN 2 AND 40 AND j.value NOT GLOB '*[^a-z0-9]*'
      AND NOT EXISTS (SELECT 1 FROM words_said AS s WHERE s.word = j.value);
END;
CREATE TRIGGER marks_findable AFTER INSERT ON marks WHEN NEW.seq > 1 OR NEW.status <> 'heard'
BEGIN
    UPDATE findable SET state = coalesce((SELECT CASE WHEN sm.status <> 'heard' THEN sm.status
        WHEN CASE WHEN se.hearing IS NULL THEN (su.doubt IS NOT NULL OR coalesce(su.confidence < 0.8, 0)) ELSE (json_extract(se.hearing, '$.doubt') IS NOT NULL OR coalesce(json_extract(se.hearing, '$.confidence') < 0.8, 0)) END THEN 'doubtful'
        WHEN EXISTS (SELECT 1 FROM conflicts WHERE entry_id = se.id) THEN 'doubtful'
        ELSE 'sure' END
    FROM entries AS se JOIN utterances AS su ON su.id = se.utterance_id
    JOIN marks AS sm ON sm.entry_id = se.id
    WHERE se.id = NEW.entry_id ORDER BY sm.seq DESC LIMIT 1), state) WHERE entry = NEW.entry_id;
END;
CREATE TRIGGER marks_findable_moved AFTER UPDATE ON marks WHEN 1
BEGIN
    UPDATE findable SET state = coalesce((SELECT CASE WHEN sm.status <> 'heard' THEN sm.status
        WHEN CASE WHEN se.hearing IS NULL THEN (su.doubt IS NOT NULL OR coalesce(su.confidence < 0.8, 0)) ELSE (json_extract(se.hearing, '$.doubt') IS NOT NULL OR coalesce(json_extract(se.hearing, '$.confidence') < 0.8, 0)) END THEN 'doubtful'
        WHEN EXISTS (SELECT 1 FROM conflicts WHERE entry_id = se.id) THEN 'doubtful'
        ELSE 'sure' END
    FROM entries AS se JOIN utterances AS su ON su.id = se.utterance_id
    JOIN marks AS sm ON sm.entry_id = se.id
    WHERE se.id = NEW.entry_id ORDER BY sm.seq DESC LIMIT 1), state) WHERE entry = NEW.entry_id;
END;
CREATE TRIGGER marks_findable_gone AFTER DELETE ON marks WHEN 1
BEGIN
    UPDATE findable SET state = coalesce((SELECT CASE WHEN sm.status <> 'heard' THEN sm.status
        WHEN CASE WHEN se.hearing IS NULL THEN (su.doubt IS NOT NULL OR coalesce(su.confidence < 0.8, 0)) ELSE (json_extract(se.hearing, '$.doubt') IS NOT NULL OR coalesce(json_extract(se.hearing, '$.confidence') < 0.8, 0)) END THEN 'doubtful'
        WHEN EXISTS (SELECT 1 FROM conflicts WHERE entry_id = se.id) THEN 'doubtful'
        ELSE 'sure' END
    FROM entries AS se JOIN utterances AS su ON su.id = se.utterance_id
    JOIN marks AS sm ON sm.entry_id = se.id
    WHERE se.id = OLD.entry_id ORDER BY sm.seq DESC LIMIT 1), state) WHERE entry = OLD.entry_id;
END;
CREATE TRIGGER conflicts_findable AFTER INSERT ON conflicts WHEN 1
BEGIN
    UPDATE findable SET state = coalesce((SELECT CASE WHEN sm.status <> 'heard' THEN sm.status
        WHEN CASE WHEN se.hearing IS NULL THEN (su.doubt IS NOT NULL OR coalesce(su.confidence < 0.8, 0)) ELSE (json_extract(se.hearing, '$.doubt') IS NOT NULL OR coalesce(json_extract(se.hearing, '$.confidence') < 0.8, 0)) END THEN 'doubtful'
        WHEN EXISTS (SELECT 1 FROM conflicts WHERE entry_id = se.id) THEN 'doubtful'
        ELSE 'sure' END
    FROM entries AS se JOIN utterances AS su ON su.id = se.utterance_id
    JOIN marks AS sm ON sm.entry_id = se.id
    WHERE se.id = NEW.entry_id ORDER BY sm.seq DESC LIMIT 1), state) WHERE entry = NEW.entry_id;
END;
CREATE TRIGGER utterance_marks_findable AFTER INSERT ON utterance_marks
BEGIN
    UPDATE findable SET state = coalesce((SELECT CASE status WHEN 'passed' THEN 'passed' ELSE 'unclear' END
    FROM utterance_marks WHERE utterance_id = NEW.utterance_id ORDER BY seq DESC LIMIT 1), 'unclear')
    WHERE utterance = NEW.utterance_id AND state IN ('unclear', 'passed');
END;
CREATE TRIGGER utterance_marks_findable_moved AFTER UPDATE ON utterance_marks
BEGIN
    UPDATE findable SET state = coalesce((SELECT CASE status WHEN 'passed' THEN 'passed' ELSE 'unclear' END
    FROM utterance_marks WHERE utterance_id = NEW.utterance_id ORDER BY seq DESC LIMIT 1), 'unclear')
    WHERE utterance = NEW.utterance_id AND state IN ('unclear', 'passed');
END;
CREATE TRIGGER utterance_marks_findable_gone AFTER DELETE ON utterance_marks
BEGIN
    UPDATE findable SET state = coalesce((SELECT CASE status WHEN 'passed' THEN 'passed' ELSE 'unclear' END
    FROM utterance_marks WHERE utterance_id = OLD.utterance_id ORDER BY seq DESC LIMIT 1), 'unclear')
    WHERE utterance = OLD.utterance_id AND state IN ('unclear', 'passed');
END;
CREATE TRIGGER visits_findable_before BEFORE UPDATE OF horse_id ON visits
WHEN OLD.horse_id IS NOT NEW.horse_id
BEGIN INSERT INTO findable_words (findable_words, rowid, words)
    SELECT 'delete', f.place, w.words FROM entry_words AS w JOIN findable AS f ON f.entry = w.entry
    WHERE w.visit = OLD.id;
INSERT INTO findable_words (findable_words, rowid, words)
    SELECT 'delete', f.place, w.words FROM utterance_words AS w JOIN findable AS f ON f.utterance = w.utterance
    WHERE w.visit = OLD.id; END;
CREATE TRIGGER visits_findable_after AFTER UPDATE OF horse_id ON visits
WHEN OLD.horse_id IS NOT NEW.horse_id
BEGIN INSERT INTO findable_words (rowid, words)
    SELECT f.place, w.words FROM entry_words AS w JOIN findable AS f ON f.entry = w.entry
    WHERE w.visit = NEW.id;
INSERT INTO findable_words (rowid, words)
    SELECT f.place, w.words FROM utterance_words AS w JOIN findable AS f ON f.utterance = w.utterance
    WHERE w.visit = NEW.id; END;
CREATE TRIGGER visits_findable_gone BEFORE DELETE ON visits
BEGIN INSERT INTO findable_words (findable_words, rowid, words)
    SELECT 'delete', f.place, w.words FROM entry_words AS w JOIN findable AS f ON f.entry = w.entry
    WHERE w.visit = OLD.id;
INSERT INTO findable_words (findable_words, rowid, words)
    SELECT 'delete', f.place, w.words FROM utterance_words AS w JOIN findable AS f ON f.utterance = w.utterance
    WHERE w.visit = OLD.id; DELETE FROM findable WHERE entry IN (SELECT entry FROM entry_words WHERE visit = OLD.id)
    OR utterance IN (SELECT utterance FROM utterance_words WHERE visit = OLD.id); END;
CREATE TRIGGER utterances_findable_gone BEFORE DELETE ON utterances
BEGIN INSERT INTO findable_words (findable_words, rowid, words)
    SELECT 'delete', f.place, w.words FROM entry_words AS w JOIN findable AS f ON f.entry = w.entry
    WHERE w.utterance = OLD.id;
INSERT INTO findable_words (findable_words, rowid, words)
    SELECT 'delete', f.place, w.words FROM utterance_words AS w JOIN findable AS f ON f.utterance = w.utterance
    WHERE w.utterance = OLD.id; DELETE FROM findable WHERE entry IN (SELECT entry FROM entry_words WHERE utterance = OLD.id)
    OR utterance IN (SELECT utterance FROM utterance_words WHERE utterance = OLD.id); END;
CREATE TRIGGER utterances_words_gone AFTER DELETE ON utterances
BEGIN
    DELETE FROM words_said WHERE word IN (
        SELECT j.value FROM (SELECT '[' || replace(json_quote(replace(replace(replace(replace(replace(replace(replace(replace(replace(replace(replace(lower(OLD.heard || ' ' || coalesce(OLD.free_text, '')), ',', ' '), '.', ' '), ';', ' '), ':', ' '), '!', ' '), '?', ' '), '(', ' '), ')', ' '), '"', ' '), '''', ' '), '-', ' ')), ' ', '","') || ']' AS l LIMIT -1 OFFSET 0) AS t, json_each(CASE WHEN json_valid(t.l) THEN t.l ELSE '[]' END) AS j)
      AND NOT EXISTS (SELECT 1 FROM findable_words
                      WHERE findable_words MATCH '"' || words_said.word || '"');
END;
CREATE TRIGGER entries_findable_gone BEFORE DELETE ON entries
BEGIN
    INSERT INTO findable_words (findable_words, rowid, words)
    SELECT 'delete', f.place, w.words FROM entry_words AS w JOIN findable AS f ON f.entry = w.entry
    WHERE w.entry = OLD.id;
    DELETE FROM findable WHERE entry = OLD.id;
END;
