"""The file of the user's own words, and its use by the commands that read or listen."""

import os
from collections.abc import Callable
from pathlib import Path

import platformdirs

from handsfree.cli.options import OWN_WORDS_ENVIRONMENT, OWN_WORDS_FILE
from handsfree.cli.screen import safe
from handsfree.errors import HandsfreeError
from handsfree.grammar.grammar import Grammar
from handsfree.language.own_words import Checks, Damaged, OwnWord, as_toml, parse, synonyms
from handsfree.sheets.files import write_new


def path_of(named: Path | None) -> Path:
    """The file in use: the one named, else $HANDSFREE_OWN_WORDS, else that of the settings."""
    given = named or os.environ.get(OWN_WORDS_ENVIRONMENT, "").strip()
    if given:
        return Path(given).expanduser()
    return Path(platformdirs.user_config_dir("handsfree", appauthor=False)) / OWN_WORDS_FILE


def read(path: Path) -> tuple[OwnWord, ...]:
    """The words of a file, none where there is no file. Raises HandsfreeError, naming it."""
    try:
        return parse(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return ()
    except OSError as error:
        raise HandsfreeError(f"{path}: cannot be read: {error.strerror or error}") from error
    except UnicodeDecodeError:
        raise HandsfreeError(f"{path}: is no text in UTF-8") from None
    except Damaged as error:
        raise HandsfreeError(f"{path}: {error}") from None


def write(path: Path, words: tuple[OwnWord, ...]) -> None:
    """Write the file, whole or not at all. Raises HandsfreeError where the disk refuses."""
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise HandsfreeError(f"{path}: cannot be written: {error.strerror}") from error
    write_new(path, as_toml(words), force=True)


def usable(
    grammar: Grammar, named: Path | None, tell: Callable[[str], None]
) -> tuple[OwnWord, ...]:
    """The words that can be used with a grammar.

    A file that is damaged, and each word that cannot be used, is told in one line and left out.
    """
    path = path_of(named)
    try:
        words = read(path)
    except HandsfreeError as error:
        tell(f"{safe(str(error))}; going on without your own words")
        return ()
    if not words:
        return ()
    checks = Checks(grammar)
    found, refused = checks.usable(words)
    for line in refused:
        tell(f"{safe(str(path))}: {safe(line)}; not used")
    return tuple(map(checks.plainest, found))


def with_own_words(grammar: Grammar, named: Path | None, tell: Callable[[str], None]) -> Grammar:
    """The grammar with the user's own words, as `usable` finds them."""
    return grammar.with_synonyms(synonyms(usable(grammar, named, tell)))
