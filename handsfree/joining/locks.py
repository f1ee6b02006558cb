"""Tables that are only added to, opened for a moment to put a history in order of time."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from sqlite_utils import Database

from handsfree.log.reach import quoted


@contextmanager
def unlocked(db: Database, tables: Sequence[str]) -> Iterator[None]:
    """Without the triggers that refuse changes; within the caller's transaction.

    Where the block fails that is rolled back, and the triggers with it.
    """
    names = ", ".join("?" * len(tables))
    triggers = list(
        db.query(
            "SELECT name, sql FROM main.sqlite_master WHERE type = 'trigger' "
            f"AND tbl_name IN ({names}) AND upper(sql) LIKE '%RAISE(%' ORDER BY rowid",
            tables,
        )
    )
    for trigger in triggers:
        db.execute(f"DROP TRIGGER main.{quoted(trigger['name'])}")
    yield
    for trigger in triggers:
        db.execute(trigger["sql"])
