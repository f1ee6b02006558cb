"""What corrections taught: heard words, and the sentence a person said was meant by them.

Pure data. The log keeps the corrections; `Grammar.read` weighs these lessons against what it
would make of the words by itself.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol

from handsfree.grammar.words import plain_words

TAUGHT_BEND = 0.3
"""What taking words as they were corrected once costs; half of it after twice, and so on.

Dearer than a small word left out and as dear as two middling sound-alikes, so that one
correction does not outweigh a near sentence. Common sense, no source; never 0.
"""

FREE_SPEECH = "remark"
"""What follows this word means nothing to the grammar, so nothing can be learnt from it."""

AS_CORRECTED = "taken as you corrected it before"
"""The doubt of a reading that comes from a lesson alone."""

ONCE_CORRECTED = "you once corrected these very words"
"""The doubt of a reading that stands although a lesson says otherwise."""


class Taught(Protocol):
    """A correction as the log keeps it; `times` it was made so."""

    @property
    def heard(self) -> str:
        """The words that were heard."""
        ...

    @property
    def meant(self) -> str:
        """The sentence that was meant."""
        ...

    @property
    def times(self) -> int:
        """How often it was corrected so."""
        ...


@dataclass(frozen=True)
class Lesson:
    """`heard` words were meant as the sentence `meant`, so often."""

    heard: tuple[str, ...]
    meant: tuple[str, ...]
    times: int

    @property
    def bend(self) -> float:
        """What taking the words so costs, unitless like the costs of `nearest`; above 0."""
        return TAUGHT_BEND / self.times


def by_heard(taught: Iterable[Taught]) -> Mapping[tuple[str, ...], Lesson]:
    """The lesson for each run of heard words.

    Where corrections of the same words differ, the more frequent one counts, of equals the
    first in the list (the log has the latest first), as often as it outweighs the others but
    at least once.
    """
    found: dict[tuple[str, ...], dict[tuple[str, ...], int]] = {}
    for each in taught:
        heard, meant = tuple(plain_words(each.heard)), tuple(plain_words(each.meant))
        free = FREE_SPEECH in (heard[:1] + meant[:1])
        if heard and meant and heard != meant and not free and each.times > 0:
            of = found.setdefault(heard, {})
            of[meant] = of.get(meant, 0) + each.times
    return {heard: _one(heard, of) for heard, of in found.items()}


def _one(heard: tuple[str, ...], of: Mapping[tuple[str, ...], int]) -> Lesson:
    meant = max(of, key=lambda each: of[each])
    others = sum(of.values()) - of[meant]
    return Lesson(heard, meant, max(1, of[meant] - others))
