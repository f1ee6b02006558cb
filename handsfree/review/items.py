"""What is looked at in review: utterances, what they became, and what they may have meant."""

from dataclasses import dataclass, field

from handsfree.records.checking import Unreadable
from handsfree.records.entries import Entry

UNCLEAR, DOUBTFUL, SURE, CONFIRMED = "unclear", "doubtful", "sure", "confirmed"

STATES = (UNCLEAR, DOUBTFUL, SURE, CONFIRMED)
"""States of an item, in the order in which they are looked at."""

"""The order in which feet are shown."""


@dataclass(frozen=True)
class Alternative:
    """Another way an utterance may have been meant.

    `words` are a sentence of the grammar, `text` is what it would record, in words. Where
    `entries` are given it is those, whatever the words would record: another machine has them.
    """

    words: str
    text: str
    entries: tuple[Entry, ...] = ()


@dataclass(frozen=True)
class Part:
    """One entry in force. `text` is without its limb, `status` heard or confirmed.

    `question` asks about an unlikely number: "toe length 32.5 in: is that right? …".
    """

    entry_id: str
    entry: Entry | Unreadable
    text: str
    limb: str | None
    status: str
    question: str | None


@dataclass(frozen=True)
class Item:
    """One utterance under review.

    `state` is one of STATES; a remark of which only the sound is kept is doubtful until it
    is listened to. `why` is the reason for doubt in words, `sureness` "sure", "doubtful" or
    "not understood", `confidence` 0..1 or None where it was typed. `limb` is the limb of all
    its parts, None where there are several or it is of the horse; of an utterance without
    parts the limb in force. `when` is a clock time, or minutes and seconds into a recording.
    `parts` are the entries in force, `alternatives` at most 8, likeliest first, without what
    it is now; two items that differ only in them are equal.
    """

    id: str
    state: str
    heard: str
    why: str | None
    sureness: str
    confidence: float | None
    limb: str | None
    when: str
    has_sound: bool
    parts: tuple[Part, ...]
    alternatives: tuple[Alternative, ...] = field(default=(), compare=False)


@dataclass(frozen=True)
class FootView:
    """One foot at a glance.

    Numbers of entries: all that are in force, those of doubtful items, those confirmed.
    `left` names what the run sheet has and nobody has done.
    """

    limb: str
    recorded: int
    doubtful: int
    confirmed: int
    left: tuple[str, ...]


@dataclass(frozen=True)
class Done:
    """What a verb did, as one short line: "confirmed: LH outside heel bruise"."""

    text: str
    changed: bool = True


@dataclass(frozen=True)
class Choice:
    """One value for a slot; `id` None is "not said"."""

    id: str | None
    label: str


@dataclass(frozen=True)
class Slot:
    """One slot of an entry: `name` its key, `label` the trade's word, `shown` its value.

    `choices` are likeliest first and hold the present value too; `free` slots take numbers
    or words of any kind as well.
    """

    name: str
    label: str
    shown: str
    choices: tuple[Choice, ...]
    free: bool
