"""Lessons of two logs in one order of time, and what was forgotten of them."""

from sqlite_utils import Database

from handsfree.joining.chains import interleaved
from handsfree.joining.locks import unlocked
from handsfree.joining.rows import Columns, Row, add, there

Key = tuple[str | None, ...]
_ONLY = "WHERE utterance_id IN (SELECT id FROM main.utterances)"


def join_lessons(db: Database, columns: Columns) -> tuple[int, int]:
    """Take the other's lessons over; returns how many are new, and how many forgettings."""
    for table, only in (("lessons", _ONLY), ("lessons_forgotten", "")):
        for row in _rows(db, "other", table, only):
            columns.check(table, row)
    logs = [_lessons(db, "main", ""), _lessons(db, "other", _ONLY)]
    forgot = [{_forgotten_key(r): r for r in _rows(db, log, "lessons_forgotten")} for log in _LOGS]
    merged = interleaved(list(logs[0]), list(logs[1]))
    new = len(merged) - len(logs[0])
    new_forgotten = len(forgot[1].keys() - forgot[0].keys())
    if not new and not new_forgotten:
        return 0, 0
    rows = [logs[0].get(key) or logs[1][key] for key in merged]
    lessons = [row | {"seq": at} for at, row in enumerate(rows, 1)]
    places = dict(zip(merged, range(1, len(merged) + 1), strict=True))
    forgotten: list[Row] = []
    for key in interleaved(list(forgot[0]), list(forgot[1])):
        row = forgot[0].get(key) or forgot[1][key]
        up_to = [places[each] for each in merged if _covers(key, each, logs, forgot)]
        forgotten.append(row | {"seq": len(forgotten) + 1, "up_to": max(up_to, default=0)})
    with unlocked(db, ["lessons", "lessons_forgotten"]):
        db.execute("DELETE FROM main.lessons")
        db.execute("DELETE FROM main.lessons_forgotten")
        add(db, columns, "lessons", lessons)
        add(db, columns, "lessons_forgotten", forgotten)
    return new, new_forgotten


_LOGS = ("main", "other")


def _rows(db: Database, log: str, table: str, where: str = "") -> list[Row]:
    return list(there(db, f"SELECT * FROM {log}.{table} {where} ORDER BY seq"))


def _lessons(db: Database, log: str, where: str) -> dict[Key, Row]:
    rows = _rows(db, log, "lessons", where)
    names = ("at", "change", "heard", "meant", "utterance_id", "by")
    return {tuple(row[name] for name in names): row for row in rows}


def _forgotten_key(row: Row) -> Key:
    return tuple(row[name] for name in ("at", "heard", "meant", "by"))


def _covers(
    key: Key, lesson: Key, logs: list[dict[Key, Row]], forgot: list[dict[Key, Row]]
) -> bool:
    """Whether a forgetting is of a lesson: it came after it, in a log that knew both or in time."""
    at, heard, meant, _ = key
    if (heard, meant) != (lesson[2], lesson[3]):
        return False
    for lessons, forgotten in zip(logs, forgot, strict=True):
        if lesson in lessons and key in forgotten:
            return bool(lessons[lesson]["seq"] <= forgotten[key]["up_to"])
    return (lesson[0] or "") <= (at or "")
