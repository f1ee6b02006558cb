"""Phrases of the user's own, and the words of the trade that each stands for. Pure.

They are put in place before anything is read, so an utterance without any of them says what it
always said. Nothing is bent into one: only its very words are it.
"""

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property

from handsfree.grammar.acceptor import Acceptor
from handsfree.grammar.compile import with_phrases

Words = tuple[str, ...]


class Synonyms:
    """Phrases with what stands for each, both as words. Not changed once made."""

    def __init__(self, means: Mapping[Words, Words] | None = None) -> None:
        self.means = dict(means or {})
        self._longest = max(map(len, self.means), default=0)

    @cached_property
    def vocabulary(self) -> frozenset[str]:
        """Every word of the phrases."""
        return frozenset(word for phrase in self.means for word in phrase)

    def put(
        self, words: Sequence[str], sureness: Sequence[float | None] = ()
    ) -> tuple[list[str], list[float | None]]:
        """The words with each phrase replaced by what it means, and the sureness of each.

        From left to right, the longest phrase first. Words in place of a phrase are as sure as
        its least sure word.
        """
        out: list[str] = []
        sure: list[float | None] = []
        padded = [*sureness[: len(words)], *[None] * (len(words) - len(sureness))]
        at = 0
        while at < len(words):
            length = self._phrase_at(words, at)
            if not length:
                out.append(words[at])
                sure.append(padded[at])
                at += 1
                continue
            means = self.means[tuple(words[at : at + length])]
            given = [each for each in padded[at : at + length] if each is not None]
            out += means
            sure += [min(given, default=None)] * len(means)
            at += length
        return out, sure

    def _phrase_at(self, words: Sequence[str], at: int) -> int:
        for length in range(min(self._longest, len(words) - at), 0, -1):
            if tuple(words[at : at + length]) in self.means:
                return length
        return 0

    def without(self, names: Iterable[Words]) -> "Synonyms":
        """Those whose phrase is none of these names."""
        left_out = set(names)
        return Synonyms({p: means for p, means in self.means.items() if p not in left_out})

    def within(self, acceptor: Acceptor) -> Acceptor:
        """The acceptor's sentences, each also with phrases where their meaning's words stand."""
        return with_phrases(acceptor, self.means) if self.means else acceptor
