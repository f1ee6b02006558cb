"""What lies ahead for the horses as a calendar file (iCalendar, RFC 5545)."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING
from uuid import UUID, uuid5

from handsfree.grammar.grammar import Grammar
from handsfree.log.store import name_key
from handsfree.records.entries import Plan
from handsfree.sheets.files import printable
from handsfree.sums import interval, plans
from handsfree.sums.history import History
from handsfree.sums.interval import Standing, Window
from handsfree.sums.sources import CantSay
from handsfree.sums.wording import ForEye, Words, count

if TYPE_CHECKING:
    from icalendar import Event, Todo

PRODUCT = "-//handsfree//horses due//EN"
CALENDAR_NAME = "Horses due"

EVENING_BEFORE = timedelta(hours=-6)
"""An alarm at six in the evening before a whole day."""

GIVEN_UP_DAYS = 182
"""A horse overdue by more than half a year is seen by others or by nobody (common practice, no
source): it is left out where it is not asked for by name."""

_IDS = UUID("5f0c1f8e-0c3b-5c6e-9d0a-6b1d2c9f4a71")
"""Of our own, so that the ids of calendar entries are the same whenever they are made."""


class Kind(StrEnum):
    """What a calendar entry is for."""

    VISIT = "visit"
    CALL_VET = "call_vet"
    WATCH = "watch"
    NEXT_TIME = "next_time"
    TELL_OWNER = "tell_owner"
    XRAY = "xray"


_PLANNED = frozenset(kind.value for kind in Kind if kind is not Kind.VISIT)

AS_TASKS = frozenset({Kind.WATCH, Kind.NEXT_TIME})
"""Kinds that are tasks (VTODO) due at the next visit; the others are whole days (VEVENT). Many
telephones show no tasks, so the day of the visit lists them as well."""

AT_ONCE = frozenset({Kind.CALL_VET, Kind.TELL_OWNER, Kind.XRAY})
"""Kinds that do not wait for the next visit."""


@dataclass(frozen=True)
class Item:
    """One entry of the calendar.

    `on` is its day, `since` the visit it follows from, `title` and `lines` its text. `uid` is
    the same whenever it is made from the same plan of the same visit, and `version` (days from
    that visit to the day it was made) grows, so that a newer file replaces what an older put in.
    """

    uid: str
    kind: Kind
    horse: str
    on: date
    since: date
    title: str
    lines: tuple[str, ...]
    version: int


def items(history: History, today: date, grammar: Grammar) -> tuple[Item, ...] | CantSay:
    """The next visit and the open plans of a horse, of what was known on a day.

    The visit is on the best day of `interval.window`, which gives its reasons with their
    sources; one that is past is put on `today` and called overdue or due. A vet to be called, an
    owner to be told and pictures to be taken are put on `today`. Doubtful plans are named in the
    visit's text and change no day.
    """
    known = history.until(today)
    window = interval.window(known, today)
    if isinstance(window, CantSay):
        return window
    words = ForEye(grammar)
    still_open = [f for f in plans.still_open(known, grammar) if f.plan.action in _PLANNED]
    day = max(window.best, today)
    name = printable(history.horse.name)
    key = name_key(history.horse.name)
    visit = Item(
        uid=_uid(Kind.VISIT, key, window.since),
        kind=Kind.VISIT,
        horse=history.horse.name,
        on=day,
        since=window.since,
        title=f"{name}: {_standing(window, today, words)}",
        lines=(
            f"window {words.day(window.earliest)} to {words.day(window.latest)}, best "
            f"{words.day(window.best)}; last visit {words.day(window.last)}",
            *(reason.text(words) for reason in window.reasons),
            *(printable(plans.line(fate, words)) for fate in still_open),
            *_doubtful(known, words),
        ),
        version=(today - window.since).days,
    )
    found = [visit]
    for fate in still_open:
        kind = Kind(str(fate.plan.action))
        limb = f"{words.limb(fate.plan.limb)} " if fate.plan.limb else ""
        found.append(
            Item(
                uid=_uid(kind, key, fate.on, fate.plan.limb, fate.plan.text),
                kind=kind,
                horse=history.horse.name,
                on=today if kind in AT_ONCE else day,
                since=fate.on,
                title=f"{name}: {limb}{printable(words.entry(fate.plan))}",
                lines=(printable(plans.line(fate, words)),),
                version=(today - fate.on).days,
            )
        )
    return tuple(found)


def _uid(kind: Kind, *parts: object) -> str:
    text = "\0".join("" if part is None else str(part) for part in (kind.value, *parts))
    return f"{uuid5(_IDS, text)}@handsfree"


def _standing(window: Window, today: date, words: Words) -> str:
    state = interval.state(window, today)
    if state.standing is Standing.OVERDUE:
        return f"visit overdue {count(words, state.days, 'day')}"
    return "visit due" if today > window.best else "visit"


def _doubtful(history: History, words: Words) -> list[str]:
    """Plans of the latest visit that were not surely heard: named, and not taken."""
    last = history.last
    if last is None:
        return []
    return [
        f"not surely heard, not taken: {words.limb(entry.limb) + ' ' if entry.limb else ''}"
        f"{printable(words.entry(entry))} (said {words.day(last.on)})"
        for entry in last.doubtful
        if isinstance(entry, Plan)
    ]


def is_given_up(history: History, today: date) -> bool:
    """Whether a horse is overdue by more than half a year (see GIVEN_UP_DAYS)."""
    window = interval.window(history, today)
    if isinstance(window, CantSay):
        return False
    state = interval.state(window, today)
    return state.standing is Standing.OVERDUE and state.days > GIVEN_UP_DAYS


def calendar(found: Iterable[Item], stamp: datetime, alarm: timedelta | None = None) -> bytes:
    """The items as an iCalendar file (RFC 5545), lines folded and text escaped.

    `stamp`: the moment it is made (with its offset from UTC). `alarm`: how long before the
    beginning of a visit's day to remind (negative: before), None for no reminder. RFC 5545 wants
    at least one item. Raises ValueError for none.
    """
    from icalendar import Calendar

    whole = Calendar()
    whole.add("prodid", PRODUCT)
    whole.add("version", "2.0")
    whole.add("method", "PUBLISH")
    whole.add("x-wr-calname", CALENDAR_NAME)
    for item in found:
        whole.add_component(_component(item, stamp.astimezone(UTC).replace(microsecond=0), alarm))
    if not whole.subcomponents:
        raise ValueError("a calendar needs at least one entry")
    return bytes(whole.to_ical())


def _component(item: Item, stamp: datetime, alarm: timedelta | None) -> "Event | Todo":
    from icalendar import Alarm, Event, Todo

    made: Event | Todo
    if item.kind in AS_TASKS:
        made = Todo()
        made.add("due", item.on)
        made.add("status", "NEEDS-ACTION")
    else:
        made = Event()
        made.add("dtstart", item.on)
        made.add("dtend", item.on + timedelta(days=1))
        # A whole day is no appointment: it must not show the user as busy.
        made.add("transp", "TRANSPARENT")
    made.add("uid", item.uid)
    made.add("dtstamp", stamp)
    made.add("sequence", item.version)
    made.add("summary", item.title)
    made.add("description", _text(item.lines))
    made.add("categories", [item.kind.value])
    if alarm is not None and item.kind not in AS_TASKS:
        reminder = Alarm()
        reminder.add("action", "DISPLAY")
        reminder.add("description", item.title)
        reminder.add("trigger", alarm)
        made.add_component(reminder)
    return made


def _text(lines: Sequence[str]) -> str:
    return "\n".join(lines)
