"""The log: one SQLite file that keeps every utterance, its sound and what became of it."""

from handsfree.log.files import default_path
from handsfree.log.rows import (
    Appended,
    Change,
    ChangedMeanwhile,
    Entry,
    Horse,
    Lesson,
    Mark,
    Notice,
    NoticeRow,
    Utterance,
    UtteranceRow,
    Visit,
    VisitSummary,
    local_day,
    local_time,
)
from handsfree.log.store import Log

__all__ = [
    "Appended",
    "Change",
    "ChangedMeanwhile",
    "Entry",
    "Horse",
    "Lesson",
    "Log",
    "Mark",
    "Notice",
    "NoticeRow",
    "Utterance",
    "UtteranceRow",
    "Visit",
    "VisitSummary",
    "default_path",
    "local_day",
    "local_time",
]
