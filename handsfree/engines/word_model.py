"""How likely the words of the trade follow one another.

Word triples counted in sentences as they are said (`tests/bench/count_words.py`), with absolute
discounting and back-off to pairs and single words (Kneser and Ney 1995, without their counts of
continuations). Numbers, the names of feet and the two sides are classes: of the words of a class
none is likelier than another, so that only what was heard decides between left and right.
"""

import zipfile
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handsfree.errors import EngineError

FILE = Path(__file__).with_name("word_model.npz")

START, END, OTHER, NAME = "<s>", "</s>", "<other>", "<name>"
"""Words that nobody says: where a sentence begins and ends, a word of no trade, a horse's name."""

CLASSES: Mapping[str, tuple[str, ...]] = {
    "<digit>": tuple("two three four five six seven eight nine".split()),
    "<teen>": tuple(
        "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen".split()
    ),
    "<tens>": tuple("twenty thirty forty fifty sixty seventy eighty ninety".split()),
    "<hand>": ("left", "right", "near", "off"),
    "<end>": ("fore", "hind"),
    "<ends>": ("fronts", "hinds", "fores"),
    "<edge>": ("inside", "outside"),
    "<aside>": ("medial", "lateral"),
}
CLASS_OF = {word: name for name, words in CLASSES.items() for word in words}

BITS = 20
"""Of a word's number inside the key of a pair or a triple."""

Numbers = NDArray[np.int64]
Floats = NDArray[np.float32]


def unit(word: str) -> str:
    """What is counted of a word: its class, where it has one."""
    return CLASS_OF.get(word, word)


class WordModel:
    """Natural log probabilities of words after the two before them.

    `names`: words of horses' names and of the user's own, each as likely as the other; `other`:
    how many words of no trade there are to choose from.
    """

    def __init__(self, parts: Mapping[str, NDArray[Any]], names: Iterable[str] = ()) -> None:
        units = str(parts["units"]).split()
        self._number = {name: at for at, name in enumerate(units)}
        self._single: Floats = parts["single"].astype(np.float32)
        self._single_back: Floats = parts["single_back"].astype(np.float32)
        # Kept as steps from one to the next, which are small.
        self._pairs: Numbers = np.cumsum(parts["pairs"])
        self._pair: Floats = parts["pair"].astype(np.float32)
        self._pair_back: Floats = parts["pair_back"].astype(np.float32)
        self._triples: Numbers = np.cumsum(parts["triples"])
        self._triple: Floats = parts["triple"].astype(np.float32)
        self.vocabulary = frozenset(
            word
            for name in units
            if name not in (START, END, OTHER, NAME)
            for word in CLASSES.get(name, (name,))
        )
        self.names = frozenset(names) - self.vocabulary
        self._alike: dict[str, set[str]] = {}
        for line in str(parts.get("alike", "")).splitlines():
            group = line.split()
            for word in group:
                self._alike.setdefault(word, set()).update(self.vocabulary.intersection(group))
        self._likely = lru_cache(200_000)(self._reckoned)

    def number(self, word: str) -> int:
        """The number of a word's unit; that of OTHER for a word that was never counted."""
        if word in self.names:
            return self._number[NAME]
        return self._number.get(unit(word), self._number[OTHER])

    def alike(self, word: str) -> frozenset[str]:
        """Words of the trade that sound just like `word`: which it is, the words around it tell."""
        return frozenset(self._alike.get(word, ())) - {word}

    def after(self, two: int, one: int, word: str) -> float:
        """log P of `word` after the units `two` and `one` (numbers); END ends the sentence.

        Of a class each word has its share; of OTHER and NAME it is that of the whole.
        """
        share = CLASSES.get(CLASS_OF.get(word, ""), ("",))
        return self._likely(two, one, self.number(word)) - float(np.log(len(share)))

    def total(self, words: Sequence[str]) -> float:
        """log P of a sentence."""
        two = one = self._number[START]
        sum_ = 0.0
        for word in (*words, END):
            sum_ += self.after(two, one, word)
            two, one = one, self.number(word)
        return sum_

    @property
    def start(self) -> int:
        """The number of START."""
        return self._number[START]

    def _reckoned(self, two: int, one: int, word: int) -> float:
        pair = two << BITS | one
        if (at := _found(self._triples, pair << BITS | word)) is not None:
            return float(self._triple[at])
        at = _found(self._pairs, pair)
        back = 0.0 if at is None else float(self._pair_back[at])
        if (at := _found(self._pairs, one << BITS | word)) is not None:
            return back + float(self._pair[at])
        return back + float(self._single_back[one]) + float(self._single[word])


def _found(keys: Numbers, key: int) -> int | None:
    at = int(keys.searchsorted(key))
    return at if at < len(keys) and keys[at] == key else None


def load(names: Iterable[str] = (), file: Path = FILE) -> WordModel:
    """The counts that come with the program. Raises EngineError where they cannot be read."""
    return WordModel(_parts(file), names)


@lru_cache(maxsize=1)
def _parts(file: Path) -> Mapping[str, NDArray[Any]]:
    try:
        with np.load(file, allow_pickle=False) as parts:
            return {name: parts[name] for name in parts.files}
    except (OSError, ValueError, EOFError, KeyError, zipfile.BadZipFile) as error:
        raise EngineError(f"{file} cannot be read: {error}: reinstall handsfree") from error
