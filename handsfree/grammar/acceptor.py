"""The set of allowed sentences as a deterministic automaton over words.

Recognizers get this and nothing else of the grammar: it has words, no meanings.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property


@dataclass(frozen=True)
class Acceptor:
    """A deterministic, minimal word automaton without empty moves.

    `arcs[state]` maps each word allowed in `state` to the state it leads to.
    A sentence is allowed when its words lead from `start` to a state of `finals`.
    """

    start: int
    arcs: tuple[Mapping[str, int], ...]
    finals: frozenset[int]

    @cached_property
    def vocabulary(self) -> frozenset[str]:
        """Every word that occurs in any allowed sentence."""
        return frozenset(word for arcs in self.arcs for word in arcs)

    def accepts(self, words: Iterable[str]) -> bool:
        """Whether these words, in this order, are a whole allowed sentence."""
        state = self.start
        for word in words:
            if word not in self.arcs[state]:
                return False
            state = self.arcs[state][word]
        return state in self.finals


def from_sentences(sentences: Iterable[Iterable[str]]) -> Acceptor:
    """Build an acceptor of exactly these sentences (a prefix tree, not minimal)."""
    arcs: list[dict[str, int]] = [{}]
    finals: set[int] = set()
    for sentence in sentences:
        state = 0
        for word in sentence:
            if word not in arcs[state]:
                arcs[state][word] = len(arcs)
                arcs.append({})
            state = arcs[state][word]
        finals.add(state)
    return Acceptor(0, tuple(arcs), frozenset(finals))
