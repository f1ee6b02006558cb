"""How a sentence follows from the rules: the tags met on the way, with their places."""

import random
from collections.abc import Sequence as Words
from dataclasses import dataclass

from handsfree.grammar.jsgf import Choice, Maybe, Node, Reference, Repeat, Sequence, Word
from handsfree.grammar.rules import RuleSet

Tags = tuple[tuple[int, str], ...]
"""Each tag with the number of words said before it."""


@dataclass(frozen=True)
class Sentence:
    """A sentence with one derivation of it."""

    words: tuple[str, ...]
    tags: Tags


class Deriver:
    """Finds every derivation of a sentence, and makes sentences up."""

    def __init__(self, rules: RuleSet) -> None:
        self._rules = rules
        self._first: dict[int, frozenset[str]] = {}
        self._nullable: dict[int, bool] = {}

    def derive(self, words: Words[str], rule: str | None = None) -> list[Tags]:
        """All distinct derivations of exactly these words, in the order of the rules."""
        body = (self._rules.of(rule) if rule else self._rules.root).body
        ends = self._ends(body, tuple(words), 0, {})
        return [tags for end, tags in ends if end == len(words)]

    def _ends(
        self,
        node: Node,
        words: tuple[str, ...],
        at: int,
        memo: dict[tuple[int, int], list[tuple[int, Tags]]],
    ) -> list[tuple[int, Tags]]:
        if not self._may_start(node, words, at):
            return []
        key = (id(node), at)
        if key not in memo:
            found = self._ends_inside(node, words, at, memo)
            if node.tags:
                found = [(end, tags + tuple((end, t) for t in node.tags)) for end, tags in found]
            memo[key] = list(dict.fromkeys(found))
        return memo[key]

    def _ends_inside(
        self,
        node: Node,
        words: tuple[str, ...],
        at: int,
        memo: dict[tuple[int, int], list[tuple[int, Tags]]],
    ) -> list[tuple[int, Tags]]:
        found: list[tuple[int, Tags]]
        match node:
            case Word():
                found = [(at + 1, ())]
                return found
            case Reference(rule=name):
                return self._ends(self._rules.rules[name].body, words, at, memo)
            case Choice(options=options):
                return [end for o in options for end in self._ends(o, words, at, memo)]
            case Maybe(inner=inner):
                skipped: list[tuple[int, Tags]] = [(at, ())]
                return self._ends(inner, words, at, memo) + skipped
            case Sequence(items=items):
                partial: list[tuple[int, Tags]] = [(at, ())]
                for item in items:
                    partial = [
                        (end, tags + more)
                        for middle, tags in partial
                        for end, more in self._ends(item, words, middle, memo)
                    ]
                return partial
            case Repeat(inner=inner, at_least_once=once):
                result: list[tuple[int, Tags]] = [] if once else [(at, ())]
                grown: list[tuple[int, Tags]] = [(at, ())]
                while grown:
                    grown = [
                        (end, tags + more)
                        for middle, tags in grown
                        for end, more in self._ends(inner, words, middle, memo)
                        if end > middle
                    ]
                    result += grown
                return result
            case _:
                raise TypeError(f"no such node: {node}")

    def _may_start(self, node: Node, words: tuple[str, ...], at: int) -> bool:
        if isinstance(node, Word):
            return at < len(words) and words[at] == node.text
        if self._is_nullable(node):
            return True
        return at < len(words) and words[at] in self._first_words(node)

    def _is_nullable(self, node: Node) -> bool:
        known = self._nullable.get(id(node))
        if known is None:
            match node:
                case Word():
                    known = False
                case Reference(rule=name):
                    known = self._is_nullable(self._rules.rules[name].body)
                case Choice(options=options):
                    known = any(map(self._is_nullable, options))
                case Sequence(items=items):
                    known = all(map(self._is_nullable, items))
                case Repeat(inner=inner, at_least_once=True):
                    known = self._is_nullable(inner)
                case _:
                    known = True
            self._nullable[id(node)] = known
        return known

    def _first_words(self, node: Node) -> frozenset[str]:
        known = self._first.get(id(node))
        if known is None:
            words: set[str] = set()
            match node:
                case Word(text=text):
                    words.add(text)
                case Reference(rule=name):
                    words |= self._first_words(self._rules.rules[name].body)
                case Choice(options=options):
                    for option in options:
                        words |= self._first_words(option)
                case Sequence(items=items):
                    for item in items:
                        words |= self._first_words(item)
                        if not self._is_nullable(item):
                            break
                case Maybe(inner=inner) | Repeat(inner=inner):
                    words |= self._first_words(inner)
            known = self._first[id(node)] = frozenset(words)
        return known

    def _can_be_said(self, node: Node) -> bool:
        """False for what has a <VOID> in it, as a rule of names where there are none yet."""
        match node:
            case Reference(rule=name):
                return self._can_be_said(self._rules.rules[name].body)
            case Choice(options=options):
                return any(map(self._can_be_said, options))
            case Sequence(items=items):
                return all(map(self._can_be_said, items))
            case _:
                return True

    def generate(self, rng: random.Random, rule: str | None = None) -> Sentence:
        """A random sentence; every alternative is as likely as its neighbours."""
        words: list[str] = []
        tags: list[tuple[int, str]] = []
        self._speak((self._rules.of(rule) if rule else self._rules.root).body, rng, words, tags)
        return Sentence(tuple(words), tuple(tags))

    def _speak(
        self, node: Node, rng: random.Random, words: list[str], tags: list[tuple[int, str]]
    ) -> None:
        match node:
            case Word(text=text):
                words.append(text)
            case Reference(rule=name):
                self._speak(self._rules.rules[name].body, rng, words, tags)
            case Choice(options=options):
                possible = [o for o in options if self._can_be_said(o)]
                self._speak(rng.choice(possible), rng, words, tags)
            case Sequence(items=items):
                for item in items:
                    self._speak(item, rng, words, tags)
            case Maybe(inner=inner):
                if rng.random() < 0.4:
                    self._speak(inner, rng, words, tags)
            case Repeat(inner=inner, at_least_once=once):
                for _ in range(rng.randint(int(once), 2)):
                    self._speak(inner, rng, words, tags)
        tags.extend((len(words), t) for t in node.tags)
