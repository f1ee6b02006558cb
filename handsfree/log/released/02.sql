
CREATE VIEW entries_now AS
SELECT
    e.id AS id, v.id AS visit_id, h.name AS horse, v.started_at AS visit_started,
    v.source AS source, u.id AS utterance_id, u.seq AS utterance_seq, e.seq AS seq,
    u.start_s AS start_s, u.end_s AS end_s, u.recorded_at AS recorded_at, u.heard AS heard,
    u.confidence AS confidence, u.doubt AS doubt, e.kind AS kind, e.limb AS limb,
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
