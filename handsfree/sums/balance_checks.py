"""How each check of balance is made from measures of one day and stage."""

import math

from handsfree.records.limbs import PAIRS
from handsfree.records.units import Angle, Length, Quantity
from handsfree.sums import guidelines as limits
from handsfree.sums.foot import Check, Row, last_unit, questions
from handsfree.sums.history import History
from handsfree.sums.sources import Source

EVEN_WITHIN = 0.5
"""Half a millimetre or half a degree: less than this is told of no foot (common practice, no
source)."""

COMPARED = {
    "heel_height": "higher",
    "hoof_width": "wider",
    "frog_width": "wider",
    "coronary_circumference": "larger",
    "sole_depth": "thicker",
    "wall_thickness": "thicker",
}
"""What the foot with the larger number is called; else steeper (angles) or longer (lengths)."""


def _difference(row: Row) -> float:
    """In mm or degrees, without the crumbs of binary fractions: limits count to the point."""
    one, other = row[2]
    return round(one.value.amount - other.value.amount, 6)


def _made(
    history: History,
    what: tuple[str, tuple[str, ...], Row],
    number: Quantity | float,
    direction: str,
    *,
    beyond: bool | None = None,
    source: Source | None = None,
    name: str | None = None,
    limit: Quantity | float | None = None,
    side: str | None = None,
    unit: str | None = None,
    also: tuple[Source, ...] = (),
) -> Check:
    id, limbs, (on, stage, used) = what
    asked = questions(history, used)
    return Check(
        id,
        limbs,
        on,
        stage,
        number,
        direction,
        beyond,
        source,
        name,
        limit=limit,
        values=used,
        side=side,
        unit=unit,
        also=also,
        questions=asked,
    )


def heel_against_toe(history: History, limb: str, row: Row) -> Check:
    """Toe angle less heel angle; 5 degrees or more is under-run (Turner 1992)."""
    less = _difference(row)
    lower = less >= 0
    within = limits.UNDERRUN_FROM if lower else limits.HEEL_WITHIN
    beyond = less >= within.deg if lower else -less > within.deg
    return _made(
        history,
        ("heel_against_toe", (limb,), row),
        Angle(abs(less)),
        _way(less, "heel lower than toe", "heel steeper than toe"),
        beyond=beyond,
        source=limits.TURNER if lower else limits.REVIEW,
        name="underrun_heels" if beyond and lower else None,
        limit=within,
        unit="deg",
        also=(limits.REVIEW,) if lower else (),
    )


def hoof_against_pastern(history: History, limb: str, row: Row) -> Check:
    """Hoof angle less pastern angle, in degrees: broken back or forward (Turner 1992)."""
    more = _difference(row)
    broken = abs(more) > limits.ALIGNED_WITHIN.deg
    way = "hoof steeper than pastern" if more > 0 else "hoof lower than pastern"
    axis = "broken_forward_axis" if more > 0 else "broken_back_axis"
    return _made(
        history,
        ("hoof_against_pastern", (limb,), row),
        Angle(abs(more)),
        way if broken else "in line",
        beyond=broken,
        source=limits.TURNER,
        name=axis if broken else None,
        limit=limits.ALIGNED_WITHIN,
        unit="deg",
        also=(limits.MEASURING,),
    )


def heels(history: History, limb: str, row: Row) -> Check:
    """Inside less outside heel; 5 mm or more is sheared (Turner 1992, number from memory)."""
    more, quantity = _difference(row), row[2][0].quantity
    beyond, word = abs(more) >= limits.SHEARED_FROM.mm, COMPARED.get(quantity, "longer")
    return _made(
        history,
        ("heels" if quantity == "heel_length" else "heel_heights", (limb,), row),
        Length(abs(more)),
        _way(more, f"inside {word}", f"outside {word}"),
        beyond=beyond,
        source=limits.TURNER_FROM_MEMORY,
        name="sheared_heels" if beyond else None,
        limit=limits.SHEARED_FROM,
        unit=last_unit(history, quantity),
        also=(limits.CLINICIAN,),
    )


def frog(history: History, limb: str, row: Row) -> Check:
    """100 x width / length; under 67 per cent is contracted (Turner 1992)."""
    width, length = row[2]
    percent = round(100 * width.value.amount / length.value.amount, 6)
    beyond = percent < limits.CONTRACTED_BELOW
    return _made(
        history,
        ("frog", (limb,), row),
        percent,
        "narrow for its length" if beyond else "not narrow for its length",
        beyond=beyond,
        source=limits.TURNER,
        name="contracted_heels" if beyond else None,
        limit=limits.CONTRACTED_BELOW,
    )


def toe_to_heel(history: History, limb: str, row: Row) -> Check:
    """Height of toe to height of heel, no more than 3 to 1 (a review citing Dyson 2011).

    Toe height = toe length x sin(hoof angle); without the angle, toe length is its most. Where
    the height of each heel was said, their mean is taken.
    """
    used = row[2]
    toe = used[0].value.amount
    heels = [m.value.amount for m in used if m.quantity == "heel_height"]
    angles = [m.value.amount for m in used if m.quantity == "hoof_angle"]
    for angle in angles:
        toe *= math.sin(math.radians(angle))
    ratio = round(toe / (sum(heels) / len(heels)), 6)
    over = ratio > limits.TOE_TO_HEEL_HEIGHT
    # The toe's height is never more than its length: what is within stays within.
    known = bool(angles) or not over
    return _made(
        history,
        ("toe_to_heel", (limb,), row),
        ratio,
        "heel low for the toe" if over else "heel not low for the toe",
        beyond=over if known else None,
        source=limits.REVIEW,
        limit=limits.TOE_TO_HEEL_HEIGHT,
    )


def toe_to_heel_length(history: History, limb: str, row: Row) -> Check:
    """Toe to heel length: 2 to 1 (Stachurska 2008), 4 to 1 (popular); no guideline."""
    toe, heel = row[2]
    ratio = round(toe.value.amount / heel.value.amount, 6)
    least, most = limits.TOE_TO_HEEL_LENGTH
    way = "less than either" if ratio < least else "more than either"
    return _made(
        history,
        ("toe_to_heel_length", (limb,), row),
        ratio,
        "between the two" if least <= ratio <= most else way,
        source=limits.STACHURSKA_2008,
        also=(limits.POPULAR,),
    )


def against_texts(history: History, limb: str, row: Row) -> Check:
    """Hoof angle beside the anatomy texts' 50 degrees fore, 55 hind; no guideline."""
    fore = limb in PAIRS[0]
    text = limits.FORE_ANGLE if fore else limits.HIND_ANGLE
    more = round(row[2][0].value.amount - text.deg, 6)
    return _made(
        history,
        ("hoof_angle_in_texts", (limb,), row),
        Angle(abs(more)),
        _way(more, "steeper", "lower"),
        source=limits.ANATOMY,
        limit=text,
        unit="deg",
        also=(limits.STASHAK,) if fore else (limits.LUNGWITZ, limits.STASHAK),
    )


def left_right(history: History, pair: tuple[str, str], side: str | None, row: Row) -> Check:
    """Left less right; front hoof angles: more than 5 degrees is mismatched (Turner 1992, the
    number from memory), else no guideline.
    """
    more, quantity = _difference(row), row[2][0].quantity
    is_angle = isinstance(row[2][0].value, Angle)
    word = COMPARED.get(quantity, "steeper" if is_angle else "longer")
    guided = quantity == "hoof_angle" and pair == PAIRS[0]
    beyond = abs(more) > limits.MISMATCHED_OVER.deg if guided else None
    return _made(
        history,
        (f"left_right_{quantity}", pair, row),
        Angle(abs(more)) if is_angle else Length(abs(more)),
        _way(more, f"left {word}", f"right {word}"),
        beyond=beyond,
        source=limits.TURNER_FROM_MEMORY if guided else None,
        name="mismatched_feet" if beyond else None,
        limit=limits.MISMATCHED_OVER if guided else None,
        side=side,
        unit=last_unit(history, quantity),
    )


def _way(difference: float, more: str, less: str) -> str:
    if abs(difference) < EVEN_WITHIN:
        return "even"
    return more if difference > 0 else less
