"""A thing and its state, or a verb and its object, that make a finding or work together. Pure."""

from dataclasses import dataclass

from handsfree.language.clauses import Utterance
from handsfree.language.tables import Made, Tables


def made_work(said: Utterance, tables: Tables) -> None:
    """ "Took that flare off": a verb and a finding or place that are work together."""
    for work, verb, what in tables.made_work:
        for near in range(len(said.spans)):
            span = said.spans[near]
            if near in said.used or not set(what.split("|")) & {
                span.get("term"),
                span.get("zone"),
                span.get("thing"),
            }:
                continue
            if _has_length(said, near):
                continue
            following = said.spans[near + 1].get("thing") if near + 1 < len(said.spans) else None
            if what == "toe" and (_is_amount_of(said, near) or following == "nail"):
                continue
            clause = said.in_clause(near)
            verbs = [
                i
                for i in said.free("verb", clause)
                if verb in said.spans[i].all("verb") and abs(i - near) <= 5
            ]
            # A verb that is work by itself ("trimmed") gives way to one that is not.
            at = min(
                verbs, key=lambda i: (bool(said.spans[i].get("work")), abs(i - near)), default=None
            )
            if at is None or (what == "toe" and not _goes_back(said, at, near)):
                continue
            if what == "shoe":
                if not _comes_off(said, at, near):
                    continue
                if any(s.text in OUTDOORS for s in said.spans):
                    said.add("finding", at, (near,), term="lost_shoe")
                    continue
            said.add("work", at, (near,), action=work)


OF_IT = frozenset("it them that".split())


def made_of_it(said: Utterance, tables: Tables) -> None:
    """ "A bit of a flare, I've dressed it back": work on what was just found, which stays found."""
    for at, span in enumerate(said.spans):
        found = [f for f in said.frames if f.kind == "finding" and f.last < at]
        following = [w for s in said.spans[at : at + 2] for w in s.words]
        if at in said.used or not found or not OF_IT & set(following[1:3]):
            continue
        if any(f.at > at and said.clause[f.at] == said.clause[at] for f in said.frames):
            continue
        last = found[-1]
        work = next(
            (
                work
                for work, verb, what in tables.made_work
                if last.term in what.split("|") and verb in span.all("verb")
            ),
            "flare_dressed" if last.term == "flare" and span.get("work") == "shoe_pulled" else None,
        )
        if work is not None:
            said.add("work", at, (), action=work)


def _is_amount_of(said: Utterance, at: int) -> bool:
    """ "Eighty one mil of toe": what is left of it, not what was done."""
    return at >= 2 and said.spans[at - 1].text == "of" and said.spans[at - 2].amount is not None


def _has_length(said: Utterance, at: int) -> bool:
    """ "Took the toe back" is work, "toe length" never."""
    return said.spans[at].get("quantity") is not None


OUTDOORS = frozenset(
    (
        "in the field",
        "out in the field",
        "in the paddock",
        "in the mud",
        "in the yard",
        "out the field",
    )
)


def _comes_off(said: Utterance, at: int, near: int) -> bool:
    """A shoe is pulled where a verb and nothing else that is pulled stand beside it."""
    if any(said.spans[i].amount or said.spans[i].get("nail_word") for i in said.between(at, near)):
        return False
    if any(s.get("plan") == "next_time" for s in said.spans):
        return False
    words = {w for s in said.spans[at : max(at, near) + 3] for w in s.words}
    return (
        said.spans[at].words[-1] in ("pulled", "pull", "stripped", "drew", "drawn", "pulling")
        or "off" in words
    )


BACKWARDS = frozenset(
    "back off up dubbed backed dressed shortened dub dress knocked rolled".split()
)


def _goes_back(said: Utterance, at: int, near: int) -> bool:
    """A toe is dressed where it comes back or off, not where it is only trimmed or rasped."""
    places = range(min(at, near), min(max(at, near) + 3, len(said.spans)))
    words = {w for i in places for w in said.spans[i].words}
    return bool(words & BACKWARDS)


@dataclass(frozen=True)
class _Pair:
    made: Made
    state: int
    head: int
    distance: int


def made(said: Utterance, tables: Tables) -> None:
    """Things and states that stand together in a clause."""
    shared: set[int] = set()
    for at, span in enumerate(said.spans):
        if at in said.used or not span.get("state"):
            continue
        pairs = [
            pair
            for state in span.all("state")
            for made in tables.made.get(state, ())
            for pair in _pairs(said, made, at, shared)
            if _makes_sense(said, pair)
        ]
        best = min(
            pairs,
            key=lambda p: ("limb" in p.made.heads, p.distance, p.head > p.state),
            default=None,
        )
        if best is None:
            continue
        _add_made(said, best, tables)
        shared.add(best.head)


def _pairs(said: Utterance, made: Made, at: int, shared: set[int]) -> list[_Pair]:
    clause = said.in_clause(at)
    heads = [
        i for i in clause if i != at and (i not in said.used or i in shared or "limb" in made.heads)
    ]
    found = [i for i in heads if _names(said, i) & made.heads]
    if not found and said.clause[at] and not any(said.spans[i].get("thing") for i in clause):
        # "Heels low and contracted": the second state is of the same thing.
        counted = any(said.spans[i].get("nail_word") or said.spans[i].get("nails") for i in clause)
        counted &= any(said.spans[i].amount for i in clause)
        earlier = [] if counted else shared
        found = [i for i in earlier if said.clause[i] == said.clause[at] - 1]
        found = [i for i in found if _names(said, i) & made.heads]
        # "Flat soled both fores and thin on the off one"
        before = [f for f in said.frames if said.clause[f.at] == said.clause[at] - 1]
        found += [f.at for f in before if f.term in SOLES and "sole" in made.heads]
    return [_Pair(made, at, i, abs(at - i)) for i in found]


SOLES = frozenset(("flat_sole", "thin_sole", "dropped_sole"))
IN_PLACE = {"in_sole": "sole", "in_frog": "frog", "in_bulb": "bulb", "in_white_line": "white_line"}
"""Places that stand in a phrase with "in": "thin in the sole"."""


def _names(said: Utterance, at: int) -> set[str]:
    span = said.spans[at]
    names = {*span.all("thing"), *span.all("zone")}
    if span.get("side"):
        names.add("side")
    if span.get("limb"):
        names.add("limb")
    names |= {IN_PLACE[state] for state in span.all("state") if state in IN_PLACE}
    if span.get("quantity") in ("sole_depth", "frog_width"):
        names.add(str(span.get("quantity")).partition("_")[0])
    return names


FAR = 5
"""A thing and its state stand within so many spans of each other that carry something."""


WEAK = frozenset("up in out off there gone down of back short full through it".split())
"""States that are small words too: only right beside their thing do they say something of it."""


OTHERS = frozenset(("he", "she", "we"))
"""Whoever stands between a thing and its state does something else."""
BARELY = frozenset(("off", "away", "up"))
IS = frozenset("'s is are was were".split())


def _makes_sense(said: Utterance, pair: _Pair) -> bool:
    state = said.spans[pair.state]
    between = said.between(pair.state, pair.head)
    if sum(not carries_nothing(said, i) for i in between) > FAR:
        return False
    if any(said.spans[i].get("term") or said.spans[i].text in OTHERS for i in between):
        return False
    sized = state.get("dimension") or state.get("extent")
    if state.amount or (sized and any(said.spans[i].amount for i in between)):
        return False
    if pair.state > 0 and said.spans[pair.state - 1].amount and state.get("dimension"):
        return False
    if pair.made.term == "high_side":
        return pair.distance <= 3
    if "limb" in pair.made.heads:
        measured = any(
            said.spans[i].amount or said.spans[i].get("thing") for i in said.in_clause(pair.state)
        )
        return pair.distance == 1 and pair.head > pair.state and not measured
    before = said.spans[pair.state - 1].words[0] if pair.state else ""
    head = said.spans[pair.head].text
    if head == "something" and any(f.kind == "finding" for f in said.frames):
        return False
    if pair.made.term == "puncture" and said.spans[pair.head].text == "nails":
        # "Eight nails up in the near hind": those of the shoe.
        return False
    if pair.made.term == "lost_shoe" and state.text in BARELY and before not in IS:
        # "Wearing the inside off that shoe" loses no shoe.
        here = [said.spans[i] for i in said.in_clause(pair.state)]
        return not any(s.get("term") or s.get("shoe") for s in here)
    if pair.made.term == "separation" and any(
        f.term in ("seedy_toe", "white_line_disease") for f in said.frames
    ):
        return False
    if pair.made.term == "missing_nail" and any(
        said.spans[i].amount for i in said.in_clause(pair.state)
    ):
        return False
    if pair.made.term == "swelling" and state.text == "up":
        return before in IS
    if state.text in WEAK:
        # Between the two only what is no content, as in "pulse is up".
        return all(carries_nothing(said, i) for i in between)
    return pair.made.term != "missing_nail" or not any(f.term == "puncture" for f in said.frames)


def carries_nothing(said: Utterance, at: int) -> bool:
    """Whether a span only joins others: small words, degrees, feet."""
    span = said.spans[at]
    kinds = {c.kind for c in span.concepts} - {"moving", "talk", "grade", "limb", "relative"}
    return not kinds and span.amount is None and span.known


def _add_made(said: Utterance, pair: _Pair, tables: Tables) -> None:
    head = said.spans[pair.head]
    slots: dict[str, object] = {"term": pair.made.term}
    there = (*head.all("zone"), *(IN_PLACE[s] for s in head.all("state") if s in IN_PLACE))
    zone = next((z for z in there if z in pair.made.keeps), None)
    if zone:
        slots["zone"] = zone
    if pair.made.term == "high_side":
        slots["side"] = head.get("side")
    state_adds = tables.adds.get(pair.made.state)
    if state_adds:
        slots[state_adds[0]] = state_adds[1]
    for place in said.spans[pair.state].all("zone"):
        slots.setdefault("zone", place)
    said.add("finding", pair.state, (pair.head,), **slots)


OF_A_LIMB = {
    "loose": "loose_shoe",
    "sprung": "sprung_shoe",
    "shifted": "shifted_shoe",
    "dropped": "dropped_sole",
    "shedding": "shed_frog",
    "long": "long_toe",
}
"""What is meant where a state is said of the foot itself: "the off hind's loose"."""


def of_a_limb(said: Utterance) -> None:
    """States that are said of the foot itself, as "the off hind's loose"."""
    for at, span in enumerate(said.spans):
        if at in said.used or not span.get("state"):
            continue
        term = next((OF_A_LIMB[s] for s in span.all("state") if s in OF_A_LIMB), None)
        places = [i for i in said.in_clause(at) if i < at]
        limb = next((i for i in reversed(places) if said.spans[i].get("limb")), None)
        if term is None or limb is None or any(f.at > limb and f.at < at for f in said.frames):
            continue
        between = [said.spans[i] for i in said.between(limb, at)]
        following = said.spans[at + 1] if at + 1 < len(said.spans) else None
        if following and following.amount:
            continue
        if (
            between
            and between[0].words[0] in ("'s", "is", "was", "had")
            and all(carries_nothing(said, i) for i in said.between(limb, at))
        ):
            said.add("finding", at, (), term=term)


def shoes_off(said: Utterance) -> None:
    """ "Took the fronts off": the shoes, where nothing else is taken."""
    for at, span in enumerate(said.spans):
        before = said.spans[at - 1] if at else span
        foot = said.spans[at - 2].get("limb") if at > 1 else None
        if span.text == "off" and before.words[0] in ("are", "is", "'re") and foot:
            said.add("work", at, (), action="shoe_pulled")
    for at, span in enumerate(said.spans[:-1]):
        if at in said.used or not {"remove", "throw", "burn"} & set(span.all("verb")):
            continue
        clause = [i for i in said.in_clause(at) if i > at]
        limb = next((i for i in clause if said.spans[i].get("limb")), None)
        off = next(
            (
                i
                for i in clause
                if limb is not None and i == limb + 1 and said.spans[i].text == "off"
            ),
            None,
        )
        if limb is not None and off is not None:
            said.add("work", at, (off,), action="shoe_pulled")
        near = said.spans[at + 1 : at + 4]
        if (
            span.text in ("burnt", "burned")
            and any(s.get("limb") for s in near)
            and near[-1].text == "on"
        ):
            said.add("work", at, (), action="hot_fitted")
            continue
        near = near[:2]
        if span.text in ("cast", "threw", "thrown") and any(s.get("limb") for s in near):
            said.add("finding", at, (), term="lost_shoe")
            continue
        following = said.spans[at + 1]
        nails = any(s.get("nail_word") for s in said.spans[at + 2 :])
        if following.text in ("it", "them") and nails and at not in said.used and at <= 2:
            said.add("work", at, (), action="shoe_pulled")
