"""Trade words that are taken for each other by ear."""

from collections.abc import Iterable, Sequence

import jellyfish
from rapidfuzz.distance import Levenshtein

from handsfree.grammar.grammar import folder
from handsfree.grammar.words import TradeWord, read_sound_alikes

LEAST_LIKENESS = 0.7
"""Words whose sounds (as Metaphone spells them) are less alike than this are kept apart, 1
being the same. Common practice, no source: it pairs "bruise" with "brushing" and "toe length"
with "heel length", and leaves "heel" and "toe" apart."""


class Alike:
    """Which ids of one slot sound alike.

    Two words are alike where, after grammar/soundalikes.csv, one is heard for the other or one
    and the same for both, and where they are spelled alike by their sounds.
    """

    def __init__(self, table: Iterable[TradeWord]) -> None:
        self._forms: dict[tuple[str, str], list[str]] = {}
        for word in table:
            self._forms.setdefault((word.slot, word.id), []).extend(word.forms)
        self._heard_for: dict[str, set[str]] = {}
        for heard, meants in read_sound_alikes(folder() / "soundalikes.csv").items():
            for meant in meants:
                self._heard_for.setdefault(meant, {meant}).add(heard)

    def forms(self, slot: str, id: str) -> Sequence[str]:
        """Every way to say an id."""
        return self._forms.get((slot, id), ())

    def sound(self, slot: str, one: str, other: str) -> bool:
        """Whether an id may be taken for another one of the same slot."""
        return one != other and any(
            self._words_alike(a, b) for a in self.forms(slot, one) for b in self.forms(slot, other)
        )

    def _words_alike(self, a: str, b: str) -> bool:
        if self._heard(a) & self._heard(b):
            return True
        sounds = jellyfish.metaphone(a), jellyfish.metaphone(b)
        if Levenshtein.normalized_similarity(*sounds) >= LEAST_LIKENESS:
            return True
        left, right = a.split(), b.split()
        return len(left) == len(right) and all(
            self._heard(x) & self._heard(y) for x, y in zip(left, right, strict=True)
        )

    def _heard(self, words: str) -> set[str]:
        return self._heard_for.get(words, {words})
