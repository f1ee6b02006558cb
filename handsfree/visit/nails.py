"""Nails in and out of each foot: every one is accounted for.

Common practice, no source: a nail that is not in the bucket is in the foot or on the ground.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from handsfree.records.entries import Entry, Finding, Nails, Work
from handsfree.visit.spoken import Spoken

USUAL_MOST = 8
"""Nineteenth-century texts: never more than eight nails in a foot. More is asked about."""

FEWEST_OF_A_SHOE = 4
"""Hunting 1895: the smallest shoes have four or five nail holes."""

SHOE_OFF = frozenset({"shoe_pulled", "barefoot"})
SHOE_ON = frozenset({"new_shoe", "shoe_reset"})


@dataclass(frozen=True)
class NailCount:
    """The nails of one foot in one visit.

    `known` were in the shoe before (None: nobody said). `pulled`, `left_in`, `lost` came out
    of those or stayed of them, `driven` are the new ones still in; each is None where it was
    said without a number. `shoe_pulled`: the shoe came off.
    """

    limb: str
    known: int | None
    pulled: int | None
    left_in: int | None
    lost: int | None
    driven: int | None
    shoe_pulled: bool = False

    @property
    def out(self) -> int | None:
        """Nails that were pulled, left in or lost; None where one of them has no number."""
        if self.pulled is None or self.left_in is None or self.lost is None:
            return None
        return self.pulled + self.left_in + self.lost

    @property
    def unaccounted(self) -> int | None:
        """Nails nobody has spoken of; negative where more came out than there were.

        None before any was pulled (of a shoe that is still on the rest are in it), and where
        it cannot be said.
        """
        begun = self.shoe_pulled or self.pulled != 0
        if not begun or self.known is None or self.out is None:
            return None
        return self.known - self.out


@dataclass
class _Tally:
    """The count of one foot as it grows; `new` are the nails driven since a shoe came off."""

    known: int | None
    pulled: int | None = 0
    left_in: int | None = 0
    lost: int | None = 0
    driven: int | None = 0
    new: int | None = 0
    shoe_pulled: bool = False
    shoe: str = "untouched"

    def nails(self, action: str | None, said: int | None) -> None:
        number = said if said is None or said >= 0 else None
        match action:
            case "in_shoe":
                self.known = self.known if number is None else number
            case "driven":
                self.driven, self.new = _plus(self.driven, number), _plus(self.new, number)
                self.shoe = "on" if self.shoe == "off" else self.shoe
            case "pulled" if self._is_of_the_new(number):
                less = None if number is None else -number
                self.driven, self.new = _plus(self.driven, less), _plus(self.new, less)
                self.new = None if self.new is None else max(0, self.new)
            case "pulled":
                self.pulled = _plus(self.pulled, number)
            case "left_in":
                self.left_in = _plus(self.left_in, number)
            case "lost":
                self.lost = _plus(self.lost, number)

    def _is_of_the_new(self, number: int | None) -> bool:
        """A nail drawn after the old ones came out and new ones went in is a new one.

        So a close nail taken out again is not counted as the old nail that is missing.
        """
        if self.driven == 0 or self.pulled == 0:
            return False
        return number is None or self.driven is None or number <= self.driven

    def shoe_goes(self, where: str) -> None:
        self.shoe = where
        self.new = 0 if where == "off" else self.new

    def in_shoe_after(self) -> int | None:
        if self.shoe == "off":
            return 0
        if self.shoe == "on":
            return self.new or None
        if self.known is None or self.pulled is None:
            whole = self.new is not None and self.new >= FEWEST_OF_A_SHOE
            return self.new if whole else None
        # Nobody takes out more than half the nails and leaves the shoe on (common practice).
        if self.new != 0 and self.pulled * 2 > self.known:
            return self.new
        if self.lost is None or self.new is None:
            return None
        return max(0, self.known - self.pulled - self.lost + self.new)


def _plus(total: int | None, more: int | None) -> int | None:
    return None if total is None or more is None else total + more


def _tallies(entries: Sequence[Entry], known: Mapping[str, int]) -> dict[str, _Tally]:
    tallies = {limb: _Tally(number) for limb, number in known.items()}
    for entry in entries:
        limb = entry.limb
        if limb is None:
            continue
        match entry:
            case Nails(action=action, count=number):
                tallies.setdefault(limb, _Tally(None)).nails(action, number)
            case Work(action=action) if action in SHOE_OFF | SHOE_ON:
                tally = tallies.setdefault(limb, _Tally(None))
                tally.shoe_pulled |= action == "shoe_pulled"
                tally.shoe_goes("off" if action in SHOE_OFF else "on")
            case Finding(term="lost_shoe", denied=False):
                tallies.setdefault(limb, _Tally(None)).shoe_goes("off")
    return tallies


def count(entries: Sequence[Entry], known: Mapping[str, int]) -> dict[str, NailCount]:
    """Limb → its nails.

    `entries` in force, in order; `known`: limb → nails in the shoe since the last visit, which
    "nail count eight" overrides. Nails of no named limb are in no foot's count.
    """
    return {
        limb: NailCount(limb, t.known, t.pulled, t.left_in, t.lost, t.driven, t.shoe_pulled)
        for limb, t in _tallies(entries, known).items()
    }


def in_shoe_after(entries: Sequence[Entry], previous: Mapping[str, int]) -> dict[str, int]:
    """Limb → nails in its shoe when the visit ends: the `known` of the next one.

    Of a shoe that was set, the nails driven; none of a bare foot; otherwise those known, less
    those that came out, and those driven. A limb of which it cannot be said is left out.
    """
    found = {limb: t.in_shoe_after() for limb, t in _tallies(entries, previous).items()}
    return {limb: number for limb, number in found.items() if number is not None}


def question(count: NailCount, spoken: Spoken) -> str | None:
    """What to ask aloud about the nails of a foot; None where nothing is odd."""
    limb, missing = spoken.limb(count.limb), count.unaccounted
    if missing is not None and count.known is not None and count.out is not None:
        known = spoken.number(count.known) if count.known else "none"
        if missing > 0:
            nails, verb = (
                ("nail" if count.known == 1 else "nails"),
                ("is" if missing == 1 else "are"),
            )
            return f"{limb}: {spoken.number(missing)} of {known} {nails} {verb} not accounted for"
        if missing < 0:
            return f"{limb}: {spoken.nails(count.out)} out of {known}"
    for number, what in ((count.known, "in the shoe"), (count.driven, "driven")):
        if number is not None and number > USUAL_MOST:
            return f"{limb}: {spoken.nails(number)} {what}, is that right?"
    return None
