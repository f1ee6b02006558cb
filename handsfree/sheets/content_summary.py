"""A sheet in a few lines: found, done, to watch, planned, next."""

from collections.abc import Iterator
from dataclasses import replace

from handsfree.records.entries import Entry, Nails, Shoe, Work
from handsfree.records.limbs import LIMBS
from handsfree.sheets.content_notes import is_confirmed
from handsfree.sheets.content_parts import Item, Sheet
from handsfree.sheets.content_words import Voice
from handsfree.sheets.files import printable
from handsfree.sums import plans
from handsfree.sums.history import DayVisit

TO_WATCH = frozenset({"watch", "call_vet", "tell_owner", "xray"})
"""Plans that ask something of the owner before the next visit."""


def plan(fate: plans.PlanFate, voice: Voice) -> str:
    """ "left hind: watch this foot (said 14 October 2026)"."""
    if fate.plan.limb is None or fate.plan.action not in TO_WATCH:
        return printable(plans.line(fate, voice))
    bare = replace(fate, plan=replace(fate.plan, limb=None))
    return printable(f"{voice.limb(fate.plan.limb)}: {plans.line(bare, voice)}")


def summary(made: Sheet, visit: DayVisit, voice: Voice) -> Iterator[tuple[str, tuple[str, ...]]]:
    """The sheet in a few lines: found, done, to do, next."""
    found = [
        f"{voice.limb(foot.limb)}: {', '.join(_marked(each) for each in foot.found)}"
        for foot in made.feet
        if foot.found
    ]
    found += [_marked(each) for each in made.whole.found]
    none = "no finding is confirmed yet" if made.left_out else "no finding was noted"
    yield "Found", tuple(_begun(line) for line in found) or (none,)
    if done := tuple(_begun(line) for line in _done(visit, voice)):
        yield "Done", done
    if made.watch:
        yield "To watch", tuple(_begun(line) for line in made.watch)
    if made.plans:
        yield "Planned", tuple(_begun(line) for line in made.plans)
    if made.next_visit is not None:
        yield "Next visit", (f"{made.next_visit.best} ({made.next_visit.window})",)


def _begun(line: str) -> str:
    return line[:1].upper() + line[1:]


def _marked(each: Item) -> str:
    return each.text if each.confirmed else f"{each.text} (not confirmed)"


def _done(visit: DayVisit, voice: Voice) -> Iterator[str]:
    """Work and shoes, feet alike told together."""
    by_limb: dict[str | None, dict[Entry, bool]] = {limb: {} for limb in LIMBS}
    for note in visit.notes:
        if isinstance(note.entry, Work | Shoe | Nails) and not _is_taken_out(note.entry):
            of_limb = by_limb.setdefault(note.entry.limb, {})
            of_limb.setdefault(replace(note.entry, limb=None), is_confirmed(note))
    alike: dict[tuple[str, ...], list[str | None]] = {}
    for limb, entries in by_limb.items():
        told = tuple(
            printable(voice.entry(entry)) + ("" if sure else " (not confirmed)")
            for entry, sure in entries.items()
        )
        if told:
            alike.setdefault(told, []).append(limb)
    for entries_told, limbs in alike.items():
        all_feet = len([limb for limb in limbs if limb]) == len(LIMBS)
        names = "all four feet" if all_feet else ", ".join(voice.limb(limb) for limb in limbs)
        yield f"{names}: {', '.join(entries_told)}"


def _is_taken_out(entry: Entry) -> bool:
    return isinstance(entry, Nails) and entry.action != "driven"
