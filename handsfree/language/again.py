"""What is said of one foot and left out of the next: "so's the off", "off hind's worse". Pure."""

from itertools import pairwise

from handsfree.language import limbs
from handsfree.language.clauses import LEFT_OVER, Frame, Utterance
from handsfree.language.spans import Span
from handsfree.records.limbs import LIMBS


def same_on_another(said: Utterance) -> list[int]:
    """ "Flare on the near fore same on the off": where what was said is said of another foot."""
    found = []
    for at, span in enumerate(said.spans):
        following = said.spans[at + 1].words[0] if at + 1 < len(said.spans) else ""
        so = span.words[-1] == "so" and following in SO_IS
        if (span.text in limbs.CALLS_FOR_LIMB or so) and at:
            near = said.spans[at + 1 : at + 5]
            limb = next((i for i, s in enumerate(near) if s.get("limb") or s.get("relative")), None)
            if limb is not None and all(not s.concepts or s.get("moving") for s in near[:limb]):
                said.used.add(at)
                found.append(at)
    return found


SO_IS = frozenset("'s is are has was".split())
QUALITIES = ("trend", "grade", "age")
PLACES = ("side", "zone")


def carry_on(said: Utterance, named: list[limbs.Mention]) -> None:
    """ "Thrush near hind's no better and off hind's worse": of the next foot the same is told."""
    for before, mention in pairwise(named):
        last = [f for f in said.frames if f.kind == "finding" and f.at < mention.first]
        if not last or any(f.at > before.last and f.at < mention.first for f in said.frames):
            continue
        if not (_tells_how(said, mention) or _tells_where(said, before, mention)):
            continue
        again = Frame(
            "finding", mention.first, {"term": last[-1].term}, mention.first, mention.last
        )
        said.frames.append(again)
        said.frames.sort(key=lambda f: f.at)


def _tells_how(said: Utterance, mention: limbs.Mention) -> bool:
    """Whether the clause of a foot holds nothing but how much, how old, better or worse."""
    here = said.in_clause(mention.first)
    if any(said.clause[f.at] == said.clause[mention.first] for f in said.frames):
        return False
    others = [said.spans[i] for i in here if i not in said.used]
    told = [s for s in others if any(s.get(kind) for kind in QUALITIES)]
    return bool(told) and all(s in told or _is_plain(s) for s in others)


def _is_plain(span: Span) -> bool:
    return span.known and not span.amount and all(c.kind in PLAIN for c in span.concepts)


PLAIN = frozenset(("moving", "talk", "split"))


def _tells_where(said: Utterance, before: limbs.Mention, mention: limbs.Mention) -> bool:
    """ "Flare outside near hind inside off hind": a place and nothing else between two feet."""
    between = [said.spans[i] for i in said.between(before.last, mention.first)]
    first = [said.spans[i] for i in said.in_clause(before.first) if i < before.first]
    placed = [s for s in between if any(s.get(kind) for kind in PLACES)]
    ends = mention.last + 1 >= len(said.spans) or said.spans[mention.last + 1].get("split")
    return (
        bool(placed and ends)
        and all(s in placed or _is_plain(s) for s in between)
        and any(s.get(kind) for s in first for kind in PLACES)
    )


def nor(said: Utterance, named: list[limbs.Mention]) -> None:
    """ "No heat in the fores nor the off hind": denied of the next foot as well."""
    told = {limb for f in said.frames for limb in f.limbs or ()}
    for mention in named:
        before = said.spans[max(0, mention.first - 3) : mention.first]
        denied = [f for f in said.frames if f.denied and f.last < mention.first]
        alone = not told & set(mention.limbs)
        if alone and any(s.text == "none" for s in before):
            # "Thrush in the near fore but none in the off"
            denied = [f for f in said.frames if f.kind == "finding" and f.last < mention.first]
        elif not any(s.get("nor") for s in before):
            continue
        if denied and alone:
            said.used |= {i for i in range(mention.first - 3, mention.first) if i >= 0}
            slots, at = dict(denied[-1].slots), mention.first
            said.frames.append(Frame("finding", at, slots, at, at, mention.limbs, denied=True))


def left_over(said: Utterance, named: list[limbs.Mention]) -> None:
    """A foot that is named without anything said of it makes the note doubtful."""
    told = {limb for f in said.frames for limb in f.limbs or ()}
    for mention in named:
        if said.frames and not told & set(mention.limbs) and set(mention.limbs) & set(LIMBS):
            said.doubt("a foot was named, but nothing was said of it", LEFT_OVER)


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


def _there_too(said: Utterance, mention: limbs.Mention) -> None:
    """ "But there's a bit in the near fore": what was said of one foot, of another too."""
    clause = said.clause[mention.first]
    here = said.in_clause(mention.first)
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
