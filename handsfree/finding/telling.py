"""What was found, for the eye and for other programs."""

import textwrap
from collections.abc import Iterator, Sequence
from typing import Any

from handsfree.finding.question import DOUBTFUL, SURE, UNCLEAR, Question
from handsfree.grammar.grammar import Grammar
from handsfree.language.known import entry_of
from handsfree.log.finding import Found, FoundEntry, FoundUtterance
from handsfree.sheets.files import printable
from handsfree.sheets.tables import Cell
from handsfree.sums.wording import ForEye

WIDTH = 80
COLUMNS = (
    *("result", "day", "horse", "limb", "what", "status", "heard", "before", "after"),
    *("confidence", "doubt", "sound", "visit", "utterance", "entry"),
)


class Told:
    """Results for the eye and for programs.

    `context`: for the eye, say of each result what was said before and after it; without, only
    of what is unclear or doubtful. Programs always get it.
    """

    def __init__(
        self,
        grammar: Grammar,
        question: Question,
        notes: Sequence[str],
        found: Found,
        context: bool = False,
    ) -> None:
        self._words = ForEye(grammar)
        self._question, self._notes, self._found = question, notes, found
        self._context = context

    @property
    def _numbered(self) -> Iterator[tuple[int, FoundUtterance]]:
        return enumerate(self._found.utterances, 1)

    def head(self) -> list[str]:
        """How the question was understood."""
        line = self._question.line()
        return [
            *_wrapped(f"looked for: {line}" if line else "looked for nothing"),
            *(line for note in self._notes for line in _wrapped(note, "  ")),
        ]

    def lines(self) -> Iterator[str]:
        """All that is shown."""
        yield from self.head()
        visit = None
        for number, each in self._numbered:
            if each.visit_id != visit:
                visit = each.visit_id
                day = each.day
                yield ""
                yield from _wrapped(f"{day} {each.horse or '(horse not named)'}")
            yield from self._result(number, each)
        yield ""
        yield from _wrapped(self._end())

    def _end(self) -> str:
        found = self._found
        if not found.utterances:
            return "nothing found"
        if not found.more:
            return f"{len(found.utterances)} found"
        more = f"{found.more} or more" if found.at_least else str(found.more)
        return f"{len(found.utterances)} shown, {more} more; --all or --limit N shows them"

    def _result(self, number: int, each: FoundUtterance) -> Iterator[str]:
        what = self._what(each)
        status = self._status(each)
        first = f"{number:>3} {what or _quoted(each.heard)}{f' ({status})' if status else ''}"
        yield from _wrapped(first, "", "      ")
        if what and not all(e.body.get("kind") == "remark" for e in each.entries):
            yield from _wrapped(_quoted(each.heard), "      ")
        unclear = self._unclear(each)
        if unclear and each.doubt:
            yield from _wrapped(f"why: {each.doubt}", "      ")
        if unclear or self._context:
            if each.before:
                yield from _wrapped(f"before: {_quoted(each.before)}", "      ")
            if each.after:
                yield from _wrapped(f"after: {_quoted(each.after)}", "      ")

    def _what(self, each: FoundUtterance) -> str:
        """The entries, those of several feet together: "LF RF trimmed"."""
        limbs: dict[str, list[str]] = {}
        for entry in each.entries:
            read = entry_of(entry.body)
            of, limb = limbs.setdefault(self._words.entry(read), []), read.limb
            of += [limb] if limb and limb not in of else []
        said: list[str] = []
        last: list[str] = []
        for text, feet in limbs.items():
            said.append(text if feet == last else " ".join([*feet, text]))
            last = feet
        return "; ".join(said)

    def _entry(self, entry: FoundEntry) -> str:
        return self._words.entry(entry_of(entry.body))

    def _status(self, each: FoundUtterance) -> str:
        states = [e.state for e in each.entries] or [each.state or ""]
        shown = [s for s in dict.fromkeys(states) if s != SURE]
        sound = ["sound kept"] if each.has_sound else []
        return ", ".join([*shown, *sound])

    def _unclear(self, each: FoundUtterance) -> bool:
        return each.state == UNCLEAR or any(e.state == DOUBTFUL for e in each.entries)

    def as_json(self) -> dict[str, Any]:
        """One object with all that is known."""
        return {
            "looked_for": self._question.line(),
            "notes": list(self._notes),
            "results": [
                {
                    "result": number,
                    "day": each.day.isoformat(),
                    "horse": each.horse,
                    "visit": each.visit_id,
                    "utterance": each.id,
                    "said_at_s": each.start_s,
                    "heard": each.heard,
                    "heard_freely": each.free_text,
                    "limb": each.limb,
                    "confidence": each.confidence,
                    "doubt": each.doubt,
                    "state": each.state,
                    "entries": [{"entry": e.id, "state": e.state, **e.body} for e in each.entries],
                    "before": each.before,
                    "after": each.after,
                    "sound": each.has_sound,
                }
                for number, each in self._numbered
            ],
            "more": self._found.more,
            "more_is_at_least": self._found.at_least,
        }

    def rows(self) -> Iterator[dict[str, Cell]]:
        """One row for each entry, and for each utterance without one."""
        for number, each in self._numbered:
            about: dict[str, Cell] = {
                "result": number,
                "day": each.day.isoformat(),
                "horse": each.horse,
                "limb": each.limb,
                "status": each.state,
                "heard": each.heard,
                "before": each.before,
                "after": each.after,
                "confidence": each.confidence,
                "doubt": each.doubt,
                "sound": "yes" if each.has_sound else "no",
                "visit": each.visit_id,
                "utterance": each.id,
            }
            for entry in each.entries:
                yield about | {
                    "limb": entry_of(entry.body).limb,
                    "what": self._entry(entry),
                    "status": entry.state,
                    "entry": entry.id,
                }
            if not each.entries:
                yield about


def _quoted(heard: str) -> str:
    return f'"{heard}"'


def _wrapped(text: str, indent: str = "", further: str | None = None) -> list[str]:
    further = f"{indent}  " if further is None else further
    return textwrap.wrap(
        printable(text), WIDTH, initial_indent=indent, subsequent_indent=further
    ) or [""]
