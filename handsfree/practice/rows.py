"""What of a log belongs into the practice's store: entries that a person has confirmed."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from handsfree.log import Log

CONFIRMED = "confirmed"


@dataclass(frozen=True)
class PracticeRow:
    """An entry that is confirmed, or was once, with all it belongs to.

    Times are ISO 8601 with offset. `status` is the entry's latest in the log: other than
    confirmed it does not count any more. `body` is JSON text.
    """

    entry_id: str
    utterance_id: str
    visit_id: str
    visit_started: str
    horse_id: str | None
    horse: str | None
    horse_kind: str | None
    limb: str | None
    kind: str
    body: str
    heard: str
    said_at: str
    replaces: str | None
    status: str
    status_at: str
    status_by: str


def rows(log: Log) -> Iterator[PracticeRow]:
    """The rows of a log, as one reading of it saw them, oldest visit first.

    SQLite keeps NUL characters in text and PostgreSQL has no form for them: they become U+FFFD.
    """
    for row in log.ever_confirmed():
        body = json.dumps(_without_nul(json.loads(str(row["body"]))), ensure_ascii=False)
        yield PracticeRow(**{k: _without_nul(v) for k, v in row.items() if k != "body"}, body=body)


def _without_nul(value: Any) -> Any:
    match value:
        case str():
            return value.replace("\0", "\N{REPLACEMENT CHARACTER}")
        case dict():
            return {_without_nul(key): _without_nul(each) for key, each in value.items()}
        case list():
            return [_without_nul(each) for each in value]
    return value
