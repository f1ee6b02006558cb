"""What one utterance comes to: what to keep, and what to answer."""

from dataclasses import dataclass

from handsfree.dialogue.session import Outcome
from handsfree.records.entries import Entry
from handsfree.visit.answer import Answer

Key = tuple[int, int]
"""An entry by its utterance's number in the session and its place among that one's entries."""


@dataclass(frozen=True)
class Kept:
    """An entry in force in this visit."""

    key: Key
    entry: Entry
    doubtful: bool = False


@dataclass(frozen=True)
class Notice:
    """What is to be kept with the visit beside the entries; `entry` as in the log's notice."""

    kind: str
    code: str
    text: str
    limb: str | None = None
    source: str | None = None
    entry: int | None = None


@dataclass(frozen=True)
class Turn:
    """What one utterance came to.

    `struck`, `replaced`, `restored` and `confirmed` are entries of earlier utterances;
    `settled` are the limbs whose nails are all accounted for now; `parting` are notices of
    the visit that this utterance ends. `opens`: it begins another visit. `horse` and
    `horse_said` are of the visit after it, as in `session.State`.
    """

    number: int
    outcome: Outcome
    answers: tuple[Answer, ...] = ()
    struck: tuple[Key, ...] = ()
    replaced: tuple[Key, ...] = ()
    restored: tuple[Key, ...] = ()
    confirmed: tuple[Key, ...] = ()
    notices: tuple[Notice, ...] = ()
    settled: tuple[str, ...] = ()
    parting: tuple[Notice, ...] = ()
    opens: bool = False
    horse: str | None = None
    horse_said: str | None = None
