"""The grammar's automaton over words, walked token by token."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from handsfree.engines.whisper_tokens import Tokens
from handsfree.grammar.acceptor import Acceptor


@dataclass(eq=False)
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
            pairs: list[tuple[int, Node | None]] = list(node.children.items())
            if node.word is not None:
                pairs += self._root(node.state).children.items()
                if node.state in self.acceptor.finals:
                    pairs.append((self._tokens.end, None))
            numbers = np.array([token for token, _ in pairs], dtype=np.int64)
            node.moves = Moves(numbers, tuple(target for _, target in pairs))
        return node.moves
