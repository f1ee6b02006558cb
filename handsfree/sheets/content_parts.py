"""What a sheet consists of: plain data, which the page and the PDF only lay out."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from handsfree.sheets.drawing import Mark, SheetLabels, Shod
from handsfree.sums.history import HorseFacts
from handsfree.sums.series import MeasureTrack


class Audience(StrEnum):
    """Whom a sheet is for."""

    OWNER = "owner"
    VET = "vet"


@dataclass(frozen=True)
class Definition:
    """A trade word of the sheet. `id` is fit for an HTML id: "term-bruise"."""

    id: str
    word: str
    meaning: str


@dataclass(frozen=True)
class Item:
    """One thing that was noted.

    `number`: of its mark on the drawings; None where it has no place there. `terms`: ids of the
    sheet's glossary. `confirmed`: a person has confirmed it; what is not is named so wherever
    it is shown. `sureness` says in words how sure it is ("" where nothing is to be said), `heard`
    the words it was made of ("" on the owner's sheet).
    """

    kind: str
    text: str
    number: int | None = None
    terms: tuple[str, ...] = ()
    confirmed: bool = True
    sureness: str = ""
    heard: str = ""


@dataclass(frozen=True)
class MeasureRow:
    """One measure of the visit, in words with its unit.

    `before` and `after` the trim; a number that is neither stands in `only` with `only_why`
    ("no trim that day"). `earlier` is the last measure before this visit with its day and
    `change` how much it is since; "" where there is none. `odd`: what was said for it and is no
    such measure. `confirmed` as in Item.
    """

    name: str
    term: str
    before: str = ""
    after: str = ""
    only: str = ""
    only_why: str = ""
    earlier: str = ""
    change: str = ""
    odd: str = ""
    confirmed: bool = True


@dataclass(frozen=True)
class FootPart:
    """All of one foot. `limb` LF, RF, LH or RH; `name` is its heading.

    `found` what was found, `absent` what was looked for and is not there, `done` what was done,
    `fitted` shoe and nails as fitted, `planned` what is planned for it, `remarks` free words.
    `marks` and `shod` are for the drawings, `sides` the side views to draw (lateral, medial).
    `left_out` says how much of what was noted is not here; "" where all is.
    """

    limb: str
    name: str
    found: tuple[Item, ...] = ()
    absent: tuple[Item, ...] = ()
    measures: tuple[MeasureRow, ...] = ()
    done: tuple[Item, ...] = ()
    fitted: tuple[Item, ...] = ()
    planned: tuple[Item, ...] = ()
    remarks: tuple[Item, ...] = ()
    marks: tuple[Mark, ...] = ()
    shod: Shod | None = None
    sides: tuple[str, ...] = ()
    left_out: str = ""

    @property
    def quiet(self) -> bool:
        """Whether nothing of this foot is on the sheet, be it that nothing was noted or that it is
        left out.
        """
        noted = (self.found, self.absent, self.measures, self.remarks)
        return not any((*noted, self.done, self.fitted, self.planned))

    @property
    def missing(self) -> str:
        """What the foot's part says of notes that are not in it; "" where all are there."""
        return self.left_out or ("Nothing was noted of this foot." if self.quiet else "")

    @property
    def drawn(self) -> bool:
        """Whether a drawing shows anything."""
        return bool(self.marks) or self.shod is not None


@dataclass(frozen=True)
class HorsePart:
    """What is of the horse, or of no foot that was named.

    `weight`: lines on its weight by scale or tape, each with its source. `left_out` as of a foot.
    """

    found: tuple[Item, ...] = ()
    absent: tuple[Item, ...] = ()
    measures: tuple[MeasureRow, ...] = ()
    done: tuple[Item, ...] = ()
    remarks: tuple[Item, ...] = ()
    weight: tuple[str, ...] = ()
    left_out: str = ""


@dataclass(frozen=True)
class CautionPart:
    """A caution that is due: what to do, where, what was noted, why, and whose rule it is.

    `confirmed`: it follows from what a person has confirmed. One that does not is on the sheet
    all the same, named as not confirmed yet.
    """

    orders: str
    limb: str | None
    where: str
    noted: str
    shown: str
    source: str
    confirmed: bool = True


@dataclass(frozen=True)
class Change:
    """A finding over the visits: a headline, and what it rests on."""

    limb: str | None
    text: str
    details: tuple[str, ...] = ()


@dataclass(frozen=True)
class Reckoned:
    """Measures of the day held against each other, and the limit published for that.

    `text` is what was reckoned of which measures, `against` the limit and whose it is ("no
    guideline" where there is none).
    """

    text: str
    against: str


@dataclass(frozen=True)
class Trend:
    """A measure over at least three visits, worth a small plot; all in `unit`.

    `tracks` are of the same foot: before the trim, after it, or of visits without one.
    `least` and `most` of all feet of this measure, `low` and `high` the same with a little room
    for an axis. `ends` are the first and last day as told,
    `description` holds every day and number in words.
    """

    quantity: str
    limb: str | None
    name: str
    unit: str
    tracks: tuple[MeasureTrack, ...]
    least: float
    most: float
    low: float
    high: float
    first: date
    last: date
    ends: tuple[str, str]
    description: str


@dataclass(frozen=True)
class Heard:
    """What one utterance became: the foot, the words heard, what was noted, how sure it is."""

    where: str
    heard: str
    noted: tuple[str, ...]
    sureness: str
    confirmed: bool = True


@dataclass(frozen=True)
class NextVisit:
    """When the horse is due again and why; days in words."""

    best: str
    earliest: str
    latest: str
    reasons: tuple[str, ...]
    best_day: date
    earliest_day: date
    latest_day: date

    @property
    def window(self) -> str:
        """The days from the earliest to the latest."""
        return f"{self.earliest} to {self.latest}"


@dataclass(frozen=True)
class Sheet:
    """One sheet, for one audience, of one day's visit to a horse.

    `title` is `name`, the horse's, and `when`. `facts`: pairs of a label and a text. `summary`:
    pairs of a label and its lines. `heard`: for the vet, everything in the order it was said,
    and `balance` and `mark_dates`, what is reckoned of it. `watch`: plans that ask something of
    the owner, `plans` the others.
    `left_out`: how many notes of the visit are not confirmed and left out.
    """

    audience: Audience
    title: str
    name: str
    when: str
    subtitle: str
    horse: HorseFacts
    on: date
    previous: date | None
    made_on: date
    made_by: str
    labels: SheetLabels
    facts: tuple[tuple[str, str], ...]
    summary: tuple[tuple[str, tuple[str, ...]], ...]
    cautions: tuple[CautionPart, ...]
    feet: tuple[FootPart, ...]
    whole: HorsePart
    changes: tuple[Change, ...]
    plans: tuple[str, ...]
    watch: tuple[str, ...]
    next_visit: NextVisit | None
    next_unknown: str
    trends: tuple[Trend, ...]
    glossary: tuple[Definition, ...]
    heard: tuple[Heard, ...]
    balance: tuple[Reckoned, ...]
    mark_dates: tuple[Change, ...]
    notes: tuple[str, ...]
    disclaimer: str
    left_out: int = 0
    remarks_left_out: int = 0

    def below(self, foot: FootPart) -> str:
        """What stands under the view from below: also what of the shoe is not drawn."""
        caption = "From below" if self.audience is Audience.OWNER else "Solar view"
        left_out: list[str] = []
        if foot.shod:
            left_out = foot.shod.as_words(self.labels.medial, self.labels.lateral)[1]
        return "; ".join((caption, *left_out))

    @property
    def since(self) -> str:
        """What stands over the changes."""
        if self.audience is Audience.OWNER:
            return "Since the time before"
        return "Findings over the visits, as said"

    @property
    def empty(self) -> bool:
        """Whether nothing of the visit is on the sheet."""
        whole = self.whole
        noted = (whole.found, whole.absent, whole.measures, whole.remarks)
        of_horse = (*noted, whole.done, self.plans, self.watch)
        return all(foot.quiet for foot in self.feet) and not any(of_horse)
