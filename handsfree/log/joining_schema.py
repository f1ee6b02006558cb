"""Tables for logs that are joined, and for recordings that were brought in."""

from handsfree.log import relisten_schema

_TABLES = """
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
"""

_FACT = """
CREATE TRIGGER horse_{fact}_said AFTER UPDATE OF {fact} ON horses
WHEN NEW.{fact} IS NOT OLD.{fact} AND NEW.{fact} IS NOT NULL
    AND NEW.{fact} IS NOT (SELECT value FROM horse_facts
        WHERE horse_id = NEW.id AND fact = '{fact}' ORDER BY at DESC, value DESC LIMIT 1)
BEGIN
    INSERT INTO horse_facts SELECT OLD.id, '{fact}', OLD.{fact}, OLD.created
    WHERE OLD.{fact} IS NOT NULL
        AND NOT EXISTS (SELECT 1 FROM horse_facts WHERE horse_id = OLD.id AND fact = '{fact}');
    INSERT OR IGNORE INTO horse_facts VALUES
        (NEW.id, '{fact}', NEW.{fact}, strftime('%Y-%m-%dT%H:%M:%f+00:00', 'now'));
END;
"""
# A fact that was never changed has no row: it was said when the horse was added.

_HEARD_DOUBT = (
    "CASE WHEN e.hearing IS NULL THEN u.doubt ELSE json_extract(e.hearing, '$.doubt') END"
)

CLASHES = {"conflicts": "entry_id = NEW.entry_id AND change = NEW.change"}


def joined(views: str) -> str:
    """DDL of the tables, and of the views with what two machines differ about as a doubt.

    `views` is the text that first made `entries_now` and `entries_in_force`. Whatever reads
    them takes a disputed entry for doubtful until a person has judged it.
    """
    again = relisten_schema.own_hearing(views).removeprefix(relisten_schema.COLUMN)
    was = f"{_HEARD_DOUBT} AS doubt"
    assert again.count(was) == 1
    disputed = """CASE WHEN m.status = 'heard' THEN coalesce((SELECT c.text FROM conflicts AS c
        WHERE c.entry_id = e.id ORDER BY c.at DESC, c.change LIMIT 1), {was}) ELSE {was} END"""
    facts = "".join(_FACT.format(fact=fact) for fact in ("kind", "breed", "born"))
    return _TABLES + facts + again.replace(was, disputed.format(was=_HEARD_DOUBT) + " AS doubt")
