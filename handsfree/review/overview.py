"""A visit at a glance: each foot, what is left to do, what must not be overlooked."""

from collections.abc import Iterable, Sequence

from handsfree.grammar.grammar import Grammar
from handsfree.histories import history
from handsfree.language.known import readable
from handsfree.log import Log, NoticeRow
from handsfree.log.rows import Visit
from handsfree.records.entries import Entry
from handsfree.records.limbs import LIMBS
from handsfree.review.items import CONFIRMED, DOUBTFUL, FootView, Item
from handsfree.sums.nailed import in_shoes
from handsfree.visit import cautions, nails
from handsfree.visit.runsheet import left, usual_sheet
from handsfree.visit.spoken import Spoken


def feet(items: Sequence[Item], entries: Sequence[Entry]) -> tuple[FootView, ...]:
    """The four feet; `entries` are all in force."""
    return tuple(_foot(limb, items, entries) for limb in LIMBS)


def _foot(limb: str, items: Sequence[Item], entries: Sequence[Entry]) -> FootView:
    theirs = [(item, part) for item in items for part in item.parts if part.limb == limb]
    return FootView(
        limb,
        len(theirs),
        sum(item.state == DOUBTFUL and part.status != CONFIRMED for item, part in theirs),
        sum(part.status == CONFIRMED for _, part in theirs),
        tuple(left(usual_sheet(), entries, limb)),
    )


def notices(log: Log, visit: Visit, entries: Sequence[Entry], grammar: Grammar) -> tuple[str, ...]:
    """Cautions and open questions about nails, as the entries in force call for them now.

    Of what the log has in store only the troubles of the microphone are added: the others
    follow from the entries, which may have been corrected since.
    """
    found = [_of_limb(c.limb, c.text) for c in cautions.due(entries)]
    found += nail_questions(log, visit, entries, grammar)
    found += [notice.text for notice in log.notices(visit.id) if notice.kind == "device"]
    return tuple(dict.fromkeys(found))


def nail_questions(log: Log, visit: Visit, entries: Sequence[Entry], grammar: Grammar) -> list[str]:
    """What is odd about the nails of each foot, as it is asked aloud."""
    counts = nails.count(entries, _nails_before(log, visit))
    if not counts:
        return []
    spoken = Spoken(grammar)
    asked = (nails.question(counts[limb], spoken) for limb in LIMBS if limb in counts)
    return [text for text in asked if text]


def _nails_before(log: Log, visit: Visit) -> dict[str, int]:
    """Limb → nails in its shoe after the horse's visits before this one, as `listen` counts."""
    horse = None if visit.horse is None else log.horse(visit.horse)
    if horse is None:
        return {}
    return in_shoes(history(log, horse, but=visit.id, begun_by=visit.started_at))


def _of_limb(limb: str | None, text: str) -> str:
    return f"{limb}: {text}" if limb else text


def horse_entries(items: Iterable[Item]) -> tuple[str, ...]:
    """What was said of the horse, or of no named foot, in words."""
    return tuple(part.text for item in items for part in item.parts if part.limb is None)


def in_force(log: Log, visit_id: str) -> list[Entry]:
    """The entries of a visit that count, in order."""
    return list(readable(entry.body for entry in log.entries(visit_id, in_force=True)))


def cautions_of(kept: Sequence[Entry], new: Sequence[Entry]) -> list[NoticeRow]:
    """The cautions that new entries call for beside those that are kept."""
    due = cautions.due([*kept, *new])
    return [
        NoticeRow(
            kind="caution",
            code=c.id,
            text=c.text,
            limb=c.limb,
            source=c.source,
            entry=c.entry_index - len(kept),
        )
        for c in due
        if c.entry_index >= len(kept)
    ]


def square_nails(log: Log, visit: Visit, entries: Sequence[Entry], grammar: Grammar) -> None:
    """Bring the questions about nails that were kept with the visit in line with its entries.

    One that a correction has answered is settled; one that was settled and is true again,
    because the correction was taken back, is asked again. New ones are not asked: while a
    foot is being worked on there would be one after each nail.
    """
    kept = [notice for notice in log.notices(visit.id, settled=True) if notice.kind == "nails"]
    if not kept:
        return
    open_ = [n for n in log.notices(visit.id) if n.kind == "nails"]
    asked = set(nail_questions(log, visit, entries, grammar))
    log.settle([notice.id for notice in open_ if notice.text not in asked])
    still = {notice.text for notice in open_}
    for notice in {n.text: n for n in kept if n.text in asked - still}.values():
        row = NoticeRow(kind=notice.kind, code=notice.code, text=notice.text, limb=notice.limb)
        log.notice(visit.id, row)
