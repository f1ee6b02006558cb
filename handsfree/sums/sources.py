"""Whose number it is, and what a sum answers where it cannot be done."""

from dataclasses import dataclass

FROM_MEMORY = "from memory"
PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Source:
    """Where a number comes from.

    `short` is what a user sees ("Turner 1992"), `full` the reference. `unchecked` is None where
    the source was read, else FROM_MEMORY or PRACTICE, and is shown wherever the number is.
    """

    short: str
    full: str
    unchecked: str | None = None

    def __str__(self) -> str:
        if self.unchecked is None:
            return self.short
        return f"{self.short}, {self.unchecked}" if self.short else self.unchecked


@dataclass(frozen=True)
class CantSay:
    """A sum that cannot be done. `why` completes "can't say because …"; no full stop."""

    why: str

    def __str__(self) -> str:
        return f"can't say because {self.why}"
