"""What the frames of one utterance make of each other: repeats, reasons, copies. Pure."""

from itertools import pairwise

from handsfree.language.clauses import Frame, Utterance

PRONOUNS = frozenset("he she it you i we they that this there his her your".split())


def why(said: Utterance) -> None:
    """ "So he'll not catch himself": why it was done, which no record keeps."""
    for at in range(1, len(said.spans) - 2):
        words = [w for s in said.spans[at : at + 5] for w in s.words]
        if words[0] != "so" or words[1] not in PRONOUNS:
            continue
        if set(words[2:6]) & {"not", "don't", "doesn't", "won't", "can't", "'ll", "can", "never"}:
            end = next(
                (
                    i
                    for i in range(at, len(said.spans))
                    if said.spans[i].amount or said.spans[i].get("limb")
                ),
                len(said.spans),
            )
            said.used |= set(range(at, end))


def merge(said: Utterance) -> None:
    """The same finding said twice in one breath is one: "dead lame, won't put it down"."""
    for frame in list(said.frames):
        if frame.kind == "nails" or frame not in said.frames:
            continue
        for other in [f for f in said.frames if f is not frame and f.at >= frame.at]:
            if (other.kind, other.term, other.limbs) != (frame.kind, frame.term, frame.limbs):
                continue
            denied = any(said.spans[i].get("deny") for i in said.between(frame.at, other.at))
            if not denied and _is_told_twice(frame, other):
                frame.slots |= {k: v for k, v in other.slots.items() if v is not None}
                frame.last = max(frame.last, other.last)
                frame.denied = frame.denied and other.denied
                said.frames.remove(other)


def _is_told_twice(frame: Frame, other: Frame) -> bool:
    if frame.kind == "shoe":
        return _same_item(frame, other)
    if frame.kind != "finding":
        return _bare(other) == _bare(frame)
    return all(frame.slots.get(k, v) == v for k, v in other.slots.items())


def _same_item(one: Frame, other: Frame) -> bool:
    """Whether an item of the shoe is told twice: "a bar shoe, egg bar"."""
    if one.slots["item"] != other.slots["item"] or one.slots["item"] in ("clips", "size"):
        return False
    return one.slots["item"] != "bar_shoe" or None in (
        one.slots.get("detail"),
        other.slots.get("detail"),
    )


CANNOT_MOVE = (
    "won't move",
    "won't walk",
    "can't move",
    "can't walk",
    "can't hardly",
    "hardly walk",
)
"""Said of a horse with laminitis these are a sign of it, not a lameness of one foot."""


def not_but(said: Utterance) -> None:
    """What tells of another thing: "he jumped" beside a close nail, "not hot, just a touch"."""
    nailed = any(f.term in ("nail_bind", "nail_prick") for f in said.frames)
    for frame in list(said.frames):
        if frame.kind not in ("finding", "work"):
            continue
        text = said.spans[frame.at].text
        reaction = frame.term == "tender" and "zone" not in frame.slots
        gone = nailed and reaction and text.startswith(("jump", "flinch", "snatch"))
        gone |= frame.term == "puncture" and any(f.term == "nail_prick" for f in said.frames)
        others = {f.term for f in said.frames if f is not frame}
        gone |= _is_why(said, frame)
        gone |= frame.term == "lameness" and "laminitis" in others and text.startswith(CANNOT_MOVE)
        gone |= text.startswith("with the rasp") and any(
            f.slots.get("action") in ("flare_dressed", "toe_dressed") for f in said.frames
        )
        before = [w for s in said.spans[max(0, frame.first - 3) : frame.first] for w in s.words]
        gone |= frame.term == "club_foot" and before[-3:] == ["that", "'s", "the"] and bool(others)
        gone |= frame.term == "low_heel" and "underrun_heels" in others and "gone" in text
        gone |= frame.term == "forging" and "loose_shoe" in others and text.startswith("cl")
        gone |= frame.term == "missing_nail" and "puncture" in others
        gone |= frame.term == "cut" and text.startswith("tr") and "overreach" in others
        if frame.term == "heat" and text == "hot" and _shod(said) and not _is_felt(said, frame):
            frame.kind, frame.slots = "work", {"action": "hot_fitted"}
            continue
        gone |= frame.term == "abscess" and text.endswith("pus") and _opened(said, frame)
        gone |= frame.term == "abscess" and text.startswith("fester") and "canker" in others
        if frame.term == "high_side":
            sheared = next((f for f in said.frames if f.term == "sheared_heels"), None)
            if sheared and sheared.limbs == frame.limbs and "side" not in sheared.slots:
                sheared.slots["side"] = frame.slots["side"]
                gone = True
        if gone:
            said.frames.remove(frame)


def _is_why(said: Utterance, frame: Frame) -> bool:
    """ "Rounded the inside for the brushing": why something was done, not found today."""
    before = said.spans[max(0, frame.first - 2) : frame.first]
    words = [w for s in before for w in s.words]
    done = any(f.kind in ("work", "shoe") and f.at < frame.at for f in said.frames)
    return done and bool({"for", "against"} & set(words[:2]))


def _shod(said: Utterance) -> bool:
    return any(f.slots.get("action") in ("new_shoe", "shoe_reset") for f in said.frames)


def _is_felt(said: Utterance, frame: Frame) -> bool:
    """Whether a foot is hot, not the shoe put on so."""
    before = {w for s in said.spans[max(0, frame.at - 2) : frame.at] for w in s.words}
    return bool(before & {"'s", "is", "are", "feels", "foot", "feet"})


def same_side(said: Utterance) -> None:
    """ "Pricked him inside, pulled it straight out": the nail that came out is the one that did."""
    pricked = [
        f for f in said.frames if f.term in ("nail_prick", "nail_bind") and f.slots.get("side")
    ]
    for frame in said.frames:
        pulled = frame.kind == "nails" and frame.slots.get("count") == 1
        if pricked and pulled and "side" not in frame.slots and frame.limbs == pricked[0].limbs:
            frame.slots["side"] = pricked[0].slots["side"]


def not_this_but_that(said: Utterance) -> None:
    """ "That's not thrush, that's canker, near hind frog": both are said of the same place."""
    for one, other in pairwise([f for f in said.frames if f.kind == "finding"]):
        between = {w for i in said.between(one.last, other.first) for w in said.spans[i].words}
        zone = other.slots.get("zone")
        contrasted = one.denied and not other.denied and between & {"that", "it"}
        if contrasted and zone and "zone" not in one.slots:
            one.slots["zone"] = zone


def _opened(said: Utterance, pus: Frame) -> bool:
    """Whether it is the pus of an abscess that was opened, as told before it."""
    return any(f.slots.get("action") == "abscess_opened" and f.at < pus.at for f in said.frames)


def _bare(frame: Frame) -> dict[str, object]:
    return {key: value for key, value in frame.slots.items() if key != "zone"}
