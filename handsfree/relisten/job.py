"""Hear stored sounds again, show what that would change, and put it in where it is asked for."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from handsfree.grammar.grammar import Grammar
from handsfree.language.known import readable
from handsfree.log import ChangedMeanwhile, Log
from handsfree.log.heard_again import Held
from handsfree.records.entries import to_json
from handsfree.relisten.compare import Difference, Kind, compare, goes_on
from handsfree.relisten.results import Results
from handsfree.relisten.tasks import Again, Task
from handsfree.review.overview import cautions_of, in_force, square_nails

Chosen = Sequence[tuple[str, str]]
"""Visit and utterance of each sound, oldest visit first (see Log.stored_sounds)."""

Spread = Callable[[Iterable[Task]], Iterator[Again]]
"""Gives each task to somebody who hears it; results in any order."""


def by_visit(log: Log, chosen: Chosen) -> Iterator[tuple[list[Held], list[int]]]:
    """Each visit with the places in it of the utterances to hear; one visit in memory.

    What was taken back is left out: nothing may come of it any more.
    """
    wanted: dict[str, set[str]] = {}
    for visit_id, utterance_id in chosen:
        wanted.setdefault(visit_id, set()).add(utterance_id)
    for visit_id, ids in wanted.items():
        held = log.held(visit_id)
        yield (
            held,
            [at for at, each in enumerate(held) if each.utterance.id in ids and not each.gone],
        )


def tasks(log: Log, chosen: Chosen, results: Results) -> Iterator[Task]:
    """What is not heard yet, each with its sound, read as it is needed."""
    for held, places in by_visit(log, chosen):
        for at in places:
            utterance_id = held[at].utterance.id
            sound = None if utterance_id in results else log.sound(utterance_id)
            if sound is not None:
                yield Task(utterance_id, sound, goes_on(held, at))


def hear(
    log: Log,
    chosen: Chosen,
    results: Results,
    spread: Spread,
    heard: Callable[[Again], None] = lambda again: None,
) -> None:
    """Hear what is not heard yet; each result is on the disk before `heard` is told of it."""
    for again in spread(tasks(log, chosen, results)):
        if results.add(again):
            heard(again)


def differences(
    log: Log, chosen: Chosen, results: Results, grammar: Grammar
) -> Iterator[Difference]:
    """Every chosen utterance that was heard again, beside what the log holds now."""
    for held, places in by_visit(log, chosen):
        for at in places:
            again = results.get(held[at].utterance.id)
            if again is not None:
                yield compare(held, at, again, grammar)


@dataclass(frozen=True)
class Applied:
    """Utterances that took a new hearing, and those that somebody changed in between."""

    changed: int
    meanwhile: int


def apply(log: Log, grammar: Grammar, found: Iterable[Difference]) -> Applied:
    """Put in what is new or surer, each as a correction that waits for the review.

    Cautions that it calls for are kept with the visit, and questions about nails that it
    answers are settled.
    """
    changed = meanwhile = 0
    touched: dict[str, None] = {}
    for each in found:
        if not each.applies:
            continue
        visit_id = each.utterance.visit_id
        stored = log.entries(visit_id, in_force=True)
        kept = list(readable(entry.body for entry in stored if entry.id not in each.old_ids))
        try:
            log.hear_again(
                each.utterance.id,
                [to_json(entry) for entry in each.new],
                each.hearing(),
                each.old_ids,
                cautions_of(kept, each.new),
            )
        except ChangedMeanwhile:
            meanwhile += 1
            continue
        changed += 1
        touched[visit_id] = None
    for visit_id in touched:
        square_nails(log, log.visit(visit_id), in_force(log, visit_id), grammar)
    return Applied(changed, meanwhile)


@dataclass(frozen=True)
class Count:
    """Utterances of one kind; how many of them the review would not ask about, then and now."""

    all: int = 0
    sure_before: int = 0
    sure_now: int = 0


@dataclass(frozen=True)
class Report:
    """What hearing again would change.

    `confirmed` counts notes that a person has dealt with, `as_confirmed` those of them that
    are heard just so now: how far the new hearing may be believed. `not_same` is the rest.
    """

    counts: dict[Kind, Count]
    confirmed: int
    as_confirmed: int
    not_same: tuple[Difference, ...]

    @property
    def applies(self) -> tuple[Difference, ...]:
        """What goes in with `apply`."""
        return tuple(each for each in self.not_same if each.applies)


def report(found: Iterable[Difference]) -> Report:
    """Count the differences, and keep those that are some."""
    counts = {kind: Count() for kind in Kind}
    confirmed = as_confirmed = 0
    not_same: list[Difference] = []
    for each in found:
        count = counts[each.kind]
        counts[each.kind] = Count(
            count.all + 1,
            count.sure_before + (not each.before.doubtful),
            count.sure_now + (not each.now.doubtful),
        )
        if each.judged and each.old and each.kind is not Kind.FAILED:
            confirmed += 1
            as_confirmed += each.kind is Kind.SAME
        if each.kind is not Kind.SAME:
            not_same.append(each)
    return Report(counts, confirmed, as_confirmed, tuple(not_same))
