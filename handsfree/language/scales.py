"""Grades on a scale, and heights in hands. Pure."""

from fractions import Fraction

from handsfree.language.clauses import Utterance
from handsfree.language.numbers import plain
from handsfree.records.entries import ScaleGrade


def scales(said: Utterance) -> None:
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
        slots: dict[str, object] = {"scale_grade": ScaleGrade(scale, plain(amount.value))}
        if scale != "body_condition":
            slots["term"] = scale
        taken = {number, *([near] if near is not None else [])}
        old = next((f for f in said.frames if f.term == scale), None)
        if old is not None:
            old.slots.update(slots)
            said.used |= {at, *taken}
            old.at = min(old.at, number)
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


def lame_by_a_number(said: Utterance) -> None:
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
            lame.slots["scale_grade"] = ScaleGrade("lameness", plain(amount.value))
            said.used.add(at)


def stands(said: Utterance) -> None:
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


def hands_said_apart(said: Utterance) -> None:
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
