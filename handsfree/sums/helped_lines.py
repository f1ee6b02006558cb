"""Before and after a change, side by side, in words for the eye and for the ear alike."""

from collections.abc import Sequence
from datetime import date
from itertools import groupby

from handsfree.sums.change import ago, how_clear, name, signed, told_of
from handsfree.sums.helped import NOT_A_CAUSE, Clear, Comparison, Pair, Record, Silent
from handsfree.sums.history import Measured
from handsfree.sums.seen import FindingTrack
from handsfree.sums.series import MeasureTrack
from handsfree.sums.standing import Sighting, Standing, State
from handsfree.sums.wording import Words, count


def title(comparison: Comparison, words: Words) -> str:
    """ "LH pads, full outside, since 2026-10-13"."""
    made = ", ".join(words.entry(each) for each in (comparison.change, *comparison.along_with))
    return f"{words.limb(comparison.limb)} {made}, since {words.day(comparison.since)}"


def record(each: Record, pair: Pair, words: Words) -> str:
    """One record with its day."""
    match each:
        case Measured():
            unit = pair.about.unit if isinstance(pair.about, MeasureTrack) else each.unit
            said = words.measure(each.value, unit)
        case Sighting() if isinstance(pair.about, FindingTrack):
            said = told_of(each, pair.about, words)
        case Clear(denied=denied):
            said = "not there" if denied else "clear"
        case _:
            said = "not mentioned"
    return f"{words.day(each.on)} {said}"


def side(records: Sequence[Record], pair: Pair, words: Words) -> list[str]:
    """The records of one side; visits in a row that do not mention it are told together."""
    said: list[str] = []
    for silent, run in groupby(records, key=lambda each: isinstance(each, Silent)):
        these = list(run)
        if silent and len(these) > 1:
            first, last = words.day(these[0].on), words.day(these[-1].on)
            visits = count(words, len(these), "visit")
            said.append(f"{first} to {last} not mentioned, {visits}")
        else:
            said += [record(each, pair, words) for each in these]
    return said


def outcome(pair: Pair, words: Words) -> str:
    """How the last before and the last after differ; "" where there is nothing to compare."""
    match pair.outcome:
        case None:
            return ""
        case Standing(state=State.UNKNOWN):
            return "better or worse was not said"
        case Standing(state=State.GONE):
            return f"gone, {how_clear(_denied(pair.after))}"
        case Standing(state=State.NEW):
            return f"new, was {how_clear(_denied(pair.before))}"
        case Standing(state=state, rests_on=basis):
            return f"{state} by {basis}" if basis else str(state)
        case difference if isinstance(pair.about, MeasureTrack):
            return signed(difference, pair.about.unit, words)
        case _:
            return ""


def _denied(records: Sequence[Record]) -> bool:
    clear = [each for each in records if isinstance(each, Clear)]
    return bool(clear) and clear[-1].denied


def lines(comparison: Comparison, today: date, words: Words) -> list[str]:
    """A comparison in words, a line for each thing; it says itself that it shows no cause."""
    told = [f"{title(comparison, words)} ({ago(comparison.since, today, words)}): {NOT_A_CAUSE}"]
    if comparison.along_with:
        several = count(words, 1 + len(comparison.along_with), "change")
        told.append(f"{several} on one day: they cannot be told apart")
    for pair in comparison.pairs:
        sides = [
            f"{when}: {'; '.join(side(records, pair, words)) or 'nothing noted'}"
            for when, records in (("before", pair.before), ("after", pair.after))
        ]
        end = outcome(pair, words)
        told.append(f"{name(pair.about, words)}: {'. '.join(sides)}{f' ({end})' if end else ''}")
    if not comparison.pairs:
        told.append("nothing else was noted of this foot before or after")
    elif not comparison.after:
        told.append("nothing was noted of this foot since")
    if comparison.until is not None:
        told.append(f"up to the next change, {words.day(comparison.until)}")
    return told
