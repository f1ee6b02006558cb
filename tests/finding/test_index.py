"""The index of the log: kept by triggers, filled for old logs, emptied when rows go."""

import json
import random
import sqlite3
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlite_utils import Database

from handsfree.finding import ask, understand
from handsfree.finding.question import STATUSES
from handsfree.grammar.grammar import Grammar, load
from handsfree.log import Log, UtteranceRow, schema
from handsfree.log.finding import Criteria
from handsfree.records.entries import belongs_to_horse, to_json

TODAY = date(2026, 11, 25)
FINDABLE = next(n for n, sql in enumerate(schema.MIGRATIONS) if "TABLE findable" in sql)


def found(log: Log, grammar: Grammar, text: str, limit: int | None = 20) -> list[str]:
    """What was heard of the results, in order."""
    asked = understand(text, grammar, log, TODAY).question
    return [each.heard for each in ask(log, asked, limit).utterances]


def contents(path: Path) -> object:
    """All that is in the index, whatever the places are."""
    with sqlite3.connect(path) as conn:
        rows = conn.execute(
            "SELECT entry, utterance, state, quantity, amount FROM findable ORDER BY place"
        ).fetchall()
        words = conn.execute("SELECT word FROM words_said ORDER BY word").fetchall()
        conn.execute("CREATE VIRTUAL TABLE temp.v USING fts5vocab(main, findable_words, row)")
        counts = conn.execute("SELECT term, doc FROM temp.v ORDER BY term").fetchall()
    conn.close()
    return rows, words, counts


def test_synonyms_find_each_other(log, say, visit, grammar):
    id = visit("Thistle", "2026-05-14")
    for words in ("interfering", "brushing inside fetlock", "risen clench", "near hind"):
        say(id, words, "LH")
    assert found(log, grammar, "brushing") == ["interfering", "brushing inside fetlock"]
    assert found(log, grammar, "interfering left hind") == [
        "interfering",
        "brushing inside fetlock",
    ]
    assert found(log, grammar, "risen clinches near hind") == ["risen clench"]
    assert found(log, grammar, "medial") == ["brushing inside fetlock"]
    # A bare limb is a command: found only when asked for.
    assert found(log, grammar, "commands near hind") == ["near hind"]


def test_what_was_corrected_is_found_by_what_it_is(log, say, visit, grammar):
    id = visit("Thistle", "2026-05-14")
    one = say(id, "outside heel bruise", "LH")
    body = to_json(grammar.meanings("inside heel corn".split())[0].statements[0].entry)
    log.correct(one.utterance_id, [body | {"limb": "LH"}], "review", one.entry_ids)
    assert found(log, grammar, "corn") == ["outside heel bruise"]
    assert found(log, grammar, "bruise") == []
    assert found(log, grammar, "bruise corrected") == ["outside heel bruise"]
    log.undo(id, "review")
    assert found(log, grammar, "corn") == []
    assert found(log, grammar, "corn struck") == ["outside heel bruise"]
    assert found(log, grammar, "bruise") == ["outside heel bruise"]


def test_states(log, say, visit, grammar):
    id = visit("Thistle", "2026-05-14")
    sure = say(id, "thrush in the frog", "LF")
    say(id, "mild thrush in the frog", "RF", confidence=0.6)
    say(id, "severe thrush in the frog", "RF", doubt="neural heard it differently")
    unclear = say(id, "some thrash about the frog maybe thrush", "LH", confidence=0.1)
    assert found(log, grammar, "thrush doubtful") == [
        "mild thrush in the frog",
        "severe thrush in the frog",
        "some thrash about the frog maybe thrush",
    ]
    assert found(log, grammar, "unclear") == ["some thrash about the frog maybe thrush"]
    log.confirm(sure.entry_ids, "review")
    assert found(log, grammar, "thrush confirmed") == ["thrush in the frog"]
    log.strike(sure.entry_ids, "review", passes=[unclear.utterance_id])
    assert found(log, grammar, "unclear") == []
    assert found(log, grammar, "thrush struck") == ["thrush in the frog"]
    assert len(found(log, grammar, "thrush")) == 2
    log.undo(id, "review")
    assert found(log, grammar, "unclear") == ["some thrash about the frog maybe thrush"]
    assert found(log, grammar, "thrush confirmed") == ["thrush in the frog"]


def test_newest_first_by_visit_in_order_said_with_more(log, say, visit, grammar):
    for day in ("2026-01-05", "2026-03-05", "2025-02-05"):  # not in order of time
        id = visit("Thistle", day)
        for grade in ("slight", "mild", "severe"):
            say(id, f"{grade} thrush in the frog", "RF")
    question = understand("thrush", grammar, log, TODAY).question
    result = ask(log, question, 4)
    days = [(each.visit_started[:10], each.heard.split()[0]) for each in result.utterances]
    assert days == [
        ("2026-03-05", "slight"),
        ("2026-03-05", "mild"),
        ("2026-03-05", "severe"),
        ("2026-01-05", "severe"),
    ]
    assert (result.more, result.at_least) == (5, False)
    assert len(ask(log, question, None).utterances) == 9
    assert len(found(log, grammar, "thrush last 2 visits")) == 6
    assert len(found(log, grammar, "thrush 2025")) == 3
    assert len(found(log, grammar, "thrush since 2026-03-05")) == 3
    assert len(found(log, grammar, "thrush before 2026-03-05")) == 6
    early = understand("thrush", grammar, log, date(2026, 1, 31)).question
    assert len(ask(log, early, None).utterances) == 6


def test_context_of_what_is_unclear(log, say, visit, grammar):
    id = visit("Thistle", "2026-05-14")
    say(id, "near hind")
    say(id, "outside hill brews thing", "LH", confidence=0.1)
    say(id, "horse done")
    [one] = ask(log, understand("unclear", grammar, log, TODAY).question).utterances
    assert (one.before, one.after) == ("near hind", "horse done")


def test_measures_in_any_unit(log, say, visit, grammar):
    id = visit("Thistle", "2026-05-14")
    for words in (
        "toe length three and a half inches",
        "toe length ninety millimeters",
        "toe length eight point eight centimeters",
        "hoof angle fifty degrees",
        "weight eighteen hundred pounds",
        "pulled seven nails",
        "bruise inside heel three quarters of an inch below the hairline",
    ):
        say(id, words, "LH")

    def count(text: str) -> int:
        return len(found(log, grammar, text))

    assert count("toe length over 3 1/2 inches") == 1  # 88.9 mm is not over
    assert count("toe length at least 3.5 inches") == 2
    assert count("toe length under 88.9 mm") == 1
    assert count("toe length between 88 and 89 mm") == 2
    assert count("toe length 90 mm") == 1
    assert count("over 89 mm") == 1
    assert count("weight over 816 kg") == 1  # 1800 lb = 816.47 kg
    assert count("weight over 817 kg") == 0
    assert count("hoof angle at most 50") == 1
    assert count("7 nails pulled") == 1
    assert count("nails over 7") == 0
    assert count("bruise below the hairline under 20 mm") == 1  # 19.05 mm
    assert count("bruise below the hairline over 20 mm") == 0
    assert count("toe length over 90 mm since 2027") == 0


def test_free_words_and_beginnings(log, say, visit, grammar):
    id = visit("Thistle", "2026-05-14")
    remark = "remark mind the off hind he kicks when the flies are about"
    say(id, remark)
    say(id, "remark ZZTOP çà et là 50% wet")
    assert found(log, grammar, "fli") == [remark]
    assert found(log, grammar, "kicks off hind") == [remark]
    assert found(log, grammar, "çà") == found(log, grammar, "zztop wet")
    assert found(log, grammar, "kicks near hind") == []


def test_a_horse_named_late(log, say, grammar):
    id = log.start_visit("typed", started_at="2026-05-14T12:00:00.000+00:00").id
    say(id, "thrush in the frog", "LF")
    say(id, "mumble mumble", "LF", confidence=0.1)
    horse, other = log.add_horse("Thistle"), log.add_horse("Tom")
    assert found(log, grammar, "thistle") == []
    log.name_horse(id, horse.id)
    assert found(log, grammar, "thistle thrush") == ["thrush in the frog"]
    log.name_horse(id, other.id)
    assert found(log, grammar, "thistle thrush") == []
    assert found(log, grammar, "tom") == ["thrush in the frog", "mumble mumble"]


def test_odd_times_and_bodies_are_kept_and_found(log, grammar):
    """Nothing that the log takes may be refused by its index."""
    log.add_horse("Thistle")
    for begun in ("not a time", "0000-01-01T00:00:00+00:00", "9999-12-31T23:59:59+00:00", "2026"):
        visit = log.start_visit("typed", started_at=begun).id
        row = UtteranceRow(heard='odd "thrush" \\ \x01 [ ] 7/8 é\u200d, it\'s', status="recorded")
        log.append(visit, row, [{"kind": "finding", "term": "thrush", "limb": "LF"}])
        log.append(visit, row, [{"kind": "finding", "term": {"a": [1]}, "grade": 7}])
        log.append(visit, row, [{"kind": "unheard of"}])
        log.append(visit, row, [{"kind": "measurement", "quantity": "x", "value": "y", "unit": 3}])
        log.append(visit, UtteranceRow(heard="", status="unclear", free_text="\x00 \x1b[2J"))
    everything = log.find(Criteria(STATUSES["any"]), None)
    assert len(everything.utterances) == 20
    assert log.check() == []


def test_rows_of_one_second_have_places_of_their_own(log, say, visit, grammar):
    ids = [visit("Thistle", "2026-05-14") for _ in range(3)]
    for _ in range(3):
        for id in ids:
            say(id, "both fronts trimmed")
    assert len(found(log, grammar, "trimmed")) == 9


def _talk(path: Path, grammar: Grammar, seed: int, count: int) -> None:
    """Any entries, judged anyhow."""
    rng = random.Random(seed)
    with Log.open(path) as log:
        horses = [log.add_horse(name).id for name in ("Thistle", "Lantern", "Tom")]
        made: list[str] = []
        for n in range(6):
            day = date(2026, 1, 1) + timedelta(days=rng.randrange(300))
            begun = f"{day}T12:00:00.000+00:00"
            visit = log.start_visit("typed", rng.choice(horses), started_at=begun).id
            for _ in range(count // 6):
                words, meaning = grammar.generate(rng)
                limb = rng.choice(["LF", "RF", "LH", "RH"])
                bodies = []
                for statement in meaning.statements:
                    for each in statement.limbs or (limb,):
                        own = None if belongs_to_horse(statement.entry) else each
                        bodies.append(to_json(statement.entry) | {"limb": own})
                status = "recorded" if bodies else rng.choice(["unclear", "command"])
                row = UtteranceRow(
                    heard=" ".join(words.words),
                    status=status,
                    limb=limb,
                    confidence=rng.choice([0.5, 0.9, None]),
                    doubt=rng.choice([None, None, "why"]),
                )
                kept = log.append(visit, row, bodies)
                made += kept.entry_ids
                if made and rng.random() < 0.4:
                    judge = rng.choice([log.confirm, log.strike])
                    judge([rng.choice(made)], "review")
                if not bodies and rng.random() < 0.3:
                    log.strike([], "review", passes=[kept.utterance_id])
            if n % 2:
                log.undo(visit, "review")


def test_every_trade_word_finds_just_the_entries_with_its_id(path, grammar):
    """Against a plain search through all bodies."""
    _talk(path, grammar, seed=5, count=400)
    with Log.open(path) as log:
        entries = [e for v in log.visits() for e in log.entries(v.id, in_force=True)]
        asked = 0
        for word in grammar.table:
            if word.slot not in ("term", "grade", "trend", "age", "quantity"):
                continue
            if (word.slot, word.id) == ("quantity", "hoof_angle"):
                continue  # both its forms are tested below
            for limb in ("LF", "LH"):
                text = f"{word.forms[-1]} {limb}"
                question = understand(text, grammar, log, TODAY).question
                hits = {e.id for u in ask(log, question, None).utterances for e in u.entries}
                plain = {
                    e.id for e in entries if e.body.get(word.slot) == word.id and e.limb == limb
                }
                # A plan for the next time names things too, in its own words.
                own = {e.id for e in entries if e.kind in ("plan", "shoe", "remark")}
                assert plain - hits == set(), text
                assert hits - plain <= own, text
                asked += bool(plain)
        assert asked > 20


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_an_old_log_is_filled_as_if_it_had_been_kept_all_along(
    seed: int, tmp_path_factory: pytest.TempPathFactory
):
    new = tmp_path_factory.mktemp("log") / "new.db"
    _talk(new, load(), seed, 60)
    old = new.with_name("old.db")
    with Log.open(old):
        pass
    conn = sqlite3.connect(old)
    names = [
        row[0]
        for row in conn.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND (name LIKE '%findable%'"
            " OR name LIKE 'utterances_words%')"
        )
    ]
    for name in names:
        conn.execute(f"DROP TRIGGER {name}")
    for view in ("entry_words", "utterance_words"):
        conn.execute(f"DROP VIEW {view}")
    for table in ("findable", "findable_words", "words_said"):
        conn.execute(f"DROP TABLE {table}")
    conn.execute("ATTACH ? AS new", [str(new)])
    for table in ("horses", "visits", "utterances", "entries", "marks", "utterance_marks"):
        conn.execute(f"INSERT INTO main.{table} SELECT * FROM new.{table} ORDER BY rowid")
    conn.commit()
    conn.execute("DETACH new")
    conn.executescript(f"BEGIN;{schema.MIGRATIONS[FINDABLE]}COMMIT;")
    conn.close()
    rows, words, counts = contents(new)  # type: ignore[misc]
    old_rows, old_words, old_counts = contents(old)  # type: ignore[misc]
    assert sorted(map(str, rows)) == sorted(map(str, old_rows))
    assert (words, counts) == (old_words, old_counts)


def test_a_log_of_the_version_before_is_brought_up(path, grammar):
    conn = sqlite3.connect(path)
    schema.migrate(Database(conn, execute_plugins=False), schema.MIGRATIONS[:FINDABLE])
    conn.execute("INSERT INTO horses (id, name, name_key, created) VALUES ('h','Ada','ada','x')")
    conn.execute("INSERT INTO visits VALUES ('v','h','2026-05-14T12:00:00+00:00','typed',NULL)")
    conn.execute(
        "INSERT INTO utterances VALUES ('u','v',1,0,1,'x','thrush','recorded',0.9,NULL,'LF',"
        "'[]','[]',NULL,NULL)"
    )
    body = json.dumps({"kind": "finding", "limb": "LF", "term": "thrush"})
    conn.execute(
        "INSERT INTO entries (id, utterance_id, seq, kind, limb, body, created_at, origin) "
        "VALUES ('e','u',1,'finding','LF',?,'x','heard')",
        [body],
    )
    conn.execute("INSERT INTO marks VALUES ('e',1,'heard','x','voice',NULL,'u','c',NULL)")
    conn.commit()
    conn.close()
    with Log.open(path) as log:
        assert found(log, grammar, "ada thrush LF") == ["thrush"]


def test_erased_rows_leave_the_index(log, say, visit, grammar, path):
    keep, gone = visit("Thistle", "2026-05-14"), visit("Marigold", "2026-05-15")
    say(keep, "thrush in the frog", "LF")
    say(keep, "remark owner was late")
    say(gone, "severe thrush in the frog", "LF")
    say(gone, "remark owner whispered zanzibar")
    say(gone, "gibberish quokka", "LF", confidence=0.1)
    log.erase_horse(log.horse("Marigold").id, "owner")
    assert found(log, grammar, "thrush") == ["thrush in the frog"]
    assert found(log, grammar, "owner") == ["remark owner was late"]
    assert "late" in log.words_said()
    assert not {"zanzibar", "quokka"} & set(log.words_said())
    log.close()
    rows, _, counts = contents(path)  # type: ignore[misc]
    assert len(rows) == 2
    # The full-text index is whole, and says nothing of what is gone.
    with sqlite3.connect(path) as conn:
        conn.execute("INSERT INTO findable_words (findable_words) VALUES ('integrity-check')")
    conn.close()
    assert not {"zanzibar", "quokka"} & {term for term, _ in counts}
    assert b"zanzibar" not in path.read_bytes()
    assert b"quokka" not in path.read_bytes()


def test_a_disputed_entry_is_doubtful(log, say, visit, grammar):
    id = visit("Thistle", "2026-05-14")
    one = say(id, "thrush in the frog", "LF")
    assert found(log, grammar, "doubtful") == []
    with log._writing() as db:
        db.table("conflicts").insert(
            {
                "entry_id": one.entry_ids[0],
                "change": "c",
                "utterance_id": one.utterance_id,
                "text": "two machines differ",
                "other": "[]",
                "at": "2026-05-15T12:00:00.000+00:00",
            }
        )
    assert found(log, grammar, "doubtful") == ["thrush in the frog"]
    log.confirm(one.entry_ids, "review")
    assert found(log, grammar, "doubtful") == []
