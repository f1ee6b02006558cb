"""The set of allowed sentences as a deterministic automaton over words.

Recognizers get this and nothing else of the grammar: it has words, no meanings.
"""

from collections.abc import Iterable, Mapping, Sequence
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
        return self.after(words, self.start) in self.finals

    def after(self, words: Iterable[str], state: int) -> int | None:
        """Where these words lead from a state, None where they are not allowed there."""
        for word in words:
            if word not in self.arcs[state]:
                return None
            state = self.arcs[state][word]
        return state


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


def with_call(acceptor: Acceptor, call: Sequence[str]) -> Acceptor:
    """The acceptor's sentences, and each after the words of `call`, and `call` alone.

    The first word of `call` must begin no sentence. Without words it is the same acceptor.
    """
    if not call:
        return acceptor
    if call[0] in acceptor.arcs[acceptor.start]:
        raise ValueError(f"sentences begin with {call[0]!r} already")
    count, more = len(acceptor.arcs), len(call)
    begun = acceptor.arcs[acceptor.start]
    # The last state added is where the call has been said: whatever may begin may follow.
    chain = [{word: count + at + 1} for at, word in enumerate(call)]
    start = {**begun, **chain[0]}
    arcs = (*acceptor.arcs, start, *chain[1:], begun)
    return Acceptor(count, arcs, acceptor.finals | {count + more})
