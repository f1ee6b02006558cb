
-- Heights in hands (16.1 is sixteen hands one inch) in the index and in the views; findings that
-- were said not to be there, and units that were not said, in the views.
DROP TRIGGER entries_findable;
CREATE TRIGGER entries_findable AFTER INSERT ON entries
BEGIN
    INSERT INTO findable (place, entry, state, quantity, amount)
    SELECT (SELECT coalesce((SELECT max(place) + 1 FROM findable
    WHERE place >= b.base AND place < b.base + 4194304), b.base)
    FROM (SELECT coalesce(CAST(strftime('%s', v.started_at) AS INTEGER), 0) * 4194304 AS base) AS b), e.id, CASE WHEN CASE WHEN e.hearing IS NULL THEN (u.doubt IS NOT NULL OR coalesce(u.confidence < 0.8, 0)) ELSE (json_extract(e.hearing, '$.doubt') IS NOT NULL OR coalesce(json_extract(e.hearing, '$.confidence') < 0.8, 0)) END THEN 'doubtful' ELSE 'sure' END,
        CASE e.kind WHEN 'measurement' THEN json_extract(e.body, '$.quantity') WHEN 'nails' THEN 'nails'
    WHEN 'finding' THEN CASE WHEN json_extract(e.body, '$.below_hairline_mm') IS NOT NULL THEN 'below_hairline'
        WHEN json_extract(e.body, '$.extent_mm') IS NOT NULL THEN 'extent' ELSE json_extract(e.body, '$.scale_grade.scale') END END, CASE e.kind WHEN 'measurement' THEN CASE json_extract(e.body, '$.unit') WHEN 'hands' THEN CASE WHEN json_extract(e.body, '$.value') >= 0 AND round(json_extract(e.body, '$.value') - CAST(json_extract(e.body, '$.value') AS INTEGER), 5) < 0.4
        THEN (10 * json_extract(e.body, '$.value') - 6 * CAST(json_extract(e.body, '$.value') AS INTEGER)) * 25.4 END
    ELSE json_extract(e.body, '$.value') * CASE json_extract(e.body, '$.unit') WHEN 'mm' THEN 1.0 WHEN 'cm' THEN 10.0 WHEN 'in' THEN 25.4
    WHEN 'deg' THEN 1.0 WHEN 'kg' THEN 1.0 WHEN 'lb' THEN 0.45359237 END END
    WHEN 'nails' THEN json_extract(e.body, '$.count')
    WHEN 'finding' THEN coalesce(json_extract(e.body, '$.below_hairline_mm'), json_extract(e.body, '$.extent_mm'), json_extract(e.body, '$.scale_grade.value')) END
    FROM entries AS e JOIN utterances AS u ON u.id = e.utterance_id
    JOIN visits AS v ON v.id = u.visit_id WHERE e.id = NEW.id;
    INSERT INTO findable_words (rowid, words)
    SELECT f.place, w.words FROM entry_words AS w JOIN findable AS f ON f.entry = w.entry
    WHERE w.entry = NEW.id;
END;
UPDATE findable SET amount = (SELECT CASE WHEN json_extract(e.body, '$.value') >= 0 AND round(json_extract(e.body, '$.value') - CAST(json_extract(e.body, '$.value') AS INTEGER), 5) < 0.4
        THEN (10 * json_extract(e.body, '$.value') - 6 * CAST(json_extract(e.body, '$.value') AS INTEGER)) * 25.4 END
    FROM entries AS e WHERE e.id = findable.entry)
WHERE entry IN (SELECT e.id FROM entries AS e WHERE e.kind = 'measurement'
    AND json_extract(e.body, '$.unit') = 'hands');
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
    coalesce(json_extract(e.body, '$.denied'), 0) AS denied,
    coalesce(json_extract(e.body, '$.unit_inferred'), 0) AS unit_inferred,
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
DROP VIEW findings;
CREATE VIEW findings AS
SELECT date(n.visit_started, 'localtime') AS day, n.horse AS horse, n.limb AS limb, n.term AS finding, n.denied AS not_there, n.zone AS place, n.side AS side, n.grade AS grade,
    n.age AS age, n.trend AS trend, n.scale AS scale, n.scale_value AS scale_value,
    n.below_hairline_mm AS mm_below_hairline, n.extent_mm AS mm_long, CASE WHEN n.status = 'heard'
    AND (n.doubt IS NOT NULL OR coalesce(n.confidence < 0.8, 0))
    THEN 'doubtful' ELSE n.status END AS status, n.heard AS heard, n.visit_id AS visit, n.utterance_id AS utterance,
    n.id AS entry FROM entries_now AS n
WHERE n.kind = 'finding';
DROP VIEW measurements;
CREATE VIEW measurements AS
SELECT date(n.visit_started, 'localtime') AS day, n.horse AS horse, n.limb AS limb, n.side AS side, n.quantity AS quantity, n.value AS value, n.unit AS unit,
    n.unit_inferred AS unit_inferred,
    round(CASE n.unit WHEN 'hands' THEN CASE WHEN n.value >= 0 AND round(n.value - CAST(n.value AS INTEGER), 5) < 0.4
        THEN (10 * n.value - 6 * CAST(n.value AS INTEGER)) * 25.4 END
        ELSE n.value * CASE n.unit WHEN 'mm' THEN 1 WHEN 'cm' THEN 10 WHEN 'in' THEN 25.4 END END, 2)
        AS mm,
    CASE n.unit WHEN 'deg' THEN n.value END AS degrees,
    round(n.value * CASE n.unit WHEN 'kg' THEN 1 WHEN 'lb' THEN 0.45359237 END, 2) AS kg,
    CASE WHEN n.status = 'heard'
    AND (n.doubt IS NOT NULL OR coalesce(n.confidence < 0.8, 0))
    THEN 'doubtful' ELSE n.status END AS status, n.heard AS heard, n.visit_id AS visit, n.utterance_id AS utterance,
    n.id AS entry FROM entries_now AS n
WHERE n.kind = 'measurement';
