"""What is denied, and what is put right within one breath."""

from itertools import dropwhile

from handsfree.language.clauses import Frame, Utterance
from handsfree.language.spans import Span
from handsfree.language.tables import Concept

TYPES = ("limb", "side", "zone", "term", "amount")


def _type(span: Span) -> str | None:
    if span.amount is not None and span.text != "one":
        return "amount"
    for kind in ("limb", "term", "side", "zone", "relative"):
        if span.get(kind):
            return "limb" if kind == "relative" else kind
    return None


def not_that_but(spans: list[Span]) -> tuple[list[Span], bool]:
    """ "No, bruise, not a corn": the first "no" is to what was said before."""
    if (
        len(spans) > 1
        and spans[0].text in ("no", "nah", "naw", "nope")
        and not _tells_new(spans[1:])
    ):
        # "No, I count ten"
        return spans[1:], any(_type(s) for s in spans[1:])
    if len(spans) < 3 or spans[0].text != "no":
        return spans, False
    denied = next((i for i, s in enumerate(spans) if i and s.text in ("not", "not a")), None)
    if denied is None or not any(s.get("term") for s in spans[1:denied]):
        return spans, False
    return spans[1:], any(s.get("term") for s in spans[denied + 1 :])


def _tells_new(spans: list[Span]) -> bool:
    """Whether anything but a number, a side, a place or a foot is said."""
    kinds = (
        "term",
        "work",
        "quantity",
        "shoe",
        "plan",
        "state",
        "deny",
        "thing",
        "repair",
        "to_others",
    )
    return any(s.get(kind) for s in spans for kind in kinds) or any(
        s.get("nails") and s.text != "count" for s in spans
    )


def put_right(spans: list[Span]) -> tuple[list[Span], bool]:
    """Apply the repairs within the utterance; whether it corrects the one before it.

    "Eighty no sorry eighty three": what follows takes the place of the last of the same kind.
    """
    corrects = False
    at = 0
    while at < len(spans):
        span = spans[at]
        if not span.get("repair") and not _is_not_that(spans, at) and not _is_no_but(spans, at):
            at += 1
            continue
        if _denies_after_all(spans, at):
            spans = [*spans[:at], NO, *spans[at + 1 :]]
            continue
        before, after = spans[:at], spans[at + 1 :]
        content = any(_type(s) for s in before)
        if not content:
            corrects = corrects or _carries_on(span, after)
            spans = before + after
            continue
        if not any(_type(s) for s in after):
            # "Angle's fifty three sorry"
            new = any(s.get(kind) for s in before for kind in NEW_THINGS)
            # "Forty four, I should say": nothing new, only another number, side or place.
            corrects = corrects or span.words[-1] == "sorry" or not new
            spans = before + after
            continue
        if _is_not_that(spans, at):
            spans = before + _without_denied(before, after)
            continue
        spans = _replaced(before, after)
        at = 0
    return spans, corrects


CALLS = frozenset("oh och ach ah".split())
NO = Span(0, 0, ("no",), (Concept("deny", "deny"),))


def _denies_after_all(spans: list[Span], at: int) -> bool:
    """ "Oh no thrush in any of them": a denial behind a call, nothing put right."""
    words = spans[at].words
    called = words[0] in CALLS and words[-1] == "no"
    following = spans[at + 1] if at + 1 < len(spans) else None
    return bool(
        called
        and following
        and (following.get("term") or following.get("thing"))
        and not any(s.get("term") for s in spans[:at])
    )


def _carries_on(span: Span, after: list[Span]) -> bool:
    """Whether a repair at the beginning corrects the last utterance: "wait make that eight"."""
    if PUTS_RIGHT & set(span.words):
        return any(_type(s) for s in after[:6])
    # "Hang on", "wait": a correction only where no new thing is told.
    return not any(s.get(kind) for s in after for kind in NEW_THINGS)


PUTS_RIGHT = frozenset(
    "no make mean meant correction scratch scrap wrong should change call".split()
)
NEW_THINGS = ("term", "work", "quantity", "shoe", "plan", "state", "nail_word", "nails")


PLACED = frozenset(("limb", "side", "zone"))


def _is_filler(span: Span) -> bool:
    return span.amount is None and all(c.kind == "moving" for c in span.concepts)


def _is_no_but(spans: list[Span], at: int) -> bool:
    """ "Three and a half, no, three and three eighths": "no" between two of a kind."""
    if spans[at].text not in ("no", "nah", "nope") or not 0 < at < len(spans) - 1:
        return False
    one = _type(spans[at - 1])
    rest = list(dropwhile(_is_filler, spans[at + 1 :])) if one in PLACED else spans[at + 1 :]
    following = rest[:1]
    two = _type(following[0]) if following else None
    if two == "amount":
        return any(_type(s) == "amount" for s in spans[:at])
    return two is not None and two == one and two != "term"


def _is_not_that(spans: list[Span], at: int) -> bool:
    """ "Five weeks not six", "outside not inside": what follows is what it is not."""
    if spans[at].text not in ("not", "not the", "not a") or at + 1 >= len(spans):
        return False
    denied = next((_type(s) for s in spans[at + 1 : at + 3] if _type(s)), None)
    return denied is not None and denied != "term" and any(_type(s) == denied for s in spans[:at])


def _without_denied(before: list[Span], after: list[Span]) -> list[Span]:
    at = next(i for i, s in enumerate(after) if _type(s))
    return after[:at] + after[at + 1 :]


def _replaced(before: list[Span], after: list[Span]) -> list[Span]:
    """What stands before without what the first words after put in its place."""
    new: list[str] = []
    for span in after:
        kind = _type(span)
        if kind is None and (span.get("split") or new) and span.concepts:
            break
        if kind in new:
            break
        if kind is not None:
            new.append(kind)
        if len(new) == 3:
            break
    kept = list(before)
    replaced = False
    for kind in new:
        at = next((i for i in range(len(kept) - 1, -1, -1) if _type(kept[i]) == kind), None)
        if at is not None:
            replaced = True
            del kept[at]
    if not replaced:
        return kept + after
    return kept + after


SAYS_NO = frozenset("no not hardly little hasn't won't can't cannot barely".split())
"""Findings whose own words deny: "ain't got no heel" denies once."""


def deny(said: Utterance) -> None:
    """Mark what is said not to be there; a denial of nothing makes the note doubtful."""
    places = said.free("deny")
    well = [f for f in said.frames if f.denied]
    for order, at in enumerate(places):
        if at in said.used:
            continue
        following = said.spans[at + 1] if at + 1 < len(said.spans) else None
        if following and following.get("trend") and at + 1 in said.used and _not_better(said, at):
            continue
        frame = _denied_by(said, at)
        if frame is None and _ends_on_limb(said, at):
            continue
        if frame is None:
            only = {w for s in said.spans[at + 1 : at + 5] for w in s.words}
            told = [f for f in said.frames if f.last < at and f.kind == "finding"]
            if told and _is_answer(said, at) and only & {"just", "only", "nobbut"}:
                # "Thought that was bruising, but no, it's just muck"
                told[-1].denied = True
                said.used.add(at)
                continue
            later = [p for p in places[order + 1 :] if said.clause[p] == said.clause[at]]
            if later or _is_answer(said, at):
                said.used.add(at)
            continue
        said.used.add(at)
        if said.spans[frame.first].words[0] in SAYS_NO:
            continue
        if _denies_a_verb(said, at, frame):
            said.doubt("it is not clear what was denied", 0.25)
            continue
        if frame in well:
            # "Not sound", "the pulse isn't normal": it is there after all.
            frame.denied = False
            well.remove(frame)
            said.doubt("a denial of what is well", 0.25)
        elif frame.term == "clear":
            if said.spans[at].text != "nothing":
                said.doubt("a denial of what is well", 0.5)
        elif frame.kind == "finding":
            frame.denied = True
            _carry_on(said, frame)
        else:
            said.frames.remove(frame)
            said.doubt("said not to have been done", 0.3)


OF_FINDINGS = frozenset("got have any see find feel a an been had get the seen found".split())


def _denies_a_verb(said: Utterance, at: int, frame: Frame) -> bool:
    """ "He can't leave the near hind down, hopping lame": what he cannot do, not what is found."""
    following = said.spans[at + 1].words[0] if at + 1 < len(said.spans) else ""
    between = [said.spans[i] for i in said.between(at, frame.first)]
    verb = said.spans[at].text in MODALS and following not in OF_FINDINGS
    return verb and any(s.get("limb") or s.get("relative") for s in between)


MODALS = frozenset("can't won't couldn't wouldn't cannot don't doesn't didn't not".split())


def only_a_touch(said: Utterance) -> None:
    """ "Not hot, just a touch of heat": there is a little of it."""
    for frame in [f for f in said.frames if f.kind == "finding" and f.denied]:
        there = [
            f
            for f in said.frames
            if f.term == frame.term and not f.denied and f.limbs == frame.limbs
        ]
        if any(f.slots.get("grade") for f in there):
            said.frames.remove(frame)


def contradictions(said: Utterance) -> None:
    """The same thing said to be there and not to be there: a person has to look."""
    there = {(f.term, f.limbs) for f in said.frames if f.kind == "finding" and not f.denied}
    if any((f.term, f.limbs) in there for f in said.frames if f.denied):
        said.doubt("said to be there and not to be there", 0.3)


def _not_better(said: Utterance, at: int) -> bool:
    """ "No better than it was", "nae worse": as it was."""
    frames = [f for f in said.frames if f.kind == "finding" and "trend" in f.slots]
    if not frames:
        return False
    said.used.add(at)
    min(frames, key=lambda f: abs(f.last - at)).slots["trend"] = "same"
    return True


def _ends_on_limb(said: Utterance, at: int) -> bool:
    """ "Near fore's thrushy, off fore isn't": the same is denied of the other foot."""
    limb = said.spans[at - 1].get("limb") if at else None
    before = [f for f in said.frames if f.last < at and f.kind == "finding"]
    following = [s for s in said.spans[at + 1 : at + 2] if s.concepts and not s.get("limb")]
    if limb is None or not before or following or said.spans[at].text in ("no", "not"):
        return False
    last = before[-1]
    again = Frame("finding", at, dict(last.slots), at - 1, at, tuple(limb.split("+")), True)
    said.frames.append(again)
    said.used.add(at)
    return True


def _is_answer(said: Utterance, at: int) -> bool:
    """ "No he's lame", "no that's the outside": an answer, not a denial."""
    following = said.spans[at + 1].words[0] if at + 1 < len(said.spans) else ""
    return said.spans[at].text in ("no", "none") and following in {
        "he",
        "she",
        "it",
        "that",
        "they",
        "there",
        "i",
        "we",
        "wait",
        "worries",
        "bother",
        "you",
    }


def _denied_by(said: Utterance, at: int) -> Frame | None:
    clause = said.clause[at]
    inside = [f for f in said.frames if f.first < at < f.last and said.clause[f.at] == clause]
    if inside:
        return inside[0]
    if _is_answer(said, at):
        return None
    after = [f for f in said.frames if f.first > at and said.clause[f.at] == clause]
    if after:
        between = [said.spans[i] for i in said.between(at, after[0].first)]
        if any(s.get("deny") for s in between) and said.spans[at].text == "no":
            return None
        if after[0].kind == "plan":
            return None
        return after[0]
    before = [f for f in said.frames if f.last < at and said.clause[f.at] == clause]
    ends = at + 1 == len(said.spans) or said.clause[at + 1] != clause
    if before and ends and said.spans[at].text in ("none", "no", "neither", "nil"):
        return before[-1]
    return None


def _carry_on(said: Utterance, frame: Frame) -> None:
    """A denial goes on over "or" and "nor", and over findings with nothing between them."""
    last = frame
    for other in said.frames:
        if other.at <= last.at or other.kind != "finding" or other.denied:
            continue
        between = [said.spans[i] for i in said.between(last.last, other.first)]
        joined = any(set(s.words) & {"nor", "or", "neither"} for s in between)
        bare = not between
        positive = any(s.get("grade") or s.get("age") for s in between) or any(
            k in other.slots for k in ("grade", "age", "trend")
        )
        if positive or not (joined or bare):
            return
        if between and between[0].text == "but":
            return
        other.denied = True
        last = other
