"""Change over the visits, in words: every measure and every finding, first seen and since."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date

from handsfree.records.entries import OF_THE_HORSE, Finding
from handsfree.records.units import Angle, Length, Quantity, Weight, reckoned_in
from handsfree.sums.balance_lines import asked
from handsfree.sums.foot import questions
from handsfree.sums.history import History, HorseFacts, Measured, Stage
from handsfree.sums.seen import PLACE_OF, FindingTrack, finding_tracks
from handsfree.sums.series import Difference, MeasureTrack, measure_tracks, no_measures
from handsfree.sums.slopes import Slope, amount
from handsfree.sums.sources import CantSay
from handsfree.sums.standing import GRADES, Basis, Sighting, State
from handsfree.sums.wording import Words, count

__all__ = [
    "Difference",
    "FindingTrack",
    "MeasureTrack",
    "Sighting",
    "Slope",
    "State",
    "finding_tracks",
    "headline",
    "lines",
    "measure_tracks",
    "no_measure_line",
    "no_measures",
]

ANY_HORSE = History(HorseFacts(""), ())
"""Of no kind: only what is odd of a pony and of a Shire alike is asked about."""

SLOPE_DECIMALS = {"mm": 1, "cm": 2, "in": 2, "hands": 2, "deg": 1, "kg": 0, "lb": 0}
"""Digits of a slope; one of heights in hands is told in inches."""
NO_CHANGE = "no change"
DAYS_IN_WEEKS = 14
"""From so many days on a time is told in weeks."""


def name(track: MeasureTrack | FindingTrack, words: Words) -> str:
    """What a track is of: "LH toe length, before the trim", "LH outside heel bruise"."""
    limb = track.limb
    if isinstance(track, FindingTrack):
        zone = None if PLACE_OF.get(track.term) == track.zone else track.zone
        said = words.entry(Finding(zone=zone, side=track.side, term=track.term))
        return said if limb is None else f"{words.limb(limb)} {said}"
    side, quantity = words.word("side", track.side), words.word("quantity", track.quantity)
    of_horse = limb is None and track.quantity in OF_THE_HORSE
    parts = ["" if of_horse else words.limb(limb), side, quantity]
    stage = "" if track.stage is Stage.UNTOUCHED else f", {track.stage.value}"
    return " ".join(part for part in parts if part) + stage


def headline(track: MeasureTrack | FindingTrack, today: date, words: Words) -> str:
    """How a track stands, in one line."""
    return next(_lines(track, today, words))


def lines(track: MeasureTrack | FindingTrack, today: date, words: Words) -> list[str]:
    """A track in words: the headline, then all that it rests on."""
    return list(_lines(track, today, words))


def _lines(track: MeasureTrack | FindingTrack, today: date, words: Words) -> Iterator[str]:
    if isinstance(track, FindingTrack):
        return _of_finding(track, today, words)
    return _of_measure(track, today, words)


def ago(day: date, today: date, words: Words) -> str:
    """The time since a day: "today", "9 days ago", "12 weeks ago"."""
    days = (today - day).days
    return "today" if days == 0 else f"{span(days, words)} {'ago' if days > 0 else 'ahead'}"


def span(days: int, words: Words) -> str:
    """A time in days, from 14 days on in weeks."""
    days = abs(days)
    if days < DAYS_IN_WEEKS:
        return count(words, days, "day")
    return count(words, round(days / 7), "week")


def signed(value: Quantity | float, unit: str, words: Words, decimals: int | None = None) -> str:
    """A change with its direction: "6 mm more", "2° less", "no change".

    One of heights in hands is told in inches.
    """
    unit = reckoned_in(unit)
    size = abs(amount(value))
    if isinstance(value, Length | Angle | Weight):
        told = words.measure(type(value)(size), unit, decimals)
        none = words.measure(type(value)(0.0), unit, decimals)
    else:
        told, none = words.number(size, decimals or 0), words.number(0.0)
    if told == none:
        return NO_CHANGE
    return f"{told} {'more' if amount(value) > 0 else 'less'}"


def slope_line(slope: Slope | CantSay, unit: str, words: Words) -> str:
    """A slope with its interval and source; why there is none, where there is none."""
    if isinstance(slope, CantSay):
        return f"trend: {words.plain(str(slope))}"
    places = SLOPE_DECIMALS.get(unit, 2)
    low, middle, high = (
        signed(value, unit, words, places) for value in (slope.low, slope.per_month, slope.high)
    )
    return (
        f"trend: {middle} {'from month to' if middle == NO_CHANGE else 'a'} month"
        f"{'' if slope.clear or middle == NO_CHANGE else ', which may be no change'} "
        f"({words.number(slope.confidence * 100)} percent interval {low} to {high}; "
        f"{words.plain(str(slope.source))})"
    )


def _of_measure(track: MeasureTrack, today: date, words: Words) -> Iterator[str]:
    unit, last = track.unit, track.points[-1]
    told = f"{name(track, words)}: {words.measure(last.value, unit)}"
    if track.last_change is None:
        told += f", measured once, {ago(last.on, today, words)}"
    else:
        change = track.last_change
        difference, time = signed(change.by, unit, words), span(change.days, words)
        none = difference == NO_CHANGE
        told += f", {difference} {f'in {time}' if none else f'than {time} before'}"
    odd = questions(ANY_HORSE, (last,))
    yield f"{told}; is that right?" if odd else told
    yield from (asked(question, words) for question in odd)
    told = "; ".join(f"{words.day(m.on)} {words.measure(m.value, unit)}" for m in track.points)
    yield f"{_times('measured', [m.on for m in track.points], today, words)}; {told}"
    yield slope_line(track.slope, unit, words)
    if track.left_out:
        out = ", ".join(words.measure(m.value, m.unit) for m in track.left_out)
        yield f"left out, as no measure of this: {out}"


def _of_finding(track: FindingTrack, today: date, words: Words) -> Iterator[str]:
    yield f"{name(track, words)}: {_state(track, today, words)}"
    told = [f"{words.day(s.on)} {told_of(s, track, words)}" for s in track.seen]
    yield f"{_times('seen', [s.on for s in track.seen], today, words)}; {'; '.join(told)}"
    if clear := [day for day in track.looked_clear if day not in track.denied]:
        yield f"said clear: {_days(clear, words)}"
    if track.denied:
        yield f"said not to be there: {_days(track.denied, words)}"
    if track.not_mentioned:
        silent = _days(track.not_mentioned, words)
        yield f"not mentioned, which does not mean gone: {silent}"
    if len(track.seen) > 1 and _rose(track.seen[-2], track.last):
        yield "nearer the hairline than the time before: horn grows down, so it may be another"
    if isinstance(track.slope, Slope):
        unit = "mm" if track.slope_of is Basis.EXTENT else ""
        trend = slope_line(track.slope, unit, words)
        if track.slope_of is Basis.GRADE:
            ranks = f"{words.number(1)} to {words.number(len(GRADES))}"
            trend += f"; {', '.join(GRADES)} counted {ranks} (common practice, no source)"
        yield f"by {track.slope_of}, {trend}"


def no_measure_line(measured: Measured, words: Words) -> str:
    """A number that can be none of what was measured, with its day."""
    limb = "" if measured.limb is None else f"{words.limb(measured.limb)} "
    side, quantity = words.word("side", measured.side), words.word("quantity", measured.quantity)
    value = words.measure(measured.value, measured.unit)
    about = " ".join(part for part in (side, quantity, value) if part)
    return f"left out, as no measure of this: {limb}{about} ({words.day(measured.on)})"


def _times(done: str, days: Sequence[date], today: date, words: Words) -> str:
    """The time since it was first seen or measured, and since it last was."""
    said = f"first {done} {ago(days[0], today, words)}"
    return said if len(days) == 1 else f"{said}, last {ago(days[-1], today, words)}"


def _days(days: Iterable[date], words: Words) -> str:
    return ", ".join(words.day(day) for day in days)


def _rose(before: Sighting, after: Sighting) -> bool:
    if before.below_hairline is None or after.below_hairline is None:
        return False
    return round(after.below_hairline.mm) < round(before.below_hairline.mm)


def _state(track: FindingTrack, today: date, words: Words) -> str:
    last = track.last
    match track.state, track.rests_on:
        case State.NEW, Basis.CLEAR:
            last_clear = max(day for day in track.looked_clear if day < last.on)
            gone = how_clear(last_clear in track.denied)
            said = f"back again {ago(last.on, today, words)}, after it was {gone}"
        case State.NEW, _:
            said = f"new, first seen {ago(last.on, today, words)}"
        case State.GONE, _:
            day = min(day for day in track.looked_clear if day > last.on)
            said = f"gone, {how_clear(day in track.denied)} {ago(day, today, words)}"
        case State.UNKNOWN, _ if len(track.seen) == 1:
            said = f"seen once, {ago(last.on, today, words)}"
        case State.UNKNOWN, _:
            said = f"seen again {ago(last.on, today, words)}; better or worse was not said"
        case State.SAME, basis:
            said = f"the same by {basis}"
        case state, basis:
            said = f"{state} by {basis}"
    if track.state in (State.BETTER, State.WORSE, State.SAME) and len(track.seen) > 1:
        before, after = (told_of(s, track, words) for s in track.seen[-2:])
        said += f" ({before}, then {after})"
    if track.against:
        said += f"; the contrary by {' and '.join(track.against)}"
    if track.since_last and track.state is not State.GONE:
        said += f"; not mentioned since, {count(words, len(track.since_last), 'visit')}"
    return said


def how_clear(denied: bool) -> str:
    """How it was said that a finding is gone."""
    return "said not to be there" if denied else "said clear"


def told_of(sighting: Sighting, track: FindingTrack, words: Words) -> str:
    """What was said of it that day, without its name."""
    extent, below = sighting.extent, sighting.below_hairline
    said = Finding(
        grade=sighting.grade,
        age=sighting.age,
        trend=sighting.trend,
        extent_mm=None if extent is None else extent.mm,
        below_hairline_mm=None if below is None else below.mm,
        scale_grade=sighting.scale_grade,
    )
    told = "noted" if said == Finding() else words.entry(said)
    return told if sighting.side_said or track.side is None else f"{told}, side not said"
