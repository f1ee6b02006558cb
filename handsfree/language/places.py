"""Which place, grade, age and trend belongs to which finding. Pure."""

import re
from dataclasses import dataclass
from itertools import pairwise

from handsfree.language.clauses import Frame, Utterance
from handsfree.language.findings import MARKS
from handsfree.language.tables import Tables

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


NOWHERE = frozenset(("laminitis", "lameness", "forging", "stumbling"))
"""Findings of the foot or the horse as a whole."""


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
            sided |= said.spans[min(at + 1, len(said.spans) - 1)].text in ("the", "his", "her")
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
            zone = next((p.zone for p in reversed(found) if p.zone), None)
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
    if frame.term in NOWHERE and place.zone:
        return False
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


def _is_subject(said: Utterance, place: Place) -> bool:
    """ "Wall's chipped": the wall is what chips, no place of it."""
    following = said.spans[place.first + 1].words[0] if place.first + 1 < len(said.spans) else ""
    return place.zone == "wall" and following in ("'s", "is")


def _without_own(said: Utterance, place: Place, heads: dict[str, frozenset[str]]) -> Place | None:
    """The place without a zone that the finding's name holds already ("heels contracted")."""
    here = [f for f in said.frames if said.clause[f.at] == said.clause[place.first]]
    own = [
        f
        for f in here
        if (f.term == "chip" and _is_subject(said, place))
        or (f.term == "growth_ring" and place.zone == "wall")
        or place.zone in heads.get(f.term or "", ())
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
    counted = [f for f in fit if f.kind in ("nails", "measurement")]
    beside = [f for f in counted if 0 < place.first - f.last <= 2 and place.zone is None]
    if beside and any(f.kind == "finding" for f in fit):
        return beside[-1]
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
    if not place_first and before[-1].kind in ("nails", "measurement"):
        # Who says the side after the number says it so throughout.
        return before[-1]
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
    elif findings and findings[-1].slots.get("zone") == "frog" and place.zone in IN_FROG:
        # "Down the side of the frog in the groove": the narrower place of the two.
        findings[-1].slots["zone"] = place.zone
    elif findings and place.zone and place.zone != findings[-1].slots.get("zone"):
        said.doubt("two places for one finding", 0.25)


IN_FROG = frozenset(("central_sulcus", "collateral_sulcus"))
SHARED = frozenset({"heat", "swelling", "tender"})


def share_places(said: Utterance) -> None:
    """ "Heel's tender and warm": what is felt in one breath is felt at one place."""
    felt = [f for f in said.frames if f.term in SHARED]
    for one, other in pairwise(felt):
        between = [said.spans[i] for i in said.between(one.last, other.first)]
        joined = any(s.text == "and" for s in between) and len(between) <= 3
        if not joined or any(s.get("zone") or s.get("limb") or s.amount for s in between):
            continue
        zone = one.slots.get("zone") or other.slots.get("zone")
        if zone and not one.denied:
            one.slots.setdefault("zone", zone)
            other.slots.setdefault("zone", zone)


OLD_ONES = frozenset(
    """boy girl lad lass cob mare horse pony gelding fella fellow fellah man lady devil dear beggar
    thing chap timer donkey mule sod bugger""".split()
)
"""Of these "old" tells nothing of a finding: "this old cob's thrushy"."""


def give_qualities(said: Utterance) -> None:
    """Give each grade, age and trend to the finding it was said of."""
    for kind in ("grade", "age", "trend"):
        for at in said.free(kind):
            following = said.spans[at + 1].words[0] if at + 1 < len(said.spans) else ""
            if kind == "age" and following in OLD_ONES:
                said.used.add(at)
                continue
            frame = _qualified(said, at, kind)
            value = said.spans[at].get(kind)
            if frame is None:
                continue
            said.used.add(at)
            if kind == "age" and frame.term not in AGED and not _right_beside(said, at, frame):
                continue
            if frame.kind != "finding":
                continue
            if frame.slots.setdefault(kind, value) != value and kind == "grade":
                if said.spans[at].text == "really":
                    continue
                if at and said.spans[at - 1].text == "well":  # "Mild, well, moderate really."
                    frame.slots[kind] = value
                    said.used.add(at - 1)
                else:
                    said.doubt(f"it is called {frame.slots[kind]} and {value}", 0.25)


def _right_beside(said: Utterance, at: int, frame: Frame) -> bool:
    """ "Old risen clinch", "underrun heels, old": said of the finding itself."""
    graded = all(said.spans[i].get("grade") for i in said.between(at, frame.at))
    return (at < frame.at and graded) or at == frame.last + 1


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
