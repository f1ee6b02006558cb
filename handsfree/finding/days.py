"""Days in plain words: "since spring", "last 6 weeks", "between march and june 2025".

Seasons begin with March, June, September and December (the meteorological ones of the northern
hemisphere). A month, season or weekday without a year is the latest that has begun. No clock:
today is given.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from handsfree.finding.question import Days

MONTHS = (
    "january february march april may june july august september october november december"
).split()
SEASONS = {"spring": 3, "summer": 6, "autumn": 9, "fall": 9, "winter": 12}
WEEKDAYS = "monday tuesday wednesday thursday friday saturday sunday".split()
FIRST_YEAR, LAST_YEAR = 1950, 2199
"""Four digits outside are no year."""
MOST = 100_000
"""Days, weeks … that are taken for a number at all: more is a slip of the typing."""

_MONTH_OF = {
    **{name: n for n, name in enumerate(MONTHS, 1)},
    **{name[:3]: n for n, name in enumerate(MONTHS, 1)},
    "sept": 9,
}
_UNITS = {f"{unit}{s}": unit for unit in ("day", "week", "month", "year") for s in ("", "s")}
_FROM, _UNTIL = ("since", "from"), ("until", "till", "to", "through")

Counted = Callable[[Sequence[str], int], tuple[float, int] | None]
"""(words, place) → the number that stands there and how many words it takes."""


@dataclass(frozen=True)
class Read:
    """Days, or a number of visits, read from so many words."""

    days: Days
    length: int
    visits: int | None = None


@dataclass(frozen=True)
class _Point:
    """A stretch that has a name; `again` gives the same one of another year."""

    first: date
    last: date
    length: int
    again: Callable[[int], "_Point"] | None = None
    """None where the year was said."""


class DayWords:
    """Reads days; `number` reads counts such as "six" or "6"."""

    def __init__(self, today: date, number: Counted) -> None:
        self._today, self._number = today, number

    def read(self, words: Sequence[str], at: int) -> Read | None:
        """The days named by the words from a place on, None where none are."""
        try:
            return self._read(words, at)
        except (OverflowError, ValueError):  # a day beyond the calendar's ends
            return None

    def _read(self, words: Sequence[str], at: int) -> Read | None:
        word = words[at]
        if word == "between":
            return self._span(words, at, ("and",), 1)
        if word in _FROM:
            both = self._span(words, at, _UNTIL, 1)
            if both is not None:
                return both
            window = self._window(words, at + 1)
            if window is not None and window.visits is None:
                return Read(window.days, window.length + 1)
            point = self._point(words, at + 1)
            return None if point is None else Read(Days(point.first, None), point.length + 1)
        if word in ("after", "before", *_UNTIL, "by"):
            point = self._point(words, at + 1)
            if point is None:
                return None
            if word == "after":
                return Read(Days(point.last + timedelta(1), None), point.length + 1)
            last = point.first - timedelta(1) if word == "before" else point.last
            return Read(Days(None, last), point.length + 1)
        skip = 1 if word in ("in", "on", "during", "of", "the", "over", "within") else 0
        if skip and at + 1 < len(words) and words[at + 1] == "the":
            skip = 2
        return self._plain(words, at + skip, skip)

    def _plain(self, words: Sequence[str], at: int, skip: int) -> Read | None:
        window = self._window(words, at)
        if window is not None:
            return Read(window.days, window.length + skip, window.visits)
        both = self._span(words, at, _UNTIL, 0)
        if both is not None:
            return Read(both.days, both.length + skip)
        point = self._point(words, at)
        if point is None:
            return None
        return Read(Days(point.first, point.last), point.length + skip)

    def _span(self, words: Sequence[str], at: int, link: Sequence[str], skip: int) -> Read | None:
        start = self._point(words, at + skip)
        middle = at + skip + (start.length if start else 0)
        if start is None or middle >= len(words) or words[middle] not in link:
            return None
        end = self._point(words, middle + 1)
        if end is None:
            return None
        if start.again is not None:
            # "march" is the one before the end of the span.
            start = start.again(end.last.year)
            if start.first > end.last and start.again is not None:
                start = start.again(end.last.year - 1)
        first, last = min(start.first, end.first), max(start.last, end.last)
        return Read(Days(first, last), middle + 1 + end.length - at)

    def _window(self, words: Sequence[str], at: int) -> Read | None:
        """ "last 6 weeks", "past year", "last 3 visits"."""
        if at >= len(words) or words[at] not in ("last", "past"):
            return None
        number = self._number(words, at + 1)
        unit_at = at + 1 + (number[1] if number else 0)
        unit = words[unit_at] if unit_at < len(words) else ""
        length = unit_at + 1 - at
        if unit in ("visit", "visits") and (number is None or 1 <= number[0] <= MOST):
            return Read(Days(), length, int(number[0]) if number else 1)
        if unit not in _UNITS or (number is None and words[at] == "last"):
            return None
        return Read(Days(self._back(number[0] if number else 1.0, _UNITS[unit]), None), length)

    def _back(self, number: float, unit: str) -> date:
        if not 0 <= number <= MOST:
            raise ValueError(number)
        if unit in ("day", "week"):
            return self._today - timedelta(days=round(number * (7 if unit == "week" else 1)))
        months = round(number * (12 if unit == "year" else 1))
        year, month = divmod(self._today.year * 12 + self._today.month - 1 - months, 12)
        day = min(self._today.day, _last_of(year, month + 1).day)
        return date(year, month + 1, day)

    def _point(self, words: Sequence[str], at: int) -> _Point | None:
        if at < len(words) and words[at] == "the":
            inner = self._point(words, at + 1)
            return inner and _Point(inner.first, inner.last, inner.length + 1, inner.again)
        if at >= len(words):
            return None
        word = words[at]
        if word in ("today", "yesterday"):
            day = self._today - timedelta(word == "yesterday")
            return _Point(day, day, 1)
        for reader in (self._iso, self._ago, self._this, self._month, self._season, self._weekday):
            found = reader(words, at)
            if found is not None:
                return found
        year = _year(words, at)
        return None if year is None else _Point(date(year, 1, 1), date(year, 12, 31), 1)

    def _iso(self, words: Sequence[str], at: int) -> _Point | None:
        if words[at].count("-") != 2:
            return None
        day = date.fromisoformat(words[at])
        return _Point(day, day, 1)

    def _ago(self, words: Sequence[str], at: int) -> _Point | None:
        number = self._number(words, at)
        if number is None:
            return None
        end = at + number[1]
        unit = _UNITS.get(words[end]) if end + 1 < len(words) else None
        if unit is None or words[end + 1] != "ago":
            return None
        # "six weeks ago" is said of about that day.
        about = {"day": 0, "week": 3, "month": 15, "year": 182}[unit]
        day = self._back(number[0], unit)
        return _Point(day - timedelta(about), day + timedelta(about), number[1] + 2)

    def _this(self, words: Sequence[str], at: int) -> _Point | None:
        """ "this week", "last month", "last spring": the last is over already."""
        if words[at] not in ("this", "last") or at + 1 >= len(words):
            return None
        last, unit, today = words[at] == "last", words[at + 1], self._today
        if unit == "week":
            first = today - timedelta(days=today.weekday() + 7 * last)
            return _Point(first, first + timedelta(6), 2)
        if unit == "month":
            first = today.replace(day=1)
            first = (first - timedelta(1)).replace(day=1) if last else first
            return _Point(first, _last_of(first.year, first.month), 2)
        if unit == "year":
            return _Point(date(today.year - last, 1, 1), date(today.year - last, 12, 31), 2)
        if unit not in (*SEASONS, *_MONTH_OF, *WEEKDAYS):
            return None
        point = self._point(words, at + 1)
        if point is None or point.again is None:
            return None
        over = point.last < today or not last
        point = point if over else point.again(point.first.year - 1)
        return _Point(point.first, point.last, 1 + point.length, point.again)

    def _month(self, words: Sequence[str], at: int) -> _Point | None:
        """ "june", "june 2025", "june 14", "14 june 2025"."""
        day, place = _day_number(words, at), at
        if day is not None:
            place += 1 + (words[at + 1 : at + 2] == ["of"])
        month = _MONTH_OF.get(words[place]) if place < len(words) else None
        if month is None:
            return None
        place += 1
        if day is None:
            day = _day_number(words, place)
            place += day is not None
        year = _year(words, place)
        return self._of_month(day, month, year, place + (year is not None) - at)

    def _of_month(self, day: int | None, month: int, year: int | None, length: int) -> _Point:
        def of(year: int) -> _Point:
            if day is not None:
                return _Point(date(year, month, day), date(year, month, day), length, of)
            return _Point(date(year, month, 1), _last_of(year, month), length, of)

        return self._latest(of, year)

    def _season(self, words: Sequence[str], at: int) -> _Point | None:
        month = SEASONS.get(words[at])
        if month is None:
            return None
        year = _year(words, at + 1)
        length = 1 + (year is not None)

        def of(year: int) -> _Point:
            end = (year, month + 2) if month < 12 else (year + 1, 2)
            return _Point(date(year, month, 1), _last_of(*end), length, of)

        return self._latest(of, year)

    def _latest(self, of: Callable[[int], _Point], year: int | None) -> _Point:
        if year is not None:
            said = of(year)
            return _Point(said.first, said.last, said.length)
        point = of(self._today.year)
        return point if point.first <= self._today else of(self._today.year - 1)

    def _weekday(self, words: Sequence[str], at: int) -> _Point | None:
        if words[at] not in WEEKDAYS:
            return None
        back = (self._today.weekday() - WEEKDAYS.index(words[at])) % 7
        before = bool(at and words[at - 1] == "last" and back == 0)
        day = self._today - timedelta(days=back + 7 * before)
        return _Point(day, day, 1, lambda _: _Point(day, day, 1))


def _last_of(year: int, month: int) -> date:
    following = date(year + month // 12, month % 12 + 1, 1)
    return following - timedelta(1)


def _year(words: Sequence[str], at: int) -> int | None:
    text = words[at] if at < len(words) else ""
    if len(text) == 4 and text.isascii() and text.isdecimal():
        return int(text) if FIRST_YEAR <= int(text) <= LAST_YEAR else None
    return None


def _day_number(words: Sequence[str], at: int) -> int | None:
    text = words[at] if at < len(words) else ""
    digits = text[:-2] if text[-2:] in ("st", "nd", "rd", "th") else text
    if digits.isascii() and digits.isdecimal() and len(digits) <= 2:
        return int(digits) if 1 <= int(digits) <= 31 else None
    return None
