"""A horse's weight by the tape, and what it should weigh where that is published."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from handsfree.records.entries import Measurement
from handsfree.records.units import Length, Weight
from handsfree.sums import weight_formulas as tape
from handsfree.sums.foot import is_usable, last_unit, questions, usable
from handsfree.sums.history import Age, History, HorseFacts, Measured, measures
from handsfree.sums.sources import CantSay, Source

WARMBLOODS = (
    "warmblood,warm blood,hanoverian,holsteiner,oldenburg,trakehner,westphalian,selle francais,"
    "selle français,kwpn"
).split(",")
"""Words by which a breed is known for a warmblood (common practice, no source)."""


@dataclass(frozen=True)
class WeightEstimate:
    """One formula's answer.

    `ideal` is the published ideal weight, `error_kg` the formula's published error. `on` is the
    day of the oldest number used, `used` what was measured. `chosen` marks the one taken for the
    estimate; `notes` say what speaks against it, `questions` are to be put to the user, `unit`
    is the one to show it in.
    """

    formula: str
    weight: Weight
    ideal: Weight | None
    error_kg: float | None
    source: Source
    on: date
    meant_for: str = ""
    chosen: bool = False
    used: tuple[Measured, ...] = ()
    notes: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()
    unit: str = "kg"


@dataclass(frozen=True)
class IdealWeight:
    """The published ideal weight of a draft horse or a warmblood."""

    weight: Weight
    source: Source
    on: date
    meant_for: str
    used: tuple[Measured, ...]
    unit: str = "kg"


def estimates(history: History) -> list[WeightEstimate] | CantSay:
    """All formulas that the latest tape numbers allow, the chosen one first.

    Formulas, units and sources are those of `weight_formulas`. Chosen by breed and kind:
    Icelandic /11400; warmblood and heavy horse Catalano et al., if height and neck girth are
    known; else Carroll & Huntington 1988; from the girth alone Marcenac & Aublet 1964.
    """
    taken, asked = _tape(history)
    if trouble := _trouble(history, "heart_girth", taken, asked):
        return trouble
    if "body_length" in asked:
        return CantSay(asked["body_length"])
    able = [
        formula
        for formula in tape.FORMULAS.values()
        if _applies(history, formula.id) and set(formula.needs) <= set(taken)
    ]
    first = _choice([formula.id for formula in able])
    found = [_estimate(history, formula, taken, asked) for formula in able]
    notes = _notes(history, first, taken)
    return [
        *(replace(e, chosen=True, notes=notes) for e in found if e.formula == first),
        *(e for e in found if e.formula != first),
    ]


def scale_weight(history: History) -> Measured | None:
    """The weight last said in so many kilos or pounds (of a scale), or None."""
    said = usable(history, ("weight", None, None))
    return said[-1] if said else None


def ideal_weight(history: History) -> IdealWeight | CantSay:
    """Ideal kg = 4.92 x length + 4.64 x height - 951 (draft) or 1016 (warmblood), in cm.

    Catalano et al., J Equine Vet Sci; for other horses none is published.
    """
    which = next((id for id in tape.IDEAL_LESS if _applies(history, id)), None)
    if which is None:
        return CantSay("an ideal weight is published for draft horses and warmbloods only")
    taken, asked = _tape(history)
    for quantity in ("body_length", "height"):
        if trouble := _trouble(history, quantity, taken, asked):
            return trouble
    used = (taken["body_length"], taken["height"])
    weight = tape.ideal(_lengths(taken), tape.IDEAL_LESS[which])
    if weight.kg <= 0:
        return CantSay("the formula is not for so small a horse")
    formula = tape.FORMULAS[which]
    on = min(m.on for m in used)
    return IdealWeight(weight, formula.source, on, formula.meant_for, used, shown_in(history))


def shown_in(history: History) -> str:
    """The unit to show a weight in: as last said, else pounds where the girth was in inches."""
    if usable(history, ("weight", None, None)):
        return last_unit(history, "weight")
    return "lb" if last_unit(history, "heart_girth") == "in" else "kg"


def is_warmblood(horse: HorseFacts) -> bool:
    """Whether the breed is one of the warmbloods."""
    return any(word in (horse.breed or "").casefold() for word in WARMBLOODS)


def _tape(history: History) -> tuple[dict[str, Measured], dict[str, str]]:
    """The latest number of each quantity, and what to ask where it is no horse's."""
    taken: dict[str, Measured] = {}
    asked: dict[str, str] = {}
    for quantity in tape.TAPE:
        said = measures(history, quantity)
        if not said:
            continue
        # Of no kind: the widest range, from a pony to a Shire.
        anybody = History(HorseFacts(""), ())
        if not is_usable(said[-1]):
            asked[quantity] = f"{_name(quantity)} was said with a number or unit that cannot be"
        elif odd := questions(anybody, said[-1:]):
            asked[quantity] = odd[0]
        else:
            taken[quantity] = said[-1]
    return taken, asked


def _trouble(
    history: History, quantity: str, taken: dict[str, Measured], asked: dict[str, str]
) -> CantSay | None:
    if quantity in taken:
        return None
    if quantity in asked:
        return CantSay(asked[quantity])
    for visit in history.visits:
        for entry in visit.doubtful:
            if isinstance(entry, Measurement) and entry.quantity == quantity:
                return CantSay(f"{_name(quantity)} was not surely heard: confirm it at the review")
    return CantSay(f"no {_name(quantity)} was measured")


def _name(quantity: str) -> str:
    return quantity.replace("_", " ")


def _lengths(taken: dict[str, Measured]) -> dict[str, Length]:
    return {q: m.value for q, m in taken.items() if isinstance(m.value, Length)}


def _applies(history: History, formula: str) -> bool:
    horse = history.horse
    match formula:
        case tape.ICELANDIC_ID:
            return _is_icelandic(horse)
        case tape.WARMBLOOD:
            return is_warmblood(horse)
        case tape.DRAFT:
            return horse.kind == "heavy" and not is_warmblood(horse)
        case _:
            return True


def _is_icelandic(horse: HorseFacts) -> bool:
    return "iceland" in (horse.breed or "").casefold()


def _choice(able: Sequence[str]) -> str:
    order = (tape.ICELANDIC_ID, tape.WARMBLOOD, tape.DRAFT, tape.CARROLL_ID)
    return next((id for id in order if id in able), tape.MARCENAC_ID)


def _estimate(
    history: History,
    formula: tape.Formula,
    taken: dict[str, Measured],
    asked: dict[str, str],
) -> WeightEstimate:
    used = tuple(taken[quantity] for quantity in formula.needs)
    lengths = _lengths(taken)
    less = tape.IDEAL_LESS.get(formula.id)
    ideal = None if less is None else tape.ideal(lengths, less)
    return WeightEstimate(
        formula.id,
        formula.weight(lengths),
        ideal if ideal is not None and ideal.kg > 0 else None,
        formula.error.kg if formula.error else None,
        formula.source,
        min(m.on for m in used),
        formula.meant_for,
        used=used,
        questions=(*questions(history, used), *asked.values()),
        unit=shown_in(history),
    )


def _notes(history: History, first: str, taken: dict[str, Measured]) -> tuple[str, ...]:
    """What speaks against the formula that was chosen."""
    notes: list[str] = []
    horse = history.horse
    wanting = [_name(q) for q in tape.TAPE if q not in taken]
    if first == tape.MARCENAC_ID:
        notes.append("from the girth alone: measure the body length too")
    elif first == tape.CARROLL_ID and (horse.kind == "heavy" or is_warmblood(horse)):
        which = "warmbloods" if is_warmblood(horse) else "draft horses"
        notes.append(
            f"the formula is for light horses; for that of {which} measure {' and '.join(wanting)}"
        )
    elif first == tape.CARROLL_ID and horse.kind is None:
        notes.append("the formula is for light horses; the kind of horse is not known")
    if taken and horse.age(max(m.on for m in taken.values())) is Age.FOAL:
        notes.append("the formulas are for grown horses (common practice, no source)")
    return tuple(notes)
