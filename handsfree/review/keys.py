"""The keys of the review screen: one plain key for one action.

Made for gloves: no key needs Shift, Ctrl or a second press, and no two keys that change
the log at once lie side by side on a QWERTY, QWERTZ or AZERTY keyboard (the tests hold the
three layouts against this table). The letters that lie elsewhere on one of them (A, Q, W,
Y, Z, M) do no harm where a hand expects another.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass, field

BOUNCE_S = 0.15
"""A key again within this time counts once (s): the project's own requirement."""


@dataclass(frozen=True)
class Key:
    """One key: `name` as Textual gives it, `face` as printed, `verb` what it does.

    `row` is the line of the screen that always shows it (1 or 2), 0 for the help only.
    `changes` is whether one press changes the log or leaves, without a list in between.
    """

    name: str
    face: str
    verb: str
    label: str
    help: str
    row: int = 0
    changes: bool = False


KEYS = (
    Key("enter", "Enter", "accept", "confirm", "it is right as it stands; on to the next", 1, True),
    Key("c", "C", "correct", "correct", "correct one thing of it: foot, place, side, what …", 1),
    Key(
        "x", "X", "strike", "strike", "strike it; it no longer counts, nothing is deleted", 1, True
    ),
    Key("n", "N", "skip", "later", "leave it for now; on to the next that is not confirmed", 1),
    Key("space", "Space", "hear", "hear", "hear it again", 1),
    Key("u", "U", "undo", "undo", "take the last change back, and the one before it …", 1, True),
    Key("q", "Q", "leave", "leave", "leave; everything is kept already", 1, True),
    Key("k", "K", "keys", "keys", "all keys (also ?)", 1),
    Key("1", "1-8", "number", "instead", "take this reading instead; it counts as confirmed", 2),
    Key("0", "0", "words", "type it", "type what was said, in the words of the trade", 2),
    Key("t", "T", "sure", "all sure", "confirm all sure ones, of this foot or of all", 2),
    Key("f", "F", "foot", "foot", "on to the next foot", 2),
    Key("h", "H", "horse", "horse", "another horse of the day", 2),
    Key("m", "M", "move", "move", "move it to another foot or another horse", 2),
    Key("a", "A", "add", "add", "add one that was never heard", 2),
    Key("r", "R", "read", "notes", "read the cautions, the nails and what is of the horse", 2),
    Key("b", "B", "back", "back", "one back (also left arrow); out of a list or a box (also Esc)"),
    Key(
        "p",
        "P",
        "split",
        "split",
        "two things were said: one more like this one to correct",
        0,
        True,
    ),
    Key("l", "L", "lookup", "list", "list all that was heard on this foot and go to one"),
    Key("i", "I", "history", "history", "who changed what, and when"),
    Key("right", "Right", "onward", "next", "just the next one, confirmed or not"),
    Key("up", "Up", "up", "up", "mark the line above; Enter takes the marked line"),
    Key("down", "Down", "down", "down", "mark the line below"),
)

ALIASES = {
    "question_mark": "k",
    "f1": "k",
    "left": "b",
    "escape": "b",
    "backspace": "b",
    "ctrl+c": "q",
    "ctrl+q": "q",
}

# The digit row of a French keyboard gives these without Shift.
_AZERTY_DIGITS = "à&é\"'(-è_ç"

DIGITS = {str(d): d for d in range(10)} | {c: d for d, c in enumerate(_AZERTY_DIGITS)}

_BY_NAME = {key.name: key.verb for key in KEYS}


def digit(character: str | None) -> int | None:
    """The number a key stands for, on a French keyboard without Shift too."""
    return DIGITS.get(character or "")


def verb(name: str, character: str | None) -> str | None:
    """What a key does; None for a key that does nothing. Caps Lock makes no difference."""
    number = digit(character)
    if number is not None:
        return "words" if number == 0 else "number"
    plain = character.lower() if character and character.isalpha() else name
    return _BY_NAME.get(ALIASES.get(plain, plain))


@dataclass
class Debounce:
    """Takes a key again within BOUNCE_S as the same press.

    Each further one counts from the last, so that a key held down, or stuck, acts once.
    """

    clock: Callable[[], float] = time.monotonic
    _last: tuple[str, float] | None = field(default=None, init=False)

    def bounced(self, name: str) -> bool:
        """Whether this press is only the bounce of the one before."""
        now, last = self.clock(), self._last
        self._last = (name, now)
        return last is not None and last[0] == name and now - last[1] < BOUNCE_S
