"""What is looked for, typed: the result of reading plain words."""

from dataclasses import dataclass
from datetime import date

from handsfree.records.units import Quantity

CONFIRMED, SURE, DOUBTFUL = "confirmed", "sure", "doubtful"
STRUCK, CORRECTED = "struck", "corrected"
UNCLEAR, PASSED, COMMAND = "unclear", "passed", "command"

STATUSES: dict[str, tuple[str, ...]] = {
    "confirmed": (CONFIRMED,),
    "unconfirmed": (SURE, DOUBTFUL, UNCLEAR),
    "doubtful": (DOUBTFUL, UNCLEAR),
    "unclear": (UNCLEAR,),
    "struck": (STRUCK,),
    "corrected": (CORRECTED,),
    "commands": (COMMAND,),
    "any": (CONFIRMED, SURE, DOUBTFUL, STRUCK, CORRECTED, UNCLEAR, PASSED, COMMAND),
}
"""How a status is asked for → states of the index. Doubtful: not surely heard, not confirmed."""

USUAL = (CONFIRMED, SURE, DOUBTFUL, UNCLEAR)
"""What is found where no status is asked for: what counts, and what nobody understood."""


@dataclass(frozen=True)
class Days:
    """From the first to the last day, both included; None: no bound."""

    first: date | None = None
    last: date | None = None

    def within(self, other: "Days") -> "Days":
        """The days that are in both."""
        firsts = [d for d in (self.first, other.first) if d is not None]
        lasts = [d for d in (self.last, other.last) if d is not None]
        return Days(max(firsts, default=None), min(lasts, default=None))


@dataclass(frozen=True)
class Group:
    """One thing that must be so: any of the alternatives, each being words of the index."""

    shown: str
    alternatives: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Amount:
    """A measure, count or grade in a range; None: no bound. A bound is itself left out or not.

    `quantities` are ids of the index: quantities of words.csv, 'nails' (a count),
    'below_hairline', 'extent', and the scales. Measures are typed, counts and grades bare.
    """

    quantities: tuple[str, ...]
    shown: str
    least: Quantity | float | None = None
    most: Quantity | float | None = None
    with_least: bool = True
    with_most: bool = True


@dataclass(frozen=True)
class Question:
    """Everything that must be so at once; empty where nothing was asked for."""

    horse_id: str | None = None
    horse: str | None = None
    groups: tuple[Group, ...] = ()
    amount: Amount | None = None
    days: Days = Days()
    visits: int | None = None
    """Only the last so many visits (of the horse, if one is named)."""
    status: str | None = None
    today: date = date.max

    @property
    def empty(self) -> bool:
        """Whether nothing at all was asked for."""
        return self == Question(today=self.today)

    def line(self) -> str:
        """The question as it was understood, in plain words."""
        days = self.days
        parts = [self.horse or "", *(group.shown for group in self.groups)]
        parts += [self.amount.shown if self.amount else ""]
        if self.visits is not None:
            parts.append("the last visit" if self.visits == 1 else f"the last {self.visits} visits")
        if days.first is not None and days.first == days.last:
            parts.append(f"on {days.first}")
        elif days.first is not None and days.last is not None:
            parts.append(f"{days.first} to {days.last}")
        elif days.first is not None:
            parts.append(f"since {days.first}")
        elif days.last is not None:
            parts.append(f"until {days.last}")
        parts.append(self.status or "")
        return "; ".join(part for part in parts if part)


@dataclass(frozen=True)
class Understood:
    """A question, and what the user has to be told of how his words were taken."""

    question: Question
    notes: tuple[str, ...] = ()
