"""What each number is of: a measure, nails, a size, a length of a mark, a grade."""

from fractions import Fraction

from handsfree.language.clauses import Frame, Utterance
from handsfree.language.marks import MARKS
from handsfree.language.numbers import Amount, plain
from handsfree.records.entries import ScaleGrade
from handsfree.records.units import to_mm

MOST_NAILS = 14
"""A bare number above this is no count of nails (eight is usual, ten on the largest shoes)."""

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
    _scales(said)
    _lame_by_a_number(said)
    _stands(said)
    _hands_said_apart(said)
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
        if said.spans[at].text == "one" and not _nail_words(said) and not _just_left(said, at):
            said.used.add(at)
            continue
        quantity = _own(said, at, amount) or _explicit(said, at)
        mark = None if quantity else _mark_of(said, at)
        if mark is not None and _give_length(said, at, amount, mark):
            continue
        if quantity is None and (_is_of_shoe(said, at) or _is_nails(said, at, amount)):
            continue
        if quantity is None and amount.unit in ("mm", "cm", "in") and _of_work(said, at):
            said.used.add(at)
            continue
        quantity = quantity or _composed(said, at, amount) or _inherited(said, amount, last)
        if quantity is not None and _measured(said, at, amount, quantity):
            last = quantity
    _nails(said)
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
    here = [f for f in said.frames if said.clause[f.at] == said.clause[at]]
    return bool(here) and all(
        f.slots.get("action") in ("toe_dressed", "flare_dressed", "resected") for f in here
    )


def _scales(said: Utterance) -> None:
    """ "Two out of five lame", "obel two", "body condition five and a half"."""
    for at, span in enumerate(said.spans):
        if not span.get("of_five") and not span.get("scale"):
            continue
        scales = [i for i in range(len(said.spans)) if said.spans[i].get("scale")]
        if span.get("of_five"):
            number = at - 1 if at and said.spans[at - 1].amount else None
            near = said.nearest(at, scales)
        else:
            number = _number_beside(said, at)
            near = at
        if number is None or number in said.used:
            continue
        scale = said.spans[near].get("scale") if near is not None else "lameness"
        if scale == "lameness" and any(s.get("term") == "laminitis" for s in said.spans):
            scale = "laminitis"
        amount = said.spans[number].amount
        assert amount is not None
        assert scale is not None
        if (
            amount.unit
            or not _on_scale(scale, amount.value)
            or (
                near is not None
                and near in said.used
                and not span.get("of_five")
                and span.get("term")
            )
        ):
            continue
        words = said.spans[near].words if near is not None else ()
        if not span.get("of_five") and not {"grade", "score", "obel", "condition", "s"} & set(
            words
        ):
            continue
        slots: dict[str, object] = {"scale_grade": ScaleGrade(scale, float(amount.value))}
        if scale != "body_condition":
            slots["term"] = scale
        taken = {number, *([near] if near is not None else [])}
        old = next((f for f in said.frames if f.term == scale), None)
        if old is not None:
            old.slots.update(slots)
            said.used |= {at, *taken}
            old.first, old.last = min(old.first, at, number), max(old.last, at, number)
            continue
        frame = said.add("finding", number if near is None else near, (at, *taken), **slots)
        frame.of_horse = scale == "body_condition"


def _on_scale(scale: str, value: Fraction) -> bool:
    most = {"lameness": 5, "body_condition": 9, "laminitis": 4}[scale]
    return (0 if scale == "lameness" else 1) <= value <= most


def _number_beside(said: Utterance, at: int) -> int | None:
    for step in (1, 2, 3, -1):
        there = at + step
        if 0 <= there < len(said.spans):
            span = said.spans[there]
            if span.amount:
                return there
            if step > 0 and (span.get("term") or span.get("zone")):
                return None
    return None


def _lame_by_a_number(said: Utterance) -> None:
    """ "Lame off fore, maybe a two": a bare number beside lameness is its grade."""
    lame = next((f for f in said.frames if f.term == "lameness" and not f.denied), None)
    for at in said.amounts():
        amount = said.spans[at].amount
        if lame is None or amount is None or "scale_grade" in lame.slots or said.free("nails"):
            continue
        if (
            amount.unit is None
            and not amount.rough
            and amount.value <= 5
            and at == len(said.spans) - 1
        ):
            lame.slots["scale_grade"] = ScaleGrade("lameness", float(amount.value))
            said.used.add(at)


def _stands(said: Utterance) -> None:
    """ "Stands sixteen": a number of hands, where it is said of nothing else."""
    words = {w for s in said.spans for w in s.words}
    numbers = said.amounts()
    if not words & {"stands", "measures", "sticks", "stood"} or len(numbers) != 1:
        return
    amount = said.spans[numbers[0]].amount
    named = any(s.get("zone") or s.get("thing") or s.get("dimension") == "wide" for s in said.spans)
    if amount and amount.unit is None and 9 <= amount.value <= 19 and not named and not said.frames:
        frame = said.add(
            "measurement", numbers[0], (), quantity="height", value=amount.number, unit="hands"
        )
        frame.slots["unit_inferred"] = True
        frame.of_horse = True


def _hands_said_apart(said: Utterance) -> None:
    """ "Eighteen two hands", "fifteen three to the wither": hands and inches said apart."""
    spans = said.spans
    for at in range(len(spans) - 1):
        one, two = spans[at].amount, spans[at + 1].amount
        if one is None or two is None or {at, at + 1} & said.used:
            continue
        alone = (
            len([s for s in spans if s.amount]) == 2 and not said.frames and not said.free("nails")
        )
        alone = alone and not any(
            s.get("zone") or s.get("side") or s.get("shoe") or s.get("nail_word") for s in spans
        )
        stood = any({"stands", "stood", "measures", "sticks"} & set(s.words) for s in spans)
        tall = (
            two.unit == "hands"
            or alone
            or stood
            or any(s.get("quantity") == "height" for s in spans)
        )
        if tall and one.unit is None and 8 <= one.value <= 20 and two.value in (1, 2, 3):
            value = one.value + two.value / 10
            frame = said.add(
                "measurement", at, (at + 1,), quantity="height", value=plain(value), unit="hands"
            )
            frame.of_horse = True
            _use_quantity(said, "height")


def _use_quantity(said: Utterance, quantity: str) -> None:
    for i, span in enumerate(said.spans):
        if span.get("quantity") == quantity:
            said.used.add(i)


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
    if said.spans[at].text == "one" and _just_left(said, at):
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
    ) or any("stud" in s.text for s in said.spans)
    return studs and not any("nail" in s.text or s.text in ("drove", "driven") for s in said.spans)


def _just_left(said: Utterance, at: int) -> bool:
    """ "Left one in": one nail."""
    return at > 0 and said.spans[at - 1].text in (
        "left",
        "lost",
        "pulled",
        "drew",
        "leave",
        "leaving",
    )


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


def _is_of_shoe(said: Utterance, at: int) -> bool:
    """Sizes, sections and the number of studs are told by the shoe."""
    return any(f.kind == "shoe" and f.first <= at <= f.last for f in said.frames)


def _is_nails(said: Utterance, at: int, amount: Amount) -> bool:
    """Whether a bare number counts nails; `_nails` reads it then."""
    if amount.unit is not None or amount.value.denominator != 1 or amount.value > MOST_NAILS:
        return False
    following = said.spans[at + 1] if at + 1 < len(said.spans) else None
    if following and following.get("dimension") and not following.get("verb"):
        return False
    return (
        bool(_nail_words(said))
        or bool(_apiece(said))
        or _in_foot(said, at)
        or _weak_verb_beside(said, at)
    )


def _in_foot(said: Utterance, at: int) -> bool:
    """ "Eight in this near fore": with nothing else said, the nails of its shoe."""
    following = said.spans[at + 1 : at + 5]
    if said.frames or not following or following[0].text != "in":
        return False
    amount = said.spans[at].amount
    assert amount is not None
    sided = said.spans[at + 1].get("side") if at + 1 < len(said.spans) else None
    return (
        3 <= amount.value <= 12
        and not sided
        and any(s.get("limb") or s.get("relative") for s in following)
    )


def _weak_verb_beside(said: Utterance, at: int) -> bool:
    """ "Put six in", "six out": a small verb right beside the number counts nails."""
    if any(s.get("quantity") or s.get("dimension") == "angle" for s in said.spans):
        return False
    places = [i for i in range(at - 2, at + 3) if 0 <= i < len(said.spans) and i != at]
    return any(said.spans[i].get("nails") and i not in said.used for i in places)


def _nail_words(said: Utterance) -> list[int]:
    found = [
        i for i, s in enumerate(said.spans) if s.get("nail_word") and not _part_of_mark(said, i)
    ]
    return found + [i for i in said.free("nails") if said.spans[i].text not in WEAK_ALONE]


WEAK_ALONE = frozenset(
    "away off out short down took take gone put set got in tapped used left dropped shed".split()
)
"""Verbs that count nails only beside a number."""


def _part_of_mark(said: Utterance, at: int) -> bool:
    after = " ".join(w for s in said.spans[at + 1 : at + 3] for w in s.words)
    if after in ("'s out", "is out", "'s pulled", "out"):
        return False
    return any(f.kind == "finding" and f.first <= at <= f.last for f in said.frames)


def _apiece(said: Utterance) -> list[int]:
    return [
        i
        for i, s in enumerate(said.spans)
        if {"apiece", "each", "per"} & set(s.words) or s.get("side") == "both"
    ]


def _composed(said: Utterance, at: int, amount: Amount) -> str | None:
    """A quantity that a place and a dimension make: "frog's fifty five wide", "toe's at eighty"."""
    before, after = _window(said, at)
    dimension = at - 1 if at and said.spans[at - 1].get("dimension") else None
    if dimension is None:
        dimension = next((i for i in after if said.spans[i].get("dimension") and i <= at + 3), None)
    if dimension is None:
        dimension = next((i for i in before if said.spans[i].get("dimension")), None)
    same = [i for i in after if said.clause[i] == said.clause[at]]
    heads = [i for i in (*before, *same) if _head(said, i)]
    if after and _head(said, after[0]) and _number_first(said):
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


# Nails

SINGLE = ("a nail", "the nail", "that nail", "one nail", "nail")


def _nails(said: Utterance) -> None:
    """Counts of nails, each with its verb: the nearest, and one verb for several counts."""
    counts = [
        i
        for i in said.amounts()
        if _is_nails(said, i, said.spans[i].amount) and not _is_of_shoe(said, i)  # type: ignore[arg-type]
    ]
    verbs = [i for i in said.free("nails")]
    words = [
        i for i, s in enumerate(said.spans) if s.get("nail_word") and not _part_of_mark(said, i)
    ]
    _pulled_again(said, verbs)
    if not counts:
        _uncounted(said, verbs, words)
        return
    taken: dict[int, list[int]] = {}
    for count in counts:
        verb = _verb_of(said, count, verbs, counts)
        if verb is None and not words and not _apiece(said) and not _in_foot(said, count):
            continue
        action = _action(said, verb, count) if verb is not None else _without_verb(said)
        if action is None:
            continue
        amount = said.spans[count].amount
        assert amount is not None
        near = [w for w in words if abs(w - count) <= 3]
        belongs = [*near, *([] if verb is None else [verb])]
        frame = said.add("nails", count, (), action=action, count=int(amount.value))
        said.used |= set(belongs)
        if verb is not None and len(taken.setdefault(verb, [])) == 0:
            frame.first, frame.last = min(frame.first, *belongs), max(frame.last, *belongs)
        if verb is not None:
            taken[verb].append(count)
    _rest(said, verbs)


def _pulled_again(said: Utterance, verbs: list[int]) -> None:
    """ "I've pricked him, pulled it straight out": the nail that pricked."""
    pricked = [f for f in said.frames if f.term in ("nail_prick", "nail_bind")]
    for verb in verbs:
        if verb in said.used or not pricked or said.spans[verb].get("nails") != "pulled":
            continue
        following = [w for s in said.spans[verb : verb + 4] for w in s.words]
        if "it" in following[1:3] or "nail" in following or following[-1:] == ["out"]:
            said.add("nails", verb, (), action="pulled", count=1)
            return


def _verb_of(said: Utterance, count: int, verbs: list[int], counts: list[int]) -> int | None:
    """The verb of a count: one in its clause, else the one for all."""
    here = [v for v in verbs if said.clause[v] == said.clause[count]]
    strong = [v for v in here if said.spans[v].text not in WEAK_ALONE]
    candidates = strong or here or [v for v in verbs if said.spans[v].text not in WEAK_ALONE]
    if not candidates:
        return None
    if any(c < candidates[0] for c in counts):
        # The verb comes after its count throughout: "seven nails pulled eight drove".
        after = [v for v in candidates if v > count]
        return after[0] if after else candidates[-1]
    before = [v for v in candidates if v < count]
    return before[-1] if before else candidates[0]


def _action(said: Utterance, verb: int, count: int) -> str | None:
    span = said.spans[verb]
    actions = span.all("nails")
    words = {
        w
        for i in range(min(verb, count), min(max(verb, count) + 3, len(said.spans)))
        for w in said.spans[i].words
    }
    had = {"had", "has", "have", "'d", "'s"} & set(said.spans[max(0, verb - 1)].words)
    if span.text == "got" and had and words & {"nails", "nail"}:
        return "in_shoe"
    if span.text in ("left", "leaving", "leave"):
        return "left_in"
    if had and actions[0] == "driven" and span.text in ("in", "nails in"):
        return "in_shoe"
    if span.text in ("took", "take", "taking", "had", "got") and "out" in words:
        return "pulled"
    if span.text == "took" and "nails" in words:
        return "pulled"
    if "lost" in actions and span.text in ("gone", "missing", "lost", "short", "down"):
        return "lost"
    if "in_shoe" in actions:
        return "in_shoe"
    return actions[0]


def _without_verb(said: Utterance) -> str | None:
    """Nails in a foot without a verb are those that were found in its shoe."""
    if any(f.slots.get("action") == "shoe_pulled" for f in said.frames):
        return "pulled"
    if _apiece(said) or any(s.get("side") == "both" for s in said.spans):
        return "driven"
    shod = ("shoe_reset", "new_shoe")
    put_on = any(f.kind == "shoe" or f.slots.get("action") in shod for f in said.frames)
    return "driven" if put_on else "in_shoe"


def _uncounted(said: Utterance, verbs: list[int], words: list[int]) -> None:
    """ "Nails out near fore", "drew the heel nail"; one nail where the word is singular."""
    for verb in verbs:
        named = {"nail", "nails"} & set(said.spans[verb].words)
        action = _action(said, verb, verb) if named and verb not in said.used else None
        if action not in (None, "in_shoe"):
            said.add("nails", verb, (), action=action, count=1 if "nail" in named else None)
    for word in words:
        here = [v for v in verbs if said.clause[v] == said.clause[word] and v not in said.used]
        near = said.nearest(word, here)
        if near is None or abs(near - word) > 5:
            continue
        action = _action(said, near, word)
        if action in (None, "in_shoe"):
            continue
        single = said.spans[word].words[-1] == "nail"
        said.add("nails", near, (word,), action=action, count=1 if single else None)
    _rest(said, verbs)


def _rest(said: Utterance, verbs: list[int]) -> None:
    """ "Pulled the rest": nails without a number."""
    for verb in verbs:
        if verb in said.used:
            continue
        following = {w for s in said.spans[verb + 1 : verb + 3] for w in s.words}
        action = said.spans[verb].get("nails")
        if "rest" in following and action in ("pulled", "driven", "left_in"):
            said.add("nails", verb, (), action=action)
