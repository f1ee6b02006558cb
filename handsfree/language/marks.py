"""Findings: terms said outright, a thing and its state, and what is said about them besides."""

import re
from dataclasses import dataclass

from handsfree.language.clauses import Frame, Utterance
from handsfree.language.tables import Made, Tables

MARKS = frozenset(
    """high_side bruise crack separation seedy_toe white_line_disease abscess cut growth_ring
    chip wall_loss keratoma canker puncture wear corn thrush flare dish
    stretched_white_line overreach""".split()
)
"""Findings that have a length or a distance below the hairline."""

AGED = MARKS | frozenset(
    {"laminitis", "sidebone", "ringbone", "swelling", "nail_prick", "mud_fever"}
)
"""Findings that may be old or fresh; of others "old" is only a way of speaking."""

NO_PLACE = frozenset(
    """long_toe low_heel underrun_heels contracted_heels thin_sole flat_sole dropped_sole
    narrow_frog shed_frog folded_bar base_narrow base_wide toed_in toed_out club_foot
    broken_back_axis broken_forward_axis laminitis forging stumbling winging lameness raised_pulse
    bounding_pulse risen_clinch loose_clinch missing_nail loose_shoe lost_shoe high_side""".split()
)
"""Findings that only rarely have a place: another one in the same clause takes it first."""


def find(said: Utterance, tables: Tables) -> None:
    """Make a frame of each finding."""
    _made_work(said, tables)
    for at in said.free("term"):
        concept = said.spans[at].concept("term")
        assert concept is not None
        if _is_other(said, at):
            continue
        said.add("finding", at, (), term=concept.id, **dict(concept.adds))
    _made(said, tables)
    _of_a_limb(said)
    _pulse_alone(said)


def _is_other(said: Utterance, at: int) -> bool:
    """Whether a word that may be a finding is something else here."""
    span = said.spans[at]
    if span.get("scale") and _graded_at(said, at):
        return False
    following = said.spans[at + 1].words[0] if at + 1 < len(said.spans) else ""
    if span.text == "cut" and following in AFTER_VERB:
        return True
    if span.get("term") in ("laminitis", "abscess") and following in HORSES:
        return True
    return span.get("detail") is not None and any(
        said.spans[i].get("shoe") or said.spans[i].get("work") == "hot_fitted"
        for i in (at - 1, at + 1)
        if 0 <= i < len(said.spans)
    )


AFTER_VERB = frozenset("the all out back away him her it that some down off his".split())
"""After these "cut" is what the farrier did, not what he found."""


HORSES = frozenset("pony ponies mare horse gelding cob foot case one donkey colt filly".split())
"""Of these a finding only says which is meant: "the lami pony", "the abscess foot"."""


def _graded_at(said: Utterance, at: int) -> bool:
    return any(s.get("of_five") for s in said.spans[at:])


def _made_work(said: Utterance, tables: Tables) -> None:
    """ "Took that flare off": a verb and a finding or place that are work together."""
    for work, (verb, what) in tables.made_work.items():
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
        said.spans[at].words[-1] in ("pulled", "pull", "stripped", "drew", "pulling")
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


def _made(said: Utterance, tables: Tables) -> None:
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
        best = min(pairs, key=lambda p: (p.distance, p.head > p.state), default=None)
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
        found = [i for i in shared if said.clause[i] == said.clause[at] - 1]
        found = [i for i in found if _names(said, i) & made.heads]
    return [_Pair(made, at, i, abs(at - i)) for i in found]


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


def _makes_sense(said: Utterance, pair: _Pair) -> bool:
    state = said.spans[pair.state]
    between = said.between(pair.state, pair.head)
    if sum(not _carries_nothing(said, i) for i in between) > FAR:
        return False
    if any(said.spans[i].get("term") for i in between):
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
    if pair.made.term == "separation" and any(
        f.term in ("seedy_toe", "white_line_disease") for f in said.frames
    ):
        return False
    if " ".join(state.words) in WEAK or state.text in WEAK:
        # Between the two only what is no content, as in "pulse is up".
        return all(_carries_nothing(said, i) for i in between)
    if pair.made.term == "missing_nail":
        if any(f.term == "puncture" for f in said.frames):
            return False
        return not any(said.spans[i].amount for i in said.in_clause(pair.state))
    return True


def _carries_nothing(said: Utterance, at: int) -> bool:
    span = said.spans[at]
    kinds = {c.kind for c in span.concepts} - {"moving", "talk", "grade", "limb", "relative"}
    return not kinds and span.amount is None and span.known


def _add_made(said: Utterance, pair: _Pair, tables: Tables) -> None:
    head = said.spans[pair.head]
    slots: dict[str, object] = {"term": pair.made.term}
    zone = next((z for z in head.all("zone") if z in pair.made.keeps), None)
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


def _of_a_limb(said: Utterance) -> None:
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
            and all(_carries_nothing(said, i) for i in said.between(limb, at))
        ):
            said.add("finding", at, (), term=term)


def shoes_off(said: Utterance) -> None:
    """ "Took the fronts off": the shoes, where nothing else is taken."""
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


LIES_IN = {
    "thin_sole": "sole",
    "flat_sole": "sole",
    "dropped_sole": "sole",
    "narrow_frog": "frog",
    "shed_frog": "frog",
}
"""The place that "it" means after one of these."""


def of_it(said: Utterance) -> None:
    """ "Sole's thin and she's tender across it": the place that was spoken of before."""
    for frame in said.frames:
        following = " ".join(
            w for s in said.spans[frame.last + 1 : frame.last + 4] for w in s.words
        )
        if frame.term == "swelling" and not frame.slots.get("zone") and frame.at:
            _swollen_there(said, frame)
        if frame.term != "tender" or frame.slots.get("zone") or not OF_IT.match(following):
            continue
        for before in reversed([f for f in said.frames if f.at < frame.at]):
            measured = str(before.slots.get("quantity", "")).partition("_")
            zone = before.slots.get("zone") or LIES_IN.get(before.term or "")
            zone = zone or (
                measured[0]
                if measured[2] in ("depth", "width") and measured[0] in ("sole", "frog")
                else None
            )
            if zone:
                frame.slots["zone"] = zone
                break


def _swollen_there(said: Utterance, frame: Frame) -> None:
    """ "Knee's got a scrape on it, it's a bit swollen"."""
    clause = {w for i in said.in_clause(frame.at) for w in said.spans[i].words}
    before = [f for f in said.frames if f.at < frame.at and f.slots.get("zone") in LEG]
    if before and "it" in clause:
        frame.slots["zone"] = before[-1].slots["zone"]


LEG = frozenset("knee hock fetlock cannon pastern".split())
OF_IT = re.compile(r"(across|over|on|in|round|all over|right across) it\b")


def _pulse_alone(said: Utterance) -> None:
    """A pulse that is spoken of at all is one that can be felt."""
    for at, span in enumerate(said.spans):
        if at in said.used or span.get("thing") != "pulse":
            continue
        clause = said.in_clause(at)
        usual = next(
            (i for i in said.free("state", clause) if "usual" in said.spans[i].all("state")), None
        )
        denied = usual is not None and abs(usual - at) <= 4
        frame = said.add(
            "finding", at, (usual,) if denied and usual is not None else (), term="raised_pulse"
        )
        frame.denied = denied


# What is said about a finding besides


@dataclass(frozen=True)
class Place:
    """A place of the foot: a zone, a side, or both, at the spans `first` to `last`."""

    first: int
    last: int
    zone: str | None
    side: str | None


def places(said: Utterance, tables: Tables) -> list[Place]:
    """The places that are not used yet, a zone and a side beside each other as one."""
    found: list[Place] = []
    for at, span in enumerate(said.spans):
        if at in said.used:
            continue
        zone, side = span.get("zone"), span.get("side")
        if side is None and at and said.spans[at - 1].amount and span.text in OPPOSITE:
            # "Three inside, four out"
            sided = at + 1 < len(said.spans) and bool(said.spans[at + 1].get("side"))
            sided |= any("left" in s.words for s in said.spans)
            if not sided and any(s.get("side") == OPPOSITE[span.text] for s in said.spans):
                side = "lateral" if span.text == "out" else "medial"
        if side == "same":
            side = next(
                (
                    str(f.slots["side"])
                    for f in reversed(said.frames)
                    if f.at < at and f.slots.get("side")
                ),
                None,
            )
        for state in span.all("state"):
            if not zone and state in tables.adds:
                zone = tables.adds[state][1]
        if zone and at and ABOVE & set(w for t in said.spans[max(0, at - 2) : at] for w in t.words):
            # Above the coronet is not at it.
            said.used.add(at)
            continue
        if not zone and not side:
            continue
        following = " ".join(w for s in said.spans[at + 1 : at + 3] for w in s.words)
        if side and not zone and following.startswith("of it"):
            zone = next(
                (
                    str(f.slots["zone"])
                    for f in reversed(said.frames)
                    if f.at < at and f.slots.get("zone")
                ),
                None,
            )
        last = found[-1] if found else None
        if (
            last
            and _beside(said, last.last, at)
            and not (zone and last.zone)
            and not (side and last.side)
        ):
            found[-1] = Place(last.first, at, zone or last.zone, side or last.side)
        else:
            found.append(Place(at, at, zone, side))
    return found


ABOVE = frozenset({"above"})
OPPOSITE = {"out": "medial", "in": "lateral"}
BESIDE = frozenset("the of on at in her his its that to a around round by up down 's".split())


def _beside(said: Utterance, one: int, other: int) -> bool:
    if said.clause[one] != said.clause[other]:
        return False
    between = [said.spans[i] for i in said.between(one, other)]
    return len(between) <= 2 and all(set(s.words) <= BESIDE for s in between)


def takes_place(frame: Frame, place: Place) -> bool:
    """Whether a place says something of this frame that it does not hold yet."""
    if frame.kind == "finding":
        return not (place.zone and frame.slots.get("zone")) and not (
            place.side and frame.slots.get("side")
        )
    if frame.kind in ("nails", "measurement"):
        return bool(place.side) and not frame.slots.get("side")
    return frame.kind in ("work", "shoe") and not frame.slots.get("zone")


def put(frame: Frame, place: Place, said: Utterance) -> None:
    """Give the frame its place."""
    said.used |= {place.first, place.last}
    if frame.kind == "finding" and place.zone:
        frame.slots["zone"] = place.zone
        if frame.term == "winging" and said.spans[frame.at].text == "dishing":
            frame.slots["term"] = "dish"
    if frame.kind in ("work", "shoe"):
        frame.slots["zone"] = place.zone or "side"
        return
    if place.side and place.side != "both":
        frame.slots["side"] = place.side
    elif place.side == "both":
        frame.slots["side"] = "both"
    frame.first, frame.last = min(frame.first, place.first), max(frame.last, place.last)


def give_places(said: Utterance, tables: Tables) -> None:
    """Give each place to the frame it was said of."""
    heads = _heads_of_terms(tables)
    for found in places(said, tables):
        place = _without_own(said, found, heads)
        if place is None:
            continue
        clause = said.clause[place.first]
        here = [f for f in said.frames if said.clause[f.at] == clause]
        fit = [f for f in here if takes_place(f, place)]
        if fit:
            put(_of_these(said, fit, place), place, said)
        elif not here:
            _of_another_clause(said, place, clause)
        elif not any(f.kind in ("shoe", "work", "plan") for f in here):
            _second_place(said, here, place)


def _heads_of_terms(tables: Tables) -> dict[str, frozenset[str]]:
    """Term → the places that its name holds already."""
    found: dict[str, frozenset[str]] = {}
    for several in tables.made.values():
        for made in several:
            found[made.term] = found.get(made.term, frozenset()) | (made.heads - made.keeps)
    for term in ("toed_in", "toed_out"):
        found[term] = frozenset({"toe"})
    return found


def _without_own(said: Utterance, place: Place, heads: dict[str, frozenset[str]]) -> Place | None:
    """The place without a zone that the finding's name holds already ("heels contracted")."""
    here = [f for f in said.frames if said.clause[f.at] == said.clause[place.first]]
    own = [
        f
        for f in here
        if place.zone in heads.get(f.term or "", ())
        or (f.term == "seedy_toe" and place.zone == "toe" and "toe" in said.spans[f.at].text)
    ]
    others = [f for f in here if f not in own and takes_place(f, place) and f.kind == "finding"]
    nearer = (
        [f for f in others if abs(f.at - place.first) < min(abs(o.at - place.first) for o in own)]
        if own
        else []
    )
    if not own or any(f.term not in NO_PLACE for f in nearer):
        return place
    said.used |= {place.first, place.last}
    return Place(place.first, place.last, None, place.side) if place.side else None


def _of_these(said: Utterance, fit: list[Frame], place: Place) -> Frame:
    """The frame of a clause that a place belongs to.

    Who says the place first says it first throughout: "outside heel bruise inside quarter crack".
    """
    findings = [f for f in fit if f.kind == "finding"]
    likely = [f for f in findings if f.term not in NO_PLACE] if place.zone else findings
    candidates = likely or findings or [f for f in fit if f.kind in ("nails", "measurement")] or fit
    before = [f for f in candidates if f.at < place.first]
    after = [f for f in candidates if f.at > place.first]
    if not before or not after:
        return after[0] if after else before[-1]
    first_of_all = min(f.at for f in said.frames if said.clause[f.at] == said.clause[place.first])
    used_places = [i for i in said.used if said.spans[i].get("zone") or said.spans[i].get("side")]
    place_first = any(
        i < first_of_all and said.clause[i] == said.clause[place.first] for i in used_places
    )
    near = place.first - before[-1].last <= after[0].first - place.last
    return after[0] if place_first or not near else before[-1]


def _of_another_clause(said: Utterance, place: Place, clause: int) -> None:
    """ "Bruise at the toe and the outside quarter": the same finding at a second place."""
    before = [f for f in said.frames if said.clause[f.at] < clause]
    if not before:
        after = [f for f in said.frames if takes_place(f, place)]
        if after:
            put(after[0], place, said)
        return
    last = before[-1]
    if takes_place(last, place) and not last.slots.get("zone") and not last.slots.get("side"):
        put(last, place, said)
    elif last.kind == "finding":
        slots = {k: v for k, v in last.slots.items() if k not in ("zone", "side")}
        if place.side and not place.zone and last.slots.get("zone"):
            slots["zone"] = last.slots["zone"]
        frame = said.add("finding", place.first, (), **slots)
        frame.denied = last.denied
        put(frame, place, said)


def _second_place(said: Utterance, here: list[Frame], place: Place) -> None:
    """A finding with two places that no "and" joins: the first stands, in doubt."""
    said.used |= {place.first, place.last}
    findings = [f for f in here if f.kind == "finding"]
    if findings and place.side and not findings[-1].slots.get("side"):
        findings[-1].slots["side"] = place.side
    elif findings and place.zone and place.zone != findings[-1].slots.get("zone"):
        said.doubt("two places for one finding", 0.25)


def give_qualities(said: Utterance) -> None:
    """Give each grade, age and trend to the finding it was said of."""
    for kind in ("grade", "age", "trend"):
        for at in said.free(kind):
            frame = _qualified(said, at, kind)
            value = said.spans[at].get(kind)
            if frame is None:
                continue
            said.used.add(at)
            if kind == "age" and frame.term not in AGED:
                continue
            if frame.kind == "finding" and kind not in frame.slots:
                frame.slots[kind] = value


def _qualified(said: Utterance, at: int, kind: str) -> Frame | None:
    frames = [f for f in said.frames if f.kind == "finding"]
    clause = said.clause[at]
    here = [f for f in frames if said.clause[f.at] == clause]
    if not here:
        if any(said.clause[f.at] == clause for f in said.frames):
            return None
        if kind == "grade" and any(said.spans[i].get("limb") for i in said.in_clause(at)):
            # "But the near hind's got a bit": of that foot, not of what was said before.
            return None
        before = [f for f in frames if said.clause[f.at] < clause]
        return before[-1] if before else (frames[0] if frames and kind != "grade" else None)
    after = [f for f in here if f.first > at]
    before = [f for f in here if f.last < at or f.first <= at <= f.last]
    if kind == "trend":
        return before[-1] if before else after[0]
    if after and (not before or after[0].first - at <= at - before[-1].last):
        return after[0]
    return before[-1] if before else after[0]


def find_clear(said: Utterance) -> None:
    """ "Frog's good", "nothing to report left hind", "she's sound"."""
    for at in said.free("sound"):
        if said.spans[at].text == "sound" and not _is_sound(said, at):
            continue
        frame = said.add("finding", at, (), term="lameness")
        frame.denied = True
    for at, span in enumerate(said.spans):
        if at in said.used:
            continue
        usual = "usual" in span.all("state")
        if usual and _zone_just_before(said, at):
            there = said.spans[at - 2].get("zone")
            said.add("finding", at - 2, (at,), term="clear", zone=there)
            continue
        limb = _limb_just_before(said, at)
        if (usual or span.get("clear")) and limb is not None:
            frame = said.add("finding", at, (), term="clear")
            frame.limbs = tuple(limb.split("+"))
            continue
        if not span.get("clear") and not usual:
            continue
        clause = said.in_clause(at)
        if any(said.clause[f.at] == said.clause[at] for f in said.frames):
            continue
        zones = [i for i in clause if i not in said.used and said.spans[i].get("zone")]
        feet = [
            i
            for i in clause
            if said.spans[i].get("limb")
            or said.spans[i].get("relative")
            or said.spans[i].get("thing") == "foot"
        ]
        if zones:
            for zone in zones:
                side = next(
                    (
                        i
                        for i in (zone - 1, zone + 1)
                        if i in clause and i not in said.used and said.spans[i].get("side")
                    ),
                    None,
                )
                slots: dict[str, object] = {"term": "clear", "zone": said.spans[zone].get("zone")}
                if side is not None:
                    slots["side"] = said.spans[side].get("side")
                said.add("finding", zone, (at,) if side is None else (at, side), **slots)
        elif span.get("clear") or (feet and _is_said_of(said, at, feet)):
            said.add("finding", at, (), term="clear")


def _is_sound(said: Utterance, at: int) -> bool:
    """Whether the horse is sound, not that something sounds hollow or like something."""
    before = said.spans[at - 1].words[0] if at else ""
    following = said.spans[at + 1].words[0] if at + 1 < len(said.spans) else ""
    return before in (
        "'s",
        "is",
        "was",
        "are",
        "trotted",
        "going",
        "",
        "'re",
    ) and following not in ("like", "empty", "hollow")


def _zone_just_before(said: Utterance, at: int) -> bool:
    """ "Sole's good": the place with only the verb between, where no other thing is said of it."""
    if at < 2 or at - 2 in said.used or not said.spans[at - 2].get("zone"):
        return False
    return said.spans[at - 1].words[0] in ("'s", "is", "are") and said.spans[at].text not in (
        "up",
        "high",
    )


def _limb_just_before(said: Utterance, at: int) -> str | None:
    """The limb of "the off hind's clean", with only the verb between."""
    if at < 2 or said.spans[at - 1].words[0] not in ("'s", "is", "are", "looks", "look"):
        return None
    following = said.spans[at + 1] if at + 1 < len(said.spans) else None
    if following and (following.get("term") or following.get("zone") or following.get("state")):
        return None
    return said.spans[at - 2].get("limb")


def _is_said_of(said: Utterance, at: int, feet: list[int]) -> bool:
    """Whether nothing but small words stands between the foot and "good"."""
    feet = [
        f
        for f in feet
        if said.spans[f].get("limb")
        or any(
            {"'s", "is", "are", "all", "looks", "look", "'re"} & set(said.spans[i].words)
            for i in said.between(at, f)
        )
    ]
    return any(
        all(_carries_nothing(said, i) for i in said.between(at, foot)) and at > foot
        for foot in feet
    )


PASSES = AGED | frozenset(
    "thrush heat raised_pulse bounding_pulse tender swelling mites lameness canker".split()
)
"""Findings that go away."""


def find_gone(said: Utterance) -> None:
    """ "The thrush is gone": looked at, and there no more."""
    for at in said.free("gone"):
        before = [
            f
            for f in said.frames
            if f.kind == "finding" and f.last < at and said.clause[f.at] == said.clause[at]
        ]
        following = said.spans[at + 1] if at + 1 < len(said.spans) else None
        if following and (following.amount or following.text == "a"):
            continue
        before = [f for f in before if f.term in PASSES]
        if before and all(_carries_nothing(said, i) for i in said.between(before[-1].last, at)):
            before[-1].denied = True
            said.used.add(at)
