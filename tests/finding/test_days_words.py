"""Days in plain words, as of Wednesday 2026-11-25."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.finding.days import MONTHS, SEASONS, WEEKDAYS, DayWords
from handsfree.finding.numbers import Numbers, split
from handsfree.finding.question import Days
from handsfree.grammar.grammar import load

NUMBERS = Numbers(load())
TODAY = date(2026, 11, 25)


def read(text: str, today: date = TODAY):
    return DayWords(today, NUMBERS.read).read(split(text), 0)


@pytest.mark.parametrize(
    ("text", "first", "last"),
    [
        ("since spring", "2026-03-01", None),
        ("since last spring", "2026-03-01", None),
        ("spring 2025", "2025-03-01", "2025-05-31"),
        ("in the winter", "2025-12-01", "2026-02-28"),
        ("this autumn", "2026-09-01", "2026-11-30"),
        ("last autumn", "2025-09-01", "2025-11-30"),
        ("winter 2023", "2023-12-01", "2024-02-29"),
        ("last 6 weeks", "2026-10-14", None),
        ("over the last six weeks", "2026-10-14", None),
        ("in the past 10 days", "2026-11-15", None),
        ("last 3 months", "2026-08-25", None),
        ("past year", "2025-11-25", None),
        ("since 2 years ago", "2024-05-27", None),
        ("3 weeks ago", "2026-11-01", "2026-11-07"),
        ("yesterday", "2026-11-24", "2026-11-24"),
        ("today", "2026-11-25", "2026-11-25"),
        ("2025", "2025-01-01", "2025-12-31"),
        ("in march", "2026-03-01", "2026-03-31"),
        ("december", "2025-12-01", "2025-12-31"),
        ("june 2025", "2025-06-01", "2025-06-30"),
        ("june 14 2025", "2025-06-14", "2025-06-14"),
        ("on the 14th of june 2025", "2025-06-14", "2025-06-14"),
        ("14 june", "2026-06-14", "2026-06-14"),
        ("2026-05-14", "2026-05-14", "2026-05-14"),
        ("between march and june 2025", "2025-03-01", "2025-06-30"),
        ("between december and february", "2025-12-01", "2026-02-28"),
        ("between june and march", "2025-06-01", "2026-03-31"),
        ("from 2024 to 2025", "2024-01-01", "2025-12-31"),
        ("between 2026-05-14 and 2026-03-02", "2026-03-02", "2026-05-14"),
        ("march to june", "2026-03-01", "2026-06-30"),
        ("until june", None, "2026-06-30"),
        ("before june 2025", None, "2025-05-31"),
        ("after june 2025", "2025-07-01", None),
        ("this week", "2026-11-23", "2026-11-29"),
        ("last week", "2026-11-16", "2026-11-22"),
        ("last month", "2026-10-01", "2026-10-31"),
        ("this month", "2026-11-01", "2026-11-30"),
        ("last year", "2025-01-01", "2025-12-31"),
        ("monday", "2026-11-23", "2026-11-23"),
        ("wednesday", "2026-11-25", "2026-11-25"),
        ("last wednesday", "2026-11-18", "2026-11-18"),
        ("since last monday", "2026-11-23", None),
        ("last february", "2026-02-01", "2026-02-28"),
        ("last november", "2025-11-01", "2025-11-30"),
    ],
)
def test_read(text: str, first: str | None, last: str | None):
    found = read(text)
    assert found is not None
    assert found.length == len(split(text))
    assert found.days == Days(
        first and date.fromisoformat(first), last and date.fromisoformat(last)
    )


@pytest.mark.parametrize("day", [date(2026, 3, 31), date(2024, 2, 29), date(2026, 1, 31)])
def test_a_month_back_from_a_long_month_is_in_the_month_before(day: date):
    found = read("last 1 month", day)
    assert found is not None
    assert found.days.first is not None
    months = day.year * 12 + day.month - (found.days.first.year * 12 + found.days.first.month)
    assert months == 1


@pytest.mark.parametrize(("text", "visits"), [("last 3 visits", 3), ("last visit", 1)])
def test_visits(text: str, visits: int):
    found = read(text)
    assert found is not None
    assert (found.visits, found.days) == (visits, Days())


@pytest.mark.parametrize(
    "text",
    [
        *("thrush", "last", "since", "between", "between march", "2025-13-40", "2026-02-30"),
        *("february 30", "last 0 visits", "last 999999999 years", "since christmas", "3 1/2"),
        *("9999", "to", "over 3 inches", "last -5 weeks"),
    ],
)
def test_no_day(text: str):
    assert read(text) is None


WORDS = st.lists(
    st.sampled_from(
        [
            *MONTHS,
            *SEASONS,
            *WEEKDAYS,
            *"since last past this between and from to until the in on ago before after by".split(),
            *"day days week weeks month years visits 3 12 31 2025 2026-05-14 0 1999 six".split(),
        ]
    ),
    min_size=1,
    max_size=7,
)


@given(WORDS, st.dates(date(1950, 1, 1), date(2199, 12, 31)))
def test_any_row_of_such_words_gives_days_in_order_or_nothing(words: list[str], today: date):
    found = DayWords(today, NUMBERS.read).read(words, 0)
    if found is not None:
        assert 1 <= found.length <= len(words)
        first, last = found.days.first, found.days.last
        assert first is None or last is None or first <= last
