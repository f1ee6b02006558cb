"""What a voice set-up found, said without flattery: as lines, and as data."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from handsfree.engines.speaker import Speaker
from handsfree.voice.adapt import Tried
from handsfree.voice.kept import Taught
from handsfree.voice.outcome import (
    LEVEL,
    SURE_WRONG,
    Outcome,
    Tally,
    by_chance,
    interval,
    tally,
)
from handsfree.voice.phrases import Phrase


@dataclass(frozen=True)
class Report:
    """The result of one set-up. `before` and `after` go with `phrases`, those that were read.

    `missed` are phrases that were not, `to_read_again` those that a second reading could teach.
    """

    name: str
    engines: tuple[str, ...]
    phrases: Sequence[Phrase]
    before: Sequence[Outcome]
    after: Sequence[Outcome]
    speaker: Speaker
    tried: Sequence[Tried]
    proposed: Sequence[Taught]
    stored: Sequence[Taught]
    refused: Sequence[str]
    missed: Sequence[Phrase]
    to_read_again: Sequence[Phrase]
    path: Path

    @property
    def changed(self) -> tuple[int, int]:
        """How many phrases are understood only after, and how many only before."""
        pairs = list(zip(self.before, self.after, strict=True))
        better = sum(a.caught and not b.caught for b, a in pairs)
        return better, sum(b.caught and not a.caught for b, a in pairs)

    def lines(self) -> list[str]:
        """The report for the screen."""
        before, after = tally(self.before), tally(self.after)
        said = [
            f"voice of {self.name}: {before.of} phrases, heard by "
            f"{' and '.join(self.engines)} as under the horse",
            "",
            f"{'':<20}{'before':>8}{'after':>8}",
        ]
        after_by_kind = after.as_json()
        said += [f"{k:<20}{n:>8}{after_by_kind[k]:>8}" for k, n in before.as_json().items()]
        said += ["after: each phrase with what all the others gave", ""]
        said += self._mishearings()
        said += self._adapted()
        said += self._lessons()
        said += ["", *self._proof(before, after), "", f"kept in {self.path}"]
        said.append(f"'handsfree voice --name {self.name} --forget' takes all of it back")
        return said

    def as_json(self) -> dict[str, Any]:
        """The same as data."""
        before, after = tally(self.before), tally(self.after)
        better, worse = self.changed
        return {
            "name": self.name,
            "engines": list(self.engines),
            "before": before.as_json(),
            "after": after.as_json(),
            "understood_interval": {
                "level": LEVEL,
                "before": [round(x, 4) for x in interval(before.caught, before.of)],
                "after": [round(x, 4) for x in interval(after.caught, after.of)],
            },
            "changed": {"better": better, "worse": worse, "by_chance": by_chance(better, worse)},
            "phrases": [
                {
                    "number": phrase.number,
                    "said": phrase.text,
                    "before": _outcome(before_it),
                    "after": _outcome(after_it),
                }
                for phrase, before_it, after_it in zip(
                    self.phrases, self.before, self.after, strict=True
                )
            ],
            "not_read": [phrase.number for phrase in self.missed],
            "warp": self.speaker.warp,
            "shift": dict(self.speaker.shift),
            "tried": [vars(each) for each in self.tried],
            "lessons": {
                "proposed": [_lesson(each) for each in self.proposed],
                "stored": [_lesson(each) for each in self.stored],
                "refused": list(self.refused),
                "read_again_to_teach": [phrase.number for phrase in self.to_read_again],
            },
            "file": str(self.path),
        }

    def _mishearings(self) -> list[str]:
        said: list[str] = []
        for phrase, outcome in zip(self.phrases, self.before, strict=True):
            if not outcome.caught:
                said.append(f"  said  {phrase.text}")
                said.append(f"  heard {_heard(phrase, outcome)}")
        if self.missed:
            said.append(f"  not read: {', '.join(str(phrase.number) for phrase in self.missed)}")
        return ["misheard:", *said, ""] if said else ["nothing was misheard", ""]

    def _adapted(self) -> list[str]:
        kept = [f"  {each.what}: {each.why}" for each in self.tried if each.kept]
        left = [f"  {each.what}: {each.why}" for each in self.tried if not each.kept]
        said = ["fitted to this voice:", *kept] if kept else ["nothing was fitted to this voice"]
        return [*said, *(["tried, and not kept:", *left] if left else [])]

    def _lessons(self) -> list[str]:
        said = [f"  heard '{each.heard}', meant '{each.meant}'" for each in self.stored]
        if said:
            said = ["learnt, as both readings were heard so (not counted above):", *said]
        not_stored = [each for each in self.proposed if each not in self.stored]
        if not_stored:
            said += ["could be learnt, and was not:"]
            said += [f"  heard '{each.heard}', meant '{each.meant}'" for each in not_stored]
        if self.refused:
            said += ["not to be learnt:", *(f"  {each}" for each in self.refused)]
        if self.to_read_again:
            numbers = ", ".join(str(phrase.number) for phrase in self.to_read_again)
            said.append(f"read twice, these may be learnt: {numbers}")
        return said

    def _proof(self, before: Tally, after: Tally) -> list[str]:
        better, worse = self.changed
        chance = by_chance(better, worse)
        said = [
            f"{before.of} phrases prove little. Understood before: {_share(before)}; "
            f"after: {_share(after)} (exact binomial, {LEVEL:.0%})."
        ]
        if better + worse:
            said.append(
                f"{better} understood only after, {worse} only before: chance alone does as much "
                f"{chance:.0%} of the time."
            )
        else:
            said.append("The same phrases are understood before and after.")
        return said


def _share(counts: Tally) -> str:
    low, high = interval(counts.caught, counts.of)
    return f"{counts.caught} of {counts.of}, so {low:.0%} to {high:.0%} of such speech"


def _heard(phrase: Phrase, outcome: Outcome) -> str:
    if not outcome.heard:
        return "nothing"
    heard = "the same" if outcome.heard == phrase.text else outcome.heard
    if outcome.unclear:
        return f"{heard}, too weakly to be a note"
    return f"{heard}, and was sure of it" if outcome.kind == SURE_WRONG else heard


def _outcome(outcome: Outcome) -> dict[str, Any]:
    confidence = round(outcome.confidence, 3)
    return {"result": outcome.kind, "heard": outcome.heard, "confidence": confidence}


def _lesson(lesson: Taught) -> dict[str, str]:
    return {"heard": lesson.heard, "meant": lesson.meant}
