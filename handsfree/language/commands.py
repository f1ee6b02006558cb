"""What he says to the tool itself: commands, horses and feet, in any natural way. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass

from handsfree.language.spans import Span, cut
from handsfree.language.tables import Phrase, Tables

FILLERS = frozenset(
    """okay ok right alright well now so um uh er erm ah oh please then ta thanks mate lad lads
    yeah yes aye no yep here just anyway and hey boy girl go on let's there buddy sorry
    what could you can would wait hang a second first again too today old""".split()
)
"""Small words before and after a command."""

WITHOUT_CONTENT = frozenset({"moving", "talk", "to_others", "split", "repair"})

NEVER_NAMES = frozenset(
    "it that this done better worse good bad not no a an the one me him her".split()
)


@dataclass(frozen=True)
class Command:
    """A spoken command; for `horse` with the name of the log, or the words said for a name."""

    id: str
    horse: str | None = None
    horse_said: str | None = None


def find(
    words: Sequence[str], tables: Tables, horses: Sequence[tuple[Phrase, str]]
) -> Command | None:
    """The command that an utterance is, None where it is none."""
    said = tuple(words)
    horse = _horse(said, tables, horses)
    if horse is not None:
        return horse
    first, last = 0, len(said)
    while True:
        bare = said[first:last]
        if bare in tables.commands:
            return Command(tables.commands[bare])
        if first < last and said[first] in FILLERS:
            first += 1
        else:
            break
    while last > first and said[last - 1] in FILLERS:
        last -= 1
        if said[first:last] in tables.commands:
            return Command(tables.commands[said[first:last]])
    return _introduced(said, tables, horses) or _within(said, tables)


INTRODUCES = frozenset(
    """next start starting started begin beginning now today turn over let's lets doing onto on for
    this it's it here first up got have is's""".split()
)


def _introduced(
    said: Phrase, tables: Tables, horses: Sequence[tuple[Phrase, str]]
) -> Command | None:
    """ "Well let's get started on Barney": a horse's name with nothing but talk around it."""
    for name, horse in horses:
        for at in range(len(said) - len(name) + 1):
            if said[at : at + len(name)] != name:
                continue
            around = cut(said[:at], tables) + cut(said[at + len(name) :], tables)
            words = {w for span in around for w in span.words}
            spoken_to = any(span.get("to_others") for span in around)
            small = all(
                _is_talk(s) or set(s.words) <= tables.nothing | {"let", "well"} for s in around
            )
            if small and not spoken_to and words & INTRODUCES:
                return Command("horse", horse)
    return None


DISMISSED = frozenset(("just", "only", "nobbut", "nothing", "but"))
"""After "scrap that" these say why: "it's only a scratch" is no new note."""


def _within(said: Phrase, tables: Tables) -> Command | None:
    """A command with nothing but talk around it, the longest; never one of a single word."""
    for length in range(min(len(said), 12), 1, -1):
        for at in range(len(said) - length + 1):
            id = tables.commands.get(said[at : at + length])
            if id is None or id in ("ears_on", "ears_off", "confirm"):
                continue
            around = cut(said[:at], tables) + cut(said[at + length :], tables)
            strikes = id == "strike" and all(s.start > 2 or s.end <= 3 for s in around) and at <= 3
            after = said[at + length : at + length + 4]
            dismissed = bool(DISMISSED & set(after))
            if strikes and (dismissed or not _names_record(around)):
                return Command(id)
            if length >= 2 and all(_is_talk(span) for span in around):
                return Command(id)
    return None


def _is_talk(span: Span) -> bool:
    kinds = {c.kind for c in span.concepts}
    return span.known and span.amount is None and kinds <= WITHOUT_CONTENT


def _names_record(spans: Sequence[Span]) -> bool:
    """Whether something that can be recorded is among the words."""
    return any(
        s.get("term") or s.get("quantity") or s.get("limb") or (s.amount and s.text != "one")
        for s in spans
    )


def _horse(said: Phrase, tables: Tables, horses: Sequence[tuple[Phrase, str]]) -> Command | None:
    for stripped in _stripped(said):
        for name, horse in horses:
            for form in tables.horse_forms["known"]:
                if _fits(form, stripped, name, "<horse>"):
                    return Command("horse", horse)
    for stripped in _stripped(said):
        if stripped in tables.commands:  # "Horse finished" names no horse.
            return None
        for form in tables.horse_forms["unknown"]:
            called = _name_in(form, stripped, tables)
            if called is not None:
                return Command("horse", None, called)
    return None


def _stripped(said: Phrase) -> list[Phrase]:
    """The words, and the words without the fillers at either end."""
    found = [said]
    first = 0
    while first < len(said) and said[first] in FILLERS:
        first += 1
        found.append(said[first:])
    last = len(said)
    while last > first + 1 and said[last - 1] in FILLERS:
        last -= 1
        found.append(said[first:last])
    return found


def _fits(form: Phrase, said: Phrase, name: Phrase, mark: str) -> bool:
    at = form.index(mark)
    return said == form[:at] + name + form[at + 1 :]


def _name_in(form: Phrase, said: Phrase, tables: Tables) -> str | None:
    """The words that stand for the name of a horse: one to three that mean nothing else."""
    at = form.index("<name>")
    after = len(form) - at - 1
    name = said[at : len(said) - after]
    if said[:at] != form[:at] or (after and said[len(said) - after :] != form[at + 1 :]):
        return None
    if not 1 <= len(name) <= 3 or set(name) & NEVER_NAMES:
        return None
    fixed = form[:at] == ("horse",)
    spans = cut(name, tables)
    unknown = any(not s.known for s in spans)
    if not unknown and not fixed:
        return None
    if any(s.get("limb") or s.get("term") or s.amount for s in spans):
        return None
    return " ".join(name)
