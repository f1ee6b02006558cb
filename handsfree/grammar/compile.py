"""From linked rules to the minimal word automaton that recognizers search.

Thompson's construction (empty moves), subset construction, then Hopcroft-style partition
refinement in its simple form (Moore 1956): automata textbooks, e.g. Hopcroft, Motwani and
Ullman, "Introduction to Automata Theory".
"""

from collections import defaultdict
from collections.abc import Mapping

from handsfree.grammar.acceptor import Acceptor
from handsfree.grammar.jsgf import Choice, Maybe, Node, Reference, Repeat, Sequence, Word
from handsfree.grammar.rules import RuleSet


class _Moves:
    """A nondeterministic automaton while it is being built."""

    def __init__(self) -> None:
        self.words: list[list[tuple[str, int]]] = []
        self.empty: list[list[int]] = []

    def state(self) -> int:
        self.words.append([])
        self.empty.append([])
        return len(self.words) - 1


def acceptor_of(rules: RuleSet, rule: str | None = None) -> Acceptor:
    """The automaton of every sentence of `rule` (default: the public one)."""
    moves = _Moves()
    start, end = moves.state(), moves.state()
    root = rules.of(rule) if rule else rules.root
    _add(root.body, start, end, moves, rules)
    return minimal(_determinise(moves, start, end))


def with_phrases(acceptor: Acceptor, means: Mapping[tuple[str, ...], tuple[str, ...]]) -> Acceptor:
    """The acceptor's sentences, and each also with a phrase in place of what it means.

    `means`: phrase → the words it stands for. Several may stand in one sentence.
    """
    moves = _Moves()
    for arcs in acceptor.arcs:
        moves.words[moves.state()] += arcs.items()
    end = moves.state()
    for state in acceptor.finals:
        moves.empty[state].append(end)
    # What is left of a phrase, and where it leads, is the same wherever the phrase began.
    left: dict[tuple[tuple[str, ...], int], int] = {}

    def state_before(rest: tuple[str, ...], target: int) -> int:
        if not rest:
            return target
        if (rest, target) not in left:
            left[rest, target] = here = moves.state()
            moves.words[here].append((rest[0], state_before(rest[1:], target)))
        return left[rest, target]

    for phrase, words in means.items():
        for state in range(len(acceptor.arcs)):
            target = acceptor.after(words, state)
            if target is not None:
                moves.words[state].append((phrase[0], state_before(phrase[1:], target)))
    return minimal(_determinise(moves, acceptor.start, end))


def _add(node: Node, a: int, b: int, moves: _Moves, rules: RuleSet) -> None:
    """Add paths from state a to state b for everything `node` can be."""
    match node:
        case Word(text=text):
            moves.words[a].append((text, b))
        case Reference(rule=name):
            _add(rules.rules[name].body, a, b, moves, rules)
        case Sequence(items=()):
            moves.empty[a].append(b)
        case Sequence(items=items):
            here = a
            for item in items[:-1]:
                after = moves.state()
                _add(item, here, after, moves, rules)
                here = after
            _add(items[-1], here, b, moves, rules)
        case Choice(options=options):
            for option in options:
                _add(option, a, b, moves, rules)
        case Maybe(inner=inner):
            moves.empty[a].append(b)
            # A state of its own keeps a loop inside from leaking out.
            entry = moves.state()
            moves.empty[a].append(entry)
            _add(inner, entry, b, moves, rules)
        case Repeat(inner=inner, at_least_once=once):
            before, after = moves.state(), moves.state()
            moves.empty[a].append(before)
            moves.empty[after].extend((before, b))
            if not once:
                moves.empty[a].append(b)
            _add(inner, before, after, moves, rules)


def _determinise(moves: _Moves, start: int, end: int) -> Acceptor:
    closures: dict[int, frozenset[int]] = {}

    def closure(state: int) -> frozenset[int]:
        known = closures.get(state)
        if known is None:
            seen = {state}
            todo = [state]
            while todo:
                for target in moves.empty[todo.pop()]:
                    if target not in seen:
                        seen.add(target)
                        todo.append(target)
            # Only states that lead on by a word, and the end, tell sets apart.
            known = frozenset(s for s in seen if moves.words[s] or s == end)
            closures[state] = known
        return known

    first = closure(start)
    numbers = {first: 0}
    led: dict[tuple[int, ...], int] = {}  # what many words lead to is looked into once
    arcs: list[dict[str, int]] = []
    finals: set[int] = set()
    todo = [first]
    for states in todo:
        if end in states:
            finals.add(numbers[states])
        targets: dict[str, list[int]] = defaultdict(list)
        for state in states:
            for word, target in moves.words[state]:
                targets[word].append(target)
        here: dict[str, int] = {}
        for word, reached in targets.items():
            known = led.get(met := tuple(reached))
            if known is None:
                key = frozenset().union(*map(closure, met))
                if key not in numbers:
                    numbers[key] = len(numbers)
                    todo.append(key)
                known = led[met] = numbers[key]
            here[word] = known
        arcs.append(here)
    return Acceptor(0, tuple(arcs), frozenset(finals))


def minimal(acceptor: Acceptor) -> Acceptor:
    """Merge states from which the same sentences can be finished."""
    block = [int(s in acceptor.finals) for s in range(len(acceptor.arcs))]
    count = len(set(block))
    # Equal words are compared once: what is left to tell states apart is where they lead.
    ordered = [sorted(arcs) for arcs in acceptor.arcs]
    named: dict[tuple[str, ...], int] = {}
    spelled = [named.setdefault(tuple(words), len(named)) for words in ordered]
    targets = [
        [arcs[word] for word in words] for arcs, words in zip(acceptor.arcs, ordered, strict=True)
    ]
    while True:
        signatures: dict[tuple[int, int, tuple[int, ...]], int] = {}
        block = [
            signatures.setdefault((own, words, tuple([block[t] for t in led])), len(signatures))
            for own, words, led in zip(block, spelled, targets, strict=True)
        ]
        if len(signatures) == count:
            break
        count = len(signatures)
    merged: list[dict[str, int]] = [{} for _ in range(count)]
    for s, arcs in enumerate(acceptor.arcs):
        if not merged[block[s]]:
            merged[block[s]] = {w: block[t] for w, t in arcs.items()}
    return Acceptor(
        block[acceptor.start], tuple(merged), frozenset(block[s] for s in acceptor.finals)
    )
