"""Spelling the grammar's words with those a Vosk model has, and back again."""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence

from handsfree.engines.base import HeardWord

UNKNOWN = "[unk]"
"""What models that have it answer for speech outside the grammar."""


class Spelling:
    """Which words a model has, and the respellings that stand in for those it lacks.

    `knows` says whether the model has a word. A respelling is used when the model has all
    its words; one that is itself a word of the grammar is not, as it could not be told from
    it. `missing` lists the words left without any spelling.
    """

    def __init__(
        self,
        words: Collection[str],
        respellings: Mapping[str, Sequence[str]],
        knows: Callable[[str], bool],
    ) -> None:
        self._spelled: dict[str, str] = {}
        self._back: dict[tuple[str, ...], str] = {}
        missing: list[str] = []
        for word in sorted(words):
            if word != UNKNOWN and knows(word):
                self._spelled[word] = word
                continue
            for spelling in respellings.get(word, ()):
                parts = tuple(spelling.split())
                taken = parts in self._back or (len(parts) == 1 and parts[0] in words)
                if parts and not taken and all(map(knows, parts)):
                    self._spelled[word] = " ".join(parts)
                    self._back[parts] = word
                    break
            else:
                missing.append(word)
        self.missing = tuple(missing)
        self._longest = max(map(len, self._back), default=0)

    def phrases(self, phrases: Iterable[str]) -> list[str]:
        """The phrases in the model's words, without doubles.

        A phrase is cut where a word is missing, so that its neighbours are not taken to
        follow each other. Words in no phrase come last, each alone.
        """
        found: dict[str, None] = {}
        left = dict.fromkeys(self._spelled)
        for phrase in phrases:
            piece: list[str] = []
            for word in [*phrase.split(), ""]:
                if word in self._spelled:
                    piece.append(self._spelled[word])
                    left.pop(word, None)
                elif piece:
                    found[" ".join(piece)] = None
                    piece = []
        return list(found | dict.fromkeys(self._spelled[word] for word in left))

    def back(self, heard: Sequence[HeardWord]) -> tuple[HeardWord, ...]:
        """What was heard in the grammar's words: a respelling's parts become one word.

        Its times are those of the first and the last part, its sureness that of the least
        sure one.
        """
        words: list[HeardWord] = []
        at = 0
        while at < len(heard):
            for length in range(min(self._longest, len(heard) - at), 0, -1):
                parts = heard[at : at + length]
                word = self._back.get(tuple(part.text for part in parts))
                if word is not None:
                    sure = [part.sureness for part in parts if part.sureness is not None]
                    words.append(
                        HeardWord(word, parts[0].start_s, parts[-1].end_s, min(sure, default=None))
                    )
                    at += length
                    break
            else:
                words.append(heard[at])
                at += 1
        return tuple(words)
