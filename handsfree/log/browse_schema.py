"""Views with plain names, for people who look into the log with a general SQLite tool.

Times are local where the tool is; ids are the log's own. Nothing in the program reads these.
"""

from handsfree.log.doubt import unsure

_DAY = "date({at}, 'localtime')"
_STATUS = f"""CASE WHEN n.status = 'heard'
    AND {unsure("n.confidence", "n.doubt")}
    THEN 'doubtful' ELSE n.status END AS status"""
_ABOUT = f"""{_DAY.format(at="n.visit_started")} AS day, n.horse AS horse, n.limb AS limb"""
_TAIL = f"""{_STATUS}, n.heard AS heard, n.visit_id AS visit, n.utterance_id AS utterance,
    n.id AS entry FROM entries_now AS n"""

BROWSE = f"""
CREATE VIEW horses_and_visits AS
SELECT h.name AS horse, h.kind AS kind, h.breed AS breed, h.born AS born,
    {_DAY.format(at="v.started_at")} AS day, time(v.started_at, 'localtime') AS began,
    v.source AS source, v.note AS note,
    (SELECT count(*) FROM utterances AS u WHERE u.visit_id = v.id) AS utterances,
    v.id AS visit
FROM visits AS v LEFT JOIN horses AS h ON h.id = v.horse_id
UNION ALL
SELECT h.name, h.kind, h.breed, h.born, NULL, NULL, NULL, NULL, 0, NULL
FROM horses AS h WHERE NOT EXISTS (SELECT 1 FROM visits AS v WHERE v.horse_id = h.id);
CREATE VIEW everything_said AS
SELECT {_DAY.format(at="v.started_at")} AS day, h.name AS horse, u.seq AS number,
    datetime(u.recorded_at, 'localtime') AS said_at, u.start_s AS from_second,
    u.end_s AS to_second, u.heard AS heard, u.free_text AS heard_freely, u.status AS status,
    u.command AS command, u.limb AS limb, u.confidence AS confidence, u.doubt AS doubt,
    EXISTS (SELECT 1 FROM sounds AS s WHERE s.utterance_id = u.id) AS sound_kept,
    v.id AS visit, u.id AS utterance
FROM utterances AS u JOIN visits AS v ON v.id = u.visit_id
LEFT JOIN horses AS h ON h.id = v.horse_id;
CREATE VIEW findings AS
SELECT {_ABOUT}, n.term AS finding, n.zone AS place, n.side AS side, n.grade AS grade,
    n.age AS age, n.trend AS trend, n.scale AS scale, n.scale_value AS scale_value,
    n.below_hairline_mm AS mm_below_hairline, n.extent_mm AS mm_long, {_TAIL}
WHERE n.kind = 'finding';
CREATE VIEW measurements AS
SELECT {_ABOUT}, n.side AS side, n.quantity AS quantity, n.value AS value, n.unit AS unit,
    round(n.value * CASE n.unit WHEN 'mm' THEN 1 WHEN 'cm' THEN 10 WHEN 'in' THEN 25.4 END, 2)
        AS mm,
    CASE n.unit WHEN 'deg' THEN n.value END AS degrees,
    round(n.value * CASE n.unit WHEN 'kg' THEN 1 WHEN 'lb' THEN 0.45359237 END, 2) AS kg,
    {_TAIL}
WHERE n.kind = 'measurement';
CREATE VIEW nails AS
SELECT {_ABOUT}, n.action AS action, n."count" AS "count", n.side AS side, {_TAIL}
WHERE n.kind = 'nails';
CREATE VIEW work_and_shoes AS
SELECT {_ABOUT}, n.kind AS kind, n.action AS work, n.item AS shoe, n.detail AS detail, {_TAIL}
WHERE n.kind IN ('work', 'shoe');
CREATE VIEW plans AS
SELECT {_ABOUT}, n.action AS plan, n.weeks AS weeks, n.text AS text, {_TAIL}
WHERE n.kind = 'plan';
CREATE VIEW remarks AS
SELECT {_ABOUT}, n.text AS text, {_TAIL} WHERE n.kind = 'remark';
CREATE VIEW sounds_kept AS
SELECT {_DAY.format(at="v.started_at")} AS day, h.name AS horse, u.heard AS heard,
    u.end_s - u.start_s AS seconds, length(s.flac) AS bytes, s.flac AS flac,
    v.id AS visit, u.id AS utterance
FROM sounds AS s JOIN utterances AS u ON u.id = s.utterance_id
JOIN visits AS v ON v.id = u.visit_id LEFT JOIN horses AS h ON h.id = v.horse_id;
"""
