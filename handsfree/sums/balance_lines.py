"""The checks of a foot in words, for the eye and for the ear alike."""

from handsfree.records.units import Angle, Length, Quantity, Weight
from handsfree.sums import guidelines as limits
from handsfree.sums.foot import Check
from handsfree.sums.history import Measured, Stage
from handsfree.sums.sources import Source
from handsfree.sums.wording import Words


def lines(check: Check, words: Words) -> list[str]:
    """What was found, then what the source says of it, then what there is to ask."""
    who = " and ".join(words.limb(limb) for limb in check.limbs)
    when = words.day(check.on)
    if check.stage is not Stage.UNTOUCHED:
        when = f"{when}, {check.stage.value}"
    return [
        f"{who} {_found(check, words)} ({when})",
        _against(check, words),
        *(asked(question, words) for question in check.questions),
    ]


def shown(
    words: Words, value: Quantity | float, unit: str | None, limit: Quantity | float | None
) -> str:
    """A number, so close that it can be told from the limit it is held against."""
    bare, bar = _bare(value), None if limit is None else _bare(limit)
    for places in (1, 2, 3):
        if bar is None or abs(bare - bar) < 1e-6 or round(bare, places) != round(bar, places):
            break
    if not isinstance(value, Length | Angle | Weight):
        return words.number(value, places)
    unit = unit or "deg"
    if unit in ("cm", "in"):
        # A tenth of a cm is a mm, and the ear wants sixteenths of an inch.
        return words.measure(value, unit, None if places == 1 else places)
    return words.measure(value, unit, places)


def _bare(value: Quantity | float) -> float:
    return value.amount if isinstance(value, Length | Angle | Weight) else value


def asked(question: str, words: Words) -> str:
    """A question in words; the sign for degrees cannot be spoken."""
    return words.plain(question) if "°" not in question else words.plain(_no_sign(question))


def _no_sign(text: str) -> str:
    return text.replace("°", " degrees")


def _by(source: Source | None, words: Words) -> str:
    return words.plain(str(source)) if source else ""


def _value(measured: Measured, words: Words) -> str:
    places = 1 if measured.unit in ("deg", "mm") else None
    return words.measure(measured.value, measured.unit, places)


def _found(check: Check, words: Words) -> str:
    said = [_value(measured, words) for measured in check.values]
    names = [words.word("quantity", measured.quantity) for measured in check.values]
    number = "" if check.number is None else shown(words, check.number, check.unit, check.limit)
    one_to = f"{number} to {words.number(1)}"
    match check.id:
        case "heel_against_toe":
            way = {"even": "even with", "heel lower than toe": f"{number} less than"}
            way |= {"heel steeper than toe": f"{number} more than"}
            return f"heel angle {way[check.direction]} the toe angle: {said[1]} and {said[0]}"
        case "hoof_against_pastern":
            if check.direction == "in line":
                return f"hoof and pastern in line: {said[0]} and {said[1]}"
            way = {"hoof lower than pastern": "less", "hoof steeper than pastern": "more"}
            less = way[check.direction]
            return f"hoof angle {number} {less} than the pastern: {said[0]} and {said[1]}"
        case "heels" | "heel_heights":
            by = f"{check.direction} by {number}" if check.direction != "even" else "even"
            return f"{names[0]}, inside against outside: {by}: {said[0]} and {said[1]}"
        case "frog":
            return f"frog width {number} per cent of its length: {said[0]} and {said[1]}"
        case "toe_to_heel" if "hoof_angle" in (m.quantity for m in check.values):
            return f"toe to heel height {one_to}: {_and(names, said)}"
        case "toe_to_heel" | "toe_to_heel_length":
            return f"{names[0]} to {names[1]} {one_to}: {_and(names, said)}"
        case "hoof_angle_in_texts":
            if check.direction == "even":
                return f"hoof angle {said[0]}, as in {_by(check.source, words)}"
            by = f"{number} {check.direction} than in {_by(check.source, words)}"
            return f"hoof angle {said[0]}, {by}"
        case _:
            side = f"{words.word('side', check.side)} " if check.side else ""
            by = f"{check.direction} by {number}" if check.direction != "even" else "even"
            return f"{side}{names[0]} {by}: {said[0]} and {said[1]}"


def _and(names: list[str], said: list[str]) -> str:
    return ", ".join(f"{name} {value}" for name, value in zip(names, said, strict=True))


def _against(check: Check, words: Words) -> str:
    by = _by(check.source, words)
    limit = "" if check.limit is None else shown(words, check.limit, check.unit, None)
    other = [_by(each, words) for each in check.also]
    match check.id:
        case "heel_against_toe" if check.source is limits.REVIEW:
            return f"{_over(check)}: heel within {limit} of the front wall ({by})"
        case "heel_against_toe":
            near = f"heel within {limit} of the front wall ({other[0]})"
            return f"{_over(check)}: {by} calls {limit} or more under-run; {near}"
        case "hoof_against_pastern":
            near = f"within {limit} is called in line here ({other[0]})"
            if not check.beyond:
                return near
            name = "broken-back" if check.name == "broken_back_axis" else "broken-forward"
            return f"{by} calls it a {name} axis; {near}"
        case "heels" | "heel_heights":
            low = words.measure(limits.HEELS_IGNORED_BELOW, "mm")
            high = words.measure(limits.HEELS_ACTED_ABOVE, "mm")
            of_height = (
                "; said of heel length, put to height here" if check.id == "heel_heights" else ""
            )
            return (
                f"{_over(check)}: {limit} or more is called sheared ({by}); "
                f"under {low} to ignore, over {high} to act on ({other[0]}){of_height}"
            )
        case "frog":
            return f"{_over(check)}: {by} calls less than {limit} per cent contracted"
        case "toe_to_heel":
            rule = f"no more than {limit} to {words.number(1)} in height ({by})"
            if check.beyond is None:
                return f"no guideline for toe length; {rule}: measure the hoof angle too"
            return f"{_over(check)}: {rule}"
        case "toe_to_heel_length":
            two, four = (words.number(n) for n in limits.TOE_TO_HEEL_LENGTH)
            one = words.number(1)
            return (
                f"no guideline, they disagree: {two} to {one} ({by}), {four} to {one} ({other[0]})"
            )
        case "hoof_angle_in_texts":
            also = ""
            if limits.LUNGWITZ in check.also:
                low, high = (words.measure(a, "deg") for a in (Angle(50), Angle(55)))
                also = f", {low} to {high} ({_by(limits.LUNGWITZ, words)})"
            return (
                f"no guideline: they say about {limit}{also}; today the horse's own "
                f"hoof-pastern line counts ({other[-1]})"
            )
        case _ if check.beyond is not None:
            return f"{_over(check)}: more than {limit} is called mismatched ({by})"
        case _:
            return "no guideline"


def _over(check: Check) -> str:
    return "beyond" if check.beyond else "within"
