"""An utterance that was judged on two machines: what holds, and what they differ about.

Pure, and the same whichever log is given first, so that both machines come to one result.
"""

import hashlib
import json
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from handsfree.joining.chains import Stamp, interleaved, order, own
from handsfree.log.rows import IN_FORCE

SAME = "the same on both machines"
AGREED = "judged on one machine, only heard on the other"
DIFFER = "two machines differ"


@dataclass(frozen=True)
class Known:
    """An entry as one log has it; `body` is JSON text."""

    id: str
    utterance_id: str
    body: str
    replaces: str | None
    chain: tuple[Stamp, ...]

    @property
    def status(self) -> str:
        """As its latest mark says."""
        return self.chain[-1].status

    @property
    def counts(self) -> bool:
        """Whether it is in force."""
        return self.status in IN_FORCE


@dataclass(frozen=True)
class Version:
    """One log's view: the utterance's entries, and those elsewhere that took their place.

    `passes` are the marks of the utterance itself.
    """

    entries: Mapping[str, Known]
    passes: tuple[Stamp, ...] = ()


@dataclass(frozen=True)
class Verdict:
    """Marks to add at the end of the joined histories, all of one change at one time.

    `marks` are (entry, status, reason). `disputed` are the entries that stand 'heard' until
    a person has chosen, with `text` as the reason; `other` are the bodies of the version
    that does not stand (JSON text; none where it says that nothing was to be noted).
    """

    change: str
    at: str
    marks: tuple[tuple[str, str, str], ...] = ()
    disputed: tuple[str, ...] = ()
    other: tuple[str, ...] = ()
    text: str = ""


def judge(utterance_id: str, one: Version, two: Version) -> Verdict | None:
    """What follows where both logs changed the utterance; None where the histories do."""
    return _Judge(utterance_id, one, two).verdict()


class _Judge:
    def __init__(self, utterance_id: str, one: Version, two: Version) -> None:
        self._id, self._sides = utterance_id, (one, two)
        self._both = sorted(one.entries.keys() & two.entries.keys())
        self._due: dict[str, tuple[str, str]] = {}
        self._disputed: set[str] = set()
        self._words: set[str] = set()

    def verdict(self) -> Verdict | None:
        for entry_id in self._both:
            self._compare(entry_id)
        self._additions()
        shown, hidden = self._ranked() if self._words else ([], [])
        here = [e for e in hidden if e.utterance_id == self._id]
        # What was moved elsewhere is asked about there too: neither place wins silently.
        stands = [*shown, *(e for e in hidden if e.utterance_id != self._id)]
        text = f"{DIFFER}: {', '.join(sorted(self._words))}"
        self._due |= {entry.id: ("heard", text) for entry in stands}
        self._due |= {entry.id: ("corrected", text) for entry in here}
        for entry_id in self._disputed - self._due.keys():
            self._due[entry_id] = ("corrected", text)
        disputed = {entry.id for entry in stands}
        marks = tuple(
            (entry_id, status, reason)
            for entry_id, (status, reason) in sorted(self._due.items())
            if entry_id in disputed or not _alike(self._joined_status(entry_id), status)
        )
        if not marks:
            return None
        rest = self._undisputed({e.id for e in [*shown, *hidden]}) if here else []
        return Verdict(
            *self._signed(),
            marks,
            tuple(sorted(disputed)),
            tuple(e.body for e in [*here, *rest]),
            text,
        )

    def _signed(self) -> tuple[str, str]:
        """Id and time of the change, made of the marks it follows from."""
        stamps = self._own_stamps()
        digest = hashlib.sha256(json.dumps(sorted(map(list, stamps), key=str)).encode())
        return digest.hexdigest()[:32], max(stamp.at for _, stamp in stamps)

    def _compare(self, entry_id: str) -> None:
        """Say what holds of an entry that both have, or that they differ."""
        chains = [side.entries[entry_id].chain for side in self._sides]
        owns = own(chains[0], chains[1]), own(chains[1], chains[0])
        states = [chain[-1].status for chain in chains]
        if not all(owns):
            return  # the longer history says it
        if states[0] != states[1] and "heard" not in states:
            self._disputed.add(entry_id)
            out = not any(self._version_of(entry_id, at) for at in (0, 1))
            self._words |= set() if out else {f"one {state} it" for state in states}
        elif states[0] != states[1]:
            self._due[entry_id] = (next(s for s in states if s != "heard"), AGREED)
        elif states[0] == "corrected":
            new = [self._in_place_of(entry_id, at) for at in (0, 1)]
            if _bodies(new[0]) == _bodies(new[1]):
                self._keep_one(*new)
            else:
                self._disputed.add(entry_id)
                self._words.add("corrected to two different things")

    def _additions(self) -> None:
        """Entries that were put in and take the place of none that both have."""
        added = [self._added(at) for at in (0, 1)]
        passed = [self._passed(at) for at in (0, 1)]
        if added[0] and added[1]:
            if _bodies(added[0]) == _bodies(added[1]):
                self._keep_one(*added)
            else:
                self._words.add("two different things were put in")
        elif any(added[at] and passed[1 - at] for at in (0, 1)):
            self._words |= {"one put it in", "one passed it over"}

    def _keep_one(self, ours: list[Known], theirs: list[Known]) -> None:
        """Of the same put in twice, what was put in first stays."""
        if {e.id for e in ours} == {e.id for e in theirs}:
            return
        _, later = sorted([ours, theirs], key=lambda of: min(order(e.chain[0]) for e in of))
        self._due |= {entry.id: ("corrected", SAME) for entry in later}

    def _added(self, at: int) -> list[Known]:
        mine, others = self._sides[at].entries, self._sides[1 - at].entries
        return [
            e
            for e in mine.values()
            if e.id not in others
            and e.utterance_id == self._id
            and e.counts
            and not (e.replaces and self._root(e, at) in others)
        ]

    def _root(self, entry: Known, at: int) -> str | None:
        """The nearest entry before it, along what it replaces, that both logs have."""
        mine, found = self._sides[at].entries, entry.replaces
        seen: set[str] = set()
        while found and found in mine and found not in self._both and found not in seen:
            seen.add(found)
            found = mine[found].replaces
        return found

    def _in_place_of(self, entry_id: str, at: int) -> list[Known]:
        """Entries in force that only this log has and that took the place of this one."""
        mine, others = self._sides[at].entries, self._sides[1 - at].entries
        new = [e for e in mine.values() if e.id not in others and e.counts]
        return [e for e in new if self._root(e, at) == entry_id]

    def _version_of(self, entry_id: str, at: int) -> list[Known]:
        known = self._sides[at].entries[entry_id]
        return [*([known] if known.counts else []), *self._in_place_of(entry_id, at)]

    def _version(self, at: int) -> list[Known]:
        """All that is in force in this log of what they differ about."""
        found = {e.id: e for each in sorted(self._disputed) for e in self._version_of(each, at)}
        if any("put" in word for word in self._words):
            found |= {e.id: e for e in self._added(at)}
        return list(found.values())

    def _ranked(self) -> tuple[list[Known], list[Known]]:
        """The version that stands in the review, and the other.

        The later stands, unless it has nothing here: what it moved elsewhere is asked about
        there, and the place it was moved from must ask too.
        """
        one, two = self._version(0), self._version(1)
        ranks = [
            (bool(each), self._is_here(each), self._last_own(at))
            for at, each in enumerate((one, two))
        ]
        return (one, two) if ranks[0] > ranks[1] else (two, one)

    def _is_here(self, entries: list[Known]) -> bool:
        return any(entry.utterance_id == self._id for entry in entries)

    def _last_own(self, at: int) -> tuple[str, ...]:
        orders = (order(s) for _, s in self._own_stamps(at))
        return max(orders, default=("",))

    def _own_stamps(self, at: int | None = None) -> list[tuple[str, Stamp]]:
        """Marks that one log alone has, each with what it is of."""
        found: list[tuple[str, Stamp]] = []
        for side in (0, 1) if at is None else (at,):
            mine, others = self._sides[side], self._sides[1 - side]
            found += [("", s) for s in own(mine.passes, others.passes)]
            for each in mine.entries.values():
                there = others.entries[each.id].chain if each.id in others.entries else ()
                found += [(each.id, s) for s in own(each.chain, there)]
        return found

    def _passed(self, at: int) -> bool:
        mine = self._sides[at].passes
        new = own(mine, self._sides[1 - at].passes)
        return bool(new) and mine[-1].status == "passed"

    def _undisputed(self, but: set[str]) -> list[Known]:
        """What is in force of the utterance in any case."""
        known = {**self._sides[0].entries, **self._sides[1].entries}
        return [
            e
            for e in sorted(known.values(), key=lambda e: (order(e.chain[0]), e.id))
            if e.id not in but
            and e.utterance_id == self._id
            and self._due.get(e.id, (self._joined_status(e.id), ""))[0] in IN_FORCE
        ]

    def _joined_status(self, entry_id: str) -> str:
        chains = [s.entries[entry_id].chain for s in self._sides if entry_id in s.entries]
        return interleaved(chains[0], chains[-1])[-1].status


def _alike(status: str, due: str) -> bool:
    """Whether nothing needs to be said: it has the status, or is out of force in another way."""
    return status == due or not (status in IN_FORCE or due in IN_FORCE)


def _bodies(entries: Iterable[Known]) -> Counter[str]:
    return Counter(json.dumps(json.loads(e.body), sort_keys=True) for e in entries)
