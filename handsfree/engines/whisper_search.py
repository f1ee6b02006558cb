"""Beam search inside the grammar, side by side with one greedy decoding free of it."""

import math
from dataclasses import dataclass, field

import numpy as np

from handsfree.engines.whisper_decoder import Decoder, Floats, Ints, Memory, log_norms
from handsfree.engines.whisper_tree import Node, TokenTree

HOPE = 3
"""Further tokens, taken as certain, that an unfinished path is credited with."""


HOPELESS = 8.0
"""Natural log units that a path may be behind the likeliest one of its length, and be kept."""

BEHIND = 0.7
"""Natural log units a token that an open path must hope to come within of the best finished one."""

_EARLY = (4, 3, 2)


def breadth(beam: int, step: int) -> int:
    """Paths kept after `step` (from 0): the first few tokens decide most, so more of them.

    The first word often scores badly in noise or against the model's habit of capitals and
    digits, and a narrow beam then loses sentences that would have won as a whole.
    """
    return beam * (_EARLY[step] if step < len(_EARLY) else 1)


@dataclass(frozen=True)
class Path:
    """A sequence of tokens. `logs` holds the natural log probability of each token.

    `words` has each completed or begun word, `starts` the index of its first token.
    """

    node: Node | None
    tokens: tuple[int, ...] = ()
    logs: tuple[float, ...] = ()
    words: tuple[str, ...] = ()
    starts: tuple[int, ...] = ()

    @property
    def total(self) -> float:
        """Log probability of the whole path."""
        return sum(self.logs)

    @property
    def score(self) -> float:
        """Mean log probability a token; without dividing, short paths would always win."""
        return self.total / max(1, len(self.logs))

    def hope(self) -> float:
        """The score if HOPE more tokens came at no cost."""
        return self.total / (len(self.logs) + HOPE)


@dataclass
class Found:
    """`inside`: finished paths of the grammar, best first; `free`: the free decoding."""

    inside: list[Path] = field(default_factory=list)
    free: Path = field(default_factory=lambda: Path(None))


@dataclass(frozen=True)
class Masks:
    """Added to the scores, 0 or −inf, each (V,): tokens never said, and not said first."""

    always: Floats
    first: Floats


def search(
    decoder: Decoder,
    memory: Memory,
    opening: list[int],
    tree: TokenTree,
    masks: Masks,
    beam: int,
    keep: int,
    longest: int,
    worst: float = -math.inf,
    letters: float = math.inf,
) -> Found:
    """Decode one utterance; at most `longest` tokens a path, `keep` finished paths.

    A path that cannot hope to come within `worst` (natural log units a token, below 0) of the
    free decoding so far is dropped: over talk all of them soon are. So is one of more than
    `letters` letters, which nobody can say in that time, and one that says things again: over
    short sound the model likes to wherever the grammar lets it, and nobody speaks so.

    Both decodings share the run over `opening` and each step's batch (free path in row 0).
    Probabilities are over the whole vocabulary less the masked tokens.
    """
    end = decoder.vocabulary - 1
    cache = decoder.new_cache(1, len(opening))
    states = decoder.advance(np.array([opening], dtype=np.int64), memory, cache)
    logits = decoder.logits(states[:, -1])
    found = Found()
    active = [Path(tree.root)]
    free_open = True
    rows = [0]
    free_row = 0
    for step in range(longest):
        norms = log_norms(logits, masks.always)
        if free_open:
            found.free, free_open = _greedy(
                found.free, logits[free_row] - norms[free_row], masks, step == 0, end
            )
        width = breadth(beam, step)
        parents, active = _extend(tree, active, rows, logits, norms, width, found, letters)
        found.inside = sorted(found.inside, key=lambda path: -path.score)[:keep]
        least = found.free.score + worst
        if len(found.inside) >= keep:
            least = max(least, found.inside[-1].score, found.inside[0].score - BEHIND)
        hopeful = [i for i, path in enumerate(active) if path.hope() > least]
        parents, active = [parents[i] for i in hopeful], [active[i] for i in hopeful]
        if step == longest - 1 or not (active or free_open):
            break
        picked: list[int] = ([free_row] if free_open else []) + parents
        tokens = ([found.free.tokens[-1]] if free_open else []) + [p.tokens[-1] for p in active]
        cache = cache.pick(np.array(picked, dtype=np.int64), 1)
        states = decoder.advance(_column(tokens), memory, cache)
        logits = decoder.logits(states[:, -1])
        free_row = 0
        rows = [index + int(free_open) for index in range(len(active))]
    return found


def _column(tokens: list[int]) -> Ints:
    return np.array(tokens, dtype=np.int64)[:, None]


def _greedy(path: Path, logs: Floats, masks: Masks, first: bool, end: int) -> tuple[Path, bool]:
    """`path` with its likeliest next token, and whether decoding goes on after it."""
    allowed = logs + masks.always
    if first:
        allowed = allowed + masks.first
    token = int(allowed.argmax())
    grown = (*path.logs, float(logs[token]))
    if token == end:  # counts in the score but is no text
        return Path(None, path.tokens, grown), False
    tokens = (*path.tokens, token)
    again = repeated(tokens)
    if again:
        return Path(None, tokens[:-again], grown[:-again]), False
    return Path(None, tokens, grown), True


def repeated(tokens: tuple[int, ...]) -> int:
    """How many last tokens only repeat what stands before them; 0 when none do.

    On short sound the free decoding likes to say a phrase again and again. Four tokens or
    more said twice count as that, fewer when said three times running.
    """
    for period in range(1, len(tokens) // 2 + 1):
        times = 2 if period >= 4 else 3
        tail = tokens[-period:]
        if len(tokens) >= times * period and tokens[-times * period :] == tail * times:
            return (times - 1) * period
    return 0


def stutters(words: tuple[str, ...]) -> bool:
    """Whether two words or more are said twice running, or one word three times."""
    for size in range(1, len(words) // 2 + 1):
        span = size * (3 if size == 1 else 2)
        for at in range(len(words) - span + 1):
            if words[at : at + span - size] == words[at + size : at + span]:
                return True
    return False


def _sayable(words: tuple[str, ...], letters: float) -> bool:
    """Whether a person may have said this: no longer than there was time for, nothing again."""
    return sum(map(len, words)) <= letters and not stutters(words)


def _extend(
    tree: TokenTree,
    active: list[Path],
    rows: list[int],
    logits: Floats,
    norms: Floats,
    beam: int,
    found: Found,
    letters: float = math.inf,
) -> tuple[list[int], list[Path]]:
    """The `beam` best one-token extensions with the row each comes from.

    Extensions by end of text go to `found`.
    """
    offers: list[tuple[float, float, int, int]] = []
    for index, (path, row) in enumerate(zip(active, rows, strict=True)):
        assert path.node is not None
        moves = tree.moves(path.node)
        if not len(moves.tokens):
            continue
        logs = logits[row, moves.tokens] - norms[row]
        order = np.argsort(-logs, kind="stable")[: beam + 1]
        offers += [(path.total + float(logs[j]), float(logs[j]), index, int(j)) for j in order]
        for j, target in enumerate(moves.targets):
            if target is None:
                ended = _grown(path, None, int(moves.tokens[j]), float(logs[j]))
                if _sayable(ended.words, letters):
                    found.inside.append(ended)
    offers.sort(key=lambda offer: -offer[0])
    parents, grown = [], []
    for total, log, index, j in offers:
        if total < offers[0][0] - HOPELESS:
            break
        path = active[index]
        assert path.node is not None
        moves = tree.moves(path.node)
        target = moves.targets[j]
        if target is None:
            continue
        longer = _grown(path, target, int(moves.tokens[j]), log)
        if not _sayable(longer.words, letters):
            continue
        grown.append(longer)
        parents.append(rows[index])
        if len(grown) == beam:
            break
    return parents, grown


def _grown(path: Path, target: Node | None, token: int, log: float) -> Path:
    node = path.node
    assert node is not None
    logs = (*path.logs, log)
    if target is None:
        words = (*path.words, node.word or "")
        return Path(None, path.tokens, logs, words, path.starts)
    # A token that is no child of this node begins the next word, so this one is complete.
    if node.children.get(token) is target:
        starts = path.starts if path.tokens else (0,)
        return Path(target, (*path.tokens, token), logs, path.words, starts)
    words = (*path.words, node.word or "")
    return Path(target, (*path.tokens, token), logs, words, (*path.starts, len(path.tokens)))
