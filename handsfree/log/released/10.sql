
CREATE VIEW horses_and_visits AS
SELECT h.name AS horse, h.kind AS kind, h.breed AS breed, h.born AS born,
    date(v.started_at, 'localtime') AS day, time(v.started_at, 'localtime') AS began,
    v.source AS source, v.note AS note,
    (SELECT count(*) FROM utterances AS u WHERE u.visit_id = v.id) AS utterances,
    v.id AS visit
FROM visits AS v LEFT JOIN horses AS h ON h.id = v.horse_id
UNION ALL
SELECT h.name, h.kind, h.breed, h.born, NULL, NULL, NULL, NULL, 0, NULL
FROM horses AS h WHERE NOT EXISTS (SELECT 1 FROM visits AS v WHERE v.horse_id = h.id);
CREATE VIEW everything_said AS
SELECT date(v.started_at, 'localtime') AS day, h.name AS horse, u.seq AS number,
    datetime(u.recorded_at, 'localtime') AS said_at, u.start_s AS from_second,
    u.end_s AS to_second, u.heard AS heard, u.free_text AS heard_freely, u.status AS status,
    u.command AS command, u.limb AS limb, u.confidence AS confidence, u.doubt AS doubt,
    EXISTS (SELECT 1 FROM sounds AS s WHERE s.utterance_id = u.id) AS sound_kept,
    v.id AS visit, u.id AS utterance
FROM utterances AS u JOIN visits AS v ON v.id = u.visit_id
LEFT JOIN horses AS h ON h.id = v.horse_id;
CREATE VIEW findings AS
SELECT date(n.visit_started, 'localtime') AS day, n.horse AS horse, n.limb AS limb, n.term AS finding, n.zone AS place, n.side AS side, n.grade AS grade,
    n.age AS age, n.trend AS trend, n.scale AS scale, n.scale_value AS scale_value,
    n.below_hairline_mm AS mm_below_hairline, n.extent_mm AS mm_long, CASE WHEN n.status = 'heard'
    AND (n.doubt IS NOT NULL OR coalesce(n.confidence < 0.8, 0))
    THEN 'doubtful' ELSE n.status END AS status, n.heard AS heard, n.visit_id AS visit, n.utterance_id AS utterance,
    n.id AS entry FROM entries_now AS n
WHERE n.kind = 'finding';
CREATE VIEW measurements AS
SELECT date(n.visit_started, 'localtime') AS day, n.horse AS horse, n.limb AS limb, n.side AS side, n.quantity AS quantity, n.value AS value, n.unit AS unit,
    round(n.value * CASE n.unit WHEN 'mm' THEN 1 WHEN 'cm' THEN 10 WHEN 'in' THEN 25.4 END, 2)
        AS mm,
    CASE n.unit WHEN 'deg' THEN n.value END AS degrees,
    round(n.value * CASE n.unit WHEN 'kg' THEN 1 WHEN 'lb' THEN 0.45359237 END, 2) AS kg,
    CASE WHEN n.status = 'heard'
    AND (n.doubt IS NOT NULL OR coalesce(n.confidence < 0.8, 0))
    THEN 'doubtful' ELSE n.status END AS status, n.heard AS heard, n.visit_id AS visit, n.utterance_id AS utterance,
    n.id AS entry FROM entries_now AS n
WHERE n.kind = 'measurement';
CREATE VIEW nails AS
SELECT date(n.visit_started, 'localtime') AS day, n.horse AS horse, n.limb AS limb, n.action AS action, n."count" AS "count", n.side AS side, CASE WHEN n.status = 'heard'
    AND (n.doubt IS NOT NULL OR coalesce(n.confidence < 0.8, 0))
    THEN 'doubtful' ELSE n.status END AS status, n.heard AS heard, n.visit_id AS visit, n.utterance_id AS utterance,
    n.id AS entry FROM entries_now AS n
WHERE n.kind = 'nails';
CREATE VIEW work_and_shoes AS
SELECT date(n.visit_started, 'localtime') AS day, n.horse AS horse, n.limb AS limb, n.kind AS kind, n.action AS work, n.item AS shoe, n.detail AS detail, CASE WHEN n.status = 'heard'
    AND (n.doubt IS NOT NULL OR coalesce(n.confidence < 0.8, 0))
    THEN 'doubtful' ELSE n.status END AS status, n.heard AS heard, n.visit_id AS visit, n.utterance_id AS utterance,
    n.id AS entry FROM entries_now AS n
WHERE n.kind IN ('work', 'shoe');
CREATE VIEW plans AS
SELECT date(n.visit_started, 'localtime') AS day, n.horse AS horse, n.limb AS limb, n.action AS plan, n.weeks AS weeks, n.text AS text, CASE WHEN n.status = 'heard'
    AND (n.doubt IS NOT NULL OR coalesce(n.confidence < 0.8, 0))
    THEN 'doubtful' ELSE n.status END AS status, n.heard AS heard, n.visit_id AS visit, n.utterance_id AS utterance,
    n.id AS entry FROM entries_now AS n
WHERE n.kind = 'plan';
CREATE VIEW remarks AS
SELECT date(n.visit_started, 'localtime') AS day, n.horse AS horse, n.limb AS limb, n.text AS text, CASE WHEN n.status = 'heard'
    AND (n.doubt IS NOT NULL OR coalesce(n.confidence < 0.8, 0))
    THEN 'doubtful' ELSE n.status END AS status, n.heard AS heard, n.visit_id AS visit, n.utterance_id AS utterance,
    n.id AS entry FROM entries_now AS n WHERE n.kind = 'remark';
CREATE VIEW sounds_kept AS
SELECT date(v.started_at, 'localtime') AS day, h.name AS horse, u.heard AS heard,
    u.end_s - u.start_s AS seconds, length(s.flac) AS bytes, s.flac AS flac,
    v.id AS visit, u.id AS utterance
FROM sounds AS s JOIN utterances AS u ON u.id = s.utterance_id
JOIN visits AS v ON v.id = u.visit_id LEFT JOIN horses AS h ON h.id = v.horse_id;
