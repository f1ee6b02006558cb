"""What goes into the log and what comes out of it, as plain frozen rows.

Entries cross this boundary as dictionaries in the JSON form that `--json` prints. What is
written is checked to be readable again (language/known.py); what is read may be anything. Times
of day are ISO 8601 text in UTC with offset; `start_s` and `end_s` are seconds from the start of
the recording.
"""

import json
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from handsfree.errors import LogError

EntryBody = dict[str, Any]
"""One entry as JSON object: `kind`, `limb` and the keys of its kind."""

IN_FORCE = ("heard", "confirmed")
"""Statuses of entries that count; `corrected` and `struck` ones are kept but do not."""


@dataclass(frozen=True)
class Horse:
    """A horse known by name. `kind` is 'heavy', 'riding' or None if not said.

    `breed` is free text, `born` a year (YYYY) or a day (YYYY-MM-DD).
    """

    id: str
    name: str
    kind: str | None
    created: str
    breed: str | None = None
    born: str | None = None


@dataclass(frozen=True)
class Visit:
    """One sitting with one horse; `source` is a file name, 'microphone' or 'typed'.

    `horse_said` are the words of a name that was no horse's of the log when it was said; empty
    where the name was not heard, None where none was said. `zone` is how far the clock was from
    UTC where the visit was, as "+02:00"; None where that is not known.
    """

    id: str
    horse_id: str | None
    horse: str | None
    started_at: str
    source: str
    note: str | None
    horse_said: str | None
    zone: str | None

    @property
    def began(self) -> datetime:
        """When it began, by the clock where it was."""
        return local_time(self.started_at, self.zone)

    @property
    def day(self) -> date:
        """Its day, by the clock where it was."""
        return self.began.date()

    @property
    def whose(self) -> str:
        """The horse's name; where the visit has none yet, what was heard of it."""
        return self.horse or f"horse {self.not_named}"

    @property
    def not_named(self) -> str:
        """That the visit has no horse yet, with the words that were heard of its name."""
        return f"not named, heard '{self.horse_said}'" if self.horse_said else "not named"


@dataclass(frozen=True)
class VisitSummary(Visit):
    """A visit and how much is in it.

    `entries` counts those in force (heard or confirmed), `confirmed` those of them a
    person has confirmed, `doubtful` the utterances not surely heard.
    """

    utterances: int
    entries: int
    confirmed: int
    doubtful: int


@dataclass(frozen=True, kw_only=True)
class UtteranceRow:
    """One utterance to be written. `limb` is the limb in force after it.

    `recorded_at` None means now. `start_s`, `end_s` are None for typed words.
    `engines` names the recognizers that listened, `alternatives` is any JSON list,
    `free_text` what a decoding without grammar heard, `doubt` why a person should look.
    """

    heard: str
    status: str
    confidence: float | None = None
    command: str | None = None
    limb: str | None = None
    start_s: float | None = None
    end_s: float | None = None
    recorded_at: str | None = None
    engines: tuple[str, ...] = ()
    alternatives: tuple[Any, ...] = ()
    free_text: str | None = None
    doubt: str | None = None


@dataclass(frozen=True, kw_only=True)
class Utterance(UtteranceRow):
    """A stored utterance; `seq` counts from 1 within its visit."""

    id: str
    visit_id: str
    seq: int
    has_sound: bool


@dataclass(frozen=True)
class Entry:
    """A stored entry with its latest status (heard, confirmed, corrected or struck).

    `origin` is 'heard' when its words were spoken, 'corrected' when a person put it in
    at review. `replaces` is the id of the entry it corrects.
    """

    id: str
    utterance_id: str
    seq: int
    kind: str
    limb: str | None
    body: EntryBody
    replaces: str | None
    created_at: str
    origin: str
    status: str
    status_at: str
    status_by: str
    heard: str
    start_s: float | None
    confidence: float | None
    doubt: str | None

    @property
    def in_force(self) -> bool:
        """Whether the entry counts, neither corrected nor struck."""
        return self.status in IN_FORCE


@dataclass(frozen=True, kw_only=True)
class NoticeRow:
    """Something the program itself has to say about a visit.

    `kind` is 'caution' (a horse may be hurt), 'nails' (one is not accounted for) or
    'device' (the microphone was gone); `code` tells apart those of one kind, `source` is
    whose rule it is. `entry` is the place of the entry that called for it among those
    written with it; once that entry no longer counts, neither does the notice.
    """

    kind: str
    code: str
    text: str
    limb: str | None = None
    source: str | None = None
    entry: int | None = None


@dataclass(frozen=True, kw_only=True)
class Notice(NoticeRow):
    """A stored notice."""

    id: str
    visit_id: str
    utterance_id: str | None
    entry_id: str | None
    at: str


@dataclass(frozen=True)
class HorseEntry:
    """An entry in force of some visit to a horse; `visit_started` is as in Visit."""

    visit_id: str
    visit_started: str
    entry_id: str
    status: str
    confidence: float | None
    doubt: str | None
    body: EntryBody
    heard: str = ""
    status_by: str = ""


@dataclass(frozen=True)
class Mark:
    """One line of an entry's history. Marks made by one action share `change`."""

    entry_id: str
    seq: int
    status: str
    at: str
    by: str
    reason: str | None
    utterance_id: str | None
    change: str
    undoes: str | None


@dataclass(frozen=True)
class Appended:
    """Ids made by one write: `entry_ids` in the order given, and the `change` they share.

    `marked` are the older entries that were struck or replaced by it, `notice_ids` the
    notices in the order given.
    """

    utterance_id: str
    seq: int
    entry_ids: tuple[str, ...]
    marked: tuple[str, ...]
    change: str
    notice_ids: tuple[str, ...] = ()


@dataclass(frozen=True)
class Author:
    """Who makes a change, why, and the utterance that asked for it, if one did."""

    by: str
    reason: str | None = None
    utterance_id: str | None = None


@dataclass(frozen=True)
class Change:
    """A change to entries that was undone.

    `what` says what it had done (heard, added, confirmed, corrected, moved, struck, passed),
    `reason` what was given with it; `now` maps the id of each entry it touched to the status
    the entry has after the undoing, `utterances` are those that are no longer passed over.
    """

    id: str
    what: str
    now: Mapping[str, str]
    reason: str | None = None
    utterances: tuple[str, ...] = ()


@dataclass(frozen=True)
class Lesson:
    """Words that were heard wrongly, and the sentence that was meant, `times` so far."""

    heard: str
    meant: str
    times: int
    last_at: str


class BadEntry(LogError):
    """Nothing was written: no version of this program could read the entry again as it is."""

    def __init__(self, why: str) -> None:
        super().__init__(f"an entry cannot be written to the log: {why}")


class ChangedMeanwhile(LogError):
    """Nothing was written: what was to be changed is no longer as it was when looked at."""

    def __init__(self) -> None:
        super().__init__("this entry has been changed elsewhere; look at it again first")


def new_id() -> str:
    """A random id (UUID version 4, 32 hex digits), so that logs of two machines merge."""
    return uuid.uuid4().hex


def now() -> str:
    """This moment as ISO 8601 text in UTC with offset, to the millisecond."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def local_time(moment: str, zone: str | None = None) -> datetime:
    """An ISO 8601 moment by the clock of a visit's `zone`; of this place where none is known."""
    at = datetime.fromisoformat(moment)
    try:
        there = datetime.fromisoformat(f"2000-01-01T00:00{zone}").tzinfo if zone else None
    except ValueError:  # as it came with another machine's log
        there = None
    return at.astimezone(there)


def local_day(moment: str, zone: str | None = None) -> date:
    """The day of a moment; the one place that says on which day a visit or a mark was."""
    return local_time(moment, zone).date()


def zone_of(at: datetime) -> str:
    """How far a moment's clock is from UTC, as "+02:00"; of this place where it has none."""
    text = (at if at.tzinfo else at.astimezone()).strftime("%z")
    return f"{text[:3]}:{text[3:5]}"


def storable(text: str) -> str:
    """The text with lone surrogates (as in undecodable file names) made U+FFFD.

    SQLite keeps UTF-8, which has no form for them; all other text is unchanged.
    """
    return text.encode("utf-16-le", "surrogatepass").decode("utf-16-le", "replace")


def body_of(text: str) -> EntryBody:
    """An entry's body from its JSON text; one that is no object is kept whole under a key that
    no entry has, so that it is unreadable and stays."""
    try:
        body = json.loads(text)
    except (ValueError, RecursionError):  # SQLite takes some that Python does not
        body = None
    return body if isinstance(body, dict) else {"unreadable": text}


def to_json(value: object) -> str:
    """The value as JSON text, readable in general SQLite tools (not escaped to ASCII).

    Raises LogError for what JSON cannot hold, such as NaN.
    """
    try:
        return storable(json.dumps(value, ensure_ascii=False, allow_nan=False))
    except (TypeError, ValueError, RecursionError) as error:
        raise LogError(f"an entry cannot be written to the log: {error}") from error
