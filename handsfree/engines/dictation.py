"""What was said written down freely, in words of the trade and others, with their likelihood.

The neural listener's decoder offers tokens; a tree of all words allows those that spell one, and
how likely the words follow one another (`word_model.py`) is added where a word ends: "shallow
fusion" (Gulcehre et al. 2015). Only tokens of these words are scored on the way, which is three
times as quick; what was found is scored among all tokens in the end. It is asked for only where the
search that is held to the grammar is not content.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from handsfree.engines.whisper_decoder import Cache, Decoder, Floats, Ints, Memory, log_norms
from handsfree.engines.whisper_search import HOPE, stutters
from handsfree.engines.whisper_tokens import Tokens
from handsfree.engines.word_model import END, WordModel

COMMON = 12_000
"""A word that is one of the first so many tokens (byte pairs, most frequent first) is common
English, and may be said though the trade has no use for it."""

SHARE = 0.35
"""Weight of the words' likelihood beside the sound's."""

EACH = 0.7
"""Natural log units given for each word, or ways of fewer words win where rare ones are said."""

HOPELESS = 6.0
"""Natural log units that a path may be behind the likeliest one of its length, and be kept."""

BEHIND = 0.4
"""Natural log units a token that an open path must hope to come within of the best finished one."""


@dataclass(eq=False, slots=True)
class _Node:
    """A place inside a word: what may follow, by token; the word that ends here, and those that
    sound the same. `tokens` are numbered among those that any word has."""

    children: "dict[int, _Node]" = field(default_factory=dict)
    words: tuple[str, ...] = ()
    tokens: Ints = field(default_factory=lambda: np.zeros(0, np.int64))
    nodes: "tuple[_Node, ...]" = ()


@dataclass(frozen=True)
class Written:
    """Words, and natural logs of how likely they are: `heard` by the sound, summed over the tokens
    `spelled`; `said` without it."""

    words: tuple[str, ...]
    heard: float
    said: float
    spelled: tuple[int, ...] = ()

    @property
    def tokens(self) -> int:
        """How many they are, the end of the text among them."""
        return max(1, len(self.spelled))

    @property
    def total(self) -> float:
        """By which ways of as many tokens are compared."""
        return self.heard + SHARE * self.said + EACH * len(self.words)

    @property
    def score(self) -> float:
        """By which finished ones are compared."""
        return self.total / self.tokens

    @property
    def fit(self) -> float:
        """Natural log a token by the sound alone, as the scores of the grammar's sentences."""
        return self.heard / self.tokens

    def hope(self) -> float:
        """The score if HOPE more tokens came at no cost."""
        return self.total / (len(self.spelled) + HOPE)


@dataclass(frozen=True)
class _Path:
    """A way begun: the place in its word, the units before that word, its last token."""

    node: _Node
    written: Written
    two: int
    one: int


_ALL = np.float32(0.0)

_Offer = tuple[float, int, _Path, _Node, int, float]
"""Total, row, path, the place it comes to, by which token (numbered), at what natural log."""


class Dictation:
    """Writes down what was said. Made once for a model and for the names of the log."""

    def __init__(self, decoder: Decoder, tokens: Tokens, words: WordModel, always: Floats) -> None:
        """`always` is added to the scores of all tokens (V,): 0, or −inf for those never said."""
        self._decoder, self._words, self._always = decoder, words, always
        self._end = tokens.end
        self._root = _Node()
        common = tokens.whole_words(COMMON)
        for word in (*common, *sorted(words.vocabulary | words.names)):
            node = self._root
            for token in tokens.word(word):
                node = node.children.setdefault(token, _Node())
            node.words = (word, *sorted(words.alike(word)))
        used = _tokens(self._root) | {self._end}
        self._used = np.array(sorted(used), dtype=np.int64)
        self._head = decoder.head(self._used)
        _settle(self._root, {int(token): at for at, token in enumerate(self._used)})
        self._other = math.log(max(1, sum(word not in words.vocabulary for word in common)))
        self._name = math.log(max(1, len(words.names)))

    def write(
        self,
        memory: Memory,
        opening: list[int],
        *,
        beam: int,
        keep: int,
        longest: int,
        least: float = -math.inf,
        letters: float = math.inf,
    ) -> list[Written]:
        """The `keep` best ways, best first; of at most `longest` tokens and `letters` letters.

        A way that cannot hope for `least` (natural log a token by the sound) is given up: over talk
        all of them soon are.
        """
        decoder = self._decoder
        opened = decoder.new_cache(1, len(opening))
        first = decoder.advance(np.array([opening], dtype=np.int64), memory, opened)[:, -1]
        start = self._words.start
        active = [_Path(self._root, Written((), 0.0, 0.0), start, start)]
        done: list[Written] = []
        cache, states = opened, first
        for step in range(longest):
            logits = self._head.times(states)
            logits -= log_norms(logits, _ALL)[:, None]
            parents, active = self._extended(active, logits, beam, done, letters)
            done = _different(done)[:keep]
            worst = -math.inf
            if len(done) >= keep:
                worst = max(done[-1].score, done[0].score - BEHIND)
            open_ = [
                i
                for i, path in enumerate(active)
                if path.written.hope() > worst
                and path.written.heard > least * (len(path.written.spelled) + HOPE)
            ]
            parents, active = [parents[i] for i in open_], [active[i] for i in open_]
            if not active or step == longest - 1:
                break
            cache = cache.pick(np.array(parents, dtype=np.int64), 1)
            last = np.array([path.written.spelled[-1:] for path in active], dtype=np.int64)
            states = decoder.advance(last, memory, cache)[:, -1]
        return _different(self._exact(done, memory, opened, first))

    def _exact(
        self, found: list[Written], memory: Memory, opened: Cache, first: Floats
    ) -> list[Written]:
        """The same with `heard` among all tokens."""
        if not found:
            return []
        count, length = len(found), max(len(each.spelled) for each in found)
        # Short ones are filled up with any token: nothing looks ahead to the filling.
        tokens = np.zeros((count, length), np.int64)
        for row, each in enumerate(found):
            tokens[row, : len(each.spelled)] = each.spelled
        states = np.repeat(first[:, None], count, axis=0)
        if length > 1:
            cache = opened.pick(np.zeros(count, np.int64), length)
            later = self._decoder.advance(tokens[:, :-1], memory, cache)
            states = np.concatenate([states, later], axis=1)
        exact = []
        for row, each in enumerate(found):
            logits = self._decoder.logits(states[row, : len(each.spelled)])
            norms = log_norms(logits, self._always)
            picked = logits[np.arange(len(each.spelled)), list(each.spelled)]
            exact.append(replace(each, heard=float((picked - norms).sum())))
        return exact

    def _extended(
        self,
        active: list[_Path],
        logs: Floats,
        beam: int,
        done: list[Written],
        letters: float,
    ) -> tuple[list[int], list[_Path]]:
        """The best ways one token longer, with the row each comes from; ended ones go to `done`."""
        offers: list[_Offer] = []
        for row, path in enumerate(active):
            for word in path.node.words:
                ended = self._ended(path, word)
                written = ended.written
                if stutters(written.words) or sum(map(len, written.words)) > letters:
                    continue
                heard = written.heard + float(logs[row, -1])
                said = written.said + self._words.after(ended.two, ended.one, END)
                done.append(Written(written.words, heard, said, (*written.spelled, self._end)))
                offers += _best(row, ended, self._root, logs[row], beam)
            offers += _best(row, path, path.node, logs[row], beam)
        offers.sort(key=lambda offer: -offer[0])
        parents: list[int] = []
        grown: list[_Path] = []
        known: set[tuple[tuple[str, ...], int]] = set()
        for total, row, path, node, token, log in offers:
            before = path.written
            if total < offers[0][0] - HOPELESS or len(grown) == beam:
                break
            if (before.words, id(node)) in known:  # spelled as what sounds the same
                continue
            known.add((before.words, id(node)))
            spelled = (*before.spelled, int(self._used[token]))
            written = Written(before.words, before.heard + log, before.said, spelled)
            grown.append(_Path(node, written, path.two, path.one))
            parents.append(row)
        return parents, grown

    def _ended(self, path: _Path, word: str) -> _Path:
        """The way with its word ended and reckoned."""
        words, before = self._words, path.written
        likely = words.after(path.two, path.one, word)
        if word in words.names:
            likely -= self._name
        elif word not in words.vocabulary:
            likely -= self._other
        written = Written((*before.words, word), before.heard, before.said + likely, before.spelled)
        return _Path(self._root, written, path.one, words.number(word))


def _different(found: list[Written]) -> list[Written]:
    """Best first; of the same words the best."""
    by_words: dict[tuple[str, ...], Written] = {}
    for each in sorted(found, key=lambda one: -one.score):
        by_words.setdefault(each.words, each)
    return list(by_words.values())


def _best(row: int, path: _Path, node: _Node, logs: Floats, beam: int) -> Iterator[_Offer]:
    """The likeliest tokens after `node`."""
    here = logs[node.tokens]
    order: Sequence[int] | Ints = range(len(here))
    if len(here) > beam:
        order = np.argpartition(-here, beam)[:beam]
    for at in order:
        log = float(here[at])
        yield path.written.total + log, row, path, node.nodes[at], int(node.tokens[at]), log


def _tokens(node: _Node) -> set[int]:
    return set(node.children).union(*map(_tokens, node.children.values()))


def _settle(node: _Node, number: dict[int, int]) -> None:
    node.tokens = np.array([number[token] for token in node.children], dtype=np.int64)
    node.nodes = tuple(node.children.values())
    for child in node.nodes:
        _settle(child, number)
