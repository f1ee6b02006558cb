"""The history of one thing, as two machines have it, made one.

Pure. A chain is a history, oldest first, as one log keeps it.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import NamedTuple, TypeVar


class Stamp(NamedTuple):
    """One mark, all but its place in the history; a fact that is the same in both logs."""

    at: str
    change: str
    status: str
    by: str
    reason: str | None
    undoes: str | None
    nth: str = ""
    """Tells apart marks of one change that are the same in all else."""


def stamps(rows: Iterable[Sequence[str | None]]) -> tuple[Stamp, ...]:
    """Rows of a history, in its order, as stamps of which no two are equal."""
    seen: Counter[Stamp] = Counter()
    made: list[Stamp] = []
    for row in rows:
        plain = Stamp(*row)  # type: ignore[arg-type]
        made.append(plain._replace(nth=str(seen[plain] or "")))
        seen[plain] += 1
    return tuple(made)


T = TypeVar("T", bound=tuple[str | None, ...])


def order(stamp: tuple[str | None, ...]) -> tuple[str, ...]:
    """What ranks two of which neither log says which was first: the time, which comes first."""
    return tuple(part or "" for part in stamp)


def interleaved(ours: Sequence[T], theirs: Sequence[T]) -> tuple[T, ...]:
    """All of both chains in order of time.

    What stood in an order in one log stays in it, even where a clock was put back. The same
    whichever of the two is given first.
    """
    chains = [list(dict.fromkeys(ours)), list(dict.fromkeys(theirs))]
    members = [set(chain) for chain in chains]
    made: dict[T, None] = {}
    while any(chains):
        heads = {chain[0] for chain in chains if chain}
        # One that the other log has only later must wait for what comes before it there.
        ready = [
            head
            for head in heads
            if all(
                head not in of or chain[0] == head
                for of, chain in zip(members, chains, strict=True)
            )
        ]
        # Two logs can contradict each other only if one was tampered with: then time decides.
        first = min(ready or heads, key=order)
        made[first] = None
        for at, chain in enumerate(chains):
            if first in members[at]:
                members[at].discard(first)
                chain.remove(first)
    return tuple(made)


def own(chain: Iterable[T], other: Iterable[T]) -> tuple[T, ...]:
    """What the other chain has not."""
    known = set(other)
    return tuple(stamp for stamp in chain if stamp not in known)
