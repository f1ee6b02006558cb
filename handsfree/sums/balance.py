"""Is the foot in balance? Each foot in itself, and left against right, with the limits published.

Nothing is put together that was not measured on one day at one stage of the work: a trim changes
every number.
"""

from collections.abc import Iterator

from handsfree.records.entries import Measurement
from handsfree.records.limbs import LIMBS, PAIRS
from handsfree.sums import balance_checks as made
from handsfree.sums.balance_lines import lines
from handsfree.sums.foot import (
    LIMB_QUANTITIES,
    Check,
    Key,
    Known,
    is_of_its_kind,
    known,
    latest,
    questions,
)
from handsfree.sums.history import History, measures
from handsfree.sums.sources import CantSay

__all__ = ["Check", "checks", "lines", "missing", "odd"]

SIDES = (None, "medial", "lateral")


def checks(history: History, limb: str | None = None) -> list[Check]:
    """Every check that can be done, each at the latest visit that allows it.

    Before and after the trim where both were said. With `limb` only those this foot is part of.
    The limits, their units and sources are those of `guidelines`.
    """
    measured = known(history)
    found = [check for each in LIMBS for check in _of_foot(history, measured, each)]
    found += [check for pair in PAIRS for check in _of_pair(history, measured, pair)]
    return [check for check in found if limb is None or limb in check.limbs]


def missing(history: History, limb: str) -> list[CantSay]:
    """The checks of a foot that cannot be done, and what there is to measure."""
    measured = known(history)
    return [
        CantSay(f"{_why(history, measured, ways[0])} ({about})")
        for about, ways in _wanted(limb).items()
        if not latest(measured, ways)
    ]


def odd(history: History, limb: str) -> list[str]:
    """What to ask about the latest number of each measure of a foot, where it is odd."""
    said = dict.fromkeys(
        (entry.quantity, entry.side)
        for visit in history.visits
        for entry in visit.entries
        if isinstance(entry, Measurement) and entry.limb == limb and entry.quantity
    )
    found: list[str] = []
    for quantity, side in said:
        latest_said = measures(history, str(quantity), limb, side)[-1:]
        found += questions(history, [m for m in latest_said if is_of_its_kind(m)])
        found += [
            f"{_names([(m.quantity, limb, m.side)])} was said with a unit that cannot be"
            for m in latest_said
            if not is_of_its_kind(m)
        ]
    return list(dict.fromkeys(found))


def _wanted(limb: str) -> dict[str, list[list[Key]]]:
    """Ways to each check of a foot, the first one preferred."""
    toe, heel_height = _key("toe_length", limb), _key("heel_height", limb)
    both = {
        q: [_key(q, limb, "medial"), _key(q, limb, "lateral")]
        for q in ("heel_length", "heel_height")
    }
    angle = _key("hoof_angle", limb)
    return {
        "heel against toe angle": [[angle, _key("heel_angle", limb)]],
        "hoof against pastern": [[angle, _key("pastern_angle", limb)]],
        "inside against outside heel": [both["heel_length"], both["heel_height"]],
        "frog width to length": [[_key("frog_width", limb), _key("frog_length", limb)]],
        "toe to heel height": [
            [toe, heel_height, angle],
            [toe, *both["heel_height"], angle],
            [toe, heel_height],
            [toe, *both["heel_height"]],
        ],
    }


def _key(quantity: str, limb: str, side: str | None = None) -> Key:
    return quantity, limb, side


def _why(history: History, measured: Known, keys: list[Key]) -> str:
    wanting = [key for key in keys if not measured.get(key)]
    if not wanting:
        return f"{_names(keys)} were not measured at one time"
    heard = [
        key
        for key in wanting
        if any(_is(entry, key) for visit in history.visits for entry in visit.doubtful)
    ]
    if heard:
        return f"{_names(heard)} was not surely heard: confirm it at the review"
    if any(_is(entry, key) for v in history.visits for entry in v.entries for key in wanting):
        return f"{_names(wanting)} was said with a number or unit that cannot be"
    return f"no {_names(wanting, 'or')} was measured"


def _is(entry: object, key: Key) -> bool:
    return isinstance(entry, Measurement) and (entry.quantity, entry.limb, entry.side) == key


def _names(keys: list[Key], joint: str = "and") -> str:
    side = {"medial": "inside ", "lateral": "outside ", None: ""}
    return f" {joint} ".join(f"{side[s]}{quantity.replace('_', ' ')}" for quantity, _, s in keys)


def _of_foot(history: History, measured: Known, limb: str) -> Iterator[Check]:
    wanted = _wanted(limb)
    for row in latest(measured, wanted["heel against toe angle"]):
        yield made.heel_against_toe(history, limb, row)
    for row in latest(measured, wanted["hoof against pastern"]):
        yield made.hoof_against_pastern(history, limb, row)
    for keys in wanted["inside against outside heel"]:
        for row in latest(measured, [keys]):
            yield made.heels(history, limb, row)
    for row in latest(measured, wanted["frog width to length"]):
        yield made.frog(history, limb, row)
    for row in latest(measured, wanted["toe to heel height"]):
        yield made.toe_to_heel(history, limb, row)
    for row in latest(measured, [[_key("toe_length", limb), _key("heel_length", limb)]]):
        yield made.toe_to_heel_length(history, limb, row)
    for row in latest(measured, [[_key("hoof_angle", limb)]]):
        yield made.against_texts(history, limb, row)


def _of_pair(history: History, measured: Known, pair: tuple[str, str]) -> Iterator[Check]:
    for quantity in LIMB_QUANTITIES:
        for side in SIDES:
            for row in latest(measured, [[_key(quantity, limb, side) for limb in pair]]):
                yield made.left_right(history, pair, side, row)
