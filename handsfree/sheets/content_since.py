"""What a sheet tells over several visits: changes, trends, the next visit."""

import re
from collections.abc import Iterator, Sequence
from datetime import date, timedelta

from handsfree.records.units import reckoned_in
from handsfree.sheets.content_notes import in_unit, unit_of
from handsfree.sheets.content_parts import Change, NextVisit, Trend
from handsfree.sheets.content_words import Voice
from handsfree.sheets.files import printable
from handsfree.sums import change, interval
from handsfree.sums.due_reasons import HIS_OWN, Reason, Why
from handsfree.sums.history import History, Stage
from handsfree.sums.interval import Basis, When
from handsfree.sums.seen import FindingTrack, State, finding_tracks
from handsfree.sums.series import MeasureTrack
from handsfree.sums.sources import CantSay
from handsfree.sums.wording import count

FEWEST = 3
"""Points that make a plot worth its room."""

SHOWN_WITHIN = timedelta(days=365)
"""A measure not taken for so long has no plot (common practice, no source)."""

FOR_OWNER = frozenset({"toe_length", "hoof_angle", "heart_girth", "weight"})
"""Measures that are plotted for an owner; the rest is in the table."""

AS_SAID = ("first seen", "said clear", "said not to be there")
"""How the lines begin that tell what was said and when, and judge nothing."""

DECIDING = {
    Basis.ASKED: (Why.ASKED, Why.SLACK),
    Basis.USUAL: (Why.USUAL, Why.SLACK, Why.BEYOND),
    Basis.SOURCES: (Why.ODD, Why.AT_MOST, Why.SPAN),
}
"""The reasons that a window rests on, by what the best day rests on."""


def changes(history: History, day: date, voice: Voice) -> tuple[Change, ...]:
    """What was seen that day or the time before, over the visits.

    For the owner as the sums tell it; for the vet only what was said and when.
    """
    days = [visit.on for visit in history.visits]
    if len(days) < 2:
        return ()
    before = days[-2]
    told: list[Change] = []
    for track in finding_tracks(history):
        if not _of_now(track, day, before):
            continue
        lines = [_from_then(printable(line)) for line in change.lines(track, day, voice)]
        if voice.plain_words:
            text = lines[0][:1].upper() + lines[0][1:] + _both_times(track, voice)
            told.append(Change(track.limb, text))
        else:
            said = [line for line in lines[1:] if line.startswith(AS_SAID)]
            if silent := len(track.not_mentioned):
                visits = count(voice, silent, "visit")
                said.append(f"not mentioned at {visits}, which does not mean gone")
            told.append(Change(track.limb, change.name(track, voice), tuple(said)))
    return tuple(told)


def _both_times(track: FindingTrack, voice: Voice) -> str:
    """What was said of it the last two times, where no one said what became of it."""
    if track.state is not State.UNKNOWN or len(track.seen) < 2:
        return ""
    before, after = track.seen[-2:]
    told = [printable(change.told_of(each, track, voice)) for each in (before, after)]
    if told == ["noted", "noted"]:
        return ""
    return f" ({voice.day(before.on)}: {told[0]}; {voice.day(after.on)}: {told[1]})"


def _from_then(line: str) -> str:
    """A line told from the day of the visit, for readers of a later day."""
    return re.sub(r"\bago\b", "before", re.sub(r"\btoday\b", "at this visit", line))


def _of_now(track: FindingTrack, day: date, before: date) -> bool:
    """Whether a finding is of this visit: seen, looked for, or seen the time before."""
    if track.last.on == day:
        return True
    cleared = [on for on in track.looked_clear if on > track.last.on]
    return min(cleared) == day if cleared else track.last.on == before


def trends(
    tracks: Sequence[MeasureTrack], day: date, voice: Voice, unit: str | None
) -> tuple[Trend, ...]:
    """The measures of the day worth a plot, foot by foot; one axis for all feet of a measure."""
    of_day = {t.quantity for t in tracks if t.points[-1].on == day}
    wanted = of_day & FOR_OWNER if voice.plain_words else of_day
    kept = [t for t in tracks if t.quantity in wanted and day - t.points[-1].on <= SHOWN_WITHIN]
    groups: dict[tuple[str, str | None, str | None], list[MeasureTrack]] = {}
    for track in kept:
        if len({point.on for point in track.points}) >= FEWEST:
            groups.setdefault((track.quantity, track.limb, track.side), []).append(track)
    found: list[Trend] = []
    for (quantity, limb, side), mine in groups.items():
        alike = [t for (q, _, _), each in groups.items() if q == quantity for t in each]
        shown = reckoned_in(unit_of(mine[0].unit, mine[0].points[0].value, unit))
        values = [point.value.to(shown) for track in alike for point in track.points]
        days = [point.on for track in alike for point in track.points]
        room = (max(values) - min(values)) * 0.1 or abs(values[0]) * 0.05
        what = " ".join(p for p in (voice.word("side", side), voice.quantity(quantity, limb)) if p)
        name = f"{voice.limb(limb)}, {what}" if limb else what
        name = name[:1].upper() + name[1:]
        found.append(
            Trend(
                quantity=quantity,
                limb=limb,
                name=name,
                unit=shown,
                tracks=tuple(mine),
                least=min(values),
                most=max(values),
                low=min(values) - room,
                high=max(values) + room,
                first=min(days),
                last=max(days),
                ends=(voice.day(min(days)), voice.day(max(days))),
                description=" ".join(_described(mine, shown, voice)),
            )
        )
    order = list(dict.fromkeys(quantity for quantity, _, _ in groups))
    return tuple(sorted(found, key=lambda trend: order.index(trend.quantity)))


def _described(tracks: Sequence[MeasureTrack], unit: str, voice: Voice) -> Iterator[str]:
    for track in tracks:
        told = "; ".join(f"{voice.day(p.on)} {in_unit(p, unit, voice)}" for p in track.points)
        stage = track.stage.value
        head = "" if track.stage is Stage.UNTOUCHED else f"{stage[:1].upper()}{stage[1:]}: "
        yield f"{head}{told}."


def next_visit(history: History, day: date, today: date, voice: Voice) -> NextVisit | str:
    """When the horse is due after the visit of a day, by what was known then; or why not."""
    found = interval.when(history, day)
    if isinstance(found, CantSay):
        return str(found)
    when: When = found
    reasons = [_reason(r, voice) for r in when.reasons if r.why in DECIDING[when.basis]]
    if when.latest < today:
        reasons.append(f"this time is past on {voice.day(today)}, the day this sheet was made")
    return NextVisit(
        best=voice.day(when.best),
        earliest=voice.day(when.earliest),
        latest=voice.day(when.latest),
        reasons=tuple(reasons),
        best_day=when.best,
        earliest_day=when.earliest,
        latest_day=when.latest,
    )


def _reason(reason: Reason, voice: Voice) -> str:
    """A reason with its source; "your own plan" is the farrier's for who reads the sheet."""
    text = reason.text(voice)
    return text.replace(f"({HIS_OWN})", "(the farrier\u2019s plan)")
