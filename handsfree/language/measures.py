"""What each number measures, and in which unit. Pure."""

from fractions import Fraction

from handsfree.language.clauses import LEFT_OVER, Frame, Utterance
from handsfree.language.findings import MARKS
from handsfree.language.nailing import is_nails, is_of_shoe, just_left, nail_words, nails
from handsfree.language.numbers import Amount
from handsfree.language.scales import hands_said_apart, lame_by_a_number, scales, stands
from handsfree.records.units import to_mm

ANGLES = frozenset({"hoof_angle", "heel_angle", "pastern_angle"})


OF_THE_HORSE = frozenset({"heart_girth", "body_length", "height", "neck_girth", "weight"})


LIKELY: dict[str, dict[str, tuple[float, float]]] = {
    "toe_length": {"mm": (55, 160), "cm": (5.5, 16), "in": (2, 7)},
    "heel_height": {"mm": (15, 90), "cm": (1.5, 9), "in": (0.5, 4)},
    "heel_length": {"mm": (15, 110), "cm": (1.5, 11), "in": (0.5, 4.5)},
    "hoof_width": {"mm": (75, 240), "cm": (7.5, 24), "in": (3, 10)},
    "hoof_length": {"mm": (80, 260), "cm": (8, 26), "in": (3, 10)},
    "coronary_circumference": {"mm": (250, 700), "cm": (22, 70), "in": (9, 20)},
    "sole_depth": {"mm": (3, 35), "in": (0.1, 1.2), "cm": (0.5, 2.5)},
    "wall_thickness": {"mm": (3, 25), "in": (0.1, 0.99), "cm": (0.4, 2.5)},
    "frog_width": {"mm": (20, 130), "cm": (2, 13), "in": (0.8, 5)},
    "frog_length": {"mm": (45, 200), "cm": (4.5, 20), "in": (1.8, 8)},
    "heart_girth": {"cm": (110, 280), "in": (45, 109), "mm": (1100, 2800)},
    "body_length": {"cm": (110, 260), "in": (45, 109), "mm": (1100, 2600)},
    "neck_girth": {"cm": (66, 180), "in": (20, 65), "mm": (500, 1800)},
    "height": {"hands": (8, 20), "cm": (90, 215), "in": (40, 84)},
    "weight": {"kg": (80, 1300), "lb": (1301, 2900)},
}
"""Where a number without its unit may lie in each (common practice, no source)."""


COMPOSED = {
    "long": {
        "toe": "toe_length",
        "heel": "heel_length",
        "frog": "frog_length",
        "body": "body_length",
    },
    "wide": {"frog": "frog_width"},
    "across": {"frog": "frog_width"},
    "deep": {"sole": "sole_depth", "wall": "wall_thickness"},
    "thick": {"sole": "sole_depth", "wall": "wall_thickness"},
    "high": {"heel": "heel_height"},
    "around": {
        "neck": "neck_girth",
        "coronary_band": "coronary_circumference",
        "girth": "heart_girth",
    },
    "angle": {"heel": "heel_angle", "pastern": "pastern_angle"},
}


BY_ITSELF = {
    "long": "hoof_length",
    "wide": "hoof_width",
    "across": "hoof_width",
    "deep": "sole_depth",
    "angle": "hoof_angle",
}


OF_HEAD = {
    "toe": "toe_length",
    "heel": "heel_height",
    "sole": "sole_depth",
    "wall": "wall_thickness",
    "neck": "neck_girth",
    "girth": "heart_girth",
    "body": "body_length",
    "coronary_band": "coronary_circumference",
}


ANGLE_OF_HEAD = {"heel": "heel_angle", "pastern": "pastern_angle"}


def read(said: Utterance) -> None:
    """Give every number its use. One that has none makes the note doubtful."""
    scales(said)
    lame_by_a_number(said)
    stands(said)
    hands_said_apart(said)
    last: str | None = None
    for at in said.amounts():
        if at in said.used:
            continue
        amount = said.spans[at].amount
        assert amount is not None
        if amount.unit in ("week", "month", "day") or _counts_something(said, at):
            continue
        following = said.spans[at + 1] if at + 1 < len(said.spans) else None
        if amount.unit and following and following.get("thing") in ("nail", "sharp"):
            said.used.add(at)
            continue
        if amount.unit is None and _of_studs(said):
            said.used.add(at)
            continue
        if amount.unit == "deg" and any(f.slots.get("item") == "wedge" for f in said.frames):
            said.used.add(at)
            continue
        if said.spans[at].text == "one" and not nail_words(said) and not just_left(said, at):
            said.used.add(at)
            continue
        quantity = _own(said, at, amount) or _explicit(said, at)
        mark = None if quantity else _mark_of(said, at)
        if mark is not None and _give_length(said, at, amount, mark):
            continue
        if quantity is None and (is_of_shoe(said, at) or is_nails(said, at, amount)):
            continue
        if quantity is None and amount.unit in ("mm", "cm", "in") and _of_work(said, at):
            said.used.add(at)
            continue
        if amount.rough and amount.unit is None and quantity is None:
            said.doubt(f"it is not clear what {said.spans[at].text} counts", LEFT_OVER)
            continue
        named = quantity is not None
        quantity = quantity or _composed(said, at, amount, last) or _inherited(said, amount, last)
        if quantity and not _likely(quantity, amount):
            said.doubt(
                f"{said.spans[at].text} is an unlikely {quantity.replace('_', ' ')}", LEFT_OVER
            )
            quantity = quantity if named else None
        if quantity is not None and _measured(said, at, amount, quantity):
            last = quantity
    nails(said)
    _was_and_is(said)


def _was_and_is(said: Utterance) -> None:
    """ "Was four inch, it's three and five eighths now": what was is not recorded today."""
    for frame in [f for f in said.frames if f.kind == "measurement"]:
        later = [
            f
            for f in said.frames
            if f.at > frame.at and f.slots.get("quantity") == frame.slots["quantity"]
        ]
        before = {w for s in said.spans[max(0, frame.at - 3) : frame.at] for w in s.words}
        if later and before & {"was", "were", "been"}:
            said.frames.remove(frame)


def _of_work(said: Utterance, at: int) -> bool:
    """ "Backed that toe up a quarter inch": how much was taken, which no record keeps."""
    here = [f for f in said.frames if said.sentence[f.at] == said.sentence[at]]
    return bool(here) and all(
        f.slots.get("action") in ("toe_dressed", "flare_dressed", "resected") for f in here
    )


def _counts_something(said: Utterance, at: int) -> bool:
    """Numbers that say only how many marks there are: "a couple of clinches", "three cracks"."""
    following = [i for i in range(at + 1, min(at + 3, len(said.spans)))]
    if any(said.spans[i].get("shoe") == "studs" for i in following):
        said.used.add(at)
        return True
    amount = said.spans[at].amount
    assert amount is not None
    if amount.unit is not None or amount.value.denominator != 1:
        return False
    for i in following:
        span = said.spans[i]
        plural = span.words[-1].endswith("s")
        if (span.get("term") or span.get("thing") in ("clinch", "hole")) and (
            plural or amount.rough
        ):
            said.used.add(at)
            return True
        if span.concepts and not span.get("moving"):
            return False
    if said.spans[at].text == "one" and just_left(said, at):
        return False
    if said.spans[at].text == "one" and not said.free("nails") and not said.free("nail_word"):
        said.used.add(at)
        return True
    return False


def _of_studs(said: Utterance) -> bool:
    """Whether a bare number is how many studs: no nail is spoken of beside them."""
    studs = any(
        f.slots.get("item") == "studs" or f.slots.get("action") == "drilled_tapped"
        for f in said.frames
    ) or any({"stud", "studs", "studded"} & set(s.words) for s in said.spans)
    return studs and not any("nail" in s.text or s.text in ("drove", "driven") for s in said.spans)


def _window(said: Utterance, at: int) -> tuple[range, range]:
    """The places before and after a number, up to the numbers beside it."""
    others = [i for i, s in enumerate(said.spans) if s.amount and i != at]
    before = max((i for i in others if i < at), default=-1)
    after = min((i for i in others if i > at), default=len(said.spans))
    return range(at - 1, before, -1), range(at + 1, after)


def _explicit(said: Utterance, at: int) -> str | None:
    """A quantity that is named: "toe length", "of sole", "weight"."""
    amount = said.spans[at].amount
    assert amount is not None
    if amount.unit == "hands":
        return "height"
    before, after = _window(said, at)
    for i in before:
        quantity = said.spans[i].get("quantity")
        if quantity and _may_be(quantity, amount):
            return quantity
    for i in after:
        quantity = said.spans[i].get("quantity")
        later = [j for j in said.amounts() if j > i]
        taken = later and not _named_after(said, i)
        if quantity and not taken and _may_be(quantity, amount):
            return quantity
    if amount.unit in ("kg", "lb"):
        return "weight"
    return None


def _own(said: Utterance, at: int, amount: Amount) -> str | None:
    """A place and a dimension of the number's own clause, before what an earlier one named."""
    clause = said.in_clause(at)
    if not said.clause[at] or any(said.spans[i].get("quantity") for i in clause):
        return None
    if any(f.term in MARKS and said.clause[f.at] == said.clause[at] for f in said.frames):
        return None
    names = {n for i in clause for n in _head(said, i)}
    for i in clause:
        dimension = said.spans[i].get("dimension")
        if dimension and i <= at + 3:
            quantity = next((q for n, q in COMPOSED.get(dimension, {}).items() if n in names), None)
            if quantity and _may_be(quantity, amount):
                return quantity
    return None


def _named_after(said: Utterance, at: int) -> bool:
    """Whether a quantity follows its number directly: "eight mil of sole"."""
    return at > 0 and said.spans[at - 1].amount is not None


def _may_be(quantity: str, amount: Amount) -> bool:
    unit = amount.unit
    if unit is None:
        return True
    if quantity in ANGLES:
        return unit == "deg"
    if quantity == "weight":
        return unit in ("kg", "lb")
    if quantity == "height":
        return unit in ("hands", "cm", "in")
    return unit in ("mm", "cm", "in")


def _mark_of(said: Utterance, at: int) -> Frame | None:
    """The mark whose length or distance a number is."""
    amount = said.spans[at].amount
    assert amount is not None
    if amount.unit not in ("mm", "cm", "in"):
        return None
    marks = [f for f in said.frames if f.kind == "finding" and f.term in MARKS]
    here = [f for f in marks if said.clause[f.at] == said.clause[at]]
    before = [f for f in marks if f.at < at]
    found = here[-1] if here else (before[-1] if before else (marks[0] if marks else None))
    if found is None:
        return None
    heads = [
        i
        for i in said.between(found.at, at)
        if i not in said.used and (said.spans[i].get("thing") == "foot")
    ]
    return None if heads and not here else found


def _give_length(said: Utterance, at: int, amount: Amount, mark: Frame) -> bool:
    assert amount.unit is not None
    _, after = _window(said, at)
    below = next((i for i in after if said.spans[i].get("below")), None)
    key = "extent_mm" if below is None else "below_hairline_mm"
    if key in mark.slots:
        return False
    mark.slots[key] = to_mm(float(amount.value), amount.unit)
    said.used.add(at)
    mark.first, mark.last = min(mark.first, at), max(mark.last, at)
    if below is not None:
        said.used.add(below)
    else:
        for i in after:
            if said.spans[i].get("extent") and i <= at + 2:
                said.used.add(i)
    return True


def _composed(said: Utterance, at: int, amount: Amount, last: str | None) -> str | None:
    """A quantity that a place and a dimension make: "frog's fifty five wide", "toe's at eighty"."""
    before, after = _window(said, at)
    first_amount = next((i for i, s in enumerate(said.spans) if s.amount), at)
    beside = at > 0 and said.spans[at - 1].get("dimension")
    number_first = not any(s.get("dimension") for s in said.spans[:first_amount])
    if amount.unit in ("cm", "in", "hands") and _is_tall(said, at, amount):
        return "height"
    dimension = at - 1 if beside and not number_first else None
    if dimension is None:
        dimension = next((i for i in after if i <= at + 3 and _dimension_of(said, i, at)), None)
    if dimension is None:
        dimension = next((i for i in before if said.spans[i].get("dimension")), None)
    same = [i for i in after if said.clause[i] == said.clause[at]]
    heads = [i for i in (*before, *same) if _head(said, i)]
    angle = at > 0 and said.spans[at - 1].get("dimension") == "angle"
    if after and _head(said, after[0]) and _number_first(said) and not angle:
        heads = [after[0], *heads]
    if not heads:
        heads = [i for i in range(at - 1, -1, -1) if _head(said, i)]
    names = [n for i in heads for n in _head(said, i)]
    if amount.unit == "deg":
        footed = any(
            s.get("limb") or s.get("relative") or s.get("dimension") == "angle" for s in said.spans
        )
        if not names and not footed:
            said.doubt("degrees of what is not said", 0.3)
        return next((ANGLE_OF_HEAD[n] for n in names if n in ANGLE_OF_HEAD), "hoof_angle")
    if amount.unit in ("kg", "lb"):
        return "weight"
    if dimension is not None:
        name = said.spans[dimension].get("dimension")
        assert name is not None
        composed = COMPOSED.get(name, {})
        if not names and last:
            # "Frog width forty five, length seventy": of the frog as well.
            names = [last.partition("_")[0]]
        quantity = next((composed[n] for n in names if n in composed), BY_ITSELF.get(name))
        if quantity and _may_be(quantity, amount):
            return quantity
    angled = any(s.get("dimension") == "angle" or s.get("quantity") in ANGLES for s in said.spans)
    if amount.unit is None and 35 <= amount.value <= 70 and (angled or "foot" in names[:1]):
        near = next((n for n in names if n in ANGLE_OF_HEAD or n in ("foot", "toe")), None)
        if near or angled:
            return ANGLE_OF_HEAD.get(near or "", "hoof_angle")
    if names and names[0] == "pastern":
        return "pastern_angle"
    quantity = next((OF_HEAD[n] for n in names if n in OF_HEAD), None)
    return quantity if quantity and _may_be(quantity, amount) else None


def _dimension_of(said: Utterance, at: int, number: int) -> bool:
    """Whether a dimension belongs to the number before it, not to one right behind it."""
    following = said.spans[at + 1] if at + 1 < len(said.spans) else None
    taken = following is not None and following.amount is not None and at > number + 1
    return said.spans[at].get("dimension") is not None and not taken


def _is_tall(said: Utterance, at: int, amount: Amount) -> bool:
    """ "A hundred and twenty eight centimetres tall": no foot is so high."""
    least = {"cm": 70, "in": 30, "hands": 8}[amount.unit or "cm"]
    near = said.spans[at + 1 : at + 3]
    return amount.value >= least and any(s.get("dimension") == "high" for s in near)


def _number_first(said: Utterance) -> bool:
    """ "Fifty four hoof and fifty five pastern": what is measured comes after its number."""
    first = next((i for i, s in enumerate(said.spans) if s.amount), 0)
    heads = [i for i in range(len(said.spans)) if _head(said, i)]
    return bool(heads) and heads[0] > first


def _head(said: Utterance, at: int) -> tuple[str, ...]:
    span = said.spans[at]
    return (*span.all("zone"), *span.all("thing"))


def _inherited(said: Utterance, amount: Amount, last: str | None) -> str | None:
    """The quantity of the number before: "fifty two left fifty and a half right"."""
    if last is not None and last not in OF_THE_HORSE and _may_be(last, amount):
        return last
    sided = any(s.get("relative") or s.get("limb") for s in said.spans)
    if amount.unit is None and 40 <= amount.value <= 65 and sided:
        return "hoof_angle"
    return None


def _measured(said: Utterance, at: int, amount: Amount, quantity: str) -> bool:
    unit, inferred = amount.unit, False
    if unit is None:
        units = units_for(quantity, amount.value)
        if quantity in ANGLES:
            units = ["deg"] if 20 <= amount.value <= 80 else []
        if not units:
            return False
        unit, inferred = units[0], True
        if len(units) > 1:
            said.doubt("the unit was not said and may be one of two", 0.3)
    heads = [i for i in _near_of(said, at) if i not in said.used]
    frame = said.add("measurement", at, heads, quantity=quantity, value=amount.number, unit=unit)
    if inferred:
        frame.slots["unit_inferred"] = True
    frame.of_horse = quantity in OF_THE_HORSE
    return True


def _likely(quantity: str, amount: Amount) -> bool:
    """Whether a value with its unit lies where that quantity does; True where no unit was said."""
    least, most = LIKELY.get(quantity, {}).get(amount.unit or "", (amount.value, amount.value))
    return least / 2 <= amount.value <= most * 2 if quantity in LIKELY else True


def units_for(quantity: str, value: Fraction) -> list[str]:
    """The units in which a number without one is likely for a quantity."""
    ranges = LIKELY.get(quantity, {})
    return [unit for unit, (least, most) in ranges.items() if least <= value <= most]


def _near_of(said: Utterance, at: int) -> list[int]:
    """The words that say what the number is of."""
    before, after = _window(said, at)
    found = []
    for i in before:
        if (
            said.spans[i].get("quantity")
            or said.spans[i].get("dimension")
            or (_head(said, i) and not said.spans[i].get("term"))
        ):
            found.append(i)
    last = max(said.amounts(), default=at)
    for i in after:
        span = said.spans[i]
        near = span.get("dimension") and i <= at + 3
        if near or (span.get("quantity") and i > last) or span.get("thing") == "angle":
            found.append(i)
    return found
