"""The size of the feet against the horse's weight and girth, each with the source of the limit."""

import math
from dataclasses import dataclass
from datetime import date

from handsfree.records.limbs import PAIRS
from handsfree.records.units import Length, Weight
from handsfree.sums.foot import last_unit, questions, usable
from handsfree.sums.history import History, HorseFacts, Measured, Stage
from handsfree.sums.sources import FROM_MEMORY, CantSay, Source
from handsfree.sums.weight_estimates import estimates, scale_weight, shown_in

SMALL_FEET = Source(
    "the small-feet figure", "weight (lb) x 12.56 / circumference (in)^2", FROM_MEMORY
)
DE_SOUZA = Source(
    "de Souza 2021", "de Souza 2021, J Equine Vet Sci 103682: a critique of the figure"
)
BANDS = Source("toe length by weight", "toe length by weight bands", FROM_MEMORY)
STACHURSKA = Source("Stachurska et al. 2011", "Stachurska et al. 2011, Anim Sci Pap Rep 29:213-222")

SMALL_OVER = 78.0
"""Pounds to the square inch above which feet are called small (from memory)."""

TOE_BANDS = (
    (Weight(360), Weight(400), Length(76.0)),
    (Weight(425), Weight(475), Length(82.5)),
    (Weight(525), Weight(575), Length(89.0)),
)
"""Toe length of a horse from so much to so much (from memory). None for what lies between or
outside, or for heavy horses."""

GIRTH_SHARES = (
    ("Anglo-Arab", ("anglo-arab", "anglo arab", "angloarab"), 6.41, 0.08),
    ("Arabian", ("arab",), 5.93, 0.10),
    ("Konik", ("konik",), 6.56, 0.11),
    ("Coldblood", ("coldblood", "cold blood"), 7.26, 0.09),
)
"""Width of the trimmed fore hoof in per cent of the chest girth, mean and spread, by breed
(Stachurska et al. 2011); the first breed whose word is found counts."""

LIMBS = (*PAIRS[0], *PAIRS[1])


@dataclass(frozen=True)
class KnownWeight:
    """A weight and where it is from: "scale", or the id of a formula."""

    weight: Weight
    origin: str
    on: date


@dataclass(frozen=True)
class HoofForWeight:
    """Weight on the foot's size: pounds to the square inch."""

    limb: str
    weight: KnownWeight
    circumference: Measured
    lb_per_in2: float
    beyond: bool
    limit: float
    source: Source
    also: tuple[Source, ...]
    unit: str
    questions: tuple[str, ...] = ()


@dataclass(frozen=True)
class ToeForWeight:
    """Toe length beside that of the weight band; `band` is None where there is no guideline."""

    limb: str
    weight: KnownWeight
    toe: Measured
    band: Length | None
    difference: Length | None
    direction: str
    source: Source | None
    unit: str
    weight_unit: str
    questions: tuple[str, ...] = ()


@dataclass(frozen=True)
class HoofForGirth:
    """Fore hoof width that goes with the girth in a breed, and that of a foot if measured.

    `low` to `high` is the spread of the mean: no limit, so nothing is beyond it.
    """

    breed: str
    girth: Measured
    expected: Length
    low: Length
    high: Length
    limb: str | None
    width: Measured | None
    percent: float | None
    direction: str
    source: Source
    unit: str
    questions: tuple[str, ...] = ()


def known_weight(history: History) -> KnownWeight | CantSay:
    """The weight to reckon with: what was said of a scale, unless the tape is newer."""
    said, taped = scale_weight(history), estimates(history)
    scale = None
    if said is not None and isinstance(said.value, Weight):
        # Of no kind: the widest range, from a pony to a Shire.
        if odd := questions(History(HorseFacts(""), ()), (said,)):
            return CantSay(odd[0])
        scale = KnownWeight(said.value, "scale", said.on)
    if isinstance(taped, CantSay):
        return scale or taped
    first = taped[0]
    if scale and scale.on >= max(m.on for m in first.used):
        return scale
    return KnownWeight(first.weight, first.formula, first.on)


def hoof_for_weight(history: History) -> list[HoofForWeight] | CantSay:
    """Weight (lb) x 12.56 / coronary circumference (in) squared, foot by foot.

    More than 78 lb to the square inch is called small feet (from memory); de Souza 2021
    criticises it.
    """
    found = _feet(history, "coronary_circumference")
    if isinstance(found, CantSay):
        return found
    weight, feet = found
    return [_pressed(history, weight, foot) for foot in feet]


def _pressed(history: History, weight: KnownWeight, foot: Measured) -> HoofForWeight:
    pressed = round(weight.weight.to("lb") * 12.56 / foot.value.to("in") ** 2, 6)
    return HoofForWeight(
        foot.limb or "",
        weight,
        foot,
        pressed,
        pressed > SMALL_OVER,
        SMALL_OVER,
        SMALL_FEET,
        (DE_SOUZA,),
        shown_in(history),
        questions(history, (foot,)),
    )


def toe_for_weight(history: History) -> list[ToeForWeight] | CantSay:
    """Toe length beside 7.6 cm (360-400 kg), 8.25 cm (425-475 kg), 8.9 cm (525-575 kg).

    From memory; no guideline outside and between, nor for heavy horses.
    """
    found = _feet(history, "toe_length")
    if isinstance(found, CantSay):
        return found
    weight, feet = found
    return [_toe(history, weight, foot) for foot in feet]


def _toe(history: History, weight: KnownWeight, foot: Measured) -> ToeForWeight:
    kilos = round(weight.weight.kg, 6)
    fitting = (toe for low, high, toe in TOE_BANDS if low.kg <= kilos <= high.kg)
    band = None if history.horse.kind == "heavy" else next(fitting, None)
    more = 0.0 if band is None else foot.value.amount - band.mm
    direction = "longer" if more > 0 else "shorter"
    return ToeForWeight(
        foot.limb or "",
        weight,
        foot,
        band,
        None if band is None else Length(round(abs(more), 6)),
        "no guideline" if band is None else ("even" if abs(more) < 0.5 else direction),
        None if band is None else BANDS,
        last_unit(history, "toe_length"),
        shown_in(history),
        questions(history, (foot,)),
    )


def _feet(history: History, quantity: str) -> tuple[KnownWeight, list[Measured]] | CantSay:
    """The weight, and the latest such number of each foot."""
    said = (usable(history, (quantity, limb, None)) for limb in LIMBS)
    feet = [each[-1] for each in said if each]
    if not feet:
        return CantSay(f"no {quantity.replace('_', ' ')} was measured")
    weight = known_weight(history)
    return weight if isinstance(weight, CantSay) else (weight, feet)


def hoof_for_girth(history: History) -> list[HoofForGirth] | CantSay:
    """Width of the trimmed fore hoof = girth x per cent of the breed (Stachurska et al. 2011).

    Arabian 5.93, Anglo-Arab 6.41, Konik 6.56, coldblood (put to heavy horses) 7.26.
    """
    row = _breed(history.horse)
    if row is None:
        return CantSay(
            "the breed is none of those measured (Arabian, Anglo-Arab, Konik, coldblood)"
        )
    said = usable(history, ("heart_girth", None, None))
    if not said:
        return CantSay("no heart girth was measured")
    # Of no kind: the widest range, from a pony to a Shire.
    if asked := questions(History(HorseFacts(""), ()), said[-1:]):
        return CantSay(asked[0])
    widths = (usable(history, ("hoof_width", limb, None)) for limb in PAIRS[0])
    feet: list[Measured | None] = [each[-1] for each in widths if each]
    return [_width(history, row, said[-1], foot) for foot in feet or [None]]


def _breed(horse: HorseFacts) -> tuple[str, float, float] | None:
    breed = (horse.breed or "").casefold()
    for name, words, mean, spread in GIRTH_SHARES:
        if any(word in breed for word in words) or (name == "Coldblood" and horse.kind == "heavy"):
            return name, mean, spread
    return None


def _width(
    history: History, row: tuple[str, float, float], girth: Measured, foot: Measured | None
) -> HoofForGirth:
    breed, mean, spread = row
    around = Length(girth.value.amount)
    low, high = around * ((mean - spread) / 100), around * ((mean + spread) / 100)
    percent = None if foot is None else round(100 * foot.value.amount / around.mm, 6)
    direction = "not measured"
    if percent is not None:
        inside = math.isclose(percent, mean, abs_tol=spread + 1e-6)
        direction = "alike" if inside else ("wider" if percent > mean else "narrower")
    return HoofForGirth(
        breed,
        girth,
        around * (mean / 100),
        low,
        high,
        foot.limb if foot else None,
        foot,
        percent,
        direction,
        STACHURSKA,
        last_unit(history, "hoof_width"),
        questions(history, (girth, foot) if foot else (girth,)),
    )


def is_trimmed(foot: Measured) -> bool:
    """Whether the foot was trimmed when it was measured, as those of the source were."""
    return foot.stage is Stage.AFTER
