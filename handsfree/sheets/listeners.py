"""Who heard the notes of a visit, for a sheet for the vet."""

from collections.abc import Iterable

from handsfree.log import Log

BY_HAND = frozenset({"text", "typed"})
"""What the log names in place of a recognizer where words were typed."""


def listeners(log: Log, visit_ids: Iterable[str]) -> dict[str, str]:
    """Of each note's id who heard it: "heard by neural and pocketsphinx", "typed".

    Of a note that a person put in its place, that too; "" where the log names nobody.
    """
    found: dict[str, str] = {}
    for visit_id in visit_ids:
        heard_by = {each.id: each.engines for each in log.utterances(visit_id)}
        for entry in log.entries(visit_id, in_force=True):
            by = told(heard_by.get(entry.utterance_id, ()))
            corrected = "corrected" if entry.origin == "corrected" else ""
            found[entry.id] = ", ".join(part for part in (by, corrected) if part)
    return found


def told(engines: Iterable[str]) -> str:
    """The recognizers of an utterance in words."""
    names = sorted(set(engines))
    if not names:
        return ""
    if BY_HAND.issuperset(names):
        return "typed"
    return f"heard by {' and '.join(names)}"
