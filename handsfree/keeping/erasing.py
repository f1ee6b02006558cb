"""Everything of one horse erased on its owner's request, and what to tell him about the rest."""

from dataclasses import dataclass

from handsfree.keeping.checking import Finding, left_over
from handsfree.log import Horse, Log
from handsfree.log.files import told_plainly
from handsfree.log.keeping import Erasure, aliases_of, moved_away
from handsfree.log.reach import Reach


@dataclass(frozen=True)
class Erasable:
    """What erasing a horse would take. `rows`: table → rows.

    `mentions`: utterances of other horses in which its name stands; they stay. `unheard`: sound
    of sessions that broke off, which may be about any horse. `ids`: the horse's, also those it
    had in logs that were joined. `visits` and `utterances`: ids by which a practice's server may
    have it too.
    """

    horse: Horse
    rows: dict[str, int]
    mentions: int
    unheard: tuple[Finding, ...] = ()
    ids: tuple[str, ...] = ()
    visits: tuple[str, ...] = ()
    utterances: tuple[str, ...] = ()


def look(log: Log, horse: Horse) -> Erasable:
    """How much the log has of a horse. Nothing is changed."""
    with log.snapshot() as db:
        found = Reach(db)
        found.begin("horses", [horse.id])
        rows = found.counts()
        ids = (horse.id, *aliases_of(db, horse.id))
        sql = f"SELECT id FROM visits WHERE {found.within('visits')}"
        visits = tuple(str(row[0]) for row in db.execute(sql))
        moved = tuple(moved_away(db, found))
        # Said as a word of its own, in what was heard or might have been meant.
        padded = "' ' || lower({}) || ' '"
        text = padded.format("heard || ' ' || coalesce(free_text, '') || ' ' || alternatives")
        sql = (
            f"SELECT count(*) FROM utterances WHERE NOT {found.within('utterances')} "
            f"AND instr(replace({text}, '\"', ' '), ?) > 0"
        )
        mentions = int(db.execute(sql, [f" {horse.name.lower()} "]).fetchone()[0])
    unheard = tuple(left_over(log.path))
    return Erasable(horse, rows, mentions, unheard, ids, visits, moved)


def erase(log: Log, found: Erasable, by: str) -> Erasure:
    """Erase it for good, also what was heard again of it beside the log.

    Raises LogError, nothing erased, where another has the log open.
    """
    from handsfree.relisten.results import results_file

    done = log.erase_horse(found.horse.id, by)
    with told_plainly(log.path):
        # Of all horses together, and only there to go on from: it can be made anew.
        results_file(log.path).unlink(missing_ok=True)
    return done
