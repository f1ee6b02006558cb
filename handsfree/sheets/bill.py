"""What a visit used and what was done in it, with the user's own prices: a basis for a bill."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from handsfree.records.checking import BY_THIS_VERSION
from handsfree.records.entries import Entry, Nails, Shoe, Work
from handsfree.records.limbs import LIMBS, PAIRS
from handsfree.sheets.files import printable
from handsfree.sheets.prices import BY_SIZE, KEYS, Prices, Totals
from handsfree.sums.history import DayVisit, HorseFacts
from handsfree.sums.wording import Words, count
from handsfree.visit.nails import SHOE_ON, USUAL_MOST

BASIS = "a basis for your bill, not an invoice"
SETS = ("trimmed", "shoe_reset", "new_shoe")

PART_OF_A_TRIM = frozenset({"rasped", "flare_dressed", "toe_dressed"})
PART_OF_SHOEING = PART_OF_A_TRIM | {"trimmed", "shoe_pulled", "clinched", "hot_fitted"}
"""Work that is paid with the shoeing or the trim of the same foot (common practice, no source)."""

DESCRIBES = frozenset({"size", "section", "fit"})
"""Shoe items that say which shoe it is; they are not paid for themselves."""

NEW_WITH_A_RESET = frozenset({"pads", "studs", "wedge"})
"""Shoe items that may be new under an old shoe; the others are of the shoe itself."""


@dataclass(frozen=True)
class Line:
    """One thing done or used. `key` is that of the price list, `limbs` the feet.

    `price` is for one, `amount` for all, rounded to the smallest coin; both are None where the
    list has no price.
    """

    key: str
    what: str
    limbs: tuple[str, ...]
    quantity: int
    price: Decimal | None
    amount: Decimal | None


@dataclass(frozen=True)
class Bill:
    """The lines of one day's visit and their totals.

    `included`: work that is paid with other work. `doubtful`: what was not surely heard, left
    out. `questions`: what could not be counted, left out unless it asks "is that right?".
    `totals` are of the lines that have a price, `complete` says whether all of them have.
    """

    horse: str | None
    on: date
    lines: tuple[Line, ...]
    included: tuple[str, ...]
    doubtful: tuple[str, ...]
    questions: tuple[str, ...]
    totals: Totals
    complete: bool


def bill(visit: DayVisit, horse: HorseFacts | None, prices: Prices, words: Words) -> Bill:
    """What was surely heard or confirmed of one visit, as lines with the prices of a list.

    amount = quantity × price, each line rounded half up to the currency's smallest coin; tax =
    net × percent / 100, rounded likewise; total = net + tax. All in the currency of the list.
    """
    count_up = _Count(visit.entries, prices, horse.kind if horse else None, words)
    lines = tuple(sorted(count_up.lines(bool(visit.notes)), key=_place))
    doubtful = [entry for entry in visit.doubtful if _is_billed(entry)]
    return Bill(
        horse=horse.name if horse else None,
        on=visit.on,
        lines=lines,
        included=tuple(count_up.included),
        doubtful=tuple(_named(entry, words) for entry in doubtful),
        questions=(
            *count_up.questions,
            *([f"notes that {BY_THIS_VERSION}: {visit.unreadable}"] if visit.unreadable else []),
        ),
        totals=prices.totals(x.amount for x in lines if x.amount is not None),
        complete=all(line.amount is not None for line in lines),
    )


def _is_billed(entry: Entry) -> bool:
    match entry:
        case Nails(action=action):
            return action == "driven"
        case Shoe(item=item):
            return item != "fit"
        case Work():
            return True
        case _:
            return False


def _named(entry: Entry, words: Words) -> str:
    return printable(f"{words.limb(entry.limb)} {words.entry(entry)}")


def _place(line: Line) -> int:
    keys = list(KEYS)
    key = "work.new_shoe" if line.key.startswith(BY_SIZE) else line.key
    if key.startswith("set."):
        key = f"work.{key[4:].rpartition('_')[0]}"
    return keys.index(key) if key in keys else len(keys)


class _Count:
    """Counts the entries of one visit."""

    def __init__(
        self, entries: Sequence[Entry], prices: Prices, kind: str | None, words: Words
    ) -> None:
        self.included: list[str] = []
        self.questions: list[str] = []
        self._prices, self._kind, self._words = prices, kind, words
        self._entries = entries
        self._work: dict[str, list[str]] = {}
        for entry in entries:
            if isinstance(entry, Work) and entry.action and self._has_foot(entry):
                self._work.setdefault(entry.action, []).append(str(entry.limb))

    def _has_foot(self, entry: Entry) -> bool:
        if entry.limb is None:
            what = printable(self._words.entry(entry))
            self.questions.append(f"{what}: of which foot? not counted")
        return entry.limb is not None

    def _feet(self, action: str) -> list[str]:
        """The feet of which this was said, each once: work said twice is done once."""
        return [limb for limb in LIMBS if limb in self._work.get(action, ())]

    def _line(
        self, key: str, what: str, limbs: Sequence[str], quantity: int, price: Decimal | None
    ) -> Line:
        amount = None if price is None else self._prices.rounded(price * quantity)
        return Line(key, printable(what), tuple(limbs), quantity, price, amount)

    def _price(self, key: str) -> Decimal | None:
        return self._prices.of(key, self._kind)

    def lines(self, came: bool) -> Iterator[Line]:
        """All lines; `came`: something was noted, so that coming out is paid."""
        call_out = self._price("visit.call_out")
        if came and call_out is not None:
            yield self._line("visit.call_out", "call-out", (), 1, call_out)
        yield from self._of_work()
        yield from self._of_nails()
        yield from self._of_shoes()

    def _of_work(self) -> Iterator[Line]:
        new, reset = self._feet("new_shoe"), self._feet("shoe_reset")
        both = [limb for limb in new if limb in reset]
        for limb in both:
            self.questions.append(
                f"{self._words.limb(limb)}: new shoe and shoe reset were both noted; which was it? "
                "not counted"
            )
        shod = {*new, *reset}
        trimmed = {limb for limb in self._feet("trimmed") if limb not in shod}
        for action in self._work:
            feet = [limb for limb in self._feet(action) if not (action in SHOE_ON and limb in both)]
            for part, of, whole in (
                (PART_OF_SHOEING, shod, "the shoeing"),
                (PART_OF_A_TRIM, trimmed, "the trim"),
            ):
                if action in part and (paid := [limb for limb in feet if limb in of]):
                    word = self._words.word("work", action)
                    self.included.append(f"{word} ({self._on(paid)}), with {whole}")
                    feet = [limb for limb in feet if limb not in of]
            yield from self._of_action(action, feet)

    def _of_action(self, action: str, feet: list[str]) -> Iterator[Line]:
        if action == "new_shoe":
            sized = {limb: self._detail("size", limb) for limb in feet}
            for size in dict.fromkeys(sized.values()):
                key = f"{BY_SIZE}{size}"
                price = self._price(key) if size else None
                if price is not None:
                    limbs = [limb for limb in feet if sized[limb] == size]
                    yield from self._single(action, key, limbs, price)
                    feet = [limb for limb in feet if limb not in limbs]
        for chosen in self._in_sets(action, feet):
            key = f"set.{action}_{'four' if len(chosen) == 4 else 'two'}"
            what = f"{self._words.word('work', action)}, set of {len(chosen)}"
            if action == "new_shoe":
                shoes = (f"{which}: {self._on(limbs)}" for which, limbs in self._by_shoe(chosen))
                what += f" ({'; '.join(shoes)})"
            yield self._line(key, what, chosen, 1, self._price(key))
            feet = [limb for limb in feet if limb not in chosen]
        key = f"work.{action}"
        yield from self._single(action, key, feet, self._price(key))

    def _in_sets(self, action: str, feet: Sequence[str]) -> Iterator[tuple[str, ...]]:
        """Feet that are paid together: all four, then both fronts, both hinds, any two left."""
        if action not in SETS:
            return
        left = tuple(feet)
        if len(left) == 4 and self._price(f"set.{action}_four") is not None:
            yield left
            return
        if self._price(f"set.{action}_two") is None:
            return
        for pair in PAIRS:
            if set(pair) <= set(left):
                yield pair
                left = tuple(limb for limb in left if limb not in pair)
        if len(left) == 2:
            yield left

    def _single(
        self, action: str, key: str, feet: Sequence[str], price: Decimal | None
    ) -> Iterator[Line]:
        word = self._words.word("work", action)
        groups = self._by_shoe(feet) if action == "new_shoe" else [("", list(feet))] if feet else []
        for which, limbs in groups:
            yield self._line(key, f"{word}, {which}" if which else word, limbs, len(limbs), price)

    def _by_shoe(self, feet: Sequence[str]) -> list[tuple[str, list[str]]]:
        """ "size 7, section half by one" → its feet."""
        found: dict[str, list[str]] = {}
        for limb in feet:
            said = [(item, self._detail(item, limb)) for item in ("size", "section")]
            named = [
                f"{self._words.word('shoe', item)} {detail}" for item, detail in said if detail
            ]
            found.setdefault(", ".join(named) or "size not said", []).append(limb)
        return list(found.items())

    def _detail(self, item: str, limb: str) -> str | None:
        """What was said last of the shoe of a foot."""
        said = [
            e.detail
            for e in self._entries
            if isinstance(e, Shoe) and e.item == item and e.limb == limb
        ]
        return said[-1] if said else None

    def _on(self, limbs: Sequence[str]) -> str:
        return ", ".join(self._words.limb(limb) for limb in limbs)

    def _of_nails(self) -> Iterator[Line]:
        driven: dict[str | None, int] = {}
        for entry in self._entries:
            if not isinstance(entry, Nails) or entry.action != "driven":
                continue
            foot = self._words.limb(entry.limb)
            if entry.count is None or entry.count < 0:
                self.questions.append(f"{foot}: nails driven, how many? not counted")
            elif entry.count:
                driven[entry.limb] = driven.get(entry.limb, 0) + entry.count
        for limb, number in driven.items():
            if number > USUAL_MOST:
                self.questions.append(
                    f"{self._words.limb(limb)}: {count(self._words, number, 'nail')} driven, is "
                    "that right?"
                )
        if driven:
            each = ", ".join(
                f"{self._words.limb(limb)} {number}" for limb, number in driven.items()
            )
            limbs = [limb for limb in LIMBS if limb in driven]
            what, total = f"nails driven ({each})", sum(driven.values())
            yield self._line("nails.each", what, limbs, total, self._price("nails.each"))

    def _of_shoes(self) -> Iterator[Line]:
        found: dict[str, dict[str, list[str]]] = {}
        for entry in self._entries:
            if not isinstance(entry, Shoe) or not entry.item or entry.item in DESCRIBES:
                continue
            if self._has_foot(entry):
                details = found.setdefault(entry.item, {}).setdefault(str(entry.limb), [])
                if entry.detail and entry.detail not in details:
                    details.append(entry.detail)
        for item, by_limb in found.items():
            groups: dict[str, list[str]] = {}
            for limb in (each for each in LIMBS if each in by_limb):
                name = self._words.word("shoe", item)
                name += f" ({', '.join(by_limb[limb])})" if by_limb[limb] else ""
                if self._is_new(item, limb, name):
                    groups.setdefault(name, []).append(limb)
            key = f"shoe.{item}"
            for name, limbs in groups.items():
                yield self._line(key, name, limbs, len(limbs), self._price(key))

    def _is_new(self, item: str, limb: str, name: str) -> bool:
        foot = printable(f"{self._words.limb(limb)}: {name}")
        if limb in self._feet("new_shoe"):
            return True
        if limb in self._feet("shoe_reset"):
            if item not in NEW_WITH_A_RESET:
                self.included.append(f"{foot}, of the shoe that was put on again")
            return item in NEW_WITH_A_RESET
        self.questions.append(f"{foot} noted and no shoe put on; used? not counted")
        return False
