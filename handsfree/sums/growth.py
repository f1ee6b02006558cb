"""How fast horn grows: by published rates, and by the horse's own records."""

import math
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median

from handsfree.records.limbs import LIMBS
from handsfree.records.units import DAYS_PER_MONTH, DAYS_PER_WEEK, Growth, Length
from handsfree.sums.grown import BY_TOE, GrowthInterval, intervals, is_some
from handsfree.sums.history import Age, History, Measured, measures
from handsfree.sums.sightings import READING
from handsfree.sums.sources import CantSay, Source
from handsfree.sums.wording import Words, count

ADULTS = Source(
    "Kolstrung 2012; equimed.com; Lungwitz & Adams",
    "Middle: Kolstrung et al. 2012, Med Weter 68:426–429 (2.1 mm a week, adult barefoot mares, "
    "equal round the foot). Usual: equimed.com (1/4–3/8 in a month). Slowest and fastest: "
    "Lungwitz & Adams 1897 (1/6–1/2 in a month).",
)
CURTIS = Source(
    "Curtis 2014",
    "Curtis et al. 2014, Vet J, doi 10.1016/j.tvjl.2014.04.012: the birth ring is at the ground "
    "at 145 ± 15 days; an adult's wall is replaced in 270–365.",
)
FOALS_BY_ADULTS = Source(
    "Curtis 2014 and adults' rates",
    f"{CURTIS.full} Put to the adults' rates: {ADULTS.full}",
)
OWN = Source(
    "this horse's own growth",
    "Toe length after one trim and before the next, and marks seen again further down.",
)

MIDDLE = Growth.weekly(Length(2.1))
USUAL = (Growth.monthly(Length.of(1 / 4, "in")), Growth.monthly(Length.of(3 / 8, "in")))
FULL = (Growth.monthly(Length.of(1 / 6, "in")), Growth.monthly(Length.of(1 / 2, "in")))
BIRTH_RING_DAYS = (130, 145, 160)
ADULT_DAYS = (270, 365)

MANY = 10
"""From so many intervals on, the outer tenths are taken for slips."""

MOST_LEFT_OUT = 3
"""So many intervals that were left out are told one by one."""


@dataclass(frozen=True)
class Rate:
    """How fast horn grows: slow <= middle <= fast. `usual` is the narrower published range."""

    slow: Growth
    middle: Growth
    fast: Growth
    source: Source
    own: bool = False
    from_intervals: int = 0
    usual: tuple[Growth, Growth] | None = None
    note: str | None = None
    intervals: tuple[GrowthInterval, ...] = ()
    left_out: tuple[GrowthInterval, ...] = ()


def published(age: Age, toe: Length | None = None) -> Rate:
    """Published growth for an age class.

    Adults: 2.1 mm a week (Kolstrung 2012), usually 1/4–3/8 in a month (equimed.com), 1/6–1/2 in
    at the outside (Lungwitz & Adams). Unknown age: the same, with a note. Foals: toe length /
    145 ± 15 days (Curtis 2014); without a toe length the adults' rates times how much sooner a
    foal's wall is replaced (130–160 days against 270–365), with a note.
    """
    if age is not Age.FOAL:
        note = None if age is Age.ADULT else "age not known: reckoned as for a grown horse"
        return Rate(FULL[0], MIDDLE, FULL[1], ADULTS, usual=USUAL, note=note)
    soonest, middle, latest = BIRTH_RING_DAYS
    if toe is not None and is_some(toe):
        note = "a foal: its toe is taken to grow down in the time of the birth ring"
        slow, mid, fast = (Growth(toe.mm / days) for days in (latest, middle, soonest))
        return Rate(slow, mid, fast, CURTIS, note=note)
    note = (
        "a foal, no toe length: adults' rates times how much sooner a foal's wall grows down, "
        "as if it were as long"
    )
    return Rate(
        Growth(FULL[0].mm_per_day * ADULT_DAYS[0] / latest),
        Growth(MIDDLE.mm_per_day * sum(ADULT_DAYS) / 2 / middle),
        Growth(FULL[1].mm_per_day * ADULT_DAYS[1] / soonest),
        FOALS_BY_ADULTS,
        note=note,
    )


def own_rate(history: History, limb: str | None = None) -> Rate | CantSay:
    """The growth that this horse's records show, of all feet or of one.

    From toe length after one trim to before the next, and from marks seen again. Middle: the
    median; slow and fast: the slowest and fastest interval (from ten on without the outer
    tenths), widened by the measuring error of an interval (two readings of ±1 mm, common
    practice, root of the sum of squares, over its days). Season is not reckoned in: no
    controlled figure was found. Only intervals of the age class of the last visit count.
    """
    last = history.last
    if last is None:
        return CantSay("there is no visit yet")
    now = history.horse.age(last.on)
    adults = published(Age.ADULT)
    seen = intervals(history, _bounds, adults.slow, adults.middle, limb)
    found = [i for i in seen if history.horse.age(i.end) is now]
    kept = [i for i in found if i.left_out is None]
    left_out = tuple(i for i in found if i.left_out is not None)
    if not kept:
        return CantSay(_why_not(left_out))
    rates = sorted(i.growth.mm_per_day for i in kept)
    low, high = _spread(rates)
    middle = median(rates)
    error = median(i.error.mm_per_day for i in kept)
    slowest, fastest = _bounds(now)
    return Rate(
        Growth(max(low - error, slowest.mm_per_day)),
        Growth(middle),
        Growth(min(high + error, fastest.mm_per_day)),
        OWN,
        own=True,
        from_intervals=len(kept),
        intervals=tuple(kept),
        left_out=left_out,
    )


def rate_for(history: History, today: date, limb: str | None = None) -> Rate:
    """The horse's own rate (of the limb, else of all feet) where it can be said, else published."""
    past = history.until(today)
    age = history.horse.age(today)
    # What was grown as a foal says nothing of the grown horse.
    if past.last is not None and history.horse.age(past.last.on) is age:
        for which in dict.fromkeys((limb, None)):
            own = own_rate(past, which)
            if isinstance(own, Rate):
                return own
    toe = _last_toe(past, limb)
    return published(age, toe.value if toe and isinstance(toe.value, Length) else None)


def lines(rate: Rate, words: Words, unit: str = "mm") -> list[str]:
    """The rate, what it rests on, and which intervals were left out and why."""
    pace = f"{words_for(rate.middle, words, unit)} a {_per(unit)}"
    around = f"{words_for(rate.slow, words, unit)} to {words_for(rate.fast, words, unit)}"
    said = [f"growth {pace} ({around}): {words.plain(str(rate.source))}"]
    if rate.own:
        over = count(words, rate.from_intervals, "interval")
        reading = words.measure(READING, "mm")
        said.append(f"from {over}; readings taken to be {reading} off at most, common practice")
        bare = sum(1 for i in rate.intervals if i.by == BY_TOE and i.shod is False)
        if bare:
            said.append(f"{words.number(bare)} of them of a bare foot, which also wears")
    if rate.note:
        said.append(words.plain(rate.note))
    for left in rate.left_out[-MOST_LEFT_OUT:]:
        days = f"{words.day(left.start)} to {words.day(left.end)}"
        said.append(f"left out: {words.limb(left.limb)} {days}, {left.left_out}")
    more = len(rate.left_out) - MOST_LEFT_OUT
    if more > 0:
        said.append(f"and {words.number(more)} more left out before that")
    return said


def words_for(growth: Growth, words: Words, unit: str) -> str:
    """Growth a month in inches, else a week in mm (as the sources have them)."""
    if unit == "in":
        return words.measure(growth.in_days(DAYS_PER_MONTH), "in")
    return words.measure(growth.in_days(DAYS_PER_WEEK), "mm", 1)


def _per(unit: str) -> str:
    return "month" if unit == "in" else "week"


def birth_ring_at_ground(born: date) -> tuple[date, date, date]:
    """Earliest, likeliest and latest day of the birth ring at the ground: 145 ± 15 days after
    birth (Curtis 2014)."""
    soonest, middle, latest = (shifted(born, days) for days in BIRTH_RING_DAYS)
    return soonest, middle, latest


def shifted(day: date, days: float) -> date:
    """So many days later; the ends of the calendar where it would run over them."""
    try:
        return day + timedelta(days=round(days))
    except OverflowError:
        return date.max if days > 0 else date.min


def toe_unit(history: History, limb: str | None = None) -> str:
    """The unit in which toes were last measured, mm where none was."""
    last = _last_toe(history, limb)
    return last.unit if last else "mm"


def _last_toe(history: History, limb: str | None) -> Measured | None:
    limbs = [limb] if limb else list(LIMBS)
    said = [m for each in limbs for m in measures(history, "toe_length", each)]
    found = [m for m in said if isinstance(m.value, Length) and is_some(m.value)]
    return max(found, key=lambda m: m.on, default=None)


def _bounds(age: Age) -> tuple[Growth, Growth]:
    """Beyond these a number is a slip: half the slowest, twice the fastest published."""
    rate = published(age)
    return Growth(rate.slow.mm_per_day / 2), Growth(rate.fast.mm_per_day * 2)


def _spread(rates: list[float]) -> tuple[float, float]:
    if len(rates) < MANY:
        return rates[0], rates[-1]
    return _quantile(rates, 0.1), _quantile(rates, 0.9)


def _quantile(ordered: list[float], share: float) -> float:
    place = share * (len(ordered) - 1)
    under = math.floor(place)
    over = min(under + 1, len(ordered) - 1)
    return ordered[under] + (place - under) * (ordered[over] - ordered[under])


def _why_not(left_out: tuple[GrowthInterval, ...]) -> str:
    if left_out:
        last = left_out[-1]
        return f"of {last.limb or 'a foot'} {last.start} to {last.end}: {last.left_out}"
    return "no toe was measured after one trim and before the next, and no mark was seen twice"
