"""Marks of the other log into ours, each history in order of time."""

from collections.abc import Iterable, Iterator, Sequence

from sqlite_utils import Database

from handsfree.joining.chains import Stamp, interleaved
from handsfree.joining.disputes import chain, passes
from handsfree.joining.locks import unlocked
from handsfree.joining.rows import Columns, Row, add, there

Places = dict[tuple[str, int], int]
"""Owner and place of a mark there → its place here."""

_ASIDE = 1_000_000
"""Added to the places of marks while they are put in order, so that no two are the same."""

_SAME = (
    "+m.change = {theirs}.change AND m.status = {theirs}.status AND m.at = {theirs}.at "
    "AND +m.undoes IS {theirs}.undoes"
)
"""A mark of ours, m, is theirs. The signs keep SQLite from the indexes of these columns: nearly
all marks undo nothing, and looking through those for each mark would take hours."""


def list_new(db: Database) -> None:
    """Make temp.new_marks and temp.new_passes: what has marks there that ours lacks."""
    db.execute("CREATE TEMP TABLE new_marks (id TEXT PRIMARY KEY)")
    db.execute(
        f"""INSERT INTO temp.new_marks
        SELECT DISTINCT o.entry_id FROM other.marks AS o
        JOIN main.entries AS e ON e.id = o.entry_id
        WHERE NOT EXISTS (SELECT 1 FROM main.marks AS m WHERE m.entry_id = o.entry_id
            AND {_SAME.format(theirs="o")})"""
    )
    db.execute("CREATE TEMP TABLE new_passes (id TEXT PRIMARY KEY)")
    db.execute(
        f"""INSERT INTO temp.new_passes
        SELECT DISTINCT o.utterance_id FROM other.utterance_marks AS o
        JOIN main.utterances AS u ON u.id = o.utterance_id
        WHERE NOT EXISTS (SELECT 1 FROM main.utterance_marks AS m
            WHERE m.utterance_id = o.utterance_id AND {_SAME.format(theirs="o")})"""
    )


def check(db: Database, columns: Columns) -> None:
    """Raise Unfit for a mark that no log of ours could hold."""
    for table, owner, new in (
        ("marks", "entry_id", "new_marks"),
        ("utterance_marks", "utterance_id", "new_passes"),
    ):
        sql = f"SELECT * FROM other.{table} WHERE {owner} IN (SELECT id FROM temp.{new})"
        for row in there(db, sql):
            columns.check(table, row)


def join_marks(db: Database, columns: Columns) -> int:
    """Take over the marks of entries; returns how many."""
    places: Places = {}
    for each in _listed(db, "new_marks", "marks", "entry_id"):
        histories = chain(db, "main", each), chain(db, "other", each)
        places |= _make_room(db, "marks", "entry_id", each, *histories)
    rows = there(
        db,
        """SELECT o.*, EXISTS (SELECT 1 FROM main.marks WHERE entry_id = o.entry_id) AS known
        FROM temp.new_marks AS n JOIN other.marks AS o ON o.entry_id = n.id ORDER BY o.rowid""",
    )
    return add(db, columns, "marks", list(_placed(rows, "entry_id", places)))


def join_passes(db: Database, columns: Columns) -> int:
    """Take over the marks of utterances themselves, after those of entries; returns how many."""
    places: Places = {}
    for each in _listed(db, "new_passes", "utterance_marks", "utterance_id"):
        histories = passes(db, "main", each), passes(db, "other", each)
        places |= _make_room(db, "utterance_marks", "utterance_id", each, *histories)
    # `marks_before` is a place in the other's list of marks: ours has the same mark elsewhere.
    rows = there(
        db,
        f"""SELECT o.*, coalesce((SELECT m.rowid FROM other.marks AS t JOIN main.marks AS m
                ON m.entry_id = t.entry_id AND {_SAME.format(theirs="t")}
                WHERE t.rowid <= o.marks_before ORDER BY t.rowid DESC LIMIT 1), 0) AS before,
            EXISTS (SELECT 1 FROM main.utterance_marks WHERE utterance_id = o.utterance_id)
                AS known
        FROM temp.new_passes AS n JOIN other.utterance_marks AS o ON o.utterance_id = n.id
        ORDER BY o.rowid""",
    )
    found = (row | {"marks_before": row["before"]} for row in rows)
    return add(db, columns, "utterance_marks", list(_placed(found, "utterance_id", places)))


def _listed(db: Database, new: str, table: str, owner: str) -> list[str]:
    """Those of the list that ours has marks of too."""
    sql = f"SELECT id FROM temp.{new} WHERE EXISTS (SELECT 1 FROM main.{table} WHERE {owner} = id)"
    return [str(row[0]) for row in db.execute(sql)]


def _make_room(
    db: Database,
    table: str,
    owner: str,
    owner_id: str,
    ours: Sequence[Stamp],
    theirs: Sequence[Stamp],
) -> Places:
    """Put our marks to the places they have in the joined history; returns those of theirs."""
    joined = interleaved(ours, theirs)
    places = {stamp: at for at, stamp in enumerate(joined, 1)}
    seqs = {
        log: [
            row[0]
            for row in db.execute(
                f"SELECT seq FROM {log}.{table} WHERE {owner} = ? ORDER BY seq", [owner_id]
            )
        ]
        for log in ("main", "other")
    }
    if [places[stamp] for stamp in ours] != seqs["main"]:
        with unlocked(db, [table]):
            db.execute(
                f"UPDATE main.{table} SET seq = seq + {_ASIDE} WHERE {owner} = ?", [owner_id]
            )
            for old, stamp in zip(seqs["main"], ours, strict=True):
                db.execute(
                    f"UPDATE main.{table} SET seq = ? WHERE {owner} = ? AND seq = ?",
                    [places[stamp], owner_id, old + _ASIDE],
                )
    known = set(ours)
    pairs = zip(seqs["other"], theirs, strict=True)
    return {(owner_id, seq): places[stamp] for seq, stamp in pairs if stamp not in known}


def _placed(rows: Iterable[Row], owner: str, places: Places) -> Iterator[Row]:
    for row in rows:
        if not row["known"]:
            yield row
        elif (row[owner], row["seq"]) in places:
            yield row | {"seq": places[row[owner], row["seq"]]}
