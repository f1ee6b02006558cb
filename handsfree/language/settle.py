"""What the frames of one utterance make of each other: repeats, reasons, copies. Pure."""

from itertools import pairwise

from handsfree.language import limbs
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


def same_on_another(said: Utterance) -> list[int]:
    """ "Flare on the near fore same on the off": where what was said is said of another foot."""
    found = []
    for at, span in enumerate(said.spans):
        if span.text in limbs.CALLS_FOR_LIMB and at:
            near = said.spans[at + 1 : at + 5]
            limb = next((i for i, s in enumerate(near) if s.get("limb") or s.get("relative")), None)
            if limb is not None and all(not s.concepts or s.get("moving") for s in near[:limb]):
                said.used.add(at)
                found.append(at)
    return found


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


def _there_too(said: Utterance, mention: limbs.Mention) -> None:
    """ "But there's a bit in the near fore": what was said of one foot, of another too."""
    clause = said.clause[mention.first]
    here = [i for i in range(len(said.spans)) if said.clause[i] == clause]
    grade = next((i for i in here if said.spans[i].get("grade") and i not in said.used), None)
    words = {w for i in here for w in said.spans[i].words}
    if any(said.clause[f.at] == clause for f in said.frames) or (
        grade is None and not {"some", "too"} & words
    ):
        return
    before = [
        f for f in said.frames if said.clause[f.at] < clause and f.kind in ("finding", "work")
    ]
    if not before or (before[-1].kind == "work" and "too" not in words):
        return
    slots = {k: v for k, v in before[-1].slots.items() if k not in ("grade", "trend", "age")}
    frame = Frame(before[-1].kind, mention.first, slots, mention.first, mention.last, mention.limbs)
    if grade is not None:
        frame.slots["grade"] = said.spans[grade].get("grade")
        said.used.add(grade)
    said.frames.append(frame)


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
        gone |= frame.term == "missing_nail" and "puncture" in others
        gone |= frame.term == "cut" and text.startswith("tr") and "overreach" in others
        if frame.term == "heat" and text == "hot" and _shod(said) and not _is_felt(said, frame):
            frame.kind, frame.slots = "work", {"action": "hot_fitted"}
            continue
        gone |= frame.term == "abscess" and text.endswith("pus") and _opened(said)
        if frame.term == "high_side":
            sheared = next((f for f in said.frames if f.term == "sheared_heels"), None)
            if sheared and sheared.limbs == frame.limbs and "side" not in sheared.slots:
                sheared.slots["side"] = frame.slots["side"]
                gone = True
        if gone:
            said.frames.remove(frame)


MAYBE = frozenset("might may could should ought".split())


WHILE = frozenset("where from since because cos till until".split())
"""After these something is told that explains, not something done today."""


def perhaps_later(said: Utterance) -> None:
    """ "Might pull it": what may yet be done is no record of today."""
    for frame in [f for f in said.frames if f.kind in ("work", "nails")]:
        before = [w for s in said.spans[max(0, frame.first - 4) : frame.first] for w in s.words]
        aside = set(before[-2:]) & MAYBE or set(before[-4:]) & WHILE
        if aside and len(said.frames) > 1:
            said.frames.remove(frame)
    for frame in [f for f in said.frames if f.term == "lost_shoe"]:
        before = [w for s in said.spans[max(0, frame.first - 4) : frame.first] for w in s.words]
        if {"when", "till", "until"} & set(before) and len(said.frames) > 1:
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


def _opened(said: Utterance) -> bool:
    return any(f.slots.get("action") == "abscess_opened" for f in said.frames)


def _bare(frame: Frame) -> dict[str, object]:
    return {key: value for key, value in frame.slots.items() if key != "zone"}


def copy(said: Utterance, copies: list[int], named: list[limbs.Mention]) -> None:
    """Say again of another foot what "the same on the off" or "there too" repeats."""
    for mention in named[1:]:
        _there_too(said, mention)
    for at in copies:
        there = next((m for m in named if m.first > at), None)
        if there is None:
            continue
        before = [f for f in said.frames if f.at < at]
        for frame in before:
            if frame.limbs == there.limbs and len(named) > 1:
                frame.limbs = next((m.limbs for m in named if m is not there), None)
            again = Frame(
                frame.kind,
                at,
                dict(frame.slots),
                at,
                there.last,
                there.limbs,
                frame.denied,
                frame.of_horse,
            )
            said.frames.append(again)
