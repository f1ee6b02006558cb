"""Why a horse is due when it is: each reason with its source."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from handsfree.sums.sources import PRACTICE, Source
from handsfree.sums.wording import Words, count

AT_MOST_WEEKS = 6
USUAL_WEEKS = (6, 10)
POSSIBLE_WEEKS = (4, 14)
LOAD_WEEKS = 8
SENSIBLE_WEEKS = (1, 52)
"""A plan outside of this was hardly meant (common practice, no source): it is asked about."""

LESNIAK = Source("Leśniak 2017", "Leśniak et al. 2017, Animals 7(4):29")
EQUIMED = Source("equimed.com", "equimed.com")
LOAD = Source(
    "van Heel 2005, Moleman 2006",
    "van Heel et al. 2005, Equine Vet J 37:536–540; Moleman et al. 2006",
)
HIS_OWN = Source("your own plan", "a plan of this horse's log")
RECORDS = Source("this horse's visits", "the visits of this horse's log")
WEEK_EITHER_WAY = Source("", "a week either way", PRACTICE)


class Why(StrEnum):
    """Kinds of reason."""

    ASKED = "asked"
    USUAL = "usual"
    SLACK = "slack"
    CALLED_BACK = "called_back"
    BEYOND = "beyond"
    ODD = "odd"
    AT_MOST = "at_most"
    SPAN = "span"
    LOAD = "load"


_SOURCES = {
    Why.ASKED: HIS_OWN,
    Why.USUAL: RECORDS,
    Why.SLACK: WEEK_EITHER_WAY,
    Why.CALLED_BACK: Source("", "a visit soon after another belongs to it", PRACTICE),
    Why.BEYOND: EQUIMED,
    Why.ODD: HIS_OWN,
    Why.AT_MOST: LESNIAK,
    Why.SPAN: EQUIMED,
    Why.LOAD: LOAD,
}


@dataclass(frozen=True)
class Reason:
    """One reason. `weeks`, `on` and `times` (intervals it rests on) where the kind has them."""

    why: Why
    weeks: float | None = None
    on: date | None = None
    times: int = 0

    @property
    def source(self) -> Source:
        """Whose number it is."""
        return _SOURCES[self.why]

    def text(self, words: Words) -> str:
        """The reason in one line, with its source."""
        return f"{self._said(words)} ({words.plain(str(self.source))})"

    def _said(self, words: Words) -> str:
        weeks = weeks_text(self.weeks or 0, words)
        day = words.day(self.on) if self.on else ""
        match self.why:
            case Why.ASKED:
                return f"come back in {weeks}, said {day}"
            case Why.USUAL:
                intervals = count(words, self.times, "interval")
                return f"its own usual interval is {weeks}, the median of {intervals}"
            case Why.SLACK:
                return "a week either way"
            case Why.CALLED_BACK:
                return f"the visit of {day} came within two weeks of another and is not counted"
            case Why.BEYOND:
                longest = count(words, POSSIBLE_WEEKS[1], "week")
                return f"{weeks} is more than {longest}, the longest called possible"
            case Why.ODD:
                return f"come back in {weeks}, said {day}: is that right? not taken"
            case Why.AT_MOST:
                return f"no more than {count(words, AT_MOST_WEEKS, 'week')}"
            case Why.SPAN:
                low, high = map(words.number, USUAL_WEEKS)
                least, most = map(words.number, POSSIBLE_WEEKS)
                return f"{low} to {high} weeks are usual, {least} to {most} possible"
            case Why.LOAD:
                eight = count(words, LOAD_WEEKS, "week")
                return f"the load on the foot shifts measurably over {eight}"


def weeks_text(weeks: float, words: Words) -> str:
    """ "1 week", "6.5 weeks"."""
    return f"{words.number(weeks, 1)} week{'' if round(weeks, 1) == 1 else 's'}"
