"""What plain review prints: whole sentences, one thing a line, to be read aloud in order."""

import unicodedata
from collections.abc import Iterator, Sequence

from handsfree.log.rows import Visit
from handsfree.review.items import CONFIRMED, DOUBTFUL, STATES, SURE, UNCLEAR, FootView, Item, Slot
from handsfree.review.keys import KEYS

NAMES = {"LF": "left front", "RF": "right front", "LH": "left hind", "RH": "right hind"}

STATE_WORDS = {
    UNCLEAR: "not understood",
    DOUBTFUL: "doubtful",
    SURE: "sure",
    CONFIRMED: "confirmed",
}

ALWAYS = ("accept", "correct", "strike", "skip", "hear", "undo", "leave", "keys")
"""Verbs that are named after each utterance."""

LISTED = 12
"""Most values of a slot that are read out at once."""

HELP = {
    "accept": "it is right as it stands; an empty line does it too",
    "correct": "correct one thing: correct place heel; correct alone says what there is; "
    "correct 2 place heel is for the second part",
    "strike": "it no longer counts; nothing is deleted; strike 2 strikes the second part only",
    "skip": "leave it for now; on to the next that is not confirmed",
    "hear": "hear it again; a line with a blank in it does it too",
    "undo": "take the last change back, then the one before it, and so on",
    "leave": "leave; everything is kept already",
    "keys": "this list",
    "number": "take the reading of this number instead; it counts as confirmed",
    "words": "what was said: 0 left hind outside heel bruise; so too without the 0",
    "sure": "confirm all sure ones; sure LH confirms those of that foot",
    "foot": "on to the next foot",
    "horse": "the horses of the day; horse 2, or horse and its name, goes there; "
    "horse name and a name says which horse this visit is of",
    "move": "to another foot or horse: move RH, or move and the horse's name",
    "add": "add one that was never heard: add left hind outside heel bruise",
    "read": "cautions, nails, what is of the horse, and each foot in numbers",
    "back": "one back",
    "split": "two things were said: one more like this one, to be corrected",
    "lookup": "what was heard on this foot; list 7 goes to number 7",
    "history": "who changed what, and when",
    "onward": "just the next one, confirmed or not",
}
"""What each verb does, as it is typed here."""


def clean(text: str) -> str:
    """The text on one line, without control signs, which could drive a terminal or a reader."""
    one_line = " ".join(text.split())
    return "".join(
        c if unicodedata.category(c)[0] != "C" else "\N{REPLACEMENT CHARACTER}" for c in one_line
    )


def opening(visit: Visit, items: Sequence[Item], notices: Sequence[str]) -> Iterator[str]:
    """What a visit begins with."""
    yield f"Review of {visit.horse or f'a {visit.whose}'}, {visit.day}."
    yield from (f"Mind: {notice}" for notice in notices)
    yield f"{_number(len(items), 'utterance')}: {tally(items)}." if items else "Nothing was heard."


def tally(items: Sequence[Item]) -> str:
    """How many there are of each state."""
    states = [item.state for item in items]
    return ", ".join(f"{states.count(s)} {STATE_WORDS[s]}" for s in STATES if s in states)


def utterance(item: Item, number: int, of: int) -> Iterator[str]:
    """One utterance: where one is, how sure it is, what it records, what else it may be."""
    sure = "" if item.confidence is None or item.state == UNCLEAR else f" {item.confidence:.0%}"
    why = f": {item.why}" if item.why else ""
    struck = item.state == CONFIRMED and not item.parts
    yield ""
    yield f"{number} of {of}. {place(item)}, {item.when}."
    yield f"State: {'struck or left out' if struck else STATE_WORDS[item.state] + sure + why}."
    for at, part in enumerate(item.parts, 1):
        label = f"Part {at}" if len(item.parts) > 1 else "Records"
        limb = f"{part.limb} " if part.limb and part.limb != item.limb else ""
        asked = part.question and part.question not in (item.why or "")
        yield f"{label}: {limb}{part.text}.{f' {part.question}' if asked else ''}"
    if not item.parts:
        yield "Records: nothing."
    yield f"Heard: {item.heard}." if item.heard else "Heard: no words, only sound."
    for at, alternative in enumerate(item.alternatives, 1):
        yield f"Or {at}: {alternative.text}."


def place(item: Item) -> str:
    """The foot an utterance is about."""
    if item.limb in NAMES:
        return NAMES[item.limb].capitalize()
    return "The horse, or several feet" if item.parts else "No foot named"


def prompt() -> str:
    """The line before each answer."""
    named = {key.verb: f"{key.label} ({key.face.lower()})" for key in KEYS}
    return "; ".join(named[verb] for verb in ALWAYS) + "?"


def all_keys() -> Iterator[str]:
    """Every verb with its letter and what it does."""
    for key in KEYS:
        if key.verb in HELP:
            face = "" if key.name == "right" else f" ({key.face.lower()})"
            yield f"{key.label}{face}: {HELP[key.verb]}."
    yield "Anything else is taken for what was said, as: left hind outside heel bruise."


def slots(part: str, found: Sequence[Slot]) -> Iterator[str]:
    """What of a part can be corrected."""
    yield f"Of {part}:"
    for slot in found:
        yield f"{slot.label}: {slot.shown or 'not said'}."
    yield "Say correct, which of these, and what is right."


def values(slot: Slot, like: str) -> Iterator[str]:
    """What a slot may be; only what has the words `like` in it, if any has."""
    numbered = list(enumerate(slot.choices, 1))
    fitting = [c for c in numbered if like and like in c[1].label.lower()] or numbered
    yield f"{slot.label} is {slot.shown or 'not said'}. It may be:"
    yield from (f"{number}: {choice.label}." for number, choice in fitting[:LISTED])
    if len(fitting) > LISTED:
        yield f"And {len(fitting) - LISTED} more; give a part of the word to hear those with it."
    if slot.free:
        yield "Or a value of your own."


def notes(
    notices: Sequence[str], of_horse: Sequence[str], feet: Sequence[FootView]
) -> Iterator[str]:
    """What must not be overlooked, what is of the horse, and each foot in numbers."""
    yield from (f"Mind: {notice}" for notice in notices)
    if not notices:
        yield "No cautions, and the nails add up."
    yield from (f"Of the horse: {entry}." for entry in of_horse)
    for foot in feet:
        counts = f"{foot.recorded} noted, {foot.doubtful} doubtful, {foot.confirmed} confirmed"
        missing = f"; missing: {', '.join(foot.left)}" if foot.left else ""
        yield f"{NAMES[foot.limb].capitalize()}: {counts}{missing}."


def one_line(item: Item, number: int) -> str:
    """An utterance in a list."""
    text = "; ".join(part.text for part in item.parts) or f"nothing, heard: {item.heard}"
    return f"{number}: {STATE_WORDS[item.state]}, {text}."


def parting(items: Sequence[Item]) -> str:
    """The last line."""
    left = [item for item in items if item.state != CONFIRMED]
    return f"Left; everything is kept. {'Still open: ' + tally(left) if left else 'All is done'}."


def _number(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"
