"""One utterance while it is being read: its spans, its clauses, and what is used of them."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from handsfree.language.spans import Span

SUBJECTS = frozenset("i he she they we it there".split())
ARTICLES = frozenset(("a", "an", "the"))
AUXILIARIES = frozenset("'s 've 'd 'll is was has had have will are were".split())
WHY = frozenset("so because cos cause since when as till until".split())
JOINS = frozenset(
    """and but so because cos cause since where if when that as though till until what while
    all""".split()
)
"""After these a clause has begun already, or the subject is not the first of one."""

LEFT_OVER = 0.25
"""What a side, a place, a foot or a number costs that belongs to nothing."""


@dataclass
class Frame:
    """An entry in the making.

    `at`: the span it was found at, `first` and `last` all that belong to it. `slots` are keys of
    the record. `limbs` is None until a limb was found for it. `denied`: said not to be so.
    """

    kind: str
    at: int
    slots: dict[str, object]
    first: int
    last: int
    limbs: tuple[str, ...] | None = None
    denied: bool = False
    of_horse: bool = False

    @property
    def term(self) -> str | None:
        """The finding's id, None for what is no finding."""
        found = self.slots.get("term")
        return found if isinstance(found, str) else None


@dataclass
class Utterance:
    """The spans of an utterance and what has been made of them so far."""

    spans: list[Span]
    clause: list[int] = field(default_factory=list)
    sentence: list[int] = field(default_factory=list)
    used: set[int] = field(default_factory=set)
    frames: list[Frame] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    unsure: float = 0.0

    def __post_init__(self) -> None:
        number = joined = 0
        for at, span in enumerate(self.spans):
            split = bool(at and span.get("split"))
            joined += split
            number += split or self._new_subject(at)
            self.clause.append(number)
            self.sentence.append(joined)

    def _new_subject(self, at: int) -> bool:
        """ "... near fore he's gone lame": somebody of whom something new is told."""
        if at == 0:
            return False
        if self.spans[at].text in WHY:
            return self._acts(at + 1)
        return self.spans[at - 1].words[-1] not in JOINS and self._acts(at)

    def _acts(self, at: int) -> bool:
        """Whether a subject and its verb stand here, with something told before them."""
        if at + 1 >= len(self.spans):
            return False
        span, following = self.spans[at], self.spans[at + 1]
        does = following.words[0] in AUXILIARIES or following.get("verb") is not None
        names = span.words == ("that", "'s") and following.text in ARTICLES
        told = any(s.get("limb") or s.get("work") for s in self.spans[:at])
        return told and (names or (span.text in SUBJECTS and does))

    def free(self, kind: str, within: Iterable[int] | None = None) -> list[int]:
        """The unused spans that may stand for a concept of this kind, in order."""
        places = range(len(self.spans)) if within is None else within
        return [i for i in places if i not in self.used and self.spans[i].get(kind)]

    def amounts(self) -> list[int]:
        """The unused numbers, in order."""
        return [i for i, s in enumerate(self.spans) if s.amount and i not in self.used]

    def add(self, kind: str, at: int, spans: Iterable[int], **slots: object) -> Frame:
        """Make a frame of these spans, which are used then."""
        taken = {at, *spans}
        self.used |= taken
        frame = Frame(kind, at, slots, min(taken), max(taken))
        self.frames.append(frame)
        self.frames.sort(key=lambda f: f.at)
        return frame

    def doubt(self, why: str, cost: float) -> None:
        """Something that a person should look at."""
        self.doubts.append(why)
        self.unsure += cost

    def in_clause(self, at: int) -> list[int]:
        """The places of all spans of the clause in which `at` stands."""
        return [i for i, number in enumerate(self.clause) if number == self.clause[at]]

    def nearest(
        self, at: int, places: Iterable[int], allowed: Callable[[int], bool] = lambda _: True
    ) -> int | None:
        """The nearest of `places` to `at`; of two as near the one before it."""
        fit = [p for p in places if allowed(p)]
        return min(fit, key=lambda p: (abs(p - at), p > at), default=None)

    def between(self, one: int, other: int) -> range:
        """The places strictly between two."""
        return range(min(one, other) + 1, max(one, other))
