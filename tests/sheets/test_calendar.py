"""The calendar file, read back by another library (vobject) and compared with the plans."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.dialogue.session import Session
from handsfree.grammar import Grammar, load
from handsfree.grammar.words import plain_words
from handsfree.records.entries import Entry, Plan
from handsfree.sheets.calendar import EVENING_BEFORE, Item, Kind, calendar, is_given_up, items
from handsfree.sums.history import DayVisit, History, HorseFacts, Noted
from handsfree.sums.sources import CantSay

vobject = pytest.importorskip("vobject")

STAMP = datetime(2025, 1, 10, 18, 30, 5, 999, tzinfo=UTC)
DAY = date(2025, 1, 10)
SAID = [
    "left hind outside heel bruise",
    "watch this foot",
    "right fore next time rolled toe",
    "left fore call the vet",
    "come back in six weeks",
]


@pytest.fixture(scope="module")
def grammar() -> Grammar:
    return load()


def spoken(grammar: Grammar, said: list[str]) -> list[Entry]:
    session = Session()
    entries: list[Entry] = []
    for text in said:
        outcome = session.take(grammar.read(plain_words(text)), 1.0, 0.0, 1.0)
        assert outcome is not None
        assert outcome.status != "unclear", text
        entries += outcome.entries
    return entries


def told(grammar: Grammar, *said: str, name: str = "Bramble", on: date = DAY) -> History:
    noted = tuple(Noted(entry) for entry in spoken(grammar, list(said)))
    return History(HorseFacts(name), (DayVisit(on, noted),))


def made(history: History, today: date, grammar: Grammar) -> tuple[Item, ...]:
    found = items(history, today, grammar)
    assert not isinstance(found, CantSay)
    return found


def read(data: bytes) -> tuple[list[Any], list[Any]]:
    """The days and the tasks of a calendar."""
    whole = vobject.readOne(data.decode())
    return list(getattr(whole, "vevent_list", [])), list(getattr(whole, "vtodo_list", []))


def test_the_next_visit_and_the_plans_are_read_back(grammar: Grammar) -> None:
    data = calendar(made(told(grammar, *SAID), DAY, grammar), STAMP)
    days, tasks = read(data)
    (visit,) = [d for d in days if d.categories.value == ["visit"]]
    # Six weeks from the visit, by the plan.
    assert visit.dtstart.value == date(2025, 2, 21)
    assert visit.dtend.value == date(2025, 2, 22)
    assert visit.dtstamp.value == STAMP.replace(microsecond=0)
    assert visit.summary.value == "Bramble: visit"
    lines = visit.description.value.split("\n")
    assert "window 2025-02-14 to 2025-02-28, best 2025-02-21; last visit 2025-01-10" in lines
    assert "come back in 6 weeks, said 2025-01-10 (your own plan)" in lines
    assert any("Leśniak 2017" in line for line in lines)
    assert "LH watch this foot (said 2025-01-10)" in lines
    assert "RF next time: rolled toe (said 2025-01-10)" in lines
    (vet,) = [d for d in days if d.categories.value == ["call_vet"]]
    assert (vet.dtstart.value, vet.summary.value) == (DAY, "Bramble: LF call the vet")
    found = {task.summary.value: task.due.value for task in tasks}
    assert found == {
        "Bramble: LH watch this foot": date(2025, 2, 21),
        "Bramble: RF next time: rolled toe": date(2025, 2, 21),
    }


def test_the_same_plan_keeps_its_id_and_a_later_file_goes_before(grammar: Grammar) -> None:
    history = told(grammar, *SAID)
    early, late = (made(history, DAY + timedelta(days=n), grammar) for n in (0, 50))
    assert [item.uid for item in early] == [item.uid for item in late]
    assert len({item.uid for item in early}) == len(early)
    assert [item.version for item in early] == [0] * 4
    assert [item.version for item in late] == [50] * 4
    other = made(told(grammar, *SAID, name="Burdock"), DAY, grammar)
    assert not {item.uid for item in other} & {item.uid for item in early}
    again = made(told(grammar, *SAID, name="BRAMBLE "), DAY, grammar)
    assert [item.uid for item in again] == [item.uid for item in early]
    # Fixed once given out: another id would leave the old entry in every calendar.
    assert early[0].uid == "7a4ae830-6d10-5217-87c5-f7bf477a7e00@handsfree"


def test_a_day_that_is_past_is_put_on_today(grammar: Grammar) -> None:
    history = told(grammar, "left hind trimmed", "come back in six weeks")
    due = made(history, date(2025, 2, 25), grammar)[0]
    assert (due.on, due.title) == (date(2025, 2, 25), "Bramble: visit due")
    late = made(history, date(2025, 3, 12), grammar)[0]
    assert (late.on, late.title) == (date(2025, 3, 12), "Bramble: visit overdue 12 days")
    assert not is_given_up(history, date(2025, 3, 12))
    assert is_given_up(history, date(2026, 3, 12))


def test_a_doubtful_plan_is_named_and_changes_no_day(grammar: Grammar) -> None:
    (sure,) = spoken(grammar, ["come back in six weeks"])
    (doubtful,) = spoken(grammar, ["come back in two weeks"])
    notes = (Noted(sure), Noted(doubtful, doubtful=True))
    (visit,) = made(History(HorseFacts("x"), (DayVisit(DAY, notes),)), DAY, grammar)
    assert visit.on == date(2025, 2, 21)
    assert "not surely heard, not taken: come back in 2 weeks (said 2025-01-10)" in visit.lines


def test_what_is_done_or_was_said_after_that_day_is_no_entry(grammar: Grammar) -> None:
    first = told(grammar, "right fore next time rolled toe", "come back in six weeks")
    done = first.plus(
        date(2025, 2, 20), [Noted(e) for e in spoken(grammar, ["right fore rolled toe"])]
    )
    assert [i.kind for i in made(done, date(2025, 2, 20), grammar)] == [Kind.VISIT]
    assert [i.kind for i in made(done, DAY, grammar)] == [Kind.VISIT, Kind.NEXT_TIME]


def test_a_horse_without_a_visit_can_not_be_said(grammar: Grammar) -> None:
    assert isinstance(items(History(HorseFacts("x"), ()), DAY, grammar), CantSay)
    assert isinstance(items(told(grammar, *SAID), date(2024, 1, 1), grammar), CantSay)
    assert not is_given_up(History(HorseFacts("x"), ()), DAY)
    with pytest.raises(ValueError, match="at least one"):
        calendar([], STAMP)


@pytest.mark.parametrize("weeks", [None, 0, -3, 999])
def test_an_absurd_plan_is_asked_about_and_not_taken(grammar: Grammar, weeks: int | None) -> None:
    visit = DayVisit(DAY, (Noted(Plan(action="return", weeks=weeks)), Noted(Plan(action=None))))
    (item,) = made(History(HorseFacts("x"), (visit,)), DAY, grammar)
    assert item.on == DAY + timedelta(weeks=6)  # Leśniak 2017: at most six weeks
    assert any("is that right? not taken" in line for line in item.lines) == (weeks is not None)


def test_an_alarm_only_where_it_is_wanted(grammar: Grammar) -> None:
    found = made(told(grammar, *SAID), DAY, grammar)
    days, tasks = read(calendar(found, STAMP, EVENING_BEFORE))
    assert [day.valarm.trigger.value for day in days] == [timedelta(hours=-6)] * 2
    assert not any(hasattr(task, "valarm") for task in tasks)
    days, _ = read(calendar(found, STAMP))
    assert not any(hasattr(day, "valarm") for day in days)


def test_the_form_is_that_of_rfc_5545(grammar: Grammar) -> None:
    name = "Ünï;Codé, \\n <b>" + "ß" * 80
    data = calendar(made(told(grammar, *SAID, name=name), DAY, grammar), STAMP)
    assert data.startswith(b"BEGIN:VCALENDAR\r\n")
    assert b"\r\nPRODID:-//handsfree//" in data
    # Section 3.1: lines end with CRLF and have at most 75 octets without it.
    assert data.endswith(b"\r\n")
    assert b"\n" not in data.replace(b"\r\n", b"")
    assert max(len(line) for line in data.split(b"\r\n")) <= 75
    days, _ = read(data)
    assert days[0].summary.value == f"{name}: visit"


@settings(max_examples=60, deadline=None)
@given(name=st.text(min_size=1, max_size=60))
def test_no_name_breaks_the_file(grammar: Grammar, name: str) -> None:
    found = made(told(grammar, *SAID, name=name), DAY, grammar)
    days, tasks = read(calendar(found, STAMP))
    assert (len(days), len(tasks)) == (2, 2)
    (title,) = [d.summary.value for d in days if d.categories.value == ["visit"]]
    assert title == f"{found[0].title}"
    assert not set(title) & {"\r", "\n", "\0", "\x1b", "\u202e"}


def test_what_the_owner_is_to_be_told_and_pictures_do_not_wait(grammar: Grammar) -> None:
    plans = (
        Plan(action="tell_owner", text="keep it dry"),
        Plan(limb="LF", action="xray"),
        Plan(limb="LF", action="watch", text="that crack"),
    )
    history = History(HorseFacts("Bramble"), (DayVisit(DAY, tuple(map(Noted, plans))),))
    found = {item.title: (item.kind, item.on) for item in made(history, DAY, grammar)[1:]}
    assert found == {
        "Bramble: tell the owner: keep it dry": (Kind.TELL_OWNER, DAY),
        "Bramble: LF x-ray": (Kind.XRAY, DAY),
        "Bramble: LF watch: that crack": (Kind.WATCH, made(history, DAY, grammar)[0].on),
    }
    later = History(history.horse, (*history.visits, DayVisit(DAY + timedelta(days=42), ())))
    told = {item.kind for item in made(later, DAY + timedelta(days=42), grammar)}
    assert not told & {Kind.TELL_OWNER, Kind.XRAY}
