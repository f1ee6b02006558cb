"""The trade's words with every form of each: a form finds the id, however it was said."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import product

from handsfree.finding.question import Group
from handsfree.grammar.grammar import Grammar, folder
from handsfree.grammar.words import read_sound_alikes
from handsfree.log.find_schema import SLOTS
from handsfree.records.limbs import LIMBS

_SIDES = {"left": "L", "near": "L", "right": "R", "off": "R"}
_ENDS = {**dict.fromkeys(("front", "fronts", "fore", "fores"), "F")} | {
    **dict.fromkeys(("hind", "hinds"), "H")
}
_KINDS = {
    "remark": ("remark", "remarks", "note", "notes"),
    "plan": ("plan", "plans"),
    "measurement": ("measurement", "measurements", "measure", "measures"),
    "finding": ("finding", "findings"),
    "nails": ("nail", "nails"),
    "shoe": ("shoe", "shoes"),
}
_PHRASES = {
    ("quantity", "body_condition"): ("body condition",),
    ("quantity", "laminitis"): ("laminitis", "laminitis grade"),
    ("term", "lameness"): ("lameness grade",),
    ("nail", "in_shoe"): ("nail count",),
    ("quantity", "below_hairline"): (
        *("below the hairline", "below hairline", "below the coronet"),
        "below the coronary band",
    ),
}
"""Phrases of the grammar's sentences that are no rows of its table."""

NEAR_COST = 0.2
"""Sound-alikes no dearer than this (grammar/soundalikes.csv) are slips of the typing too."""
LONGEST = 5


@dataclass(frozen=True)
class Trade:
    """What a form means: an id of each of these slots, any of which may be meant."""

    form: str
    ids: tuple[tuple[str, str], ...]

    @property
    def slot(self) -> tuple[str, ...]:
        """What one entry has only one of: two words of the same slot are alternatives."""
        return tuple(sorted({slot for slot, _ in self.ids}))

    def of(self, slot: str) -> tuple[str, ...]:
        """Its ids in a slot."""
        return tuple(id for each, id in self.ids if each == slot)


class Vocabulary:
    """Every form of every trade word."""

    def __init__(self, grammar: Grammar) -> None:
        self._forms: dict[tuple[str, str], list[str]] = {}
        by_form: dict[str, list[tuple[str, str]]] = {}
        rows = [(w.slot, w.id, w.forms) for w in grammar.table if w.slot in SLOTS]
        rows += [(slot, id, forms) for (slot, id), forms in _PHRASES.items()]
        rows += [("kind", kind, forms) for kind, forms in _KINDS.items()]
        for slot, id, forms in rows:
            for each in id.split("+") if slot == "limb" else (id,):
                of = self._forms.setdefault((slot, each), [])
                of += [form for form in forms if form not in of and "+" not in id]
                for form in forms:
                    pairs = by_form.setdefault(form, [])
                    pairs += [(slot, each)] if (slot, each) not in pairs else []
        for word in (*_SIDES, *_ENDS):
            limbs = [x for x in LIMBS if x[0] == _SIDES.get(word) or x[1] == _ENDS.get(word)]
            by_form[word] = [("limb", limb) for limb in limbs]
        for end in ("F", "H"):
            for side, word in product(_SIDES, [w for w, e in _ENDS.items() if e == end]):
                by_form[f"{side} {word}"] = [("limb", _SIDES[side] + end)]
        for limb in LIMBS:
            by_form[limb.casefold()] = [("limb", limb)]
        self._by_form = {form: Trade(form, tuple(ids)) for form, ids in by_form.items()}
        self.words = frozenset(word for form in by_form for word in form.split())
        self._respelled = self._sound_alikes()

    def _sound_alikes(self) -> dict[str, str]:
        found: dict[str, str] = {}
        for heard, meant in read_sound_alikes(folder() / "soundalikes.csv").items():
            near = {m: c for m, c in meant.items() if set(m.split()) <= self.words}
            if near and min(near.values()) <= NEAR_COST:
                found[heard] = min(near, key=lambda m: near[m])
        return found

    @property
    def forms(self) -> Iterable[str]:
        """All forms."""
        return self._by_form

    def at(self, words: Sequence[str], at: int) -> tuple[Trade, int] | None:
        """The longest form that begins at a place, and how many words it takes."""
        for length in range(min(LONGEST, len(words) - at), 0, -1):
            found = self._by_form.get(" ".join(words[at : at + length]))
            if found is not None:
                return found, length
        return None

    def named(self, form: str) -> Trade:
        """The trade word of a form."""
        return self._by_form[form]

    def respelled(self, words: Sequence[str], kept: Iterable[str]) -> list[str]:
        """The words with slips such as "heal" put right; `kept` ones stay as they are."""
        fixed, at, out = set(kept), 0, list[str]()
        while at < len(words):
            for length in (2, 1):
                said = words[at : at + length]
                meant = self._respelled.get(" ".join(said)) if len(said) == length else None
                new = length == 2 or not (said and (said[0] in self.words or said[0] in fixed))
                if meant is not None and new:
                    out += meant.split()
                    at += length
                    break
            else:
                out.append(words[at])
                at += 1
        return out

    def singular(self, word: str) -> str | None:
        """The form a plural is of, None where there is none."""
        for ending in ("es", "s"):
            one = word.removesuffix(ending)
            if one != word and one in self._by_form:
                return one
        return None

    def group(self, meant: Sequence[Trade]) -> Group:
        """What the index is asked for one of these words."""
        shown: list[str] = []
        alternatives: list[tuple[str, ...]] = []
        for trade in meant:
            for slot, id in trade.ids:
                alternatives.append((f"{SLOTS[slot]}{id}".casefold(),))
                for form in self._forms.get((slot, id), ()) if slot != "kind" else ():
                    own = tuple(f"{SLOTS['own']}{word}" for word in form.split())
                    alternatives.append(own)
        limbs = [id for trade in meant for id in trade.of("limb")]
        if limbs:
            shown.append(" or ".join(x for x in LIMBS if x in limbs))
        for trade in meant:
            if not trade.of("limb"):
                forms = [f for pair in trade.ids for f in self._forms.get(pair, ())]
                shown += [trade.form, *(f for f in forms if not _same(f, trade.form))]
        return Group(" or ".join(dict.fromkeys(shown)), tuple(dict.fromkeys(alternatives)))


def _same(one: str, other: str) -> bool:
    """Whether two forms are the singular and plural of one word."""
    return one.rstrip("s") == other.rstrip("s")
