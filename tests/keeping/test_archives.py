"""Archives: whole, readable by others, and taken in elsewhere without loss or mixing up."""

import io
import json
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import bagit
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.errors import HandsfreeError, LogError
from handsfree.joining import join
from handsfree.keeping import archive, taking_in, unpacking
from handsfree.keeping.checking import look_through
from handsfree.keeping.taking_in import Choices, TakenIn
from handsfree.keeping.vouching import ArchiveRefused
from handsfree.log import Log, UtteranceRow
from handsfree.log.reach import related
from handsfree.sheets.tables import json_pieces

AT = datetime(2026, 11, 25, 8, 15, tzinfo=UTC)


def content(log: Log) -> dict[str, Any]:
    """All of a log as its export has it, and the sounds."""
    whole: dict[str, Any] = json.loads(b"".join(json_pieces(log, every=True)))
    with log.snapshot() as db:
        whole["sounds"] = sorted(db.execute("SELECT utterance_id, flac FROM sounds").fetchall())
        # Rows that the export leaves out; their order numbers are of one file alone.
        for table in related(db):
            rows = [dict(r) for r in db.query(f"SELECT * FROM {table}") if table != "sounds"]
            for row in rows:
                for number in ("marks_before", "up_to") + ("seq",) * table.startswith("lessons"):
                    row.pop(number, None)
            whole[table] = sorted(json.dumps(row, sort_keys=True) for row in rows)
    return whole


def take(log: Log, source: Path, choices: Choices | None = None) -> TakenIn:
    with tempfile.TemporaryDirectory() as room:
        return taking_in.take_in(log, unpacking.open_bag(source, Path(room)), choices)


@contextmanager
def unpacked(source: Path, ending: str) -> Iterator[Path]:
    """The bag's folder as a general program unpacks it."""
    with tempfile.TemporaryDirectory() as room:
        if source.is_dir():
            yield source
        else:
            format = {".zip": "zip", ".tar": "tar", ".tar.gz": "gztar"}[ending]
            shutil.unpack_archive(source, room, format)
            (top,) = Path(room).iterdir()
            yield top


@pytest.mark.parametrize("ending", ["", ".zip", ".tar", ".tar.gz"])
@pytest.mark.parametrize("wav", [False, True])
def test_an_archive_of_all_makes_the_same_log_elsewhere(
    log: Log, path: Path, ending: str, wav: bool
) -> None:
    target = path.with_name(f"all{ending}")
    done = archive.write(log, target, AT, wav=wav)
    assert (done.horses, done.visits, done.sounds) == (2, 6, 12)
    with unpacked(target, ending) as folder:
        bag = bagit.Bag(str(folder))  # the reference implementation
        bag.validate()
        assert bag.info["Bagging-Date"] == "2026-11-25"
    with Log.open(path.with_name("new.db")) as other:
        taken = take(other, target)
        assert taken.conflicts == []
        assert taken.cut_off == 0
        assert content(other) == content(log)
        again = take(other, target)
        assert sum(again.added.values()) == 0
        assert again.conflicts == []
        assert content(other) == content(log)
    assert look_through(path.with_name("new.db"), sounds=True) == []


def test_what_was_undone_elsewhere_is_the_same_as_here(log: Log, path: Path) -> None:
    visit = log.visits()[-1].id
    unclear = next(u for u in log.utterances(visit) if u.status == "unclear")
    log.strike((), "review", passes=[unclear.id])
    entry = log.entries(visit, in_force=True)[-1]
    log.confirm([entry.id], "review")
    target = path.with_name("all.zip")
    archive.write(log, target, AT)
    with Log.open(path.with_name("new.db")) as other:
        filler = other.start_visit("typed", other.add_horse("Filler").id)
        for _ in range(30):  # so that the order numbers of rows are others there
            row = UtteranceRow(heard="x", status="recorded")
            other.append(filler.id, row, [{"kind": "work", "limb": "LF", "action": "trimmed"}])
        take(other, target)
        for _ in range(5):
            one, two = log.undo(visit, "review"), other.undo(visit, "review")
            assert (one is None) == (two is None)
            if one is not None and two is not None:
                assert (one.what, dict(one.now)) == (two.what, dict(two.now))
                assert one.utterances == two.utterances
        assert other.passed(visit) == log.passed(visit) == frozenset()


def test_an_archive_of_one_horse_holds_nothing_of_another(log: Log, path: Path) -> None:
    target = path.with_name("bess")
    horse = log.horse("bess")
    assert horse is not None
    done = archive.write(log, target, AT, horse)
    assert (done.horses, done.visits) == (1, 3)
    bagit.Bag(str(target)).validate()
    every = b"".join(p.read_bytes() for p in target.rglob("*") if p.is_file())
    assert b"Bess" in every
    assert b"Duke" not in every
    assert b"frush 1" not in every  # a lesson of the other horse
    with Log.open(path.with_name("new.db")) as other:
        taken = take(other, target)
        assert other.horse_names() == ["Bess"]
        # What was moved here from the other horse's visit has lost where it came from.
        assert taken.cut_off == 1
        assert taken.conflicts == []
        assert [v.id for v in other.visits()] == [v.id for v in log.visits(horse="bess")]
        assert {(e.id, e.status) for v in other.visits() for e in other.entries(v.id)} == {
            (e.id, e.status) for v in log.visits(horse="bess") for e in log.entries(v.id)
        }
        # The rest comes later, and what is there already is no conflict.
        archive.write(log, path.with_name("all.zip"), AT)
        later = take(other, path.with_name("all.zip"))
        assert later.conflicts == []
        assert other.horse_names() == ["Bess", "Duke O'Brien"]
    assert look_through(path.with_name("new.db")) == []


class _Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.texts: list[str] = []
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.links += [v or "" for k, v in attrs if k in ("href", "src")]

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def test_the_pages_show_what_was_said_and_run_nothing(path: Path) -> None:
    evil = "<script>alert(1)</script>\" onerror=x ' & \x1b[2J \u202e"
    with Log.open(path) as log:
        horse = log.add_horse(f"Be{evil}ss")
        visit = log.start_visit("microphone", horse.id, evil)
        remark = {"kind": "remark", "limb": "LH", "text": evil}
        sound = io.BytesIO()
        soundfile.write(sound, [0.0, 0.1] * 800, 16000, format="FLAC")
        row = UtteranceRow(heard=evil, status="recorded", confidence=0.4)
        log.append(visit.id, row, [remark], sound.getvalue())
        archive.write(log, path.with_name("bag"), AT)
    data = path.with_name("bag") / "data"
    pages = [p for p in data.rglob("*.html")]
    assert len(pages) == 2
    for each in pages:
        page = _Page()
        page.feed(each.read_text("utf-8"))
        assert "script" not in page.tags
        assert "img" not in page.tags
        assert "<script>alert(1)</script>" in "".join(page.texts)
        assert not {"\x1b", "\u202e"} & set(each.read_text("utf-8"))
        for link in page.links:
            assert (each.parent / link).resolve().is_relative_to(data)
            assert (each.parent / link).is_file(), link
    assert any("doubtful" in p.read_text("utf-8") for p in pages)


def test_what_was_judged_differently_is_asked_and_nothing_is_lost(log: Log, path: Path) -> None:
    target = path.with_name("all.zip")
    archive.write(log, target, AT)
    entry = next(e for e in log.entries(log.visits()[-1].id) if e.status == "heard")
    here = log.visits()[-1].id
    with Log.open(path.with_name("new.db")) as other:
        take(other, target)
        other.confirm([entry.id], "kitchen")
        row = UtteranceRow(heard="said there", status="recorded")
        theirs = other.append(here, row, [{"kind": "work", "limb": "LF", "action": "trimmed"}])
        archive.write(other, path.with_name("theirs.zip"), AT)
    log.strike([entry.id], "van")
    mine = log.append(here, UtteranceRow(heard="said here", status="unclear"))
    done = take(log, path.with_name("theirs.zip"))
    assert done.conflicts == []
    assert done.joined is not None
    (asked,) = done.joined.disputed
    assert asked.text == "two machines differ: one confirmed it, one struck it"
    assert [m.status for m in log.history(entry.id)][-3:-1] == ["confirmed", "struck"]
    assert [c.text for c in log.conflicts(here)] == [asked.text]
    # Both numbers were the same; both utterances stay, ours where it was.
    assert [u.id for u in log.utterances(here)][-2:] == [mine.utterance_id, theirs.utterance_id]
    assert log.check() == []


def rows(log: Log) -> dict[str, list[tuple[Any, ...]]]:
    """Every row at its place, but for what serves finding; sounds have no order of their own."""
    with log.snapshot() as db:
        return {
            table: db.execute(
                "SELECT * FROM sounds ORDER BY utterance_id"
                if table == "sounds"
                else f"SELECT rowid, * FROM {table} ORDER BY rowid"
            ).fetchall()
            for table in related(db)
        }


@pytest.mark.parametrize("into", ["an empty log", "a log that grew from it", "another log"])
def test_taking_in_and_merging_give_equal_logs(log: Log, path: Path, into: str) -> None:
    theirs = path.with_name("theirs.db")
    with Log.open(theirs) as other:
        if into == "a log that grew from it":
            with log.snapshot() as db:
                db.conn.backup(other._db.conn)
        elif into == "another log":
            visit = other.start_visit("typed", other.add_horse("Thunder").id)
            other.append(visit.id, UtteranceRow(heard="frog", status="unclear"))
        if other.visits() and other.lessons():
            visit = other.visits()[-1]
            entry = next(e for e in other.entries(visit.id) if e.status == "heard")
            other.strike([entry.id], "van")
            other.append(visit.id, UtteranceRow(heard="said there", status="unclear"))
            log.confirm([entry.id], "kitchen")
            log.append(visit.id, UtteranceRow(heard="said here", status="unclear"))
        archive.write(log, path.with_name("all.zip"), AT)
        copy = path.with_name("copy.db")
        with other.snapshot() as db, sqlite3.connect(copy) as conn:
            db.conn.backup(conn)
        with Log.open(copy) as merged:
            told = join(merged, path)
            taken = take(other, path.with_name("all.zip"))
            assert taken.joined == told
            assert rows(other) == rows(merged)
            if into == "a log that grew from it":
                assert len(told.disputed) == 1


BAD_ROWS = {
    "an entry of another limb": ("entries", {"limb": "RF"}, "another kind or limb"),
    "no time": ("utterances", {"recorded_at": "noon"}, "recorded_at is no time"),
    "an id that is none": ("notices", {"id": "a b"}, "its id is no id"),
    "a list of nothing": ("utterances", {"alternatives": "[1]"}, "a list of something else"),
    "a fact at no time": ("horse_facts", {"at": "noon"}, "at is no time"),
    "a name nobody would find": ("horses", {"name_key": "x"}, "not as it is looked for"),
    "another entry under one id": ("entries", {"origin": "corrected"}, "has different entries"),
}


@pytest.mark.parametrize("which", BAD_ROWS)
def test_a_bad_row_is_refused_alike_in_an_archive_and_in_a_log(
    log: Log, path: Path, which: str
) -> None:
    table, change, text = BAD_ROWS[which]
    log.add_horse("Bess", breed="Clydesdale")  # so that there is a fact of it
    with Log.open(path.with_name("ours.db")) as ours:
        if "different" in text:
            join(ours, path)
        conn = sqlite3.connect(path)
        for (name,) in conn.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'"):
            conn.execute(f"DROP TRIGGER {name}")
        ((column, value),) = change.items()
        at = f"(SELECT min(rowid) FROM {table})"
        conn.execute(f"UPDATE {table} SET {column} = ? WHERE rowid = {at}", [value])
        conn.commit()
        conn.close()
        before = rows(ours)
        with tempfile.TemporaryDirectory() as room:
            source = Path(room) / "bad"
            archive.write(log, source, AT)
            with pytest.raises(LogError, match=text):
                join(ours, path)
            with pytest.raises(ArchiveRefused, match=text):
                take(ours, source)
            assert rows(ours) == before


def test_horses_called_alike_are_never_mixed_unasked(log: Log, path: Path) -> None:
    horse = log.horse("bess")
    archive.write(log, path.with_name("bess.zip"), AT, horse)
    with Log.open(path.with_name("new.db")) as other:
        own = other.add_horse("BESS", "riding")
        with pytest.raises(LogError, match="another horse called 'Bess'; say --same-horse"):
            take(other, path.with_name("bess.zip"))
        assert other.visits() == []
        take(other, path.with_name("bess.zip"), Choices(rename="Bess of Hill"))
        assert other.horse_names() == ["BESS", "Bess of Hill"]
        assert other.visits(horse="bess") == []
    with Log.open(path.with_name("second.db")) as other:
        own = other.add_horse("BESS", "riding")
        take(other, path.with_name("bess.zip"), Choices(same_horse=True))
        # As after a merge: it is the horse that was added first, on whichever machine.
        assert other.horse_names() == ["Bess"]
        assert own.created > log.horses()[0].created
        assert {v.horse_id for v in other.visits()} == {log.horses()[0].id}
        assert len(other.visits()) == 3
        again = take(other, path.with_name("bess.zip"))  # once answered, it is known
        assert sum(again.added.values()) == 0
        assert again.conflicts == []


def test_one_name_is_not_given_to_all_horses(log: Log, path: Path) -> None:
    archive.write(log, path.with_name("all.zip"), AT)
    with (
        Log.open(path.with_name("new.db")) as other,
        pytest.raises(LogError, match="for an archive of one horse"),
    ):
        take(other, path.with_name("all.zip"), Choices(rename="X"))


def test_recordings_come_with_their_visits(log: Log, path: Path) -> None:
    visit = log.visits()[-1].id
    digest = "ab" * 32
    with log._writing() as db:
        db.execute("INSERT INTO recordings_taken VALUES (?, 'a.wav', '2026', '2026')", [digest])
        db.execute("INSERT INTO recording_visits VALUES (?, ?)", [digest, visit])
    archive.write(log, path.with_name("all.zip"), AT)
    with Log.open(path.with_name("new.db")) as other:
        take(other, path.with_name("all.zip"))
        assert content(other) == content(log)


words = st.text(st.characters(exclude_categories=("Cs",)), min_size=1, max_size=12)
bodies = st.one_of(
    st.builds(lambda t: {"kind": "remark", "limb": "LH", "text": t}, words),
    st.builds(
        lambda v: {"kind": "measurement", "limb": None, "quantity": "toe_length", "value": v},
        st.floats(-1e6, 1e6),
    ),
    st.just({"kind": "work", "limb": "LF", "action": "trimmed"}),
)
steps = st.lists(
    st.tuples(
        st.sampled_from(["say", "strike", "confirm", "correct", "undo", "move"]),
        st.integers(0, 5),
        words,
        st.lists(bodies, max_size=3),
    ),
    max_size=12,
)


@given(steps, st.sampled_from([".zip", ".tar.gz", ""]))
@settings(max_examples=25, deadline=None)
def test_any_log_comes_through_an_archive_whole(done: Any, ending: str) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with Log.open(folder / "a.db") as log, Log.open(folder / "b.db") as other:
            visits = [log.start_visit("typed").id]
            visits += [log.start_visit("x", log.add_horse(f"H{n}").id).id for n in range(2)]
            for what, number, text, entries in done:
                visit = visits[number % 3]
                ids = [e.id for e in log.entries(visit, in_force=True)][:number]
                if what == "say":
                    status = "recorded" if entries else "unclear"
                    log.append(visit, UtteranceRow(heard=text, status=status), entries)
                elif what == "move" and ids:
                    log.move(ids, visits[(number + 1) % 3], text)
                elif what == "undo":
                    log.undo(visit, "review")
                elif what == "correct" and ids:
                    utterance = log.entries(visit, in_force=True)[0].utterance_id
                    log.correct(utterance, entries, "review", ids, taught=(text, "bruise"))
                elif what == "strike":
                    log.strike(ids, "review")
                elif what == "confirm":
                    log.confirm(ids, "review")
            archive.write(log, folder / f"all{ending}", AT)
            taken = take(other, folder / f"all{ending}")
            assert taken.conflicts == []
            assert content(other) == content(log)
            assert other.check() == []


def test_nothing_is_left_where_no_archive_was_made(log: Log, path: Path) -> None:
    target = path.with_name("all.zip")
    target.write_text("his own")
    with pytest.raises(HandsfreeError, match="is there already"):
        archive.write(log, target, AT)
    assert target.read_text() == "his own"
    with pytest.raises(HandsfreeError, match=r"ends in \.zip or \.tar"):
        archive.write(log, path.with_name("all.rar"), AT)
    conn = sqlite3.connect(path)
    conn.execute("DROP VIEW entries_in_force")
    conn.close()
    with pytest.raises(HandsfreeError):
        archive.write(log, path.with_name("bag"), AT)
    assert not path.with_name("bag").exists()
    assert not [p for p in path.parent.iterdir() if p.name.startswith(".handsfree")]
