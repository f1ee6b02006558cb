"""A word of the user's own, said before a sentence or alone to wake what listens.

It is no word of the trade: it stands in no file of grammar/, means nothing in a sentence and is
taken off before one is read. It is never guessed at either; what only sounds like it is not it.
"""

import re
from collections.abc import Callable, Sequence

from handsfree.errors import HandsfreeError
from handsfree.records.commands import Command

CALL = Command.ATTENTION
"""The command of the word said alone."""

MOST_WORDS = 2
LEAST_SYLLABLES = 2
"""One syllable is inside too many other words (no source, common practice)."""


def attention_words(text: str, clash: Callable[[str], str | None]) -> tuple[str, ...]:
    """The words of `text`, in lower case, where they may be an attention word.

    `clash` gives the word of the grammar that a word is or would be taken for, None for none.
    Raises HandsfreeError, one line that says why not.
    """
    words = tuple(text.lower().split())
    text = " ".join(words)
    if not words or not all(re.fullmatch("[a-z]+", word) for word in words):
        raise HandsfreeError(
            f"attention word {text!r}: it must be made of the letters a to z, as it is said"
        )
    if len(words) > MOST_WORDS:
        raise HandsfreeError(f"attention word '{text}': one word or two, not {len(words)}")
    if sum(map(syllables, words)) < LEAST_SYLLABLES:
        raise HandsfreeError(
            f"attention word '{text}': one syllable is too easily heard in talk and noise; choose "
            "a longer word, or two words"
        )
    for word in words:
        meant = clash(word)
        if meant is not None:
            why = "is said in notes itself" if meant == word else f"is taken for '{meant}' in notes"
            raise HandsfreeError(f"attention word '{text}': '{word}' {why}; choose another")
    return words


def syllables(word: str) -> int:
    """How many syllables an English word of letters has, at least: two vowels are one sound."""
    sounded = re.sub(r"(?<=[^aeiouyl])e$|(?<=[aeiouy]l)e$", "", word)
    return max(1, len(re.findall("[aeiouy]+", re.sub("y(?=[aeiou])", "-", sounded))))


def is_called(said: Sequence[str], attention: Sequence[str]) -> bool:
    """Whether what was said begins with the attention word (empty: there is none)."""
    return bool(attention) and tuple(said[: len(attention)]) == tuple(attention)
