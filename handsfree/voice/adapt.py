"""What is fitted to a speaker, each thing judged by phrases it was not fitted to.

The judgement is leaving one out: the warp, the shift and the decision whether to keep either are
made on all phrases but one, and that one is then heard with them.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from handsfree.engines.base import Clip
from handsfree.engines.speaker import NO_WARP, Speaker
from handsfree.engines.together import AGREE, DIFFER, LONE
from handsfree.voice.measure import Heard, Measure, Offer
from handsfree.voice.outcome import Outcome, Tally, tally
from handsfree.voice.phrases import Phrase

WARPS = (0.88, 0.92, 0.96, NO_WARP, 1.04, 1.08, 1.12)
"""Frequency warps tried; Lee and Rose (1996) looked from 0.88 to 1.12 as well."""
PRIOR = 1.0
"""How far (standard deviation, natural log of the odds) speakers are taken to lie from the fitted
weights: 2.7 times the odds. No source."""
FEWEST = 5
"""Phrases of a case below which its shift is not tried."""
LEAST_GAIN = 0.01
"""A shift is kept from this gain in the mean log loss of phrases left out (natural log)."""

_LEAST = 1e-9
"""So that a case without bounds never costs infinitely much."""


def best_warp(fits: Mapping[float, Sequence[float]], among: Iterable[int]) -> float:
    """The warp with the highest sum of fits over these phrases; of equals the nearest to none.

    Phrases that do not fit at all under some warp tell nothing and are left out.
    """
    counted = [i for i in among if all(math.isfinite(each[i]) for each in fits.values())]
    sums = {warp: math.fsum(each[i] for i in counted) for warp, each in fits.items()}
    return max(sums, key=lambda warp: (sums[warp], -abs(warp - NO_WARP)), default=NO_WARP)


def fit_shift(offers: Sequence[Offer], prior: float = PRIOR) -> float:
    """The likeliest shift of the log odds, drawn towards 0 by a normal prior around it."""

    def slope(shift: float) -> float:
        over = math.fsum(_probability(o.log_odds + shift) - o.right for o in offers)
        return over + shift / prior**2

    # SciPy takes a third of a second to load: not before anybody's voice is fitted.
    from scipy.optimize import brentq

    far = (len(offers) + 1) * prior**2
    return float(brentq(slope, -far, far)) if offers else 0.0


def loss(offer: Offer, shift: float) -> float:
    """Natural log loss of what would be said of the answer, with the bounds of its case."""
    said = min(offer.highest, max(offer.lowest, _probability(offer.log_odds + shift)))
    return -math.log(max(_LEAST, said if offer.right else 1.0 - said))


def _probability(log_odds: float) -> float:
    return 1.0 / (1.0 + math.exp(-min(50.0, max(-50.0, log_odds))))


@dataclass(frozen=True)
class Tried:
    """One thing that was tried: what, whether it was kept, and why in a few words."""

    what: str
    kept: bool
    why: str


def shift_gain(offers: Sequence[Offer]) -> float:
    """The gain in the mean log loss by a shift, each answer judged by the shift of the others."""
    gains = [
        loss(offer, 0.0) - loss(offer, fit_shift([*offers[:i], *offers[i + 1 :]]))
        for i, offer in enumerate(offers)
    ]
    return math.fsum(gains) / len(gains)


@dataclass
class Adaptation:
    """The readings of a speaker and what is fitted to them.

    `clips` and `phrases` go together; there may be gaps in the numbers of the phrases.
    """

    measure: Measure
    phrases: Sequence[Phrase]
    clips: Sequence[Clip]
    warps: Sequence[float] = WARPS
    _outcomes: dict[tuple[float, int], Outcome] = field(default_factory=dict, init=False)
    _offers: dict[tuple[float, int], Offer | None] = field(default_factory=dict, init=False)

    @cached_property
    def fits(self) -> dict[float, list[float]]:
        """By warp, how well each phrase fits; empty where nothing can be warped."""
        if not self.measure.can_warp:
            return {}
        texts = [phrase.text for phrase in self.phrases]
        found: dict[float, list[float]] = {}
        for warp in self.warps:
            self.measure.told(f"trying the filters at {warp:g} ...")
            found[warp] = self.measure.fits(self.clips, texts, warp)
        return found

    @cached_property
    def before(self) -> list[Outcome]:
        """How each phrase comes out as installed."""
        return [self._outcome(i, NO_WARP) for i in self._all]

    @cached_property
    def speaker(self) -> Speaker:
        """What is kept of all that was tried, fitted to all phrases."""
        return Speaker() if self._does_harm else self._fit(self._all)[0]

    @cached_property
    def tried(self) -> tuple[Tried, ...]:
        """All that was tried, kept or not."""
        tried = self._fit(self._all)[1]
        if not self._does_harm:
            return tried
        why = _change(tally(self.before), tally(self._left_out))
        dropped = [replace(each, kept=False) for each in tried]
        return (*dropped, Tried("all of it, the decision itself left to the others", False, why))

    @cached_property
    def after(self) -> list[Outcome]:
        """How each phrase comes out with what the other phrases alone would have given; as
        before where nothing is kept."""
        return self._left_out if self.speaker != Speaker() else self.before

    @cached_property
    def _left_out(self) -> list[Outcome]:
        found: list[Outcome] = []
        for i in self._all:
            given, _ = self._fit([j for j in self._all if j != i])
            heard = self._warped(given.warp)[i]
            found.append(self.measure.outcome(self.phrases[i], heard, given.shift))
        return found

    @cached_property
    def _does_harm(self) -> bool:
        """Whether what seemed to help does not, with the decision to keep it left out too."""
        before, after = tally(self.before), tally(self._left_out)
        return after.sure_wrong > before.sure_wrong or before.better_than(after)

    @property
    def _all(self) -> list[int]:
        return list(range(len(self.phrases)))

    def _fit(self, among: Sequence[int]) -> tuple[Speaker, tuple[Tried, ...]]:
        warp, about_warp = self._fit_warp(among)
        shift, about_shift = self._fit_shift(among, warp)
        return Speaker(warp, shift), (about_warp, *about_shift)

    def _fit_warp(self, among: Sequence[int]) -> tuple[float, Tried]:
        what = "filters of PocketSphinx for the length of the throat"
        if not self.fits:
            return NO_WARP, Tried(what, False, "PocketSphinx does not listen")
        best = best_warp(self.fits, among)
        if best == NO_WARP:
            return NO_WARP, Tried(what, False, "as they are they fit best")
        with_it = tally(
            self._outcome(j, best_warp(self.fits, [k for k in among if k != j])) for j in among
        )
        without = tally(self._outcome(j, NO_WARP) for j in among)
        why = f"at {best:g}: {_change(without, with_it)}"
        if with_it.better_than(without):
            return best, Tried(what, True, why)
        return NO_WARP, Tried(what, False, why)

    def _fit_shift(
        self, among: Sequence[int], warp: float
    ) -> tuple[dict[str, float], tuple[Tried, ...]]:
        by_case: dict[str, list[Offer]] = {}
        for i in among:
            offer = self._offer(i, warp)
            if offer is not None:
                by_case.setdefault(offer.case, []).append(offer)
        kept: dict[str, float] = {}
        tried: list[Tried] = []
        for case, offers in sorted(by_case.items()):
            what = f"how sure it is where the {_case_in_words(case)}"
            if len(offers) < FEWEST:
                few = f"{len(offers)} phrase{'s' * (len(offers) != 1)}: too few to tell"
                tried.append(Tried(what, False, few))
                continue
            shift, gain = fit_shift(offers), shift_gain(offers)
            keep = gain >= LEAST_GAIN
            if keep:
                kept[case] = round(shift, 3)
            right = sum(offer.right for offer in offers)
            why = (
                f"{right} of {len(offers)} right; log odds {shift:+.2f} "
                f"{'gain' if gain > 0 else 'lose'} {abs(gain):.3f} in log loss a phrase left out"
            )
            tried.append(Tried(what, keep, why))
        return kept, tuple(tried)

    def _warped(self, warp: float) -> list[Heard]:
        return self.measure.hear_warped(self.clips, warp)

    def _outcome(self, i: int, warp: float) -> Outcome:
        if (warp, i) not in self._outcomes:
            heard = self._warped(warp)[i]
            self._outcomes[warp, i] = self.measure.outcome(self.phrases[i], heard)
        return self._outcomes[warp, i]

    def _offer(self, i: int, warp: float) -> Offer | None:
        if (warp, i) not in self._offers:
            heard = self._warped(warp)[i]
            self._offers[warp, i] = self.measure.offer(self.phrases[i], heard)
        return self._offers[warp, i]


def _case_in_words(case: str) -> str:
    if case in (AGREE, DIFFER):
        return f"listeners {case}"
    return f"only listener is {case.removeprefix(LONE + '-')}"


def _change(before: Tally, after: Tally) -> str:
    return (
        f"{before.caught} of {before.of} right became {after.caught}, "
        f"sure but wrong {before.sure_wrong} became {after.sure_wrong}, of phrases left out"
    )
