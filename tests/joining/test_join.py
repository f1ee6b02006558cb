"""Two logs that both grew become one: nothing lost, nothing twice, no judgement silently won."""

import os
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from sqlite_utils import Database

from handsfree.errors import LogError
from handsfree.grammar import load
from handsfree.histories import history
from handsfree.joining import Joined, join
from handsfree.joining.join import LEFT, MERGED
from handsfree.log import Log, schema
from handsfree.log.reach import tables
from handsfree.records.entries import Finding, to_json
from handsfree.review.desk import Desk

BRUISE = to_json(Finding(limb="LH", zone="heel", side="lateral", term="bruise"))
CORN = to_json(Finding(limb="LH", zone="heel", term="corn"))
CRACK = to_json(Finding(limb="LH", zone="quarter", term="crack"))


@contextmanager
def both(practice) -> Iterator[tuple[Log, Log]]:
    with Log.open(practice.a) as a, Log.open(practice.b) as b:
        yield a, b


def joined_both_ways(practice, content) -> tuple[Joined, Joined]:
    """A takes B as it was, B takes A as it was; both must then hold the same, and stay so."""
    before = practice.b.with_name("b-before.db")
    with both(practice) as (a, b):
        with sqlite3.connect(before) as copy:
            b._db.conn.backup(copy)
        second = join(b, practice.a)
        first = join(a, before)
        assert content(a) == content(b)
        once = content(a)
        assert join(a, practice.b).nothing
        assert join(b, practice.a).nothing
        assert content(a) == content(b) == once
        assert a.check() == b.check() == []
    return first, second


def test_what_each_did_alone_is_there_once(practice, visited, say, content) -> None:
    visit, said = visited
    with both(practice) as (a, b):
        a.confirm(said.entry_ids, "review")
        say(a, visit, CORN, heard="corn")
        other = b.start_visit("microphone", b.add_horse("Duke").id)
        say(b, other.id, CRACK, heard="crack", sound=b"fLaC123")
        say(b, visit, heard="not understood at all")
    first, _ = joined_both_ways(practice, content)
    assert first.horses_added == ("Duke",)
    assert (first.new["visits"], first.new["utterances"], first.new["sounds"]) == (1, 2, 1)
    assert first.disputed == ()
    with both(practice) as (a, b):
        assert [e.status for e in a.entries(visit)] == ["confirmed", "heard"]
        assert [u.heard for u in a.utterances(visit)] == [
            *("left hind outside heel bruise", "corn", "not understood at all")
        ]
        assert [u.seq for u in a.utterances(visit)] == [1, 2, 3]
        assert b.sound(b.utterances(other.id)[0].id) == b"fLaC123"


def test_one_horse_under_two_ids_is_one_horse(practice, say, content) -> None:
    with both(practice) as (a, b):
        ours = a.add_horse("Bramble", "heavy")
        say(a, a.start_visit("typed", ours.id).id, BRUISE)
        theirs = b.add_horse("BRAMBLE ", None, "Shire")
        say(b, b.start_visit("typed", theirs.id).id, CORN)
    first, _ = joined_both_ways(practice, content)
    assert first.horses_joined == ("BRAMBLE",)
    with both(practice) as (a, b):
        (horse,) = a.horses()
        assert (horse.id, horse.kind, horse.breed) == (ours.id, "heavy", "Shire")
        assert len(history(a, horse).visits[0].notes) == 2
        assert b.horse("bramble") == horse


def test_facts_that_differ_are_told_and_the_last_said_is_taken(practice, visited, content) -> None:
    with both(practice) as (a, b):
        a.add_horse("Bramble", breed="Shire")
        b.add_horse("Bramble", breed="Clydesdale")
    first, second = joined_both_ways(practice, content)
    (told,) = first.facts
    assert (told.horse, told.fact, told.taken, told.other) == (
        *("Bramble", "breed", "Clydesdale"),
        "Shire",
    )
    assert second.facts == first.facts
    with both(practice) as (a, b):
        a.add_horse("Bramble", breed="Shire")
        assert join(b, practice.a).facts == ()  # it was changed knowing the other
        assert b.horses()[0].breed == "Shire"


def test_a_fact_said_after_the_horse_was_added(practice, content) -> None:
    with both(practice) as (_, b):
        b.add_horse("Bramble")
        b.add_horse("Bramble", born="2014")
    joined_both_ways(practice, content)
    with both(practice) as (a, b):
        assert a.horses() == b.horses()
        assert a.horses()[0].born == "2014"


def test_confirmed_here_and_struck_there_is_asked(practice, visited, content) -> None:
    visit, said = visited
    with both(practice) as (a, b):
        a.confirm(said.entry_ids, "review")
        b.strike(said.entry_ids, "review")
    first, _ = joined_both_ways(practice, content)
    (asked,) = first.disputed
    assert asked.text == "two machines differ: one confirmed it, one struck it"
    assert (asked.stands, asked.other) == ((BRUISE,), ())
    with Log.open(practice.b) as log:
        (noted,) = history(log, log.horses()[0]).visits[0].notes
        assert noted.doubtful
        desk = Desk(log, load(), visit)
        (item,) = desk.items
        assert (item.state, item.why) == ("doubtful", asked.text)
        assert desk.strike(item).changed
        assert desk.items == ()
        assert log.conflicts(visit) == []
        desk.undo()
        assert desk.items[0].why == asked.text
        desk.accept(desk.items[0])
        assert desk.items[0].state == "confirmed"
    with both(practice) as (a, b):  # the choice counts on the other machine too
        assert join(a, practice.b).disputed == ()
        assert [e.status for e in a.entries(visit)] == ["confirmed"]
        assert content(a) == content(b)


def test_corrected_to_two_things_offers_both(practice, visited, content) -> None:
    visit, said = visited
    with both(practice) as (a, b):
        a.correct(said.utterance_id, [CORN], "review", said.entry_ids)
        b.correct(said.utterance_id, [CRACK], "review", said.entry_ids)
    (asked,) = joined_both_ways(practice, content)[0].disputed
    assert asked.text == "two machines differ: corrected to two different things"
    assert (asked.stands, asked.other) == ((CRACK,), (CORN,))
    with Log.open(practice.a) as log:
        desk = Desk(log, load(), visit)
        (item,) = desk.items
        assert (item.state, item.why, len(item.parts)) == ("doubtful", asked.text, 1)
        assert item.alternatives[0].text == "LH heel corn"
        assert desk.choose(item, 1).text.startswith("now: LH heel corn")
        (item,) = desk.items
        assert (item.state, item.parts[0].text) == ("confirmed", "heel corn")
        assert "two machines differ" in " ".join(desk.history(item))
    with both(practice) as (a, b):
        assert join(b, practice.a).disputed == ()
        assert [e.body for e in b.entries(visit, in_force=True)] == [CORN]


def test_the_same_correction_twice_is_one(practice, visited, content) -> None:
    visit, said = visited
    with both(practice) as (a, b):
        for log in (a, b):
            log.correct(said.utterance_id, [CORN], "review", said.entry_ids)
    assert joined_both_ways(practice, content)[0].disputed == ()
    with Log.open(practice.a) as log:
        (entry,) = log.entries(visit, in_force=True)
        assert (entry.body, entry.status) == (CORN, "confirmed")
        assert len(log.entries(visit)) == 3


@pytest.mark.parametrize("passed", [False, True])
def test_unclear_words_read_in_two_ways_are_asked(
    practice, visited, say, content, passed: bool
) -> None:
    visit, _ = visited
    with Log.open(practice.a) as log:
        unclear = say(log, visit, heard="quarter something").utterance_id
    practice.copy()
    with both(practice) as (a, b):
        a.correct(unclear, [CRACK], "review")
        if passed:
            b.strike([], "review", passes=[unclear])
        else:
            b.correct(unclear, [CORN], "review")
    (asked,) = joined_both_ways(practice, content)[0].disputed
    assert len(asked.stands) == 1
    assert len(asked.other) == (0 if passed else 1)
    assert asked.text == "two machines differ: " + (
        "one passed it over, one put it in" if passed else "two different things were put in"
    )


def test_two_notes_of_one_utterance_judged_apart_need_no_question(practice, say, content) -> None:
    with Log.open(practice.a) as log:
        visit = log.start_visit("typed").id
        said = say(log, visit, BRUISE, CORN)
    practice.copy()
    with both(practice) as (a, b):
        a.strike(said.entry_ids[:1], "review")
        b.correct(said.utterance_id, [CRACK], "review", said.entry_ids[1:])
    assert joined_both_ways(practice, content)[0].disputed == ()
    with Log.open(practice.a) as log:
        assert [e.body for e in log.entries(visit, in_force=True)] == [CRACK]


@pytest.mark.parametrize("later", ["moved", "confirmed"])
def test_moved_on_one_and_confirmed_on_the_other_is_asked_in_both_places(
    practice, visited, content, later
) -> None:
    visit, said = visited
    with both(practice) as (a, b):
        there = a.start_visit("typed", a.add_horse("Duke").id).id
        if later == "moved":
            b.confirm(said.entry_ids, "review")
            time.sleep(0.002)  # marks of one millisecond have no order of their own
            a.move(said.entry_ids, there, "review")
        else:
            a.move(said.entry_ids, there, "review")
            time.sleep(0.002)
            b.confirm(said.entry_ids, "review")
    joined_both_ways(practice, content)
    with Log.open(practice.b) as log:
        for each in (visit, there):
            assert [i.state for i in Desk(log, load(), each).items] == ["doubtful"]


def test_histories_are_in_order_of_time(practice, visited, content) -> None:
    visit, said = visited
    (entry,) = said.entry_ids
    with both(practice) as (a, b):
        a.confirm([entry], "first")
        b.confirm([entry], "second")
        a.undo(visit, "first")
        a.confirm([entry], "third")
    joined_both_ways(practice, content)
    with both(practice) as (a, b):
        assert [m.by for m in a.history(entry)] == ["voice", "first", "second", "first", "third"]
        assert [m.seq for m in b.history(entry)] == [1, 2, 3, 4, 5]
        with pytest.raises(LogError, match="never changed"), b._writing() as db:
            db.execute("UPDATE marks SET status = 'struck'")


def test_a_strike_survives_an_undone_confirmation_elsewhere(practice, visited, content) -> None:
    visit, said = visited
    with both(practice) as (a, b):
        b.strike(said.entry_ids, "review")
        a.confirm(said.entry_ids, "review")
        a.undo(visit, "review")
    assert joined_both_ways(practice, content)[0].disputed == ()
    with Log.open(practice.a) as log:
        assert log.entries(visit, in_force=True) == []


def test_lessons_and_what_was_forgotten(practice, visited, content) -> None:
    visit, said = visited
    with Log.open(practice.a) as log:
        log.correct(
            said.utterance_id, [CORN], "review", said.entry_ids, taught=("heal born", "heel corn")
        )
    practice.copy()
    with both(practice) as (a, b):
        assert b.forget_lesson("heal born", "heel corn")
        utterance = a.utterances(visit)[0].id
        a.correct(utterance, [CRACK], "review", taught=("quarter crab", "quarter crack"))
    joined_both_ways(practice, content)
    with both(practice) as (a, b):
        for log in (a, b):
            assert [lesson.meant for lesson in log.lessons()] == ["quarter crack"]


def test_looking_writes_nothing(practice, visited, content) -> None:
    _, said = visited
    with both(practice) as (a, b):
        a.confirm(said.entry_ids, "review")
        b.strike(said.entry_ids, "review")
        b.add_horse("Duke")
        before = content(a)
        looked = join(a, practice.b, look=True)
        assert content(a) == before
        assert (looked.horses_added, len(looked.disputed)) == (("Duke",), 1)
        assert join(a, practice.b) == looked


@pytest.mark.parametrize("version", range(1, len(schema.MIGRATIONS)))
def test_an_older_format_is_taken_and_left_as_it_is(practice, version: int) -> None:
    old = Database(practice.b)
    schema.migrate(old, schema.MIGRATIONS[:version])
    for sql in (
        """INSERT INTO visits (id, started_at, source)
            VALUES ('v1', '2026-01-01T00:00:00+00:00', 'typed')""",
        """INSERT INTO utterances (id, visit_id, seq, recorded_at, heard, status, engines,
            alternatives) VALUES ('u1', 'v1', 1, '2026-01-01T00:00:00+00:00', 'corn', 'recorded',
            '[]', '[]')""",
        """INSERT INTO entries (id, utterance_id, seq, kind, limb, body, created_at, origin)
            VALUES ('e1', 'u1', 1, 'finding', 'LH',
            '{"kind": "finding", "limb": "LH", "term": "corn"}', 't', 'heard')""",
        """INSERT INTO marks VALUES ('e1', 1, 'heard', '2026-01-01T00:00:00+00:00', 'voice', NULL,
            'u1', 'c1', NULL)""",
    ):
        old.execute(sql)
    old.conn.commit()
    old.close()
    bytes_before = practice.b.read_bytes()
    with Log.open(practice.a) as log:
        assert join(log, practice.b).new["entries"] == 1
        assert join(log, practice.b).nothing
        assert log.entries("v1")[0].body["term"] == "corn"
    assert practice.b.read_bytes() == bytes_before


LOADED = """
import handsfree.joining
from handsfree.language.known import known_ids
known_ids()  # the grammar may lie where an ordinary user cannot look
"""


def test_a_log_that_cannot_be_written(practice, visited) -> None:
    folder = practice.a.parent / "stick"
    folder.mkdir()
    practice.b.rename(folder / "b.db")
    (folder / "b.db").chmod(0o444)
    folder.chmod(0o555)
    script = (
        "import sys; from handsfree.log import Log; from handsfree.joining import join\n"
        "print(join(Log.open(sys.argv[1]), __import__('pathlib').Path(sys.argv[2])).new['visits'])"
    )
    if os.geteuid() == 0:
        os.chown(practice.a.parent, 65534, 65534)
        os.chown(practice.a, 65534, 65534)
        script = f"import os; os.setgroups([]); os.setgid(65534); os.setuid(65534)\n{script}"
        for each in practice.a.parents:
            if each.owner() == "root" and each != Path("/"):
                each.chmod(each.stat().st_mode | 0o055)
    ours = practice.a.parent / "new.db"
    done = subprocess.run(
        [sys.executable, "-c", f"{LOADED}\n{script}", ours, folder / "b.db"],
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
    )
    folder.chmod(0o755)
    assert (done.stdout, done.stderr) == ("1\n", "")
    assert [each.name for each in folder.iterdir()] == ["b.db"]


def test_what_was_erased_here_does_not_come_back(practice, visited, say) -> None:
    with Log.open(practice.a) as a:
        a.erase_horse(a.horses()[0].id, "test")
        done = join(a, practice.b)
        assert (done.left_out, done.nothing) == (1, True)
        assert a.horses() == []
        assert a.visits() == []


def test_thinned_sound_does_not_come_back(practice, say) -> None:
    with Log.open(practice.a) as log:
        visit = log.start_visit("typed").id
        said = say(log, visit, CORN, sound=b"fLaC1")
    practice.copy()
    with both(practice) as (a, b):
        a.thin_sounds([said.utterance_id], "test", "old")
        join(a, practice.b)
        assert a.sound(said.utterance_id) is None
        join(b, practice.a)
        assert b.sound(said.utterance_id) == b"fLaC1"


def test_every_table_is_decided_about(practice) -> None:
    with Log.open(practice.a) as log:
        unknown = set(tables(log._db)) - {*MERGED, *LEFT}
    assert not unknown, f"merge neither takes nor leaves: {unknown}"


def spoil(path: Path, *statements: str) -> None:
    with sqlite3.connect(path) as db:
        for (name,) in db.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        ).fetchall():
            db.execute(f"DROP TRIGGER {name}")
        db.execute("PRAGMA ignore_check_constraints = ON")
        for sql in statements:
            db.execute(sql)
    db.close()


@pytest.mark.parametrize(
    ("statement", "reason"),
    [
        ('UPDATE entries SET body = \'{"kind": "finding", "limb": "RF"}\'', "different entr"),
        ("UPDATE utterances SET id = 'x', heard = CAST(x'ff' AS TEXT)", "utf-8|no such"),
        ("UPDATE utterances SET id = 'x', heard = x'00'", "heard is no text"),
        ("UPDATE utterances SET id = 'x', recorded_at = 'yesterday'", "recorded_at is no time"),
        ("UPDATE visits SET id = 'x', started_at = '2026-13-45'", "started_at is no time"),
        ("UPDATE entries SET id = 'x', body = '[]'", "body cannot be read"),
        ("UPDATE entries SET id = 'x', body = '{\"kind\": \"nonesuch\"}'", "unknown kind"),
        ("UPDATE entries SET id = 'x', limb = 'RF'", "another kind or limb"),
        ("UPDATE marks SET change = 'x', at = 7.5", "at is no"),
        ("UPDATE horses SET name = 'Duke'", "not as it is looked for"),
        ("DROP TABLE notices", "notices is not as it should be"),
        ("ALTER TABLE lessons ADD COLUMN more TEXT", "lessons is not as it should be"),
        ("PRAGMA user_version = 999", "newer version"),
        ("PRAGMA application_id = 7", "no log of this program"),
    ],
)
def test_a_spoiled_log_is_refused_whole(
    practice, visited, content, statement: str, reason: str
) -> None:
    spoil(practice.b, "PRAGMA writable_schema = OFF", statement)
    with Log.open(practice.a) as log:
        before = content(log)
        with pytest.raises(LogError, match=f"(?i){reason}") as caught:
            join(log, practice.b)
        assert "\n" not in str(caught.value)
        assert content(log) == before
        log.add_horse("Duke")  # nothing is locked


def test_no_log_at_all(practice, visited, tmp_path: Path) -> None:
    (tmp_path / "text.db").write_text("left hind outside heel bruise\n" * 99)
    (tmp_path / "empty.db").write_bytes(b"")
    with Log.open(practice.a) as log:
        for name, reason in (
            ("text.db", "not a log"),
            ("empty.db", "no log"),
            ("missing.db", "no such log"),
            (".", "folder"),
            ("a.db", "this log itself"),
        ):
            with pytest.raises(LogError, match=reason):
                join(log, tmp_path / name)


def test_a_view_in_the_place_of_a_table_is_not_read(practice, visited) -> None:
    spoil(
        practice.b,
        "ALTER TABLE sounds RENAME TO old",
        """CREATE VIEW sounds AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n)
        SELECT 'u' || i AS utterance_id, zeroblob(1000000) AS flac FROM n""",
    )
    with Log.open(practice.a) as log, pytest.raises(LogError, match="sounds is not as it should"):
        join(log, practice.b)


def test_damage_is_told_of_the_log_that_is_damaged(practice, visited, say, content) -> None:
    with Log.open(practice.b) as log:
        visit = log.start_visit("typed", log.add_horse("Duke").id)
        for _ in range(40):
            say(log, visit.id, CORN, sound=os.urandom(500))
        log._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    whole = practice.b.read_bytes()
    with Log.open(practice.a) as log:
        before = content(log)
        blamed = 0
        for start in range(0, len(whole), 4096):
            at = start or 100  # the first page's head says that it is a log
            practice.b.write_bytes(whole[:at] + b"\xff" * 1000 + whole[at + 1000 :])
            told = ""
            try:
                join(log, practice.b, look=True)
            except LogError as error:
                told = str(error)
            assert (str(practice.b) in told) == bool(told)
            assert str(practice.a) not in told
            blamed += bool(told)
        assert blamed > 10
        assert content(log) == before


def test_a_row_that_no_log_can_hold_is_told_of_the_log_that_has_it(practice, visited) -> None:
    spoil(practice.b, "UPDATE utterances SET id = 'x', limb = 'left', seq = 9")
    with Log.open(practice.a) as log, pytest.raises(LogError, match="limb") as caught:
        join(log, practice.b)
    assert str(practice.b) in str(caught.value)
    assert str(practice.a) not in str(caught.value)
