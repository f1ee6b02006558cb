"""How a reading came out, and how many came out how."""

from collections.abc import Iterable
from dataclasses import dataclass

from handsfree.engines.together import Verdict
from handsfree.records.sureness import unsure
from handsfree.voice.phrases import Phrase

RIGHT, DOUBTFUL, WRONG, SURE_WRONG = "right", "right but doubtful", "wrong", "sure but wrong"
KINDS = (RIGHT, DOUBTFUL, WRONG, SURE_WRONG)
LEVEL = 0.95
"""Of the intervals that say how little a few phrases prove."""


@dataclass(frozen=True)
class Outcome:
    """What became of one reading: one of KINDS, the words heard, how sure it was (0..1).

    What was not understood at all counts as wrong; `unclear` tells it apart.
    """

    kind: str
    heard: str
    confidence: float
    unclear: bool

    @property
    def caught(self) -> bool:
        """Whether the note says what was read, with or without a doubt."""
        return self.kind in (RIGHT, DOUBTFUL)


def outcome_of(phrase: Phrase, verdict: Verdict) -> Outcome:
    """Compare a verdict with what was read."""
    meaning = verdict.reading.meaning
    sure = not unsure(verdict.confidence, verdict.doubt)
    if meaning == phrase.meaning:
        kind = RIGHT if sure else DOUBTFUL
    else:
        kind = SURE_WRONG if sure and meaning is not None else WRONG
    return Outcome(kind, verdict.heard, verdict.confidence, meaning is None)


@dataclass(frozen=True)
class Tally:
    """How many readings came out how."""

    right: int = 0
    doubtful: int = 0
    wrong: int = 0
    sure_wrong: int = 0

    @property
    def caught(self) -> int:
        """Those whose note says what was read."""
        return self.right + self.doubtful

    @property
    def of(self) -> int:
        """All of them."""
        return self.caught + self.wrong + self.sure_wrong

    def better_than(self, other: "Tally") -> bool:
        """Whether more is right and nothing that matters more is lost.

        A note that is wrong and sure does the most harm, so there may never be more of them.
        """
        mine, theirs = (self.caught, self.right), (other.caught, other.right)
        if self.sure_wrong == other.sure_wrong:
            return mine > theirs
        return self.sure_wrong < other.sure_wrong and self.caught >= other.caught

    def as_json(self) -> dict[str, int]:
        """The counts by KINDS."""
        counts = (self.right, self.doubtful, self.wrong, self.sure_wrong)
        return dict(zip(KINDS, counts, strict=True))


def tally(outcomes: Iterable[Outcome]) -> Tally:
    """Count outcomes."""
    kinds = [outcome.kind for outcome in outcomes]
    return Tally(*(kinds.count(kind) for kind in KINDS))


def interval(count: int, of: int) -> tuple[float, float]:
    """The exact (Clopper and Pearson 1934) interval of a share, at LEVEL; 0..1."""
    from scipy.stats import binomtest

    found = binomtest(count, of).proportion_ci(LEVEL, method="exact")
    return float(found.low), float(found.high)


def by_chance(better: int, worse: int) -> float:
    """How often chance alone makes so uneven a split of the phrases that changed (sign test,
    two-sided); 1 where none changed."""
    from scipy.stats import binomtest

    return float(binomtest(better, better + worse).pvalue) if better + worse else 1.0
