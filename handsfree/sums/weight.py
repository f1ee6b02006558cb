"""What a horse weighs, by tape and scale, and how its feet go with it; in words too."""

from handsfree.records.units import Quantity, Weight
from handsfree.sums.balance_lines import asked, shown
from handsfree.sums.hoof_size import (
    SMALL_OVER,
    HoofForGirth,
    HoofForWeight,
    KnownWeight,
    ToeForWeight,
    hoof_for_girth,
    hoof_for_weight,
    is_trimmed,
    known_weight,
    toe_for_weight,
)
from handsfree.sums.sources import Source
from handsfree.sums.weight_estimates import (
    IdealWeight,
    WeightEstimate,
    estimates,
    ideal_weight,
    scale_weight,
)
from handsfree.sums.weight_formulas import FORMULAS
from handsfree.sums.wording import Words

__all__ = [
    "HoofForGirth",
    "HoofForWeight",
    "IdealWeight",
    "KnownWeight",
    "ToeForWeight",
    "WeightEstimate",
    "estimates",
    "hoof_for_girth",
    "hoof_for_weight",
    "ideal_weight",
    "known_weight",
    "lines",
    "scale_weight",
    "toe_for_weight",
]

Result = WeightEstimate | IdealWeight | HoofForWeight | ToeForWeight | HoofForGirth


def lines(result: Result, words: Words) -> list[str]:
    """What came out, with its source; then what speaks against it and what there is to ask."""
    match result:
        case WeightEstimate():
            told = _estimate(result, words)
        case IdealWeight():
            weight = _both(result.weight, result.unit, words)
            return [f"ideal {weight} {result.meant_for} ({_by(result.source, words)})"]
        case HoofForWeight():
            told = _pressed(result, words)
        case ToeForWeight():
            told = _toe(result, words)
        case HoofForGirth():
            told = _girth(result, words)
    return [*told, *(asked(question, words) for question in result.questions)]


def _both(weight: Quantity, unit: str, words: Words) -> str:
    """In both units: scales, wormers and books go by either."""
    other = "kg" if unit == "lb" else "lb"
    return f"{words.measure(weight, unit)} ({words.measure(weight, other)})"


def _by(source: Source, words: Words) -> str:
    return words.plain(str(source))


def _estimate(result: WeightEstimate, words: Words) -> list[str]:
    error = ""
    if result.error_kg is not None:
        error = f", error {words.measure(Weight(result.error_kg), 'kg')}"
    weight = _both(result.weight, result.unit, words)
    told = [f"{weight} {result.meant_for} ({_by(result.source, words)}{error})"]
    told += [words.plain(note) for note in result.notes]
    if result.chosen and len({m.on for m in result.used}) > 1:
        days = (f"{words.word('quantity', m.quantity)} {words.day(m.on)}" for m in result.used)
        told.append(f"numbers of different days: {', '.join(days)}")
    return told


def _of_weight(weight: KnownWeight, unit: str, words: Words) -> str:
    source = "as said" if weight.origin == "scale" else _by(FORMULAS[weight.origin].source, words)
    return f"{words.measure(weight.weight, unit)} ({source}, {words.day(weight.on)})"


def _pressed(result: HoofForWeight, words: Words) -> list[str]:
    round_foot = words.measure(result.circumference.value, result.circumference.unit)
    pressed = shown(words, result.lb_per_in2, None, SMALL_OVER)
    over = "beyond" if result.beyond else "within"
    limit = words.number(result.limit)
    critique = " and ".join(_by(each, words) for each in result.also)
    return [
        f"{words.limb(result.limb)} {pressed} pounds to the square inch: "
        f"{_of_weight(result.weight, result.unit, words)} on {round_foot} round the coronet "
        f"({words.day(result.circumference.on)})",
        f"{over}: more than {limit} is called small feet ({_by(result.source, words)}); "
        f"criticised by {critique}",
    ]


def _toe(result: ToeForWeight, words: Words) -> list[str]:
    toe = words.measure(result.toe.value, result.toe.unit)
    told = f"{words.limb(result.limb)} toe length {toe} ({words.day(result.toe.on)})"
    if result.band is None or result.difference is None or result.source is None:
        return [f"{told}: no guideline for {_of_weight(result.weight, result.weight_unit, words)}"]
    band = words.measure(result.band, result.unit)
    by = words.measure(result.difference, result.unit)
    way = "as long as" if result.direction == "even" else f"{by} {result.direction} than"
    weight = _of_weight(result.weight, result.weight_unit, words)
    return [f"{told}: {way} the {band} that goes with {weight}", f"({_by(result.source, words)})"]


def _girth(result: HoofForGirth, words: Words) -> list[str]:
    low, middle, high = (
        words.measure(each, result.unit) for each in (result.low, result.expected, result.high)
    )
    girth = words.measure(result.girth.value, result.girth.unit)
    told = [
        f"fore hoof width that goes with a girth of {girth}: {middle} ({low} to {high}), "
        f"{result.breed}, trimmed ({_by(result.source, words)}); a mean, no guideline"
    ]
    if result.width is not None and result.percent is not None:
        width = words.measure(result.width.value, result.width.unit)
        percent = words.number(result.percent, 2)
        way = {"alike": "within the spread"}.get(result.direction, f"{result.direction} than that")
        untrimmed = "" if is_trimmed(result.width) else ", not said to be trimmed"
        told.insert(
            0,
            f"{words.limb(result.limb)} {width}, {percent} per cent of the girth: "
            f"{way}{untrimmed} ({words.day(result.width.on)}, "
            f"girth {words.day(result.girth.on)})",
        )
    return told
