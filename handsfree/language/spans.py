"""Words cut into spans: the fewest phrases of the tables that cover them. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from handsfree.language.numbers import Amount
from handsfree.language.tables import Concept, Tables

UNKNOWN_COST = 2.5
"""A word that no table holds costs so many spans, so that a phrase that explains it is taken."""

SMALL_COST = 0.3
"""A word that carries nothing."""


@dataclass(frozen=True)
class Span:
    """Words `start` to `end` (exclusive) and what they may stand for.

    Without concepts and amount they carry nothing (`known`) or are unexplained.
    """

    start: int
    end: int
    words: tuple[str, ...]
    concepts: tuple[Concept, ...] = ()
    amount: Amount | None = None
    known: bool = True

    def get(self, kind: str) -> str | None:
        """The id that it stands for among concepts of this kind."""
        return next((c.id for c in self.concepts if c.kind == kind), None)

    def all(self, kind: str) -> tuple[str, ...]:
        """Every id that it may stand for among concepts of this kind."""
        return tuple(c.id for c in self.concepts if c.kind == kind)

    def concept(self, kind: str) -> Concept | None:
        """The concept of this kind."""
        return next((c for c in self.concepts if c.kind == kind), None)

    @property
    def text(self) -> str:
        """Its words."""
        return " ".join(self.words)


ENDS = frozenset(("front", "back", "rear"))
OF_HIM = (["him"], ["her"], ["them"])
HALVES = frozenset(("near", "off", "left", "right"))
FEET = frozenset("fore front hind fores fronts hinds behind back".split())
ENDS_NAME = frozenset(
    ("", "and", "but", "'s", "is", "has", "had", "was", "isn't", "wasn't", "so", "then")
)


def cut(words: Sequence[str], tables: Tables) -> list[Span]:
    """The words as spans, as few as will do; of equal ways the one with the longest first."""
    count = len(words)
    best: list[tuple[float, Span | None]] = [(0.0, None)] * (count + 1)
    for at in range(count - 1, -1, -1):
        cheapest: tuple[float, Span | None] | None = None
        for span, cost in _spans_at(words, at, tables):
            total = cost + best[span.end][0]
            if cheapest is None or total < cheapest[0] - 1e-9:
                cheapest = (total, span)
        assert cheapest is not None
        best[at] = cheapest
    found: list[Span] = []
    at = 0
    while at < count:
        taken = best[at][1]
        assert taken is not None
        found.append(taken)
        at = taken.end
    return found


def _spans_at(words: Sequence[str], at: int, tables: Tables) -> list[tuple[Span, float]]:
    """The spans that may begin at a word with their costs, longest first."""
    found: list[tuple[Span, float]] = []
    word = words[at]
    longest = min(tables.starts.get(word, 0), len(words) - at)
    for length in range(longest, 0, -1):
        phrase = tuple(words[at : at + length])
        if phrase[-1] == "in" and words[at + length : at + length + 1] == ["front"]:
            # "In front" is where it is: "toes in front" turn nowhere.
            continue
        after = list(words[at + length : at + length + 2])
        if phrase[-1] in ENDS and after[:1] == ["of"] and after[1:] not in OF_HIM:
            # "In the front of that near fore toe" names no second foot.
            continue
        if phrase[-1] == "behind" and words[at + length : at + length + 1] in (["the"], ["his"]):
            continue
        if phrase == ("screw", "in") and after[:1] and after[0] in ("his", "her", "the", "its"):
            # No stud that is screwed in: a screw in the foot.
            continue
        if phrase == ("growing", "out") and after[:1] == ["of"]:
            continue
        if phrase == ("filling", "in") and words[at - 1 : at] in (["of"], ["some"], ["the"]):
            # "A bit of filling in the fetlock" is swelling, no hole that fills.
            continue
        if phrase[-1] == "half" and after[:1] in (["an"], ["inch"], ["a"]):
            # "Outside half an inch": the half is of the inch.
            continue
        concepts = tables.phrases.get(phrase)
        if concepts is not None:
            # A limb named whole wins over its words taken apart ("rasped | off hind").
            limb = length > 1 and any(c.kind == "limb" for c in concepts)
            cost = 0.6 if limb else 1.0
            if any(c.kind == "relative" for c in concepts) and phrase[-1] in HALVES:
                # "The near" is a foot where it ends what is said of it, else half of a name.
                following = words[at + length] if at + length < len(words) else ""
                named = FEET & set(words[:at]) and following not in FEET
                cost = 0.4 if following in ENDS_NAME or named else 1.0
            relative = any(c.kind == "relative" for c in concepts)
            if not relative and all(each in tables.nothing for each in phrase):
                cost = min(cost, SMALL_COST * length)
            if phrase[0] in HALVES and length == 1 and set(after[:1]) & FEET:
                # "Off front wall": half of a foot's name, no small word.
                cost = 1.0
            found.append((Span(at, at + length, phrase, concepts), cost))
    amount = tables.numbers.at(words, at)
    if amount is not None:
        span = Span(at, amount.end, tuple(words[at : amount.end]), (), amount)
        same = next((f for f in found if f[0].end == amount.end), None)
        if same is not None:
            found.remove(same)
            span = replace(span, concepts=same[0].concepts)
        # A number is read whole before any phrase that begins with a part of it.
        found.append((span, 1.0 - 0.3 * (amount.end - at > 1)))
        found.sort(key=lambda pair: -pair[0].end)
    if not any(span.end == at + 1 for span, _ in found):
        known = word in tables.nothing
        cost = SMALL_COST if known else UNKNOWN_COST
        found.append((Span(at, at + 1, (word,), known=known), cost))
    return found
