"""Where one is among the utterances of a visit, kept while the log changes underneath."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from handsfree.records.limbs import LIMBS
from handsfree.review.items import CONFIRMED, DOUBTFUL, UNCLEAR, Item

LOOK_AT = (UNCLEAR, DOUBTFUL)
"""States of items that a person should look at; a sure one may be accepted with others."""


@dataclass(frozen=True)
class Place:
    """The items in the order in which they were first seen, and which one is in hand.

    What is accepted stays where it is, so that "3 of 12" keeps its meaning; what another
    process adds comes last. `at` is an index, 0 when there is none; `order` has the ids of all
    that were ever seen, so that what was struck comes back to its place when it is undone.
    """

    items: tuple[Item, ...] = ()
    at: int = 0
    order: tuple[str, ...] = ()

    @property
    def item(self) -> Item | None:
        """The item in hand, None where nothing was heard."""
        return self.items[self.at] if self.items else None

    @property
    def to_look_at(self) -> int:
        """How many are unclear or doubtful."""
        return sum(item.state in LOOK_AT for item in self.items)

    @property
    def unconfirmed(self) -> int:
        """How many are sure and not confirmed yet."""
        return sum(item.state not in (*LOOK_AT, CONFIRMED) for item in self.items)

    def seen(self, fresh: Sequence[Item]) -> "Place":
        """The same place among items that were read again."""
        by_id = {item.id: item for item in fresh}
        order = (*self.order, *(i for i in by_id if i not in set(self.order)))
        ids = [i for i in order if i in by_id]
        items = tuple(by_id[i] for i in ids)
        if self.item is None:
            return Place(items, 0, order)
        # Where the one in hand has gone (struck, or to another horse) the next one is in hand.
        after = order[order.index(self.item.id) :]
        at = next((ids.index(i) for i in after if i in by_id), max(0, len(ids) - 1))
        return Place(items, at, order)

    def step(self, by: int) -> "Place":
        """The next or the one before, round the end."""
        return replace(self, at=(self.at + by) % len(self.items)) if self.items else self

    def skip(self) -> "Place":
        """The next that is not confirmed, else just the next."""
        for offset in range(1, len(self.items)):
            n = (self.at + offset) % len(self.items)
            if self.items[n].state != CONFIRMED:
                return replace(self, at=n)
        return self.step(1)

    def go(self, item_id: str) -> "Place":
        """The item of this id, or the same place when there is none."""
        found = [n for n, item in enumerate(self.items) if item.id == item_id]
        return replace(self, at=found[0]) if found else self

    def onward(self) -> "Place":
        """The next that needs a look, else the next that is sure, else the same place."""
        for states in (LOOK_AT, None):
            for n in (*range(self.at, len(self.items)), *range(self.at)):
                state = self.items[n].state
                if state in states if states else state != CONFIRMED:
                    return replace(self, at=n)
        return self

    def next_foot(self, in_hand: str | None) -> "Place":
        """The first that needs a look on the next foot that has anything, LF RF LH RH round."""
        start = LIMBS.index(in_hand) + 1 if in_hand in LIMBS else 0
        for offset in range(len(LIMBS)):
            limb = LIMBS[(start + offset) % len(LIMBS)]
            theirs = [n for n, item in enumerate(self.items) if item.limb == limb]
            if theirs:
                order = {UNCLEAR: 0, DOUBTFUL: 0, CONFIRMED: 2}
                return replace(
                    self, at=min(theirs, key=lambda n: order.get(self.items[n].state, 1))
                )
        return self

    def changed_since(self, before: "Place") -> "Place":
        """The first item that is not what it was before, else the same place."""
        old = {item.id: item for item in before.items}
        for n, item in enumerate(self.items):
            if old.get(item.id) != item:
                return replace(self, at=n)
        return self
