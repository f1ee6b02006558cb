"""Logs that grew at random on two machines: joined either way they hold the same, and all of it."""

import random
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from handsfree.joining import join
from handsfree.log import Log
from handsfree.records.entries import Finding, to_json

TERMS = ("bruise", "corn", "crack")
NAMES = ("Bramble", "Duke")
VERBS = ("horse", "visit", "say", "confirm", "strike", "correct", "undo", "pass", "teach", "forget")


def grow(log: Log, say, verb: str, pick: int) -> None:
    """Do one thing to the log, whatever of it there is to do it to."""
    rng = random.Random(pick)
    body = to_json(Finding(limb="LH", term=rng.choice(TERMS)))
    visits = [v.id for v in log.visits()]
    entries = [e for v in visits for e in log.entries(v, in_force=True)]
    if verb == "horse":
        facts = {
            "kind": rng.choice((None, "heavy", "riding")),
            "breed": rng.choice((None, "Shire")),
        }
        log.add_horse(rng.choice(NAMES), **facts, born=rng.choice((None, "2014", "2015")))
    elif verb == "visit" or not visits:
        horses = log.horses()
        log.start_visit("typed", rng.choice(horses).id if horses else None)
    elif verb == "say":
        say(log, rng.choice(visits), *[body] * rng.randrange(3), sound=rng.choice((None, b"fLaC")))
    elif verb == "undo":
        log.undo(rng.choice(visits), "review")
    elif verb == "pass":
        utterances = [u for v in visits for u in log.utterances(v) if u.status == "unclear"]
        if utterances:
            log.strike([], "review", passes=[rng.choice(utterances).id])
    elif verb == "forget":
        for lesson in log.lessons()[:1]:
            log.forget_lesson(lesson.heard, lesson.meant)
    elif verb == "teach":
        for utterance in [u for v in visits for u in log.utterances(v)][:1]:
            log.correct(utterance.id, [body], "review", taught=("heard so", rng.choice(TERMS)))
    elif entries:
        entry = rng.choice(entries)
        if verb == "correct":
            log.correct(entry.utterance_id, [body], "review", [entry.id])
        else:
            getattr(log, verb)([entry.id], "review")


STEPS = st.lists(st.tuples(st.sampled_from(VERBS), st.integers(0, 40)), max_size=10)
BOTH = st.lists(st.tuples(st.booleans(), st.sampled_from(VERBS), st.integers(0, 40)), max_size=16)


@pytest.mark.parametrize("from_nothing", [False, True])
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(common=STEPS, grown=BOTH, later=BOTH)
def test_either_way_gives_the_same(
    practice_in, say, content, from_nothing: bool, common, grown, later
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        practice = practice_in(Path(folder))
        if not from_nothing:
            with Log.open(practice.a) as log:
                log.start_visit("typed", log.add_horse("Bramble").id)
                for verb, pick in common:
                    grow(log, say, verb, pick)
            practice.copy()
        with Log.open(practice.a) as a, Log.open(practice.b) as b:
            for steps in (grown, later):  # joined, grown on, joined again
                for on_a, verb, pick in steps:
                    grow(a if on_a else b, say, verb, pick)
                check(a, b, Path(folder), content)


def ids(log: Log) -> set[str]:
    sql = """SELECT id FROM utterances UNION SELECT id FROM entries UNION SELECT id FROM visits
        UNION SELECT change FROM marks UNION SELECT change FROM utterance_marks
        UNION SELECT id FROM notices UNION SELECT 'sound of ' || utterance_id FROM sounds
        UNION SELECT name_key FROM horses"""
    return {row[0] for row in log._db.execute(sql)}


def check(a: Log, b: Log, folder: Path, content) -> None:
    import sqlite3

    before = folder / "a-before.db"
    before.unlink(missing_ok=True)
    with sqlite3.connect(before) as copy:
        a._db.conn.backup(copy)
    copy.close()
    everything = ids(a) | ids(b)
    agreed = agreements(a, b)
    first = join(a, b.path)
    second = join(b, before)
    assert content(a) == content(b)
    assert [d.text for d in first.disputed] == [d.text for d in second.disputed]
    once = content(a)
    assert everything <= ids(a)
    assert join(a, b.path).nothing
    assert join(b, a.path).nothing
    assert content(a) == content(b) == once
    assert a.check() == []
    for entry_id, status in agreed.items():
        assert a.history(entry_id)[-1].status == status
    for visit in a.visits():
        for conflict in a.conflicts(visit.id):
            disputed = [e for e in a.entries(visit.id) if e.doubt == conflict.text]
            assert disputed
            assert all(e.status == "heard" for e in disputed)


def agreements(a: Log, b: Log) -> dict[str, str]:
    """Entries that stand the same on both, or only on one: what is joined must say so too.

    Left out are those of utterances that both changed: there a question may arise.
    """
    found: dict[str, dict[str, str]] = {}
    changed: dict[str, set[str]] = {}
    for log in (a, b):
        for row in log._db.query("SELECT id, utterance_id, status FROM entries_now"):
            found.setdefault(row["utterance_id"], {}).setdefault(row["id"], row["status"])
            changed.setdefault(row["utterance_id"], set()).add(log.path.name)
    lists = {
        log.path.name: {
            u: [
                tuple(r)
                for r in log._db.execute(
                    # Passing over what was unclear is a change too, with no entry to mark.
                    "SELECT e.id, m.status, m.change, m.seq FROM entries AS e JOIN marks AS m "
                    "ON m.entry_id = e.id WHERE e.utterance_id = ? UNION "
                    "SELECT '', status, change, seq FROM utterance_marks WHERE utterance_id = ? "
                    "ORDER BY 1, 4",
                    [u, u],
                )
            ]
            for u in found
        }
        for log in (a, b)
    }
    names = [a.path.name, b.path.name]
    return {
        entry: status
        for utterance, entries in found.items()
        for entry, status in entries.items()
        if lists[names[0]][utterance] == lists[names[1]][utterance]
        or not all(lists[name][utterance] for name in names)
    }
