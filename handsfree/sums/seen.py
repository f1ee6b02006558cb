"""A finding over the visits: first seen, every time since, better or worse, and by what."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

from handsfree.records.entries import Finding
from handsfree.records.limbs import LIMBS as FEET
from handsfree.records.units import Length
from handsfree.sums.history import DayVisit, History
from handsfree.sums.slopes import Slope
from handsfree.sums.sources import CantSay
from handsfree.sums.standing import Basis, Sighting, Standing, State, compare, trend

__all__ = ["LIMBS", "PLACE_OF", "FindingTrack", "State", "finding_tracks"]

LIMBS = (*FEET, None)
CLEAR = "clear"
PLACE_OF = {"thrush": "frog", "corn": "seat_of_corn", "seedy_toe": "toe"}
"""Where a finding is by the definition in grammar/words.csv, when no place was said."""
ABOVE_THE_FOOT = frozenset("pastern fetlock cannon hock knee shoulder back".split())
NOT_OF_THE_FOOT = frozenset(
    "brushing forging overreach stumbling lameness base_narrow base_wide toed_in toed_out "
    "winging swelling cut tender heat laminitis body_condition sidebone ringbone mud_fever mites "
    "broken_back_axis broken_forward_axis".split()
)
"""What "foot clear" does not take away where no place was said: it may be of the leg or gait."""


@dataclass(frozen=True)
class FindingTrack:
    """One finding at one place of one foot over the visits.

    `seen` oldest first, one for each day. `looked_clear`: days on which that place was said to
    be clear, or the finding said not to be there (`denied` are those of them). `not_mentioned`:
    days after the first sighting on which the foot had notes but none of this; that does not
    mean that it was gone.
    """

    limb: str | None
    zone: str | None
    side: str | None
    term: str
    seen: tuple[Sighting, ...]
    looked_clear: tuple[date, ...]
    not_mentioned: tuple[date, ...]
    state: State
    rests_on: Basis | None
    against: tuple[Basis, ...]
    denied: tuple[date, ...] = ()

    @property
    def slope(self) -> Slope | CantSay:
        """Its change a month, of `slope_of`."""
        return self._trend[0]

    @property
    def slope_of(self) -> Basis | None:
        """What the slope is of: the extent, else the scale, else the grades counted 1 to 4."""
        return self._trend[1]

    @cached_property
    def _trend(self) -> tuple[Slope | CantSay, Basis | None]:
        # Reckoned when it is asked for: it loads a large library, and most do not ask.
        return trend(self.seen)

    @property
    def first(self) -> Sighting:
        """The first sighting."""
        return self.seen[0]

    @property
    def last(self) -> Sighting:
        """The latest sighting."""
        return self.seen[-1]

    @property
    def since_last(self) -> tuple[date, ...]:
        """Days after the last sighting on which the foot had notes but none of this."""
        return tuple(day for day in self.not_mentioned if day > self.last.on)


def finding_tracks(history: History, limb: str | None = None) -> list[FindingTrack]:
    """Every finding of a history (of one limb, if given), foot by foot, first seen first.

    The same finding is one of the same limb, term, zone and side. One said without a side
    belongs to the side that was said at other times, if that was always the same one.
    """
    groups: dict[_Key, list[tuple[date, Finding]]] = {}
    for visit in sorted(history.visits, key=lambda v: v.on):
        for entry in visit.entries:
            if isinstance(entry, Finding) and (limb is None or entry.limb == limb):
                key = None if entry.denied else _key(entry)
                if key is not None:
                    groups.setdefault(key, []).append((visit.on, entry))
    found = [_track(history, key, sighted) for key, sighted in _with_sides(groups).items()]
    return sorted(found, key=lambda track: (_place(track.limb), track.first.on))


@dataclass(frozen=True)
class _Key:
    limb: str | None
    zone: str | None
    side: str | None
    term: str


def _key(finding: Finding) -> _Key | None:
    term = finding.term or (finding.scale_grade.scale if finding.scale_grade else None)
    if term is None or term == CLEAR:
        return None
    return _Key(finding.limb, finding.zone or PLACE_OF.get(term), finding.side, term)


def _with_sides(
    groups: dict[_Key, list[tuple[date, Finding]]],
) -> dict[_Key, list[tuple[date, Finding]]]:
    """Findings without a side put to the one side there is, in the order they were said."""
    joined: dict[_Key, list[tuple[date, Finding]]] = {}
    for key, sighted in groups.items():
        sides = [k for k in groups if k.side is not None and replace(k, side=None) == key]
        home = sides[0] if key.side is None and len(sides) == 1 else key
        joined.setdefault(home, []).extend(sighted)
    return {key: sorted(said, key=lambda each: each[0]) for key, said in joined.items()}


def _place(limb: str | None) -> int:
    return LIMBS.index(limb) if limb in LIMBS else len(LIMBS)


def _sightings(key: _Key, said: Iterable[tuple[date, Finding]]) -> tuple[Sighting, ...]:
    """One for each day: what is said again is said better, what is left out then still holds."""
    days: dict[date, Sighting] = {}
    for on, finding in said:
        before = days.get(on, Sighting(on, side_said=False))
        days[on] = Sighting(
            on,
            finding.grade or before.grade,
            finding.age or before.age,
            finding.trend or before.trend,
            _length(finding.extent_mm) or before.extent,
            _length(finding.below_hairline_mm) or before.below_hairline,
            finding.scale_grade or before.scale_grade,
            before.side_said or finding.side == key.side,
        )
    return tuple(days[on] for on in sorted(days))


def _length(mm: float | None) -> Length | None:
    """None for what is no length: negative, not a number."""
    return Length(mm) if mm is not None and math.isfinite(mm) and mm >= 0 else None


def _track(history: History, key: _Key, said: list[tuple[date, Finding]]) -> FindingTrack:
    seen = _sightings(key, said)
    on = {sighting.on for sighting in seen}
    visits = sorted((v for v in history.visits if v.on not in on), key=lambda v: v.on)
    denied = tuple(v.on for v in visits if _said_not_there(v, key))
    clear = tuple(v.on for v in visits if v.on in denied or _said_clear(v, key))
    silent = tuple(
        v.on
        for v in visits
        if v.on > seen[0].on
        and v.on not in clear
        and any(entry.limb == key.limb for entry in v.entries)
    )
    foot_before = any(
        v.on < seen[0].on and any(e.limb == key.limb for e in v.entries) for v in visits
    )
    stands = _standing(seen, clear, silent, foot_before)
    about = (key.limb, key.zone, key.side, key.term)
    how = (stands.state, stands.rests_on, stands.against)
    return FindingTrack(*about, seen, clear, silent, *how, denied)


def _said_clear(visit: DayVisit, key: _Key) -> bool:
    return any(
        isinstance(entry, Finding)
        and entry.term == CLEAR
        and not entry.denied
        and entry.limb == key.limb is not None
        and _covers(entry, key)
        for entry in visit.entries
    )


def _said_not_there(visit: DayVisit, key: _Key) -> bool:
    """Whether this finding was denied: of this place, or of no place that was named.

    "Not lame" said of no foot is said of all of them.
    """
    for entry in visit.entries:
        if not isinstance(entry, Finding) or not entry.denied:
            continue
        about = _key(entry)
        if about is None or about.term != key.term:
            continue
        whole = about.limb is None and about.term == "lameness"
        here = about.zone == key.zone or entry.zone is None
        if (whole or about.limb == key.limb) and here and about.side in (None, key.side):
            return True
    return False


def _covers(clear: Finding, key: _Key) -> bool:
    """Whether a "clear" is surely of the place of a finding."""
    if clear.zone is not None:
        return clear.zone == key.zone and clear.side in (None, key.side)
    if clear.side not in (None, key.side):
        return False
    if key.zone is None:
        return key.term not in NOT_OF_THE_FOOT
    return key.zone not in ABOVE_THE_FOOT


def _standing(
    seen: tuple[Sighting, ...],
    clear: tuple[date, ...],
    silent: tuple[date, ...],
    foot_before: bool,
) -> Standing:
    last = seen[-1]
    if any(day > last.on for day in clear):
        return Standing(State.GONE, Basis.CLEAR)
    if len(seen) > 1:
        if any(seen[-2].on < day < last.on for day in clear):
            return Standing(State.NEW, Basis.CLEAR)
        return compare(seen[-2], last)
    if last.trend in (State.BETTER, State.SAME, State.WORSE):
        return Standing(State(last.trend), Basis.SAID)
    stale = any(day > last.on for day in silent)
    fresh = last.age == "fresh" or (foot_before and last.age != "old")
    return Standing(State.NEW if fresh and not stale else State.UNKNOWN)
