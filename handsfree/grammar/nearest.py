"""The allowed sentence nearest to what was heard, and how far it bends the words.

A cheapest-path search (Dijkstra 1959) through the word automaton. A step takes a heard word
as it is, takes it for a word that sounds alike, leaves a heard word out, or puts in a small
word that was not heard. Content is never put in: a record holds nothing that was not said.
"""

import heapq
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import jellyfish
from rapidfuzz import fuzz, process

from handsfree.grammar.acceptor import Acceptor

DROP_UNKNOWN = 0.6
"""Cost of leaving out a word that is no word of the grammar."""
DROP_KNOWN = 1.0
"""Cost of leaving out a word of the grammar: it was probably said for a reason."""
LEAST_LIKENESS = 0.72
"""Below this likeness of spelling or sound two words are not taken for each other."""


@dataclass(frozen=True)
class SmallWords:
    """What leaving out or putting in a small word costs; `kept` may never be left out."""

    drop: Mapping[str, float]
    supply: Mapping[str, float]
    kept: frozenset[str]


@dataclass(frozen=True, order=True)
class Near:
    """An allowed sentence and the cost of bending what was heard into it (0: as heard)."""

    cost: float
    words: tuple[str, ...] = field(compare=False)


def limit(count: int) -> float:
    """The furthest `count` heard words may be bent; beyond it the utterance is unclear."""
    return min(0.8, 0.15 + 0.12 * count)


class NearestSentence:
    """Searches one acceptor. Costs are unitless; see the module's constants."""

    def __init__(
        self,
        acceptor: Acceptor,
        small: SmallWords,
        sound_alikes: Mapping[str, Mapping[str, float]],
    ) -> None:
        self._acceptor = acceptor
        self._small = small
        self._alikes = {
            tuple(heard.split()): {tuple(meant.split()): cost for meant, cost in meants.items()}
            for heard, meants in sound_alikes.items()
        }
        self._longest = max(map(len, self._alikes), default=1)
        self._spelled = sorted(acceptor.vocabulary)
        self._sounds = {word: jellyfish.metaphone(word) for word in self._spelled}
        self._guesses: dict[str, dict[str, float]] = {}

    def find(
        self, words: Sequence[str], sureness: Sequence[float | None] = (), count: int = 3
    ) -> list[Near]:
        """The `count` cheapest allowed sentences within the limit, cheapest first.

        `sureness` (0..1, per word) makes words the engine doubts cheaper to change.
        """
        words = tuple(words)
        ease = [1.0] * len(words)
        for i, sure in enumerate(sureness[: len(words)]):
            if sure is not None:
                ease[i] = 0.6 + 0.4 * min(max(sure, 0.0), 1.0)
        most = limit(len(words))
        moves = [self._moves(words, i, ease[i]) for i in range(len(words))]
        queue: list[tuple[float, int, int, int, tuple[str, ...]]] = [
            (0.0, 0, 0, self._acceptor.start, ())
        ]
        visits: dict[tuple[int, int], int] = {}
        found: dict[tuple[str, ...], float] = {}
        order = 0
        while queue and len(found) < count:
            cost, _, at, state, said = heapq.heappop(queue)
            seen = visits.get((at, state), 0)
            if seen >= count:
                continue
            visits[at, state] = seen + 1
            if at == len(words) and state in self._acceptor.finals and said:
                found.setdefault(said, cost)
            for extra, after, put in self._steps(words, at, state, moves):
                reached = self._walk(state, put)
                if reached is not None and cost + extra <= most:
                    order += 1
                    heapq.heappush(queue, (cost + extra, -order, after, reached, said + put))
        return [Near(round(cost, 4), said) for said, cost in found.items()]

    def taken_for(self, word: str) -> str | None:
        """The word of the grammar that `word` is or sounds like, None where there is none."""
        if word in self._acceptor.vocabulary or word in self._small.drop:
            return word
        alike = self._alikes.get((word,))
        if alike:
            return " ".join(min(alike.items(), key=lambda pair: pair[1])[0])
        sound = jellyfish.metaphone(word)
        same = (meant for meant, its_sound in self._sounds.items() if its_sound == sound)
        return next((w for w in same if fuzz.ratio(word, w) >= 100 * LEAST_LIKENESS), None)

    def _steps(
        self,
        words: tuple[str, ...],
        at: int,
        state: int,
        moves: list[list[tuple[float, int, tuple[str, ...]]]],
    ) -> list[tuple[float, int, tuple[str, ...]]]:
        arcs = self._acceptor.arcs[state]
        steps: list[tuple[float, int, tuple[str, ...]]] = [
            (cost, at, (word,)) for word, cost in self._small.supply.items() if word in arcs
        ]
        if at < len(words):
            steps += moves[at]
        return steps

    def _walk(self, state: int, words: tuple[str, ...]) -> int | None:
        reached: int | None = state
        for word in words:
            if reached is None:
                return None
            reached = self._acceptor.arcs[reached].get(word)
        return reached

    def _moves(
        self, words: tuple[str, ...], at: int, ease: float
    ) -> list[tuple[float, int, tuple[str, ...]]]:
        """Everything the heard words from `at` may be taken for: (cost, next place, words)."""
        word = words[at]
        known = word in self._acceptor.vocabulary
        moves: list[tuple[float, int, tuple[str, ...]]] = []
        if known:
            moves.append((0.0, at + 1, (word,)))
        if word not in self._small.kept:
            drop = self._small.drop.get(word, DROP_KNOWN if known else DROP_UNKNOWN)
            moves.append((drop * ease, at + 1, ()))
        for length in range(1, min(self._longest, len(words) - at) + 1):
            for meant, cost in self._alikes.get(words[at : at + length], {}).items():
                moves.append((cost * ease, at + length, meant))
        if not known and word not in self._small.drop and word not in self._small.kept:
            moves += [(c * ease, at + 1, (w,)) for w, c in self._sounding_like(word).items()]
        return moves

    def _sounding_like(self, word: str) -> dict[str, float]:
        """Words of the grammar that an unknown word may be, each with its cost."""
        if word not in self._guesses:
            costs: dict[str, float] = {}
            sound = jellyfish.metaphone(word)
            for meant, score, _ in process.extract(
                word, self._spelled, scorer=fuzz.ratio, limit=8, score_cutoff=100 * LEAST_LIKENESS
            ):
                costs[meant] = 1.5 * (1 - score / 100)
            if len(sound) >= 2:
                for meant, its_sound in self._sounds.items():
                    if its_sound == sound and fuzz.ratio(word, meant) >= 45:
                        costs[meant] = min(costs.get(meant, 1.0), 0.2)
            self._guesses[word] = costs
        return self._guesses[word]
