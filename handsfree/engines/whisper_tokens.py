"""Whisper's byte-pair tokens: words of the grammar in, free text out, the prompt around."""

from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from handsfree.errors import EngineError

if TYPE_CHECKING:
    pass

MULTILINGUAL_ROWS = 51865
"""Embedding rows from which a Whisper model speaks many languages (English ones: 51864)."""


class Tokens:
    """The tokenizer of one model folder and the numbers of its special tokens.

    Raises EngineError where the package `tokenizers` is missing or the file is wrong.
    """

    def __init__(self, file: Path, multilingual: bool) -> None:
        try:
            from tokenizers import Tokenizer
        except ImportError as error:
            raise EngineError(
                "the neural listener needs the package tokenizers: pip install tokenizers"
            ) from error
        try:
            self._tokenizer: Tokenizer = Tokenizer.from_file(str(file))
        except Exception as error:  # the library raises plain Exception
            raise EngineError(f"{file} is no tokenizer file: {error}") from error
        self._file = file
        self._multilingual = multilingual
        self._words: dict[str, tuple[int, ...]] = {}

    def _special(self, name: str) -> int:
        number = self._tokenizer.token_to_id(name)
        if number is None:
            raise EngineError(f"{self._file} lacks the token {name}")
        return int(number)

    @cached_property
    def end(self) -> int:
        """End of text; every text token has a smaller number."""
        return self._special("<|endoftext|>")

    def opening(self, prompt: str, room: int) -> list[int]:
        """The tokens before the transcript: prompt, start, language and task, no times.

        At most `room` tokens; of a longer prompt its end is kept.
        """
        start = [self._special("<|startoftranscript|>")]
        if self._multilingual:
            start += [self._special("<|en|>"), self._special("<|transcribe|>")]
        start.append(self._special("<|notimestamps|>"))
        words = prompt.strip()
        if not words:
            return start
        text = self._tokenizer.encode(f" {words}", add_special_tokens=False).ids
        return [self._special("<|startofprev|>"), *text[-(room - len(start) - 1) :], *start]

    def word(self, word: str) -> tuple[int, ...]:
        """Tokens of `word` with a space before it, as inside running text."""
        if word not in self._words:
            ids = self._tokenizer.encode(f" {word}", add_special_tokens=False).ids
            self._words[word] = tuple(ids)
        return self._words[word]

    def whole_words(self, first: int) -> list[str]:
        """The words in small letters that are one token, of the first so many tokens."""
        spelled = (self._tokenizer.decode([at]) for at in range(first))
        words = (text[1:] for text in spelled if text.startswith(" "))
        return [word for word in words if word.isascii() and word.isalpha() and word.islower()]

    def text(self, tokens: tuple[int, ...]) -> str:
        """Text of `tokens`, stripped; broken UTF-8 becomes replacement characters."""
        return str(self._tokenizer.decode(list(tokens), skip_special_tokens=True)).strip()
