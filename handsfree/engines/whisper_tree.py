"""The grammar's automaton over words, walked token by token."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from handsfree.engines.whisper_tokens import Tokens
from handsfree.grammar.acceptor import Acceptor


@dataclass(eq=False, slots=True)
class Node:
    """A place inside a word: `children` by next token; `word` and `state` where one ends."""

    children: dict[int, "Node"] = field(default_factory=dict)
    word: str | None = None
    state: int = -1
    moves: "Moves | None" = None


@dataclass(frozen=True)
class Moves:
    """What may follow a node: token numbers and, in the same order, the nodes they reach.

    A target of None is the end of the sentence. A token may occur twice: once inside a
    longer word and once as the start of the next word.
    """

    tokens: NDArray[np.int64]
    targets: tuple[Node | None, ...]


class TokenTree:
    """Tokens allowed by `acceptor`; each state's words become a trie when first reached."""

    def __init__(self, acceptor: Acceptor, tokens: Tokens) -> None:
        self.acceptor = acceptor
        self._tokens = tokens
        self._roots: dict[int, Node] = {}
        self._after: dict[int, Moves] = {}

    @property
    def root(self) -> Node:
        """Where every sentence begins."""
        return self._root(self.acceptor.start)

    def _root(self, state: int) -> Node:
        if state not in self._roots:
            root = Node()
            for word, target in self.acceptor.arcs[state].items():
                node = root
                for token in self._tokens.word(word):
                    node = node.children.setdefault(token, Node())
                node.word, node.state = word, target
            self._roots[state] = root
        return self._roots[state]

    def moves(self, node: Node) -> Moves:
        """Everything that may follow `node`. The empty sentence is never offered."""
        if node.moves is None:
            if node.word is None:
                node.moves = _listed(node.children)
            elif node.children:
                node.moves = _listed(node.children, self._following(node.state))
            else:  # most nodes: they share what follows, or hours of listening fill the memory
                node.moves = self._following(node.state)
        return node.moves

    def _following(self, state: int) -> Moves:
        if state not in self._after:
            end = {self._tokens.end: None} if state in self.acceptor.finals else {}
            self._after[state] = _listed(self._root(state).children | end)
        return self._after[state]


def _listed(first: "dict[int, Node] | dict[int, Node | None]", then: Moves | None = None) -> Moves:
    tokens, targets = np.array(list(first), dtype=np.int64), tuple(first.values())
    if then is None:
        return Moves(tokens, targets)
    return Moves(np.concatenate([tokens, then.tokens]), targets + then.targets)
