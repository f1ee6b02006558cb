"""How long each foot was held, and when to remind of a rest.

A farrier's back was bent for 75% of the time he worked, often beyond 70 degrees (Löfqvist and
Pinzke 2012, Work 41:5308). No source was found for how long one hold may last: when to remind
is the user's to set.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from handsfree.records.commands import Command

FOOT_UP, FOOT_DOWN, BREAK = Command.FOOT_UP, Command.FOOT_DOWN, Command.BREAK
EVENTS = (FOOT_UP, FOOT_DOWN, BREAK)
UNNAMED = "unnamed"


@dataclass(frozen=True)
class FootEvent:
    """A foot went up or down, or a break began, at `at_s` seconds of any one clock."""

    at_s: float
    what: str
    limb: str | None = None


@dataclass(frozen=True)
class Pace:
    """The holds of a visit. Seconds; a foot that is still up is not in the sums.

    `up_s` and `times_up`: by limb, "unnamed" where none was named. `longest_s`: the longest
    hold that has ended. `up_since_s`: when the foot that is up went up, None while none is.
    """

    up_s: Mapping[str, float] = field(default_factory=dict)
    times_up: Mapping[str, int] = field(default_factory=dict)
    longest_s: float = 0.0
    longest_limb: str | None = None
    breaks: int = 0
    up_since_s: float | None = None
    up_limb: str | None = None

    def up_for_s(self, now_s: float) -> float | None:
        """Seconds since the foot went up; None while none is up."""
        return None if self.up_since_s is None else max(0.0, now_s - self.up_since_s)


def events_of(said: Iterable[tuple[float, str | None, str | None]]) -> Iterator[FootEvent]:
    """The events of utterances in order, each given as (seconds, command, limb in force after).

    Whoever holds a foot up and names another limb holds that one from then on.
    """
    up: str | None = None
    is_up = False
    for at_s, command, limb in said:
        if command in EVENTS:
            yield FootEvent(at_s, str(command), limb)
            is_up, up = command == FOOT_UP, limb
        elif is_up and limb is not None and limb != up:
            if up is not None:
                yield FootEvent(at_s, FOOT_UP, limb)
            up = limb


def fold(events: Iterable[FootEvent]) -> Pace:
    """The holds of the events so far, in the order they were heard.

    A foot that goes up ends the hold before it, and so does a break. A foot that went up
    without a name has the name it goes down with. A clock that runs back adds nothing. Raises
    ValueError for an event of another kind.
    """
    up_s: dict[str, float] = {}
    times: dict[str, int] = {}
    longest, longest_limb, breaks = 0.0, None, 0
    up: FootEvent | None = None
    for event in events:
        if event.what not in EVENTS:
            raise ValueError(f"no such event: {event.what!r} ({', '.join(EVENTS)})")
        if up is not None:
            late_name = event.limb if event.what == FOOT_DOWN else None
            limb = up.limb or late_name or UNNAMED
            held = max(0.0, event.at_s - up.at_s)
            up_s[limb] = up_s.get(limb, 0.0) + held
            times[limb] = times.get(limb, 0) + 1
            if held > longest:
                longest, longest_limb = held, limb
        breaks += event.what == BREAK
        up = event if event.what == FOOT_UP else None
    since, name = (up.at_s, up.limb or UNNAMED) if up else (None, None)
    return Pace(up_s, times, longest, longest_limb, breaks, since, name)


def reminder_due(pace: Pace, now_s: float, after_s: float, reminded_at: float | None) -> bool:
    """Whether to remind gently, once each `after_s` seconds while a foot is up.

    `reminded_at`: when the last reminder was given; one for an earlier hold does not count.
    An `after_s` of 0 or less means that no reminder is wanted.
    """
    if pace.up_since_s is None or after_s <= 0:
        return False
    last = pace.up_since_s if reminded_at is None else max(pace.up_since_s, reminded_at)
    return now_s - last >= after_s
