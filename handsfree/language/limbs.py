"""Which foot each thing was said of: limbs in any place of the sentence."""

from dataclasses import dataclass

from handsfree.language.clauses import Frame, Utterance
from handsfree.language.spans import Span
from handsfree.records.limbs import FRONT, HIND, OTHER_SIDE

OF_GAIT = frozenset({"stumbling", "forging", "mites", "lameness", "mud_fever"})
"""Findings of the whole horse unless a limb stands in their own clause."""

CALLS_FOR_LIMB = ("same", "ditto", "likewise", "same again", "the same", "same story")


@dataclass(frozen=True)
class Mention:
    """Limbs that were named at the spans `first` to `last`."""

    first: int
    last: int
    limbs: tuple[str, ...]


def mentions(said: Utterance) -> list[Mention]:
    """Every naming of limbs, with "near fore and off fore" as one; uses their spans."""
    found: list[Mention] = []
    for at, span in enumerate(said.spans):
        if at in said.used:
            continue
        limb = span.get("limb") or _adjective(said, at) or _before(said, at)
        relative = span.get("relative") or _half_after_number(said, at)
        limbs: tuple[str, ...] = ()
        if _all_but(said, at):
            limb = "+".join(FRONT + HIND)
        if limb and not (span.words[0] == "all" and _goes_round(said, at)):
            limbs = tuple(limb.split("+"))
        elif relative:
            limbs = _relative(said, at, relative, found)
        if not limbs:
            continue
        said.used.add(at)
        if found and (both := _of_both(said, found[-1], at, limbs)):
            before = found.pop()
            found.append(Mention(before.first, at, both))
            continue
        if found and _excepted(said, found[-1].last, at):
            before = found.pop()
            limbs = tuple(limb for limb in before.limbs if limb not in limbs)
            found.append(Mention(before.first, at, limbs))
            continue
        if found and _joined(said, found[-1].last, at):
            before = found.pop()
            limbs = tuple(dict.fromkeys(before.limbs + limbs))
            found.append(Mention(before.first, at, limbs))
        else:
            found.append(Mention(at, at, limbs))
    return found


ENDS = {"front": "LF+RF", "fore": "LF+RF", "hind": "LH+RH", "back": "LH+RH", "rear": "LH+RH"}


SIDES = {"near": "L", "left": "L", "nearside": "L", "off": "R", "right": "R", "offside": "R"}
JOINTS = {"hock": "H", "knee": "F"}


def _adjective(said: Utterance, at: int) -> str | None:
    """ "Hind toes", "front heels": both feet of that end."""
    limbs = ENDS.get(said.spans[at].text)
    if at + 1 >= len(said.spans):
        return None
    following = said.spans[at + 1]
    side = SIDES.get(said.spans[at].text)
    if side and following.get("zone") in JOINTS:
        # "Off hock", "near knee": the joint tells which end.
        return side + JOINTS[following.get("zone") or ""]
    if limbs is None:
        return None
    first = following.words[0]
    plural = first.endswith("s") and len(first) > 3
    named = (
        following.get("zone")
        or following.get("thing") in ("shoe", "clinch", "pulse")
        or first in ("shoes", "plates")
    )
    if not plural or not named:
        return None
    return limbs


def _all_but(said: Utterance, at: int) -> bool:
    """ "New shoes on all but the near hind"."""
    following = said.spans[at + 1].words[0] if at + 1 < len(said.spans) else ""
    limbs = [s for s in said.spans[at + 1 : at + 6] if s.get("limb") or s.get("relative")]
    return said.spans[at].words[-1] == "all" and following in EXCEPT and bool(limbs)


EXCEPT = frozenset("bar except barring excepting but save".split())


def _excepted(said: Utterance, one: int, other: int) -> bool:
    """ "All round bar the off fore"."""
    between = list(said.between(one, other))
    words = [w for i in between for w in said.spans[i].words]
    if not words or len(words) > 4 or words[0] not in EXCEPT | {"apart", "other"}:
        return False
    if words[0] == "but" and "not" not in words and said.spans[one].words[-1] != "all":
        return False
    said.used |= set(between)
    return True


def _before(said: Utterance, at: int) -> str | None:
    """ "Flat before", "the off one before": in front, as some say it of a horse."""
    if said.spans[at].text != "before" or at == 0:
        return None
    last = said.spans[at - 1].words[-1]
    if said.spans[at - 1].get("limb"):
        # "Thrush in all four feet before": when, not where.
        return None
    following = said.spans[at + 1] if at + 1 < len(said.spans) else None
    ends = (
        following is None
        or following.get("split")
        or following.words[0] in ("'s", "is", "has", "are", "on")
    )
    return "LF+RF" if ends and last not in ("than", "as", "time", "from", "like", "visit") else None


def _half_after_number(said: Utterance, at: int) -> str | None:
    """ "Fifty two left, fifty and a half right": a side by itself, behind its number."""
    side = {"left": "left", "near": "left", "right": "right", "off": "right"}.get(
        said.spans[at].text
    )
    ends = at + 1 == len(said.spans) or said.spans[at + 1].get("split") or said.spans[at + 1].amount
    return side if side and at and said.spans[at - 1].amount and ends else None


def _of_both(said: Utterance, before: Mention, at: int, limbs: tuple[str, ...]) -> tuple[str, ...]:
    """ "On the off side behind": the one foot that two names side by side have in common."""
    between = [w for i in said.between(before.last, at) for w in said.spans[i].words]
    if len(between) > 1 or {"and", "nor", "or"} & set(between):
        return ()
    common = tuple(limb for limb in before.limbs if limb in limbs)
    if set(common) in (set(before.limbs), set(limbs)) and len(before.limbs) == len(limbs):
        return ()
    if before.limbs in (("left",), ("right",)):
        side = "L" if before.limbs == ("left",) else "R"
        return tuple(limb for limb in limbs if limb[0] == side)
    return common


def _goes_round(said: Utterance, at: int) -> bool:
    """ "All around the pasterns" is round a place, not on every foot."""
    following = said.spans[at + 1 : at + 3]
    round_it = said.spans[at].words[-1] in ("round", "around")
    return (
        round_it
        and len(following) == 2
        and following[0].text in ("the", "his", "her")
        and following[1].get("zone") is not None
    )


def _joined(said: Utterance, one: int, other: int) -> bool:
    """Whether nothing but "and" or "nor the" stands between two limbs."""
    between = [said.spans[i] for i in said.between(one, other)]
    if len(between) > 3:
        return False
    following = said.spans[other + 1 :]
    if following and following[0].words[0] in (
        "'s",
        "is",
        "has",
        "was",
        "got",
        "have",
        "'ve",
        "are",
    ):
        return False
    rest = []
    for span in following:
        if span.get("split"):
            break
        rest.append(span)
    if any(_is_content(s) for s in rest) and any(_is_content(s) for s in said.spans[:one]):
        return False
    joins = {"and", "nor", "or", "the", "her", "his", "both", "on", "then"}
    return (
        bool(between)
        and all(set(s.words) <= joins or s.get("nor") for s in between)
        and any({"and", "nor", "or"} & set(s.words) for s in between)
    )


def _is_content(span: Span) -> bool:
    kinds = ("term", "work", "nails", "quantity", "shoe")
    return span.amount is not None or any(span.get(kind) for kind in kinds)


def _relative(said: Utterance, at: int, relative: str, before: list[Mention]) -> tuple[str, ...]:
    """The limb that "the near one", "the other" or "the pair" means, by the limbs around it."""
    pair = _pair(said, at, before)
    following = said.spans[at + 1].get("zone") if at + 1 < len(said.spans) else None
    if relative in ("left", "right") and following in JOINTS:
        return (("L" if relative == "left" else "R") + JOINTS[following],)
    if relative == "other":
        if before and len(before[-1].limbs) == 1:
            return (OTHER_SIDE[before[-1].limbs[0]],)
        return ("other",)
    if relative == "around":
        of_shoe = any(s.get("shoe") == "crease" for s in said.spans)
        named = any(said.spans[i].get("limb") for i in said.in_clause(at))
        return () if of_shoe or named else FRONT + HIND
    if relative in ("fore", "hind"):
        side = before[-1].limbs[0][0] if before and len(before[-1].limbs) == 1 else None
        if said.spans[at].words[0] == "other" and side:
            side = "R" if side == "L" else "L"
        end = "F" if relative == "fore" else "H"
        return (side + end,) if side else ()
    if relative == "pair":
        here = [said.spans[i].get("limb") for i in said.in_clause(at)]
        if any(limb and "+" not in limb for limb in here):
            # Both heels, both bars: of the one foot that is named.
            return ()
        return pair or ("pair",)
    if relative not in ("left", "right"):
        return ()
    side = "L" if relative == "left" else "R"
    if pair is None:
        half = said.spans[at].words[-1] in ("one", "foot") or len(said.spans[at].words) == 1
        return (relative,) if half else ()
    return tuple(limb for limb in pair if limb[0] == side)


def _pair(said: Utterance, at: int, before: list[Mention]) -> tuple[str, ...] | None:
    """The fronts or the hinds, whichever was spoken of last, else next."""
    for mention in reversed(before):
        ends = {limb[1] for limb in mention.limbs if len(limb) == 2}
        if len(ends) == 1:
            return FRONT if ends == {"F"} else HIND
    for later in said.spans[at + 1 :]:
        if limb := later.get("limb"):
            ends = {each[1] for each in limb.split("+")}
            return (FRONT if ends == {"F"} else HIND) if len(ends) == 1 else None
    return None


def give_limbs(said: Utterance, named: list[Mention]) -> None:
    """Give each frame the limbs it was said of."""
    if not named or not said.frames:
        return
    frames = [
        f
        for f in said.frames
        if not f.of_horse and f.limbs is None and f.slots.get("zone") not in ("back", "shoulder")
    ]
    if len(named) == 1:
        mention = named[0]
        for frame in frames:
            far = said.sentence[frame.at] != said.sentence[mention.first]
            if frame.kind == "plan":
                frame.limbs = _limbs_of_plan(said, frame, named)
                continue
            if frame.term == "forging" and far:
                continue
            if frame.term in OF_GAIT and far and _ends_apart(said, frame, mention):
                continue
            if frame.term == "laminitis" and _had_once(said, frame, mention):
                continue
            frame.limbs = mention.limbs
        return
    limb_first = named[0].first < min(f.at for f in said.frames)
    for frame in frames:
        if frame.kind == "plan":
            frame.limbs = _limbs_of_plan(said, frame, named)
        else:
            frame.limbs = _limbs_of(said, frame, named, limb_first)


def _limbs_of_plan(said: Utterance, frame: Frame, named: list[Mention]) -> tuple[str, ...] | None:
    """A plan is for a foot that is named in it, or with nothing else in its clause."""
    clause = said.clause[frame.at]
    inside = [m for m in named if frame.first <= m.first <= frame.last + 4]
    inside = [m for m in inside if not any(frame.at < f.at < m.first for f in said.frames)]
    if inside:
        return inside[0].limbs
    following = {w for s in said.spans[frame.at + 1 : frame.at + 3] for w in s.words}
    earlier = [m for m in named if m.last < frame.at]
    if (
        frame.slots.get("action") in ("call_vet", "watch")
        and {"it", "that"} & following
        and earlier
    ):
        return earlier[-1].limbs
    others = [f for f in said.frames if f is not frame and said.clause[f.at] == clause]
    here = [m for m in named if said.clause[m.first] == clause]
    words = {w for i in said.in_clause(frame.at) for w in said.spans[i].words}
    if (
        not here
        and words & {"it", "that"}
        and frame.slots.get("action") in ("xray", "call_vet", "watch")
    ):
        before = [m for m in named if m.last < frame.at]
        return before[-1].limbs if before else None
    return here[-1].limbs if here and not others else None


def _had_once(said: Utterance, frame: Frame, mention: Mention) -> bool:
    """ "Rings on all four, he's had lami some time back": what he had is said of the horse."""
    between = {w for i in said.between(mention.last, frame.at) for w in said.spans[i].words}
    return frame.at > mention.last and bool(between & {"he", "she"}) and "had" in between


def _ends_apart(said: Utterance, frame: Frame, mention: Mention) -> bool:
    """Whether the frame's clause has a subject of its own ("and he's stamping")."""
    following = [w for s in said.spans[frame.last + 1 : frame.last + 3] for w in s.words]
    if frame.at > mention.last and following[:2] in (["on", "it"], ["with", "it"], ["on", "that"]):
        return False
    clause = [i for i in said.in_clause(frame.at) if i < frame.at]
    return any(set(said.spans[i].words) & {"he", "she", "him", "her"} for i in clause)


def _limbs_of(
    said: Utterance, frame: Frame, named: list[Mention], limb_first: bool
) -> tuple[str, ...]:
    clause = said.clause[frame.at]
    own = [m for m in named if said.clause[m.first] <= clause <= said.clause[m.last]]
    before = [m for m in named if m.last < frame.at]
    after = [m for m in named if m.first > frame.at]
    if len(own) == 1:
        here = [f.at for f in said.frames if said.clause[f.at] == clause]
        split = min(here) < own[0].first < max(here)
        # "Both fronts trimmed and reset, hinds just a trim": the foot comes first throughout.
        return (
            before[-1].limbs
            if limb_first and split and frame.at < own[0].first and before
            else own[0].limbs
        )
    if own:
        here = [f.at for f in said.frames if said.clause[f.at] == clause]
        limb_first = own[0].first < min(here)
        before = [m for m in before if m in own]
        after = [m for m in after if m in own]
        if before and after and not limb_first:
            # Of several things between two feet only the last is said of the second.
            later = [f for f in said.frames if frame.at < f.at < after[0].first]
            limb_first = bool(later)
        order = (before[-1:], after[:1]) if limb_first else (after[:1], before[-1:])
        return next(m[0].limbs for m in order if m)
    # A clause without a limb of its own belongs to the one before it, the first to the next.
    return before[-1].limbs if before else after[0].limbs


def by_joint(said: Utterance) -> None:
    """ "Hocks are puffy, both of them": only the hind legs have hocks, only the fore knees."""
    for frame in said.frames:
        end = JOINTS.get(str(frame.slots.get("zone")))
        if end and frame.limbs is None and frame.slots.get("side") == "both":
            del frame.slots["side"]
            frame.limbs = FRONT if end == "F" else HIND
        elif end and frame.limbs and set(frame.limbs) & {"pair", "left", "right"}:
            both = FRONT if end == "F" else HIND
            half = {"left": both[:1], "right": both[1:]}
            frame.limbs = half.get(frame.limbs[0], both)
