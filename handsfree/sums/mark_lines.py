"""A dated mark in words."""

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from handsfree.records.units import Length
from handsfree.sums import growth
from handsfree.sums.diary import Interval, NotedOn
from handsfree.sums.forward import Forward
from handsfree.sums.history import Stage
from handsfree.sums.ranges import DateRange
from handsfree.sums.sightings import READING
from handsfree.sums.sources import CantSay
from handsfree.sums.wording import Words, count

if TYPE_CHECKING:
    from handsfree.sums.marks import MarkDate

MOST_INTERVALS = 4

_STAGES = {
    Stage.BEFORE: "before the trim",
    Stage.AFTER: "after the trim",
    Stage.UNTOUCHED: "no trim",
    Stage.UNSAID: "before or after the trim not said",
}


def lines(mark: "MarkDate", words: Words) -> list[str]:
    """What it is, when it was at the hairline, what was going on then, when it will be out."""
    said = [title(mark, words), *dates(mark, words)]
    if isinstance(mark.range, CantSay):
        return said
    if not mark.agree:
        said.append("no day suits all its sightings: all of theirs taken; perhaps two marks")
    said += growth.lines(mark.rate, words, mark.unit)[:1]
    said += [words.plain(note) for note in (mark.rate.note, *mark.notes) if note]
    said += _diary(mark.diary, words)
    said += forward_lines(mark.forward, mark.today, words)
    if mark.birth_ring is not None:
        due = span(mark.birth_ring, words)
        source = words.plain(str(growth.CURTIS))
        said.append(f"if it is the birth ring, at the ground about {due}: {source}")
    return said


def dates(mark: "MarkDate", words: Words) -> list[str]:
    """When it was at the hairline, or why that cannot be said."""
    if isinstance(mark.range, CantSay):
        return [words.plain(str(mark.range))]
    return range_lines(mark.range, mark.below, mark.seen_on, words)


def span(days: DateRange, words: Words) -> str:
    """ "2025-03-01 (2025-02-14 to 2025-03-16)"."""
    return f"{words.day(days.likeliest)}, {_between(days.earliest, days.latest, words)}"


def range_lines(days: DateRange, below: Length, seen_on: date, words: Words) -> list[str]:
    """When it was at the hairline, and how many days before it was seen."""
    said = [f"at the hairline about {span(days, words)}"]
    if below <= READING:
        return [*said, "at the hairline it is fresh, common practice, no source"]
    ago = [(seen_on - day).days for day in (days.likeliest, days.latest, days.earliest)]
    before = f"{count(words, ago[0], 'day')} before"
    around = f"{words.number(ago[1])} to {words.number(ago[2])}"
    usual = ""
    if days.usual is not None:
        most, least = ((seen_on - day).days for day in days.usual)
        usual = f"; at usual rates {words.number(least)} to {words.number(most)}"
    return [*said, f"that is {before}, {around} at the outside{usual}"]


def forward_lines(ahead: Forward | CantSay, today: date, words: Words) -> list[str]:
    """When it is at the ground, and by what that was reckoned."""
    if isinstance(ahead, CantSay):
        return [f"when it is out: {words.plain(str(ahead))}"]
    when = span(ahead.reach, words)
    if ahead.reach.latest < today:
        said = [f"should be trimmed out since: at the ground about {when}"]
    elif ahead.reach.earliest <= today:
        said = [f"may be at the ground by now: about {when}"]
    else:
        said = [f"at the ground about {when}"]
    said.append(f"reckoned by {_basis(ahead, words)}; the trim on or after that takes it out")
    if ahead.assumed:
        said.append(words.plain(ahead.assumed))
    return said


def title(mark: "MarkDate", words: Words) -> str:
    """What it is, how far down and when it was seen."""
    bare = replace(mark.sightings[-1].finding, below_hairline_mm=None, extent_mm=None, trend=None)
    below = f"{words.measure(mark.below, mark.unit)} below the hairline"
    what = words.entry(bare) or "a mark"
    seen = f"{words.limb(mark.limb)} {what}, {below} on {words.day(mark.seen_on)}"
    if len(mark.sightings) == 1:
        return seen
    first = words.day(mark.sightings[0].on)
    return f"{seen}, seen {count(words, len(mark.sightings), 'time')} since {first}"


def _between(earliest: date, latest: date, words: Words) -> str:
    return f"between {words.day(earliest)} and {words.day(latest)}"


def _basis(ahead: Forward, words: Words) -> str:
    if ahead.wall is not None:
        wall = ahead.wall
        length = words.measure(wall.length, wall.unit)
        name = words.word("quantity", wall.quantity)
        return f"the {name} of {length} on {words.day(wall.on)} ({_STAGES[wall.stage]})"
    if ahead.months is not None:
        least, _, most = ahead.months
        months = f"{words.number(least)} to {words.number(most)} months"
        return f"{months} from hairline to ground at the {ahead.place} ({ahead.source})"
    return f"the days of the birth ring ({words.plain(str(ahead.source))})"


def _diary(intervals: tuple[Interval, ...], words: Words) -> list[str]:
    shown = intervals[-MOST_INTERVALS:]
    likeliest = next((i for i in intervals if i.likeliest), None)
    if likeliest is not None and likeliest not in shown:
        shown = (likeliest, *shown[1:])
    told = likeliest.noted if likeliest else ()
    said = [_interval(each, told, words) for each in shown]
    more = len(intervals) - len(shown)
    if more:
        said.append(f"and {count(words, more, 'interval')} between visits before that")
    return said


def _interval(each: Interval, told: tuple[NotedOn, ...], words: Words) -> str:
    """An interval; what was `told` with the likeliest one is not told again with another."""
    if each.start is None:
        when = f"before the first visit in the log, {words.day(each.end)}"
    else:
        when = f"between the visits of {words.day(each.start)} and {words.day(each.end)}"
    shod = {True: "shod", False: "bare", None: "shod or bare not known"}[each.shod]
    noted = [n for n in each.noted if each.likeliest or n not in told]
    entries = ", ".join(f"{words.entry(n.entry)} ({words.day(n.on)})" for n in noted)
    nothing = "" if each.noted else "; nothing noted"
    what = f"; noted: {entries}" if entries else nothing
    return f"{'likeliest' if each.likeliest else 'or'} {when}; {shod}{what}"
