"""From readings to what is fitted: the measuring part of a voice set-up, without screen or file."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from handsfree.engines.base import Clip
from handsfree.voice.adapt import Adaptation
from handsfree.voice.kept import Taught
from handsfree.voice.lessons import Reread, may_teach, proposals
from handsfree.voice.measure import Measure
from handsfree.voice.phrases import Phrase


@dataclass
class Setup:
    """The readings of a speaker: `clips` by the phrase's number, of those that were read."""

    measure: Measure
    phrases: Sequence[Phrase]
    clips: Mapping[int, Clip]

    def __post_init__(self) -> None:
        self.read = [phrase for phrase in self.phrases if phrase.number in self.clips]
        clips = [self.clips[phrase.number] for phrase in self.read]
        self.adaptation = Adaptation(self.measure, self.read, clips)

    @property
    def missed(self) -> list[Phrase]:
        """The phrases that were not read."""
        return [phrase for phrase in self.phrases if phrase.number not in self.clips]

    def worth_again(self) -> list[Phrase]:
        """The phrases from which a second reading may teach something, as installed."""
        pairs = zip(self.read, self.adaptation.before, strict=True)
        grammar = self.measure.grammar
        return [phrase for phrase, outcome in pairs if may_teach(grammar, phrase, outcome)]

    def lessons(self, again: Mapping[int, Clip]) -> tuple[list[Taught], list[str]]:
        """What second readings (by the phrase's number) let propose, and what they do not.

        With what was fitted, as lessons are for what that leaves.
        """
        speaker, grammar = self.adaptation.speaker, self.measure.grammar
        twice = [phrase for phrase in self.worth_again() if phrase.number in again]
        clips = [self.clips[phrase.number] for phrase in self.read]
        heard = self.measure.hear_warped(
            [*clips, *(again[phrase.number] for phrase in twice)], speaker.warp
        )
        firsts = dict(zip((phrase.number for phrase in self.read), heard, strict=False))
        rereads: list[Reread] = []
        for phrase, second in zip(twice, heard[len(clips) :], strict=True):
            first = self.measure.outcome(phrase, firsts[phrase.number], speaker.shift)
            if may_teach(grammar, phrase, first):
                outcome = self.measure.outcome(phrase, second, speaker.shift)
                rereads.append(Reread(phrase, first, outcome, second))
                del firsts[phrase.number]
        return proposals(self.measure, rereads, firsts.values())
