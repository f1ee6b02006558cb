"""One visit as it stands in the log: its items, its feet, what must not be overlooked."""

from collections.abc import Sequence

from handsfree.grammar.grammar import Grammar
from handsfree.grammar.wording import Wording
from handsfree.language.known import readable
from handsfree.log import Log, Visit
from handsfree.log.rows import Entry as LoggedEntry
from handsfree.records.entries import Entry
from handsfree.review import overview
from handsfree.review.gather import Gatherer
from handsfree.review.items import STATES, FootView, Item
from handsfree.review.sayings import Sayings
from handsfree.review.told import Told

HORSES_LAST_VISITS = 5
"""How many earlier visits of the horse say what is likely of it (common practice, no source)."""


class View:
    """Reads a visit, and again when another process has written. Raises LogError."""

    def __init__(self, log: Log, grammar: Grammar, visit_id: str) -> None:
        self._log, self._grammar = log, grammar
        self._wording = Wording(grammar)
        self._sayings = Sayings(grammar, self._wording)
        self._gatherer = Gatherer(self._sayings, self._wording)
        self._told = Told(self._sayings)
        self._id = log.visit(visit_id).id
        self._earlier: tuple[str | None, tuple[Entry, ...]] | None = None
        self.visit: Visit
        self.items: tuple[Item, ...] = ()
        self._load()

    def _load(self) -> None:
        log = self._log
        # Taken first, so that what is written while reading is read again.
        self._version = log.data_version()
        self.visit = log.visit(self._id)
        horse = log.horse(self.visit.horse) if self.visit.horse else None
        self._gatherer.horse_kind = horse.kind if horse else None
        self._stored: Sequence[LoggedEntry] = log.entries(self._id, in_force=True)
        self._entries = list(readable(entry.body for entry in self._stored))
        self._utterances = {u.id: u for u in log.utterances(self._id)}
        self.items = self._gatherer.items(
            self.visit,
            tuple(self._utterances.values()),
            self._stored,
            log.passed(self._id),
            log.lessons(),
            log.conflicts(self._id),
        )

    def refresh(self) -> bool:
        """Read again if another process has written; True if that changed anything here."""
        if self._log.data_version() == self._version:
            return False
        before = self.visit, self.items
        self._load()
        return (self.visit, self.items) != before

    def warm_up(self) -> None:
        """Get ready to look for nearest sentences: about a second's work, safe in any thread."""
        self._grammar.read(["heel"])

    def look_closer(self) -> None:
        """From now on alternatives hold the nearest sentences to what was heard, too.

        Before that what is sure or confirmed has none, so that a long visit opens at once.
        """
        self._gatherer.closer = True
        self._load()

    def counts(self) -> dict[str, int]:
        """State → number of items."""
        states = [item.state for item in self.items]
        return {state: states.count(state) for state in STATES}

    def feet(self) -> tuple[FootView, ...]:
        """The four feet at a glance, LF RF LH RH."""
        return overview.feet(self.items, self._entries)

    def horse_entries(self) -> tuple[str, ...]:
        """What was said of the horse, or of no named foot, in words."""
        return overview.horse_entries(self.items)

    def notices(self) -> tuple[str, ...]:
        """Cautions and open questions about nails, one line each."""
        return overview.notices(self._log, self.visit, self._entries, self._grammar)

    def sound(self, item: Item) -> bytes | None:
        """What was heard, as the bytes of a FLAC file; None where no sound was kept."""
        return self._log.sound(item.id)

    def horses(self) -> tuple[str, ...]:
        """Names of all horses of the log, in alphabetical order."""
        return tuple(self._log.horse_names())

    def visits(self) -> tuple[Visit, ...]:
        """The visits of the day of this one, in order of time."""
        return tuple(self._log.visits_on(self.visit.day))

    def history(self, item: Item) -> tuple[str, ...]:
        """Who changed what and when, one line each, oldest first."""
        theirs = [e for e in self._log.entries(self._id) if e.utterance_id == item.id]
        marks = {entry.id: self._log.history(entry.id) for entry in theirs}
        return self._told.history(theirs, marks, self._log.passing_history(item.id))

    def _horses_past(self) -> tuple[Entry, ...]:
        """What this horse's earlier visits recorded."""
        horse = self.visit.horse
        if self._earlier is None or self._earlier[0] != horse:
            visits = self._log.visits(HORSES_LAST_VISITS + 1, horse) if horse else []
            bodies = (
                entry.body
                for visit in visits
                if visit.id != self._id
                for entry in self._log.entries(visit.id, in_force=True)
            )
            self._earlier = horse, tuple(readable(bodies))
        return self._earlier[1]
