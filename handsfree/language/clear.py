"""What was looked at and is well, or is there no more. Pure."""

from handsfree.language.clauses import Utterance
from handsfree.language.made import carries_nothing
from handsfree.language.places import AGED


def find_clear(said: Utterance) -> None:
    """ "Frog's good", "nothing to report left hind", "she's sound"."""
    for at in said.free("sound"):
        if said.spans[at].text == "sound" and not _is_sound(said, at):
            continue
        if said.spans[at].text == "sound" and _zone_just_before(said, at):
            of = said.spans[at - 2].get("zone")
            said.add("finding", at - 2, (at,), term="clear", zone=of)
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
        others = [f for f in said.frames if f.term != "clear" or not span.get("clear")]
        if any(said.sentence[f.at] == said.sentence[at] for f in others):
            continue
        clause = _with_zones_before(said, clause)
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


def _with_zones_before(said: Utterance, clause: list[int]) -> list[int]:
    """ "Sole and frog both clean": the clause with the bare places before its "and"."""
    before = [i for i, c in enumerate(said.clause) if c == said.clause[clause[0]] - 1]
    bare = all(said.spans[i].get("zone") or carries_nothing(said, i) for i in before)
    return before + clause if before and bare else clause


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
        all(carries_nothing(said, i) for i in said.between(at, foot)) and at > foot for foot in feet
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
        more = at + 2 < len(said.spans)
        if following and (following.amount or (following.text == "a" and more)):
            continue
        before = [f for f in before if f.term in PASSES]
        between = said.between(before[-1].last, at) if before else ()
        if before and all(carries_nothing(said, i) or said.spans[i].text == "in" for i in between):
            before[-1].denied = True
            said.used.add(at)
