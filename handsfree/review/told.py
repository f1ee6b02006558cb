"""What was done to an utterance, and what was taken back, in plain lines."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from handsfree.language.known import entry_of
from handsfree.log.rows import Change, Mark, local_time
from handsfree.log.rows import Entry as LoggedEntry
from handsfree.review.sayings import Sayings

MANY = 3
"""More entries than these are counted, not named."""


@dataclass
class _Step:
    """All marks of one change to the entries of an utterance."""

    first: Mark
    by_status: dict[str, list[LoggedEntry]] = field(default_factory=dict)
    made: list[LoggedEntry] = field(default_factory=list)


class Told:
    """Puts changes into words."""

    def __init__(self, sayings: Sayings) -> None:
        self._sayings = sayings

    def words(self, entries: Iterable[LoggedEntry]) -> str:
        """Entries in words, or how many where they are many."""
        found = list(entries)
        if len(found) > MANY:
            return f"{len(found)} entries"
        return self._sayings.in_words(entry_of(entry.body) for entry in found)

    def undone(
        self, change: Change, entries: Mapping[str, LoggedEntry], heard: Mapping[str, str]
    ) -> str:
        """What an undo took back; `entries` and the words `heard` of the visit, by id."""
        touched = [(entries[id], status) for id, status in change.now.items() if id in entries]
        back = self.words(e for e, status in touched if status != "struck")
        out = self.words(e for e, status in touched if status == "struck")
        match change.what:
            case "confirmed":
                return f"no longer confirmed: {back}"
            case "struck":
                return f"no longer struck: {back}"
            case "moved":
                where = f"here again: {back}" if back else f"no longer here: {out}"
                return f"{change.reason or 'moved'}; {where}"
            case "passed":
                passed = "', '".join(heard.get(id, "") for id in change.utterances)
                return f"no longer passed over: '{passed}'"
            case "corrected" if back:
                return f"{back} again, not {out}"
            case _:
                return f"out again: {out}"

    def history(
        self,
        entries: Sequence[LoggedEntry],
        marks: Mapping[str, Sequence[Mark]],
        passing: Sequence[Mark],
    ) -> tuple[str, ...]:
        """Who changed what and when, oldest first.

        `entries` of one utterance, whatever their status, `marks` of each by its id, `passing`
        the marks of the utterance itself.
        """
        steps: dict[str, _Step] = {}
        for entry in entries:
            for mark in marks[entry.id]:
                step = steps.setdefault(mark.change, _Step(mark))
                step.by_status.setdefault(mark.status, []).append(entry)
                if mark.seq == 1:
                    step.made.append(entry)
        lines = [(step.first.at, self._line(step)) for step in steps.values()]
        for mark in passing:
            if mark.change not in steps:
                what = "passed over" if mark.status == "passed" else "to be looked at again"
                lines.append((mark.at, _dated(mark, what)))
        return tuple(line for _, line in sorted(lines, key=lambda pair: pair[0]))

    def _line(self, step: _Step) -> str:
        first = step.first
        old = self.words(step.by_status.get("corrected", ()))
        if first.undoes is not None:
            stand = [e for status in ("heard", "confirmed") for e in step.by_status.get(status, ())]
            now = self.words(stand) or f"{self.words(step.by_status.get('struck', ()))} is out"
            return _dated(first, f"took back a change: {now}")
        if step.made and old:
            return _dated(first, f"{self.words(step.made)}, not {old}")
        if step.made:
            verb = (
                "heard" if step.made[0].origin == "heard" and first.status == "heard" else "put in"
            )
            return _dated(first, f"{verb} {self.words(step.made)}")
        if old:
            return _dated(first, f"replaced {old}")
        return _dated(first, f"{first.status} {self.words(step.by_status[first.status])}")


def _dated(mark: Mark, what: str) -> str:
    at = local_time(mark.at).strftime("%Y-%m-%d %H:%M")
    return f"{at} {mark.by}: {what}{f' ({mark.reason})' if mark.reason else ''}"
