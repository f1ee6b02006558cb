"""What makes the log findable, and views of it for people with a general SQLite tool.

`findable` has a row for each entry, and for each utterance without entries. Its key, `place`,
is the second the visit began times 2^22 and a number within it: the newest first is the order
of the key, and a span of days is a range of it. `findable_words` is the full-text index beside
it (contentless; its rowid is the place). It holds the words as heard and, as words of their
own, the ids of the entry: `t_bruise`, `l_lh`. Words that carry the meaning where there is no
id (a remark, what narrows a shoe down, what was unclear) are in it as `d_word` besides.
Triggers keep both; a migration never changes once it is released, so neither may this text.
"""

from handsfree.log.doubt import unsure

PLACES = 1 << 22
"""Places for what belongs to visits that began in one second."""

TOKENS = "unicode61 remove_diacritics 2 tokenchars '_'"


def _each(prefix: str, text: str) -> str:
    """SQL: every word of a text with a prefix; nothing for NULL."""
    return f"coalesce(' {prefix}' || replace({text}, ' ', ' {prefix}'), '')"


def _id(prefix: str, value: str) -> str:
    """SQL: one id as a word; nothing for NULL."""
    return f"coalesce(' {prefix}' || {value}, '')"


def _key(key: str, of: str = "e.body") -> str:
    return f"json_extract({of}, '$.{key}')"


SLOTS = dict(
    **{"term": "t_", "zone": "z_", "side": "s_", "grade": "g_", "age": "a_", "trend": "r_"},
    **{"quantity": "q_", "shoe": "i_", "nail": "n_", "work": "w_", "plan": "p_", "limb": "l_"},
    **{"kind": "k_", "horse": "h_", "own": "d_"},
)
"""What an id is of → what it begins with in the full-text index."""

_HEARD = f"CASE WHEN e.hearing IS NULL THEN u.heard ELSE {_key('heard', 'e.hearing')} END"


def _of_kind(kind: str, *parts: str) -> str:
    return f"WHEN '{kind}' THEN {' || '.join(parts)}"


def _ids(*slots: str) -> tuple[str, ...]:
    return tuple(_id(SLOTS[slot], _key(slot)) for slot in slots)


_BODY_WORDS = " ".join(
    [
        "CASE e.kind",
        _of_kind(
            "finding",
            *_ids("term", "zone", "side", "grade", "age", "trend"),
            _id(SLOTS["quantity"], _key("scale_grade.scale")),
        ),
        _of_kind("measurement", *_ids("quantity", "side")),
        _of_kind("nails", _id(SLOTS["nail"], _key("action")), *_ids("side")),
        _of_kind("shoe", _id(SLOTS["shoe"], _key("item")), _each(SLOTS["own"], _key("detail"))),
        _of_kind("work", _id(SLOTS["work"], _key("action"))),
        _of_kind("plan", _id(SLOTS["plan"], _key("action")), _each(SLOTS["own"], _key("text"))),
        _of_kind("remark", _each(SLOTS["own"], _key("text"))),
        "ELSE '' END",
    ]
)
_ENTRY_WORDS = " || ".join(
    [
        f"coalesce({_HEARD}, '')",
        "coalesce(' ' || u.free_text, '')",
        _id(SLOTS["kind"], "e.kind"),
        _id(SLOTS["limb"], "e.limb"),
        _id(SLOTS["horse"], "v.horse_id"),
        _BODY_WORDS,
    ]
)
_UTTERANCE_WORDS = " || ".join(
    [
        "u.heard",
        "coalesce(' ' || u.free_text, '')",
        _id(SLOTS["limb"], "u.limb"),
        _id(SLOTS["horse"], "v.horse_id"),
        _each(SLOTS["own"], "u.heard"),
        _each(SLOTS["own"], "u.free_text"),
    ]
)

# Of a body the first number that is there: a measure in mm, degrees or kg, else a count.
_UNIT = f"""CASE {_key("unit")} WHEN 'mm' THEN 1.0 WHEN 'cm' THEN 10.0 WHEN 'in' THEN 25.4
    WHEN 'deg' THEN 1.0 WHEN 'kg' THEN 1.0 WHEN 'lb' THEN 0.45359237 END"""
_LENGTHS = (_key("below_hairline_mm"), _key("extent_mm"))
_QUANTITY = f"""CASE e.kind WHEN 'measurement' THEN {_key("quantity")} WHEN 'nails' THEN 'nails'
    WHEN 'finding' THEN CASE WHEN {_LENGTHS[0]} IS NOT NULL THEN 'below_hairline'
        WHEN {_LENGTHS[1]} IS NOT NULL THEN 'extent' ELSE {_key("scale_grade.scale")} END END"""
_AMOUNT = f"""CASE e.kind WHEN 'measurement' THEN {_key("value")} * {_UNIT}
    WHEN 'nails' THEN {_key("count")}
    WHEN 'finding' THEN coalesce({_LENGTHS[0]}, {_LENGTHS[1]}, {_key("scale_grade.value")}) END"""


def _entry_unsure(e: str, u: str) -> str:
    first = unsure(f"{u}.confidence", f"{u}.doubt")
    hearing = f"{e}.hearing"
    again = unsure(_key("confidence", hearing), _key("doubt", hearing))
    return f"CASE WHEN {hearing} IS NULL THEN {first} ELSE {again} END"


# Names of its own: the statements around it use the usual ones.
_STATE = f"""(SELECT CASE WHEN sm.status <> 'heard' THEN sm.status
        WHEN {_entry_unsure("se", "su")} THEN 'doubtful'
        WHEN EXISTS (SELECT 1 FROM conflicts WHERE entry_id = se.id) THEN 'doubtful'
        ELSE 'sure' END
    FROM entries AS se JOIN utterances AS su ON su.id = se.utterance_id
    JOIN marks AS sm ON sm.entry_id = se.id
    WHERE se.id = {{entry}} ORDER BY sm.seq DESC LIMIT 1)"""
_PASSED = """(SELECT CASE status WHEN 'passed' THEN 'passed' ELSE 'unclear' END
    FROM utterance_marks WHERE utterance_id = {utterance} ORDER BY seq DESC LIMIT 1)"""
_BASE = f"coalesce(CAST(strftime('%s', v.started_at) AS INTEGER), 0) * {PLACES}"
_NEXT = f"""(SELECT coalesce((SELECT max(place) + 1 FROM findable
    WHERE place >= b.base AND place < b.base + {PLACES}), b.base)
    FROM (SELECT {_BASE} AS base) AS b)"""

# Words as a JSON list: split at spaces and at the marks recognizers write.
_PLAIN = "lower({text})"
for _mark in ",.;:!?()\"'-":
    _PLAIN = f"replace({_PLAIN}, '{_mark.replace(chr(39), chr(39) * 2)}', ' ')"
_LIST = """'[' || replace(json_quote({plain}), ' ', '","') || ']'"""


_ONE_WORD = "{word} NOT GLOB '*[^a-z0-9]*'"
"""Words the index has as one word for certain: the list serves likeness and beginnings."""


def _words_of(text: str, source: str = "") -> str:
    """SQL: rows j.value, the words of a text (of each row of `source`)."""
    listed = _LIST.format(plain=_PLAIN.format(text=text))
    # The limit keeps the list from being made anew wherever it is named.
    of = f"(SELECT {listed} AS l{f' FROM {source}' if source else ''} LIMIT -1 OFFSET 0)"
    return f"{of} AS t, json_each(CASE WHEN json_valid(t.l) THEN t.l ELSE '[]' END) AS j"


def _learn(text: str, source: str = "") -> str:
    return f"""INSERT INTO words_said (word) SELECT DISTINCT j.value
    FROM {_words_of(text, source)}
    WHERE length(j.value) BETWEEN 2 AND 40 AND {_ONE_WORD.format(word="j.value")}
      AND NOT EXISTS (SELECT 1 FROM words_said AS s WHERE s.word = j.value);"""


_TABLES = f"""
CREATE TABLE findable (
    place INTEGER PRIMARY KEY,
    entry TEXT UNIQUE,      -- one of the two: id of an entry,
    utterance TEXT UNIQUE,  -- or of an utterance without entries when it was heard
    state TEXT NOT NULL,    -- sure doubtful confirmed struck corrected; unclear passed command
    quantity TEXT,
    amount REAL             -- mm, degrees, kg; a count; a grade
);
CREATE VIRTUAL TABLE findable_words USING fts5 (
    words, content='', columnsize=0, detail=none, tokenize="{TOKENS}"
);
CREATE TABLE words_said (word TEXT PRIMARY KEY NOT NULL) WITHOUT ROWID;
CREATE VIEW entry_words AS
SELECT e.id AS entry, u.id AS utterance, v.id AS visit, {_ENTRY_WORDS} AS words
FROM entries AS e JOIN utterances AS u ON u.id = e.utterance_id JOIN visits AS v
    ON v.id = u.visit_id;
CREATE VIEW utterance_words AS
SELECT u.id AS utterance, v.id AS visit, {_UTTERANCE_WORDS} AS words
FROM utterances AS u JOIN visits AS v ON v.id = u.visit_id;
"""

_FILL = f"""
INSERT INTO findable (place, entry, utterance, state, quantity, amount)
SELECT base + row_number() OVER (PARTITION BY base ORDER BY visit, u_seq, e_seq) - 1,
    entry, utterance, state, quantity, amount
FROM (
    SELECT {_BASE} AS base, v.rowid AS visit, u.seq AS u_seq, e.seq AS e_seq, e.id AS entry,
        NULL AS utterance, coalesce({_STATE.format(entry="e.id")}, 'sure') AS state,
        {_QUANTITY} AS quantity, {_AMOUNT} AS amount
    FROM entries AS e JOIN utterances AS u ON u.id = e.utterance_id
    JOIN visits AS v ON v.id = u.visit_id
    UNION ALL
    SELECT {_BASE}, v.rowid, u.seq, 0, NULL, u.id,
        CASE u.status WHEN 'unclear' THEN coalesce({_PASSED.format(utterance="u.id")}, 'unclear')
            ELSE u.status END, NULL, NULL
    FROM utterances AS u JOIN visits AS v ON v.id = u.visit_id WHERE u.status <> 'recorded'
);
INSERT INTO findable_words (rowid, words)
SELECT f.place, CASE WHEN f.entry IS NULL
    THEN (SELECT words FROM utterance_words AS w WHERE w.utterance = f.utterance)
    ELSE (SELECT words FROM entry_words AS w WHERE w.entry = f.entry) END
FROM findable AS f ORDER BY f.place;
{_learn("u.heard || ' ' || coalesce(u.free_text, '')", "utterances AS u")}
CREATE INDEX findable_by_state ON findable (state, place);
CREATE INDEX findable_by_amount ON findable (quantity, amount, place) WHERE amount IS NOT NULL;
"""


def _index(verb: str, view: str, where: str) -> str:
    """SQL: put words of findable rows into the index, or take them out again."""
    kind = "entry" if view == "entry_words" else "utterance"
    first, value = ("findable_words, ", "'delete', ") if verb == "out" else ("", "")
    return f"""INSERT INTO findable_words ({first}rowid, words)
    SELECT {value}f.place, w.words FROM {view} AS w JOIN findable AS f ON f.{kind} = w.{kind}
    WHERE {where};"""


def _both(verb: str, where: str) -> str:
    return _index(verb, "entry_words", where) + "\n" + _index(verb, "utterance_words", where)


_GONE = """DELETE FROM findable WHERE entry IN (SELECT entry FROM entry_words WHERE {where})
    OR utterance IN (SELECT utterance FROM utterance_words WHERE {where});"""


def _state_trigger(name: str, event: str, row: str, when: str = "1") -> str:
    state = _STATE.format(entry=f"{row}.entry_id")
    return f"""CREATE TRIGGER {name} AFTER {event} WHEN {when}
BEGIN
    UPDATE findable SET state = coalesce({state}, state) WHERE entry = {row}.entry_id;
END;"""


def _passing_trigger(name: str, event: str, row: str) -> str:
    state = _PASSED.format(utterance=f"{row}.utterance_id")
    return f"""CREATE TRIGGER {name} AFTER {event} ON utterance_marks
BEGIN
    UPDATE findable SET state = coalesce({state}, 'unclear')
    WHERE utterance = {row}.utterance_id AND state IN ('unclear', 'passed');
END;"""


_TELLING = "NEW.seq > 1 OR NEW.status <> 'heard'"
"""The first mark of an entry that was heard says nothing new."""

_TRIGGERS = f"""
CREATE TRIGGER entries_findable AFTER INSERT ON entries
BEGIN
    INSERT INTO findable (place, entry, state, quantity, amount)
    SELECT {_NEXT}, e.id, CASE WHEN {_entry_unsure("e", "u")} THEN 'doubtful' ELSE 'sure' END,
        {_QUANTITY}, {_AMOUNT}
    FROM entries AS e JOIN utterances AS u ON u.id = e.utterance_id
    JOIN visits AS v ON v.id = u.visit_id WHERE e.id = NEW.id;
    {_index("in", "entry_words", "w.entry = NEW.id")}
END;
CREATE TRIGGER utterances_findable AFTER INSERT ON utterances WHEN NEW.status <> 'recorded'
BEGIN
    INSERT INTO findable (place, utterance, state)
    SELECT {_NEXT}, NEW.id, NEW.status FROM visits AS v WHERE v.id = NEW.visit_id;
    {_index("in", "utterance_words", "w.utterance = NEW.id")}
END;
CREATE TRIGGER utterances_words_learnt AFTER INSERT ON utterances
BEGIN
    {_learn("NEW.heard || ' ' || coalesce(NEW.free_text, '')")}
END;
{_state_trigger("marks_findable", "INSERT ON marks", "NEW", _TELLING)}
{_state_trigger("marks_findable_moved", "UPDATE ON marks", "NEW")}
{_state_trigger("marks_findable_gone", "DELETE ON marks", "OLD")}
{_state_trigger("conflicts_findable", "INSERT ON conflicts", "NEW")}
{_passing_trigger("utterance_marks_findable", "INSERT", "NEW")}
{_passing_trigger("utterance_marks_findable_moved", "UPDATE", "NEW")}
{_passing_trigger("utterance_marks_findable_gone", "DELETE", "OLD")}
CREATE TRIGGER visits_findable_before BEFORE UPDATE OF horse_id ON visits
WHEN OLD.horse_id IS NOT NEW.horse_id
BEGIN {_both("out", "w.visit = OLD.id")} END;
CREATE TRIGGER visits_findable_after AFTER UPDATE OF horse_id ON visits
WHEN OLD.horse_id IS NOT NEW.horse_id
BEGIN {_both("in", "w.visit = NEW.id")} END;
CREATE TRIGGER visits_findable_gone BEFORE DELETE ON visits
BEGIN {_both("out", "w.visit = OLD.id")} {_GONE.format(where="visit = OLD.id")} END;
CREATE TRIGGER utterances_findable_gone BEFORE DELETE ON utterances
BEGIN {_both("out", "w.utterance = OLD.id")} {_GONE.format(where="utterance = OLD.id")} END;
CREATE TRIGGER utterances_words_gone AFTER DELETE ON utterances
BEGIN
    DELETE FROM words_said WHERE word IN (
        SELECT j.value FROM {_words_of("OLD.heard || ' ' || coalesce(OLD.free_text, '')")})
      AND NOT EXISTS (SELECT 1 FROM findable_words
                      WHERE findable_words MATCH '"' || words_said.word || '"');
END;
CREATE TRIGGER entries_findable_gone BEFORE DELETE ON entries
BEGIN
    {_index("out", "entry_words", "w.entry = OLD.id")}
    DELETE FROM findable WHERE entry = OLD.id;
END;
"""

FINDABLE = _TABLES + _FILL + _TRIGGERS
"""The migration that makes the log findable; comes after those that add entries.hearing and
conflicts."""
