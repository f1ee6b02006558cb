"""The log: one SQLite file that keeps every utterance, its sound and what became of it."""

from handsfree.log.files import default_path
from handsfree.log.rows import (
    Appended,
    Change,
    Entry,
    Horse,
    Mark,
    Notice,
    NoticeRow,
    Utterance,
    UtteranceRow,
    Visit,
    VisitSummary,
)
from handsfree.log.store import Log

__all__ = [
    "Appended",
    "Change",
    "Entry",
    "Horse",
    "Log",
    "Mark",
    "Notice",
    "NoticeRow",
    "Utterance",
    "UtteranceRow",
    "Visit",
    "VisitSummary",
    "default_path",
]
