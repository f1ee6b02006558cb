"""Which feet words name, where the words are no sentence of the grammar."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from handsfree.grammar.words import TradeWord
from handsfree.records.limbs import PAIRS

OF_A_FOOT = frozenset({"foot", "feet", "hoof", "hooves", "leg", "legs"})
"""What "left" and "right" are said of, where they are not said of talk ("right, stand over")."""

TELLING = frozenset({"term", "zone", "work", "quantity", "shoe", "nail"})
"""Slots of the words table that are spoken of a foot."""

SHORTEST = 3
"""Letters of the shortest word that tells anything by itself; "in" and "of" are shorter."""


@dataclass(frozen=True)
class NamedLimbs:
    """The feet that words name.

    `limbs` are of the one name that was said, empty where there is none or several. `sure` is
    false where a foot is spoken of, but nobody can tell for certain which: by half a name ("the
    left one has a crack"), by two names, or by a name that does not lead the words.
    """

    limbs: tuple[str, ...] = ()
    sure: bool = True


NO_LIMB = NamedLimbs()
"""Nothing was said of any foot."""


RELATIVE = frozenset({"left", "right", "other", "pair"})
"""Feet that are named by the one in force: "the other one", "the pair of them"."""


def resolved(limbs: Sequence[str], in_force: Sequence[str]) -> tuple[str, ...] | None:
    """The limbs with those that are relative put in full; None where the one in force is needed
    and does not tell."""
    found: list[str] = []
    for limb in limbs:
        if limb not in RELATIVE:
            found.append(limb)
            continue
        pair = next((p for p in PAIRS if in_force and set(in_force) <= set(p)), None)
        if pair is None or (limb == "other" and len(in_force) != 1):
            return None
        if limb == "pair":
            found += pair
        elif limb == "other":
            found += [each for each in pair if each not in in_force]
        else:
            found.append(pair[limb == "right"])
    return tuple(dict.fromkeys(found))


def limbs_named(
    said: Sequence[str], table: Iterable[TradeWord], small: Collection[str] = ()
) -> NamedLimbs:
    """The feet that these words name; `small` are words that may stand before anything."""
    # Words such as "back" or "high side" are talk as often as not.
    table = tuple(word for word in table if word.in_sentences)
    feet = [word for word in table if word.slot == "limb"]
    names = {tuple(form.split()): word.id for word in feet for form in word.forms}
    ends = {form.split()[-1] for word in feet if "+" not in word.id for form in word.forms}
    sides = {form.split()[0] for word in feet if "+" not in word.id for form in word.forms}
    others = [tuple(form.split()) for word in table if word.slot != "limb" for form in word.forms]
    # "Left in" and "left barefoot" are no half of a foot's name.
    longer = {form for form in others if len(form) > 1 and sides & set(form)}
    telling = {
        each
        for word in table
        if word.slot in TELLING
        for form in word.forms
        for each in form.split()
        if len(each) >= SHORTEST
    } - (ends | sides)

    found: list[str] = []
    leads = half = side = told = False
    at, begun = 0, False
    while at < len(said):
        name = _longest(names, said, at)
        if name:
            leads = leads or not begun
            found.append(names[name])
        elif other := _longest(longer, said, at):
            name, told = other, True
        else:
            half = half or said[at] in ends
            side = side or said[at] in sides
            told = told or said[at] in telling or said[at] in OF_A_FOOT
        begun = begun or bool(name) or said[at] not in small
        at += len(name) or 1
    if len(set(found)) == 1:
        return NamedLimbs(tuple(found[0].split("+")), leads)
    return NamedLimbs(sure=not (found or half or (side and told)))


def _longest(forms: Collection[tuple[str, ...]], said: Sequence[str], at: int) -> tuple[str, ...]:
    """The longest of these forms that stands at this place, empty where none does."""
    here = (form for form in forms if tuple(said[at : at + len(form)]) == form)
    return max(here, key=len, default=())
